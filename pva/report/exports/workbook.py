"""Tables as a workbook: one sheet a table, headings kept in sight, text that never runs."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import Any

from pva.files import harmless, printable, write_with
from pva.report.exports.sheets import Sheet

MOST_LETTERS = 32_767  # in one cell of a workbook
_WIDEST, _NARROWEST, _SAMPLE = 60, 8, 200


def write_workbook(path: Path, sheets: Sequence[Sheet]) -> Path:
    """Write sheets in their order, whole or not at all.

    Headings are frozen, bold and wrapped, with a filter; text is written as text, so that nothing
    in it can run; numbers stay numbers.
    """
    from openpyxl import Workbook

    book = Workbook()
    book.remove(book.active)
    for one in sheets:
        _fill(book.create_sheet(one.name[:31]), one)
    book.properties.creator = "pva"
    return write_with(path, lambda beside: book.save(beside))


def _fill(page, one: Sheet) -> None:
    from openpyxl.styles import Alignment, Font
    from openpyxl.utils import get_column_letter

    for number, row in enumerate((one.columns, *one.rows), 1):
        for place, value in enumerate(row, 1):
            if value is not None:
                _write(page.cell(number, place), value)
    for cell in page[1]:
        cell.font = Font(bold=True)
        cell.alignment = Alignment(wrap_text=True, vertical="top")
    page.freeze_panes = "A2"
    if one.rows:
        page.auto_filter.ref = page.dimensions
    for place, heading in enumerate(one.columns):
        texts = [str(row[place]) for row in one.rows[:_SAMPLE] if row[place] is not None]
        longest = max(map(len, texts), default=0)
        width = min(max(longest + 2, min(len(heading), 24), _NARROWEST), _WIDEST)
        page.column_dimensions[get_column_letter(place + 1)].width = width
    page.oddHeader.center.text = one.title[:200].replace("&", "&&")
    page.page_setup.orientation, page.page_setup.fitToHeight = "landscape", 0
    page.sheet_properties.pageSetUpPr.fitToPage = True
    page.print_title_rows = "1:1"


def _write(cell, value: Any) -> None:
    if isinstance(value, str):
        cell.value = harmless(printable(value))[:MOST_LETTERS]
        cell.data_type = "s"
    else:
        cell.value = value

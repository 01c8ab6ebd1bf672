"""Field sheets as a workbook: to be printed on A4, or filled in and read as it is."""

from __future__ import annotations

import os
from pathlib import Path
from typing import Any

from pva.field.sheets import DAY, HEADING_ROW, TEXT, FieldSheet, SheetColumn, field_sheets
from pva.field.study import Study
from pva.files import write_with
from pva.files.choice_lists import ChoiceLists

ROWS_PRINTED, ROWS_READY = 24, 1000
_FORMATS = {DAY: "yyyy-mm-dd", TEXT: "@"}


def write_workbook(path: str | os.PathLike, study: Study | None = None) -> Path:
    """Write the workbook of field sheets.

    Parameters
    ----------
    path : path
        An ``.xlsx`` file.
    study : Study or None
        Its sites, species and stages can be chosen from lists.

    Returns
    -------
    Path
    """
    import openpyxl

    book = openpyxl.Workbook()
    book.remove(book.active)
    sheets = field_sheets(study)
    lists = ChoiceLists()
    for sheet in sheets:
        _write_sheet(book.create_sheet(sheet.kind), sheet, lists)
    lists.write(book)
    return write_with(path, book.save)


def _write_sheet(page: Any, sheet: FieldSheet, lists: ChoiceLists) -> None:
    from openpyxl.utils import get_column_letter

    last = get_column_letter(len(sheet.columns))
    _above(page, sheet, last)
    for number, column in enumerate(sheet.columns, 1):
        letter = get_column_letter(number)
        page.column_dimensions[letter].width = column.width
        _heading(page.cell(HEADING_ROW, number, column.name), column)
        _ready(page, letter, number, column)
        page.add_data_validation(_checked(column, lists, f"{letter}{HEADING_ROW + 1}:"
                                          f"{letter}{HEADING_ROW + ROWS_READY}"))
    page.freeze_panes = f"A{HEADING_ROW + 1}"
    _for_print(page)


def _above(page: Any, sheet: FieldSheet, last: str) -> None:
    """Title, advice and cautions, over the whole width."""
    from openpyxl.styles import Alignment, Font

    width = sum(column.width for column in sheet.columns)
    for row, line in enumerate(sheet.lines, 1):
        page.merge_cells(f"A{row}:{last}{row}")
        cell = page.cell(row, 1, line)
        cell.font = Font(bold=row == 1, italic=row == 3, size=12 if row == 1 else 9)
        cell.alignment = Alignment(wrap_text=True, vertical="top")
        page.row_dimensions[row].height = 14 * (1 + len(line) // width) + 2


def _heading(cell: Any, column: SheetColumn) -> None:
    from openpyxl.comments import Comment
    from openpyxl.styles import Alignment, Border, Font, Side

    cell.font = Font(bold=True)
    cell.alignment = Alignment(wrap_text=True, vertical="bottom")
    cell.border = Border(bottom=Side("medium"))
    note = Comment(column.words, "pva")
    note.width, note.height = 280, 90
    cell.comment = note


def _ready(page: Any, letter: str, number: int, column: SheetColumn) -> None:
    """Format of the empty cells: tags and names stay text, so that no digit is lost."""
    from openpyxl.styles import Border, Side

    line = Border(*(Side("thin"),) * 4)
    form = _FORMATS.get(column.kind, "General")
    page.column_dimensions[letter].number_format = form
    for row in range(HEADING_ROW + 1, HEADING_ROW + ROWS_PRINTED + 1):
        cell = page.cell(row, number)
        cell.number_format, cell.border = form, line


def _checked(column: SheetColumn, lists: ChoiceLists, cells: str) -> Any:
    """What a spreadsheet says while a cell is filled in, and what it refuses."""
    from openpyxl.worksheet.datavalidation import DataValidation

    if column.choices:
        rule = lists.rule(column.name, column.choices, strict=column.strict)
    elif column.kind == DAY:
        rule = DataValidation("date", operator="greaterThan", formula1="32874", allow_blank=True)
        rule.errorStyle = "warning"
    elif column.least is not None:
        rule = DataValidation("decimal", operator="greaterThanOrEqual",
                              formula1=f"{column.least:g}", allow_blank=True)
        rule.errorStyle = "warning"
    else:
        rule = DataValidation(allow_blank=True)
    rule.promptTitle, rule.prompt = column.name[:32], _prompt(column)[:255]
    rule.errorTitle, rule.error = column.name[:32], f"Expected: {_prompt(column)}"[:225]
    rule.showInputMessage = rule.showErrorMessage = True
    rule.add(cells)
    return rule


def _prompt(column: SheetColumn) -> str:
    return f"{column.words} Year-month-day." if column.kind == DAY else column.words


def _for_print(page: Any) -> None:
    """A4, landscape, one page wide, headings on every page, row numbers as the account tells.

    No area is fixed: blank rows print for their lines, and rows typed below them print too.
    """
    page.page_setup.orientation, page.page_setup.paperSize = "landscape", 9
    page.page_setup.fitToWidth, page.page_setup.fitToHeight = 1, 0
    page.sheet_properties.pageSetUpPr.fitToPage = True
    page.print_title_rows = f"1:{HEADING_ROW}"
    page.print_options.headings = True
    page.page_margins.left = page.page_margins.right = 0.4
    page.page_margins.top = page.page_margins.bottom = 0.5
    page.oddFooter.left.text = "Crew:                    Read back by:"
    page.oddFooter.right.text = "&A, page &P of &N"

"""Sheets of an XLSX workbook as rows of text cells; dates come out as year-month-day.

Which sheet is meant is found with the general reader of workbooks; the chosen sheet is then walked
through once, never held as a whole, so that a large workbook costs little time and memory.
"""

from __future__ import annotations

import re
import warnings
import zipfile
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any
from xml.etree import ElementTree

from pva.errors import DataError, Problem
from pva.files.grid import Grid
from pva.files.sheet_cells import SheetCells, TooManyCells, column_number
from pva.files.workbook_safety import refuse_unsafe

MOST_MERGED = 5_000_000  # rows that merged cells cover, all of them together
_RANGE = re.compile(r"([A-Z]+)(\d+):([A-Z]+)(\d+)")
_RELATION = "{http://schemas.openxmlformats.org/officeDocument/2006/relationships}id"


def workbook_rows(path: Path, sheet: str | int | None) -> Grid:
    """Read one sheet; merged cells repeat their value down the rows they cover.

    Raises
    ------
    DataError
        The workbook cannot be opened, or it is not clear which sheet is meant.
    """
    with _opened(path) as book:
        return _grid(path, book, _chosen_sheet(path, book, sheet))


def every_sheet(path: Path) -> dict[str, Grid]:
    """Read all sheets, by name, in their order.

    Raises
    ------
    DataError
        The workbook cannot be opened.
    """
    with _opened(path) as book:
        return {page.title: _grid(path, book, page) for page in book.worksheets}


@contextmanager
def _opened(path: Path) -> Iterator[Any]:
    """A workbook while it is read; whatever goes wrong is said in words."""
    import openpyxl

    refuse_unsafe(path)
    try:
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")  # about styles and single cells; no business of users
            book = openpyxl.load_workbook(path, read_only=True, data_only=True,
                                          keep_links=False)
        try:
            yield book
        finally:
            book.close()
    except DataError:
        raise
    except TooManyCells as error:
        raise DataError(Problem(str(error), "Keep the table alone in its sheet, without cells far "
                                "off, or save it as .csv.", file=str(path),
                                code="table-too-wide")) from None
    except Exception:  # noqa: BLE001 - a damaged workbook fails in any part of the reader
        if path.name.startswith("~$"):
            raise DataError(Problem(
                "this is the mark that a spreadsheet program lays beside a workbook while it holds "
                "it open, not the workbook", f"Write `{path.name[2:]}`, and close it there first.",
                file=str(path), code="workbook-broken")) from None
        raise DataError(Problem("the workbook cannot be opened; it is damaged or has a password",
                                "Open it in a spreadsheet program and save it again as .xlsx.",
                                file=str(path), code="workbook-broken")) from None


def _grid(path: Path, book: Any, page: Any) -> Grid:
    from openpyxl.utils.datetime import CALENDAR_MAC_1904

    cells = SheetCells(book, page._shared_strings)
    _walk_through(path, page.title, cells)
    _fill_merged(cells.merged, cells.rows)
    return Grid(cells.rows, sheet=page.title, notes=_without_result(cells.without_result),
                base_1904=book.epoch == CALENDAR_MAC_1904,
                without_result=list(cells.without_result))


def _rows_of(page: Any, most: int | None = None) -> Iterator[tuple]:
    # some programs write a wrong extent of the sheet, which would hide columns or rows
    page.reset_dimensions()
    return page.iter_rows(max_row=most, values_only=True)


def _chosen_sheet(path: Path, book: Any, sheet: str | int | None) -> Any:
    pages = list(book.worksheets)
    names = ", ".join(p.title for p in pages)
    if sheet is not None:
        for page in pages:
            if page.title.strip().casefold() == str(sheet).strip().casefold():
                return page
        if isinstance(sheet, int) and 1 <= sheet <= len(pages):
            return pages[sheet - 1]
        raise DataError(Problem(f"there is no sheet called {sheet}; its sheets are {names}",
                                "Correct `sheet`.", file=str(path), code="sheet-missing"))
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        filled = [page for page in pages if any(any(v is not None for v in row)
                                                for row in _rows_of(page, 50))]
    if len(filled) > 1:
        names = ", ".join(p.title for p in filled)
        raise DataError(Problem(f"the workbook has several sheets with data: {names}",
                                "Write `sheet: NAME` under this table in the study.",
                                file=str(path), code="sheet-not-named"))
    return filled[0] if filled else pages[0]


def _walk_through(path: Path, title: str, cells: SheetCells) -> None:
    """Read the sheet with this title."""
    with zipfile.ZipFile(path) as archive:
        book = ElementTree.fromstring(archive.read("xl/workbook.xml"))
        named = {one.get("name"): one.get(_RELATION) for one in book.iter()
                 if one.tag.endswith("}sheet")}
        relations = ElementTree.fromstring(archive.read("xl/_rels/workbook.xml.rels"))
        targets = {one.get("Id"): one.get("Target") for one in relations}
        target = str(targets[named[title]])
        place = target[1:] if target.startswith("/") else f"xl/{target}"
        with archive.open(place) as source:
            cells.read(source)


def _without_result(cells: list[str]) -> list[str]:
    if not cells:
        return []
    return [f"formulas without a result were read as blank: {len(cells):,} ({cells[0]} is the "
            "first); open the workbook in a spreadsheet program and save it"]


def _fill_merged(merged: list[str], rows: list[list[str]]) -> None:
    left_over = MOST_MERGED
    for written in merged:
        found = _RANGE.fullmatch(written)
        if not found:
            continue
        left, top, _, bottom = found.groups()
        column = column_number(left)
        first = int(top) - 1
        if first >= len(rows) or column >= len(rows[first]):
            continue
        value = rows[first][column]
        left_over -= min(int(bottom), len(rows)) - first
        if left_over < 0:
            raise TooManyCells(f"merged cells cover over {MOST_MERGED:,} rows")
        for row in rows[first + 1:int(bottom)]:
            if any(row):  # a row that holds nothing of its own stays blank
                row.extend([""] * (column + 1 - len(row)))
                row[column] = value

"""Sheets of an XLSX workbook as rows of text cells; dates come out as year-month-day."""

from __future__ import annotations

import datetime as dt
import zipfile
from pathlib import Path
from typing import Any

from pva.errors import DataError, Problem
from pva.files.grid import Grid

MERGED_CELLS_BELOW_BYTES = 3_000_000


def workbook_rows(path: Path, sheet: str | int | None) -> Grid:
    """Read one sheet; merged cells repeat their value down the rows they cover.

    Raises
    ------
    DataError
        The workbook cannot be opened, or it is not clear which sheet is meant.
    """
    import openpyxl
    from openpyxl.utils.datetime import CALENDAR_MAC_1904

    # merged cells are only known when the whole workbook is held in memory
    small = path.stat().st_size < MERGED_CELLS_BELOW_BYTES
    try:
        book = openpyxl.load_workbook(path, read_only=not small, data_only=True)
    except (zipfile.BadZipFile, KeyError, ValueError, TypeError, OSError, EOFError):
        raise DataError(Problem("the workbook cannot be opened; it is damaged or has a password",
                                "Open it in a spreadsheet program and save it again as .xlsx.",
                                file=str(path), code="workbook-broken")) from None
    try:
        page = _chosen_sheet(path, book, sheet)
        rows = [[cell_text(value) for value in row] for row in page.iter_rows(values_only=True)]
        if small:
            _fill_merged(page, rows)
        return Grid(rows, sheet=page.title, base_1904=book.epoch == CALENDAR_MAC_1904)
    finally:
        book.close()


def _chosen_sheet(path: Path, book: Any, sheet: str | int | None) -> Any:
    pages = list(book.worksheets)
    names = ", ".join(p.title for p in pages)
    if sheet is not None:
        for page in pages:
            if page.title.strip().casefold() == str(sheet).strip().casefold():
                return page
        if isinstance(sheet, int) and 1 <= sheet <= len(pages):
            return pages[sheet - 1]
        raise DataError(Problem(f"there is no sheet called {sheet}; there are {names}",
                                "Correct `sheet`.", file=str(path), code="sheet-missing"))
    filled = [page for page in pages if any(any(v is not None for v in row) for row in
                                            page.iter_rows(max_row=50, values_only=True))]
    if len(filled) > 1:
        names = ", ".join(p.title for p in filled)
        raise DataError(Problem(f"the workbook has several sheets with data: {names}",
                                "Write `sheet: NAME` under this table in the study.",
                                file=str(path), code="sheet-not-named"))
    return filled[0] if filled else pages[0]


def cell_text(value: Any) -> str:
    """The text a person would have typed: dates as year-month-day, whole numbers without .0."""
    if value is None:
        return ""
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, dt.datetime):
        midnight = value.time() == dt.time()
        return value.date().isoformat() if midnight else value.isoformat(" ", "seconds")
    if isinstance(value, dt.date | dt.time):
        return value.isoformat()
    if isinstance(value, float) and value.is_integer() and abs(value) < 1e15:
        return str(int(value))
    return str(value).strip().strip("\u00a0").strip()


def _fill_merged(page: Any, rows: list[list[str]]) -> None:
    for area in page.merged_cells.ranges:
        column = area.min_col - 1
        value = rows[area.min_row - 1][column]
        for row in range(area.min_row, min(area.max_row, len(rows))):
            rows[row][column] = value

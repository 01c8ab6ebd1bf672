"""Tables as people keep them: CSV in any common form and XLSX, read into cells of text."""

from __future__ import annotations

import os
from collections.abc import Iterable
from dataclasses import dataclass, field
from pathlib import Path

from pva.errors import DataError, Problem
from pva.files.grid import Grid
from pva.files.headers import header_of
from pva.files.ordinary import why_unreadable
from pva.files.texts import text_rows

MOST_TABLE_BYTES = 200_000_000
MOST_TABLE_CELLS = 100_000_000


@dataclass(frozen=True)
class RawTable:
    """A table before anybody has judged it: every cell is text, stripped of outer spaces.

    Parameters
    ----------
    file : str
        The file as given, for messages.
    sheet : str or None
        Sheet of a workbook.
    header : list of str
        Names of the columns; a column without a name is called ``column N``.
    rows : list of list of str
        Rows that hold anything, padded to the header. A longer row keeps its surplus cells.
    numbers : list of int
        Row number of each row as a spreadsheet shows it (the header of a plain table is row 1).
    header_at : int
        Row number of the header; 0 where the table has none.
    delimiter : str or None
        What separates the cells of a text table.
    base_1904 : bool
        Day numbers of the workbook count from 1904 instead of 1900.
    notes : list of str
        What the reader did that a person should know.
    """

    file: str
    sheet: str | None
    header: list[str]
    rows: list[list[str]]
    numbers: list[int]
    delimiter: str | None = None
    base_1904: bool = False
    notes: list[str] = field(default_factory=list)
    header_at: int = 1


def read_table(
    path: str | os.PathLike,
    *,
    sheet: str | int | None = None,
    delimiter: str | None = None,
    header_row: int | None = None,
    wanted: Iterable[str] = (),
) -> RawTable:
    """Read a CSV or XLSX table into cells of text.

    Parameters
    ----------
    path : path
        ``.csv``, ``.txt``, ``.tsv`` (UTF-8, UTF-16 or Windows-1252) or ``.xlsx``.
    sheet : str or int, optional
        Name of the sheet, or its place from 1; needed when several sheets hold data.
    delimiter : {'comma', 'semicolon', 'tab', 'space'}, optional
        Found from the first rows when left out.
    header_row : int, optional
        Row that holds the names of the columns, or 0 where the first row is data already; else
        the first row of the top 30 that holds most of `wanted`, else the first row with at
        least two filled cells.
    wanted : iterable of str
        Names of columns expected, to tell the header from title rows above it.

    Returns
    -------
    RawTable

    Raises
    ------
    DataError
        The file is missing, empty, too large, not a table, or its header cannot be used.
    """
    path = Path(path)
    _check_readable(path)
    if path.suffix.lower() in (".xlsx", ".xlsm"):
        from pva.files.workbooks import workbook_rows

        grid = workbook_rows(path, sheet)
    elif path.suffix.lower() in (".xls", ".ods", ".numbers"):
        raise DataError(_problem(path, f"files ending in {path.suffix} are not read",
                                 "Save the table as .xlsx or .csv.", "table-format"))
    else:
        grid = text_rows(path, delimiter)
    return _with_header(path, grid, header_row, list(wanted))


def _check_readable(path: Path) -> None:
    against = why_unreadable(path, most_bytes=MOST_TABLE_BYTES,
                             folder_todo="Name the table in it.",
                             size_todo="Split it into several files.")
    if against is not None:
        raise DataError(against)


def _problem(path: Path, what: str, todo: str, code: str) -> Problem:
    return Problem(what, todo, file=str(path), code=code)


def _with_header(path: Path, grid: Grid, header_row: int | None, wanted: list[str]
                 ) -> RawTable:
    at, header = header_of(path, grid, header_row, wanted)
    width, rows, numbers, above = len(header), [], [], False
    if width * len(grid.rows) > MOST_TABLE_CELLS:
        raise DataError(_problem(path, f"the table has {width:,} columns and {len(grid.rows):,} "
                                 f"rows; at most {MOST_TABLE_CELLS:,} cells are read",
                                 "Split it into several files.", "table-too-wide"))
    for i, row in enumerate(grid.rows):
        if not any(row):
            continue
        if i <= at:
            above |= i < at
            continue
        if len(row) < width:
            row = row + [""] * (width - len(row))
        while len(row) > width and not row[-1]:
            row = row[:-1]
        rows.append(row)
        numbers.append(i + 1)
    notes = list(grid.notes)
    if above and header_row is None:
        notes.append(f"row {at + 1} was read as the header; the rows above it were left out")
    return RawTable(str(path), grid.sheet, header, rows, numbers, grid.delimiter, grid.base_1904,
                    notes, at + 1)

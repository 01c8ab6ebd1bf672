"""Tables as people keep them: CSV in any common form and XLSX, read into cells of text."""

from __future__ import annotations

import csv
import io
import os
from collections.abc import Iterable
from dataclasses import dataclass, field
from pathlib import Path

from pva.errors import DataError, Problem
from pva.files.grid import Grid

MOST_TABLE_BYTES = 200_000_000
HEADER_SEARCH_ROWS = 30
DELIMITERS = {"comma": ",", "semicolon": ";", "tab": "\t"}


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
        ``.csv``, ``.txt``, ``.tsv`` (UTF-8, UTF-16 with mark, or Windows-1252) or ``.xlsx``.
    sheet : str or int, optional
        Name of the sheet, or its place from 1; needed when several sheets hold data.
    delimiter : {'comma', 'semicolon', 'tab'}, optional
        Found from the first rows when left out.
    header_row : int, optional
        Row that holds the names of the columns; else the first row of the top 30 that holds most
        of `wanted`, else the first row with at least two filled cells.
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
        grid = _text_rows(path, delimiter)
    return _with_header(path, grid, header_row, list(wanted))


def _check_readable(path: Path) -> None:
    try:
        with path.open("rb"):
            size = path.stat().st_size
    except FileNotFoundError:
        raise DataError(_problem(path, "there is no such file", "Check the name and the folder.",
                                 "file-missing")) from None
    except OSError as error:
        raise DataError(_problem(path, f"the file cannot be read: {error.strerror}",
                                 "Check its name and permissions.", "file-unreadable")) from None
    if size > MOST_TABLE_BYTES:
        raise DataError(_problem(path, f"the file has {size:,} bytes; at most "
                                 f"{MOST_TABLE_BYTES:,} are read", "Split it into several files.",
                                 "file-too-large"))


def _problem(path: Path, what: str, todo: str, code: str, line: int | None = None) -> Problem:
    return Problem(what, todo, file=str(path), line=line, code=code)


def _text_rows(path: Path, delimiter: str | None) -> Grid:
    text, notes = _decoded(path)
    first, _, rest = text.partition("\n")
    if first.strip().lower().startswith("sep=") and len(first.strip()) == 5:
        # a spreadsheet hides this line, so the row below it is the row a person calls 1
        separator, text = first.strip()[4], rest
    else:
        separator = DELIMITERS[delimiter] if delimiter else _separator(text)
    reader = csv.reader(io.StringIO(text, newline=""), delimiter=separator)
    try:
        rows = [[cell.strip().strip("\u00a0").strip() for cell in row] for row in reader]
    except csv.Error as error:
        raise DataError(_problem(path, f"the table breaks off: {error}",
                                 "Look for a quotation mark that is not closed.", "table-broken",
                                 reader.line_num)) from None
    return Grid(rows, delimiter=separator, notes=notes)


def _decoded(path: Path) -> tuple[str, list[str]]:
    content = path.read_bytes()
    if content[:2] in (b"\xff\xfe", b"\xfe\xff"):
        encoding, notes = "utf-16", []
    else:
        encoding, notes = "utf-8-sig", []
    try:
        text = content.decode(encoding)
    except UnicodeDecodeError:
        text = content.decode("cp1252", errors="replace")
        notes.append("read as Windows-1252 text because it is not UTF-8; check accented letters")
    if "\x00" in text:
        raise DataError(_problem(path, "the file is not a text table",
                                 "Save the table as .xlsx or .csv.", "table-format"))
    return text.replace("\r\n", "\n").replace("\r", "\n"), notes


def _separator(text: str) -> str:
    """The separator that splits most of the first rows into the same number of cells."""
    sample = "\n".join(text.split("\n", 40)[:40])
    best, best_score = ",", 0.0
    for separator in (",", ";", "\t"):
        try:
            widths = [len(r) for r in csv.reader(io.StringIO(sample), delimiter=separator) if r]
        except csv.Error:
            continue
        usual = max(set(widths), key=widths.count, default=1)
        score = widths.count(usual) / len(widths) * min(usual - 1, 3) if widths else 0.0
        if score > best_score:
            best, best_score = separator, score
    return best


def _with_header(path: Path, grid: Grid, header_row: int | None, wanted: list[str]) -> RawTable:
    filled = [i for i, row in enumerate(grid.rows) if any(row)]
    if not filled:
        raise DataError(_problem(path, "the table is empty", "Name the right file and sheet.",
                                 "table-empty"))
    at = header_row - 1 if header_row else _header_at(grid.rows, filled, wanted)
    if at >= len(grid.rows) or not any(grid.rows[at]):
        raise DataError(_problem(path, f"row {at + 1} is empty and cannot be the header",
                                 "Correct `header_row`.", "header-missing"))
    header = _header_names(path, grid.rows[at], at + 1)
    width = len(header)
    rows, numbers = [], []
    for i in filled:
        if i > at:
            row = grid.rows[i]
            while len(row) > width and not row[-1]:
                row = row[:-1]
            rows.append(row + [""] * (width - len(row)))
            numbers.append(i + 1)
    notes = list(grid.notes)
    if any(i < at for i in filled):
        notes.append(f"row {at + 1} was read as the header; the rows above it were left out")
    return RawTable(str(path), grid.sheet, header, rows, numbers, grid.delimiter, grid.base_1904,
                    notes)


def plain_name(name: str) -> str:
    """A column name with case, spaces, underscores and a final full stop levelled."""
    return " ".join(name.replace("_", " ").casefold().split()).rstrip(".:")


def _header_at(rows: list[list[str]], filled: list[int], wanted: list[str]) -> int:
    top = [i for i in filled if i < HEADER_SEARCH_ROWS] or filled[:1]
    names = {plain_name(name) for name in wanted}
    hits = [len(names & {plain_name(cell) for cell in rows[i]}) for i in top]
    if max(hits) > 0:
        return top[hits.index(max(hits))]
    several = [i for i in top if sum(bool(cell) for cell in rows[i]) >= 2]
    return (several or top)[0]


def _header_names(path: Path, cells: list[str], row: int) -> list[str]:
    while cells and not cells[-1]:
        cells = cells[:-1]
    names = [" ".join(cell.split()) or f"column {i}" for i, cell in enumerate(cells, 1)]
    twice = sorted({name for name in names if names.count(name) > 1})
    if twice:
        raise DataError(Problem(f"the column {', '.join(twice)} stands twice in the header",
                                "Give every column its own name.", file=str(path), line=row,
                                code="column-twice"))
    return names

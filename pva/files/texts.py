"""Text tables (CSV and its relatives) as rows of cells, whatever wrote them."""

from __future__ import annotations

import csv
import io
from pathlib import Path

from pva.errors import DataError, Problem
from pva.files.grid import Grid

DELIMITERS = {"comma": ",", "semicolon": ";", "tab": "\t", "space": " "}
SAMPLE_LINES = 60
MOST_LINES, MOST_LINE = 5_000_000, 1_000_000  # lines, and characters of one
FEW_EMPTY_BYTES = 0.01  # a logger that lost power leaves some behind


def text_rows(path: Path, delimiter: str | None) -> Grid:
    """Read a text table into cells.

    Parameters
    ----------
    path : Path
    delimiter : {'comma', 'semicolon', 'tab', 'space'}, optional
        Found from the first rows when left out; `space` stands for any run of spaces and tabs.

    Raises
    ------
    DataError
        The file is no text, or a quotation mark that is not closed swallows rows.
    """
    text, notes = _decoded(path)
    first, _, rest = text.partition("\n")
    if first.strip().lower().startswith("sep=") and len(first.strip()) == 5:
        # a spreadsheet hides this line, so the row below it is the row a person calls 1
        separator, text = first.strip()[4], rest
    else:
        separator = DELIMITERS[delimiter] if delimiter else separator_of(text)
    if separator == " ":
        return Grid([line.split() for line in text.split("\n")], delimiter=separator, notes=notes)
    rows = _parsed(path, text, separator)
    return Grid(rows, delimiter=separator, notes=notes)


def _decoded(path: Path) -> tuple[str, list[str]]:
    content, notes = path.read_bytes(), []
    if content[:2] in (b"\xff\xfe", b"\xfe\xff"):
        encoding = "utf-16"
    elif _two_bytes_a_letter(content):
        encoding = "utf-16-le" if content[1:2] == b"\x00" else "utf-16-be"
    else:
        encoding = "utf-8-sig"
    try:
        text = content.decode(encoding)
    except UnicodeDecodeError:
        text = content.decode("cp1252", errors="replace")
        notes.append("read as Windows-1252 text because it is not UTF-8; check accented letters")
    empty = text.count("\x00")
    if empty > FEW_EMPTY_BYTES * len(text):
        raise DataError(Problem("the file is not a text table",
                                "Save the table as .xlsx or .csv.", file=str(path),
                                code="table-format"))
    if empty:
        text = text.replace("\x00", "")
        notes.append(f"{empty:,} empty bytes were left out, such as a power cut leaves behind; "
                     "look whether rows around them are whole")
    text = text.replace("\r\n", "\n").replace("\r", "\n")
    _check_lines(path, text)
    return text, notes


def _check_lines(path: Path, text: str) -> None:
    """Refuse what no table is before it is cut into cells."""
    lines = text.count("\n") + 1
    if lines > MOST_LINES:
        raise DataError(Problem(f"the table has {lines:,} lines; at most {MOST_LINES:,} are read",
                                "Split it into several files.", file=str(path),
                                code="table-too-wide"))
    for number, line in enumerate(text.split("\n"), 1):
        if len(line) > MOST_LINE:
            raise DataError(Problem(
                f"the line has {len(line):,} characters; at most {MOST_LINE:,} are read",
                "Look whether line ends got lost, or whether this is a table at all.",
                file=str(path), line=number, code="table-too-wide"))


def _two_bytes_a_letter(content: bytes) -> bool:
    """UTF-16 without its mark: every other byte of plain Latin text is empty."""
    head = content[:2000]
    halves = head[0::2], head[1::2]
    return len(head) > 20 and any(half.count(0) > 0.9 * len(half) for half in halves)


def separator_of(text: str) -> str:
    """The separator that splits most of the first lines into the same number of cells.

    Lines that it does not split at all count little: a reader's log holds chatter between.
    """
    sample = "\n".join(text.split("\n", SAMPLE_LINES)[:SAMPLE_LINES])
    best, best_score = ",", 0.0
    for separator in (",", ";", "\t"):
        try:
            widths = [len(r) for r in csv.reader(io.StringIO(sample), delimiter=separator) if r]
        except csv.Error:
            continue
        split = [w for w in widths if w > 1]
        usual = max(set(split), key=split.count, default=1)
        score = split.count(usual) / len(widths) * min(usual - 1, 3) if split else 0.0
        if score > best_score:
            best, best_score = separator, score
    return best


def _parsed(path: Path, text: str, separator: str) -> list[list[str]]:
    reader = csv.reader(io.StringIO(text, newline=""), delimiter=separator)
    rows, begun, ended = [], 1, 0
    try:
        for row in reader:
            begun, ended = ended + 1, reader.line_num
            if ended > begun and _swallowed(row, separator, len(rows[0]) if rows else 0):
                raise DataError(_open_quote(path, begun, ended))
            rows.append([cell.strip() for cell in row])
    except csv.Error:
        raise DataError(Problem(f"a cell holds over {csv.field_size_limit():,} characters",
                                "Look for a quotation mark that is not closed.", file=str(path),
                                line=reader.line_num, code="table-broken")) from None
    # the quotation mark of the last cell may never be closed; only strict reading tells
    if ended > begun and not _closes("\n".join(text.split("\n")[begun - 1:ended]), separator):
        raise DataError(_open_quote(path, begun, ended))
    return rows


def _swallowed(row: list[str], separator: str, usual: int) -> bool:
    """Whether a cell with line ends in it holds whole rows of the table."""
    width = max(len(row), usual, 3)
    return any(line.count(separator) >= width - 1 for cell in row if "\n" in cell
               for line in cell.split("\n")[1:])


def _closes(text: str, separator: str) -> bool:
    try:
        list(csv.reader(io.StringIO(text, newline=""), delimiter=separator, strict=True))
    except csv.Error as error:
        return "unexpected end" not in str(error)
    return True


def _open_quote(path: Path, begun: int, ended: int) -> Problem:
    return Problem(
        f"a quotation mark in line {begun} is not closed before line {ended}",
        "Close it or take it out.", why="All rows between would be read as one cell",
        done="No row of the table was read.", file=str(path), line=begun, code="quote-not-closed")

"""Cells of one sheet's XML as text, in one pass: quick enough for hundreds of thousands of rows.

Shared texts, styles and the day from which dates count come from the general reader of workbooks;
only the sheet itself, where nearly all of the time goes, is walked through here.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Callable
from typing import IO, Any
from xml.parsers import expat

MOST_ROWS = 1_048_576  # what the file format allows; a larger number is damage
MOST_COLUMNS = 16_384
MOST_CELLS = 20_000_000  # blank ones before a filled one among them
_CHUNK = 1 << 20


class TooManyCells(Exception):  # noqa: N818 - it says what was found
    """A sheet holds more cells, or cells farther off, than are read."""


class SheetCells:
    """Reads one sheet of a workbook.

    Parameters
    ----------
    book : openpyxl workbook
        Opened read-only, with values only.
    shared : sequence of str
        Texts that cells share.

    Attributes
    ----------
    rows : list of list of str
        One list a row from row 1 on, as long as its last cell.
    merged : list of str
        Ranges of merged cells, such as ``A2:A5``.
    without_result : list of str
        Cells with a formula that no program has worked out.
    """

    def __init__(self, book: Any, shared: Any):
        self.rows: list[list[str]] = []
        self.merged: list[str] = []
        self.without_result: list[str] = []
        self._text_of = _converter(book, shared)
        self._known: dict[tuple, str] = {}
        self._columns: dict[str, int] = {}
        self._cells: list[str] | None = None
        self._kind, self._style, self._place = "n", "0", ""
        self._text: list[str] | None = None
        self._value, self._formula, self._spoken = "", False, False
        self._held = 0

    def read(self, source: IO[bytes]) -> None:
        """Walk through the sheet's XML.

        Raises
        ------
        ValueError, expat.ExpatError
            The XML is damaged, or a cell holds what cannot be.
        TooManyCells
            There are more cells than are read.
        """
        parser = expat.ParserCreate()
        parser.buffer_text = True
        parser.StartElementHandler = self._start
        parser.EndElementHandler = self._end
        parser.CharacterDataHandler = self._characters
        while chunk := source.read(_CHUNK):
            parser.Parse(chunk, False)
        parser.Parse(b"", True)

    def _start(self, name: str, given: dict[str, str]) -> None:
        name = name.rpartition(":")[2] if ":" in name else name
        if name == "c" and self._cells is not None:
            self._kind, self._style = given.get("t", "n"), given.get("s", "0")
            self._place, self._value, self._formula = given.get("r", ""), "", False
        elif name == "v":
            self._text = [] if self._cells is not None and not self._value else None
        elif name == "t":
            inline = self._cells is not None and self._kind == "inlineStr"
            self._text = [] if inline and not self._spoken else None
        elif name == "f":
            self._formula = True
        elif name == "row":
            self._begin_row(given.get("r"))
        elif name == "rPh":  # how a text is spoken is no part of it
            self._spoken = True
        elif name == "mergeCell":
            self.merged.append(given.get("ref", ""))

    def _characters(self, text: str) -> None:
        if self._text is not None:
            self._text.append(text)

    def _end(self, name: str) -> None:
        name = name.rpartition(":")[2] if ":" in name else name
        if name == "v" or name == "t":
            if self._text is not None:
                said = "".join(self._text)
                self._value = self._value + said if name == "t" else (
                    "" if self._kind == "inlineStr" else said)
                self._text = None
        elif name == "c":
            if self._cells is not None:
                self._end_cell()
        elif name == "row":
            self._cells = None
        elif name == "rPh":
            self._spoken = False

    def _begin_row(self, written: str | None) -> None:
        number = int(float(written)) if written else len(self.rows) + 1
        if not 0 < number <= MOST_ROWS:
            raise ValueError(f"{written} is no row number")
        while len(self.rows) < number:
            self.rows.append([])
        self._cells = self.rows[number - 1]

    def _end_cell(self) -> None:
        cells, value = self._cells, self._value
        if value:
            key = (value, self._kind, self._style)
            text = self._known.get(key)
            if text is None:
                text = self._known[key] = self._text_of(*key)
        else:
            text = ""
            if self._formula and self._kind != "str":
                self.without_result.append(self._place)
        column = self._column() if self._place else len(cells)
        if column >= len(cells):
            self._room_for(column, column + 1 - len(cells))
        if column == len(cells):
            cells.append(text)
            return
        if column > len(cells):
            cells.extend([""] * (column + 1 - len(cells)))
        cells[column] = text

    def _room_for(self, column: int, more: int) -> None:
        self._held += more
        if column >= MOST_COLUMNS:
            raise TooManyCells(f"the sheet has a cell in column {column + 1:,}; at most "
                               f"{MOST_COLUMNS:,} columns are read")
        if self._held > MOST_CELLS:
            raise TooManyCells(f"the sheet has over {MOST_CELLS:,} cells, blank ones among them")

    def _column(self) -> int:
        letters = self._place.rstrip("0123456789")
        column = self._columns.get(letters)
        if column is None:
            column = self._columns[letters] = column_number(letters)
        return column


def column_number(letters: str) -> int:
    """Place of a column from 0, by its letters."""
    number = 0
    for letter in letters.upper():
        number = 26 * number + ord(letter) - 64
    return number - 1


def cell_text(value: Any) -> str:
    """The text a person would have typed: dates as year-month-day, whole numbers without .0."""
    if value is None:
        return ""
    if isinstance(value, str):
        return value.strip()
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, dt.datetime):
        midnight = value.time() == dt.time()
        return value.date().isoformat() if midnight else value.isoformat(" ", "seconds")
    if isinstance(value, dt.date | dt.time):
        return value.isoformat()
    if isinstance(value, float) and value.is_integer() and abs(value) < 1e15:
        return str(int(value))
    return str(value).strip()


def _converter(book: Any, shared: Any) -> Callable[[str, str, str], str]:
    """A function from a cell's written value, kind and style to its text."""
    from openpyxl.utils.datetime import from_excel, from_ISO8601

    dates = {str(style) for style in book._date_formats}
    durations = {str(style) for style in book._timedelta_formats}

    def number(written: str, style: str) -> Any:
        value = float(written) if any(c in written for c in ".eE") else int(written)
        if style not in dates:
            return value
        try:
            return from_excel(value, book.epoch, timedelta=style in durations)
        except (OverflowError, ValueError):
            return "#VALUE!"

    def text(written: str, kind: str, style: str) -> str:
        if kind == "n":
            return cell_text(number(written, style))
        if kind == "s":
            return cell_text(shared[int(written)])
        if kind == "b":
            return cell_text(bool(int(written)))
        return cell_text(from_ISO8601(written) if kind == "d" else written)

    return text

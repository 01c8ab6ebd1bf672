"""Sheets of an XLSX workbook as rows of text cells; dates come out as year-month-day.

Sheets are streamed, never held as a whole, so that a large workbook costs little memory. Merged
cells and formulas without a result are not told by the stream; they are looked up in the sheet's
own XML.
"""

from __future__ import annotations

import datetime as dt
import re
import zipfile
from collections.abc import Iterator
from pathlib import Path
from typing import Any
from xml.etree import ElementTree

from pva.errors import DataError, Problem
from pva.files.grid import Grid

_MERGED = re.compile(rb"<(?:\w+:)?mergeCell\s[^>]*?ref=\"([A-Z]+)(\d+):([A-Z]+)(\d+)\"")
_CELL_WITH_FORMULA = re.compile(
    rb"<(?:\w+:)?c\s[^>]*?\br=\"([A-Z]+\d+)\"[^>]*>\s*"
    rb"<(?:\w+:)?f\b(?:[^>]*/>|[^>]*>[^<]*</(?:\w+:)?f>)\s*"
    rb"(?:<(?:\w+:)?v\s*/>|<(?:\w+:)?v></(?:\w+:)?v>)?\s*</(?:\w+:)?c>")
_RELATION = "{http://schemas.openxmlformats.org/officeDocument/2006/relationships}id"


def workbook_rows(path: Path, sheet: str | int | None) -> Grid:
    """Read one sheet; merged cells repeat their value down the rows they cover.

    Raises
    ------
    DataError
        The workbook cannot be opened, or it is not clear which sheet is meant.
    """
    import openpyxl
    from openpyxl.utils.datetime import CALENDAR_MAC_1904

    try:
        book = openpyxl.load_workbook(path, read_only=True, data_only=True)
        try:
            page = _chosen_sheet(path, book, sheet)
            rows = [[cell_text(value) for value in row] for row in _rows_of(page)]
            xml = _sheet_xml(path, page.title)
            notes = _without_result(xml)
            _fill_merged(xml, rows)
            return Grid(rows, sheet=page.title, base_1904=book.epoch == CALENDAR_MAC_1904,
                        notes=notes)
        finally:
            book.close()
    except DataError:
        raise
    except Exception:  # noqa: BLE001 - a damaged workbook fails in any part of the reader
        raise DataError(Problem("the workbook cannot be opened; it is damaged or has a password",
                                "Open it in a spreadsheet program and save it again as .xlsx.",
                                file=str(path), code="workbook-broken")) from None


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
        raise DataError(Problem(f"there is no sheet called {sheet}; there are {names}",
                                "Correct `sheet`.", file=str(path), code="sheet-missing"))
    filled = [page for page in pages if any(any(v is not None for v in row)
                                            for row in _rows_of(page, 50))]
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


def _sheet_xml(path: Path, title: str) -> bytes:
    """The XML of the sheet with this title."""
    with zipfile.ZipFile(path) as archive:
        book = ElementTree.fromstring(archive.read("xl/workbook.xml"))
        named = {one.get("name"): one.get(_RELATION) for one in book.iter()
                 if one.tag.endswith("}sheet")}
        relations = ElementTree.fromstring(archive.read("xl/_rels/workbook.xml.rels"))
        targets = {one.get("Id"): one.get("Target") for one in relations}
        target = str(targets[named[title]])
        return archive.read(target[1:] if target.startswith("/") else f"xl/{target}")


def _without_result(xml: bytes) -> list[str]:
    if b"<f" not in xml and b":f>" not in xml:
        return []
    cells = [found.decode() for found in _CELL_WITH_FORMULA.findall(xml)]
    if not cells:
        return []
    return [f"{len(cells):,} formulas have no result ({cells[0]} is the first) and were read as "
            "blank; open the workbook in a spreadsheet program and save it"]


def _fill_merged(xml: bytes, rows: list[list[str]]) -> None:
    for left, top, _, bottom in _MERGED.findall(xml):
        column = _column_number(left.decode())
        first = int(top) - 1
        if first >= len(rows) or column >= len(rows[first]):
            continue
        value = rows[first][column]
        for row in rows[first + 1:int(bottom)]:
            if any(row):  # a row that holds nothing of its own stays blank
                row.extend([""] * (column + 1 - len(row)))
                row[column] = value


def _column_number(letters: str) -> int:
    number = 0
    for letter in letters:
        number = 26 * number + ord(letter) - 64
    return number - 1

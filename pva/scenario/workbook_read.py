"""The spreadsheet form, read: every problem with its sheet and cell."""

from __future__ import annotations

import os
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from pva.errors import DataError, FormError, Problem
from pva.files import parse_value, restored
from pva.files.choice_lists import LISTS
from pva.files.grid import Grid
from pva.files.near_names import did_you_mean
from pva.files.workbooks import every_sheet
from pva.scenario.load import Written
from pva.scenario.places import Place, WrittenList, WrittenMap
from pva.scenario.scenario import Scenario
from pva.scenario.workbook_cells import advice, from_cell
from pva.scenario.workbook_document import GrowingDocument, placed
from pva.scenario.workbook_headings import cell_name, headings_found
from pva.scenario.workbook_layout import (
    OTHER,
    PAIR,
    RATE_CELLS,
    Cell,
    KeySheet,
    PlaceSheet,
    RowSheet,
)
from pva.scenario.workbook_parts import BETWEEN, label_of
from pva.scenario.workbook_sheets import EVERY, absent_sheets, foreign_sheets
from pva.scenario.workbook_strays import strays_of
from pva.scenario.workbook_write import GUIDE, headings_of
from pva.sources import KINDS

_LISTS = {sheet.path: sheet.name for sheet in EVERY if isinstance(sheet, RowSheet)}


@dataclass(frozen=True)
class FilledForm:
    """A form that is written as it must be, and not yet understood.

    Parameters
    ----------
    written : Written
    absent : tuple of str
        Sheets that it does not have, and whose keys are written on no other sheet.
    """

    written: Written
    absent: tuple[str, ...]

    def scenario(self) -> Scenario:
        """What the form means.

        Raises
        ------
        FormError, MeaningError
            With every problem of the pass, each with sheet and cell.
        """
        return Scenario(self.written)


def read_form(path: str | os.PathLike) -> Scenario:
    """Read a spreadsheet form as a scenario.

    Parameters
    ----------
    path : path
        An ``.xlsx`` file that `write_form` wrote and a person filled in.

    Returns
    -------
    Scenario

    Raises
    ------
    DataError
        It is no workbook that can be opened.
    FormError, MeaningError
        With every problem of the pass, each with sheet and cell.
    """
    return open_form(path).scenario()


def open_form(path: str | os.PathLike) -> FilledForm:
    """Read what is written in a form, not yet what it means.

    Parameters
    ----------
    path : path
        An ``.xlsx`` file.

    Returns
    -------
    FilledForm

    Raises
    ------
    DataError
        It is no workbook that can be opened, or no form.
    FormError
        With every sheet, column and cell that cannot be read.
    """
    path = Path(path)
    reader = _Reader(path)
    document = reader.read()
    if document.problems:
        raise FormError(document.problems)
    data = document.data
    absent = absent_sheets(reader.there, data)
    if isinstance(data.get("estimates"), str):
        data["estimates"] = str(path.parent / data["estimates"])
    return FilledForm(Written(data, (data,), ()), absent)


class _Reader:
    """Puts the cells of a form where they belong."""

    def __init__(self, path: Path):
        self.path = path
        self.document = GrowingDocument()
        self.refuse = self.document.refuse
        self.there: dict[str, Grid] = {}
        self.lost: dict[str, frozenset[str]] = {}  # by sheet: headings that may be meant elsewhere
        self.missing: frozenset[str] = frozenset()  # headings that the sheet being read has not
        self.sheet = ""
        self.told: set = set()  # sheets and columns that are needed and not there

    def read(self) -> GrowingDocument:
        """The written document; rows of lists first, because other sheets name them."""
        self.there = every_sheet(self.path)
        known = {sheet.name: sheet for sheet in EVERY}
        foreign = [name for name in self.there if name not in (*known, GUIDE, LISTS)]
        if len(foreign) >= len(set(known) & set(self.there)):
            raise DataError(Problem("this workbook is no form of a scenario",
                                    "Make one with `pva form SCENARIO`. Tables of the field are "
                                    "named under `tables` of study.yaml.", file=str(self.path),
                                    code="not-a-form"))
        for name, todo in foreign_sheets(self.there, foreign):
            self.refuse(f"the form has no sheet `{name}`", todo, Place(str(self.path)),
                        "unknown-sheet", done="Nothing on it was read")
            self.lost = {sheet.name: frozenset(_names(sheet)) for sheet in EVERY
                         if sheet.name not in self.there}  # one of them may be meant
        sheets = [sheet for sheet in EVERY if sheet.name in self.there]
        for sheet in sorted(sheets, key=lambda s: not isinstance(s, RowSheet)):
            self._sheet(sheet, self.there[sheet.name])
        return self.document

    def _sheet(self, sheet: Any, grid: Grid) -> None:
        names = _names(sheet)
        found = headings_found(grid, names)
        self.lost[sheet.name] = frozenset(names) if found is None else found.lost
        if found is None:
            self.refuse(f"the sheet has lost its headings: {', '.join(names)}",
                        "Write them in again.", Place(f"{self.path}, sheet `{sheet.name}`"),
                        "headings-missing", done="Nothing on it was read")
            return
        for column in found.unread:
            self.refuse(column.what, column.todo, self._place_on(sheet, column.where), column.code,
                        done=column.done)
        for stray in strays_of(sheet, grid, found.at):
            self.refuse(stray.what, stray.todo, self._cell_place(sheet, stray.row, stray.column),
                        stray.code)
        self.sheet, self.missing = sheet.name, found.missing
        take = {KeySheet: self._key, RowSheet: self._row, PlaceSheet: self._place}[type(sheet)]
        for number in range(found.at + 1, len(grid.rows)):
            cells = {found.heads[i]: (restored(text), self._cell_place(sheet, number, i))
                     for i, text in enumerate(grid.rows[number]) if text and i in found.heads}
            if cells:
                take(sheet, cells, self._cell_place(sheet, number, 0))

    def _cell_place(self, sheet: Any, row: int, column: int) -> Place:
        return self._place_on(sheet, f"cell {cell_name(row, column)}")

    def _place_on(self, sheet: Any, where: str) -> Place:
        return Place(f"{self.path}, sheet `{sheet.name}`, {where}")

    def _no_column(self, *headings: str) -> bool:
        """Whether a cell is blank because a column is not there, which is told once."""
        gone = [head for head in headings if head in self.missing]
        if gone and not self.lost[self.sheet] and (self.sheet, gone[0]) not in self.told:
            self.told.add((self.sheet, gone[0]))
            self.refuse(f"the sheet has lost its column `{gone[0]}`, without which its rows cannot "
                        "be read", "Write the column in again.",
                        Place(f"{self.path}, sheet `{self.sheet}`"), "column-missing")
        return bool(gone)

    # the three kinds of sheet

    def _key(self, sheet: KeySheet, cells: dict, place: Place) -> None:
        if "key" not in cells:
            if not self._no_column("key"):
                self.refuse("the row has a value and no key",
                            "Write the key, or take the value away.", place, "no-key")
            return
        key, at = cells["key"]
        if "value" not in cells:
            return
        if sheet is OTHER:
            self._other(key, *cells["value"], at)
            return
        known = {cell.heading: cell for cell in sheet.cells}
        if key not in known:
            self.refuse(f"the sheet has no key `{key}`", did_you_mean(
                key, known, "Keys without a place stand on the sheet `other keys`."), at,
                "unknown-key")
            return
        self._take(known[key], known[key].path, *cells["value"])

    def _row(self, sheet: RowSheet, cells: dict, place: Place) -> None:
        rows = self.document.inside(sheet.path, place, WrittenList)
        if rows is None:
            return
        rows.append(WrittenMap())
        rows.places.append(place)
        self._values(sheet.cells, (*sheet.path, len(rows) - 1), cells)

    def _place(self, sheet: PlaceSheet, cells: dict, place: Place) -> None:
        named = {cell.heading for cell in sheet.labels} & set(cells)
        path = self._path(sheet, {name: cells[name] for name in named}, place)
        if path is None:
            return
        self._values(sheet.cells, path, cells)
        if sheet.rate:
            under = sheet.rate_under
            path = (*path, *(under[-1:] if "until" in cells else under[:1]))
            self._rate(path, cells, place)

    def _path(self, sheet: PlaceSheet, labels: dict, place: Place) -> tuple | None:
        """Where a row of a place sheet stands in the scenario."""
        names = [cell.heading for cell in sheet.labels]
        if self.lost[sheet.name] & set(names):
            return None
        for pattern in sheet.patterns:
            if set(pattern.labels) == set(labels) and all(
                    pattern.allows(k, text) for k, (text, _) in labels.items()):
                return self._resolved(pattern.parts, labels)
        if self._no_column(*names):
            return None
        needed = " or ".join(dict.fromkeys(
            " and ".join(f"`{name}`" for name in p.labels) or "none" for p in sheet.patterns))
        said = ", ".join(f"{k} `{text}`" for k, (text, _) in labels.items()) or "nothing"
        self.refuse(f"the row names {said}, which is no place of this sheet",
                    f"Name {needed}, with the words of the lists.", place, "no-such-place")
        return None

    def _resolved(self, parts: tuple, labels: dict) -> tuple | None:
        path: tuple = ()
        for part in parts:
            if not part.startswith("{"):
                path = (*path, part)
                continue
            text, at = labels[part[1:-1]]
            if path in _LISTS:
                found = self._row_of(path, text, f"there is no {part[1:-1]} called `{text}`",
                                     f"Add it to the sheet `{_LISTS[path]}` first, or take this "
                                     "row away.", at)
                if found is None:
                    return None
                path = (*path, found)
            else:
                path = (*path, text)
        return path

    def _row_of(self, path: tuple, name: str, what: str, todo: str, at: Place) -> int | None:
        """Number of the row of a list that has a name; None where there is none, which is told."""
        known, sheet = _labels(self.document.look(path)), _LISTS.get(path)
        if name in known:
            return known.index(name)
        if "name" in self.lost.get(sheet, ()):  # told already: the names could not be read
            return None
        if sheet is None or sheet in self.there:
            self.refuse(what, did_you_mean(name, known, todo), at, "unknown-name")
        elif sheet not in self.told:
            self.told.add(sheet)
            self.refuse(f"`{name}` is named here, and the form has no sheet `{sheet}` to tell what "
                        "it is", "Take that sheet from a new form (`pva form SCENARIO`), or take "
                        "away all rows that name what stood there.", at, "sheet-missing")
        return None

    # values

    def _values(self, columns: tuple[Cell, ...], path: tuple, cells: dict) -> None:
        pairs: dict[tuple, list] = {}
        for cell in columns:
            if cell.heading not in cells:
                continue
            if cell.kind == PAIR:
                pairs.setdefault(cell.path, []).append(cell)
            else:
                self._take(cell, (*path, *cell.path), *cells[cell.heading])
        for under, ends in pairs.items():
            if len(ends) < 2 and self._no_column(
                    *(cell.heading for cell in columns if cell.path == under)):
                continue
            self._pair(ends, (*path, *under), cells)

    def _pair(self, ends: list[Cell], path: tuple, cells: dict) -> None:
        text, at = cells[ends[0].heading]
        if len(ends) < 2:
            self.refuse(f"`{ends[0].heading}` is one end of two, and the other is blank",
                        "Write both, or none.", at, "one-end")
            return
        found = [self._meant(end, *cells[end.heading]) for end in ends]
        if None not in found:
            self.document.put(path, WrittenList(found, [at, at]), at)

    def _rate(self, path: tuple, cells: dict, place: Place) -> None:
        block = WrittenMap()
        for cell in RATE_CELLS:
            if cell.heading in cells and cell.heading not in ("low", "high", "source_kind",
                                                              "source"):
                text, at = cells[cell.heading]
                value = self._meant(cell, text, at)
                if value is not None:
                    block[cell.path[0]], block.places[cell.path[0]] = value, at
        self._interval(block, cells)
        self._source(block, cells)
        if block:
            self.document.put(path, block, place)

    def _interval(self, block: WrittenMap, cells: dict) -> None:
        ends = [Cell(name, (), PAIR) for name in ("low", "high") if name in cells]
        if not ends:
            return
        at = cells[ends[0].heading][1]
        if len(ends) < 2:
            if not self._no_column("low", "high"):
                self.refuse(f"`{ends[0].heading}` is one end of an interval, and the other is "
                            "blank", "Write low and high, or none.", at, "one-end")
            return
        found = [self._meant(end, *cells[end.heading]) for end in ends]
        if None not in found:
            block["interval"], block.places["interval"] = WrittenList(found, [at, at]), at

    def _source(self, block: WrittenMap, cells: dict) -> None:
        if "source_kind" not in cells:
            if "source" in cells and not self._no_column("source_kind"):
                self.refuse("the source has no kind", "Choose one under `source_kind`.",
                            cells["source"][1], "source-without-kind")
            return
        kind, at = cells["source_kind"]
        if kind not in KINDS:
            self.refuse(f"`source_kind` cannot be `{kind[:40]}`", did_you_mean(
                kind, KINDS, f"Choose one of {', '.join(KINDS)}."), at, "wrong-word")
            return
        words = cells.get("source", ("", at))[0]
        block["source"] = WrittenMap({kind: words}, {kind: at})
        block.places["source"] = at

    def _meant(self, cell: Cell, text: str, at: Place) -> Any:
        """The value of a cell; None where a problem was noted."""
        try:
            return from_cell(text, cell.kind)
        except ValueError as needed:
            self.refuse(f"`{cell.heading}` is `{text[:40]}`, where {needed} is needed",
                        advice(text, cell.kind), at, "wrong-form")
            return None

    def _take(self, cell: Cell, path: tuple, text: str, at: Place) -> None:
        value = self._meant(cell, text, at)
        if value is not None:
            self.document.put(path, value, at)

    def _other(self, key: str, text: str, at: Place, key_at: Place) -> None:
        try:
            value = parse_value(text)
        except FormError as error:
            self.refuse(f"the value of `{key}` cannot be read: {error.problems[0].what}",
                        error.problems[0].todo, at, "wrong-form")
            return
        path: tuple = ()
        for word in key.split(BETWEEN):
            if isinstance(self.document.look(path), list):
                under = BETWEEN.join(map(str, path))
                found = self._row_of(path, word, f"there is no row called `{word}` under `{under}`",
                                     "Add it to its sheet first.", key_at)
                if found is None:
                    return
                path = (*path, found)
            else:
                path = (*path, word)
        self.document.put(path, placed(value, at), at)


def _names(sheet: Any) -> list[str]:
    return [cell.heading for cell in headings_of(sheet)]


def _labels(rows: Any) -> list[str]:
    return [label_of(row, i) for i, row in enumerate(rows or ())]

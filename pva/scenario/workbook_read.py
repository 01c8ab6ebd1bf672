"""The spreadsheet form, read: every problem with its sheet and cell."""

from __future__ import annotations

import os
from pathlib import Path
from typing import Any

from pva.errors import DataError, FormError, Problem
from pva.files import parse_value, restored
from pva.files.choice_lists import LISTS
from pva.files.grid import Grid
from pva.files.near_names import did_you_mean, near_name
from pva.files.workbooks import every_sheet
from pva.scenario.load import Written
from pva.scenario.places import Place, WrittenList, WrittenMap
from pva.scenario.scenario import Scenario
from pva.scenario.workbook_cells import advice, from_cell
from pva.scenario.workbook_layout import (
    OTHER,
    PAIR,
    RATE_CELLS,
    SHEETS,
    Cell,
    KeySheet,
    PlaceSheet,
    RowSheet,
)
from pva.scenario.workbook_parts import BETWEEN, label_of
from pva.scenario.workbook_strays import strays_of
from pva.scenario.workbook_write import GUIDE, headings_of
from pva.sources import KINDS

_MOST_ABOVE = 20  # rows in which the headings may stand


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
    path = Path(path)
    reader = _Reader(path)
    data = reader.document()
    if reader.problems:
        raise FormError(reader.problems)
    if isinstance(data.get("estimates"), str):
        data["estimates"] = str(path.parent / data["estimates"])
    return Scenario(Written(data, (data,), ()))


class _Reader:
    """Puts the cells of a form where they belong."""

    def __init__(self, path: Path):
        self.path = path
        self.data = WrittenMap()
        self.problems: list[Problem] = []
        self.seen: dict[tuple, str] = {}

    def document(self) -> WrittenMap:
        """The written document; rows of lists first, because other sheets name them."""
        there = every_sheet(self.path)
        known = {sheet.name: sheet for sheet in (*SHEETS, OTHER)}
        foreign = [name for name in there if name not in known and name not in (GUIDE, LISTS)]
        if len(foreign) >= len(set(known) & set(there)):
            raise DataError(Problem("this workbook is no form of a scenario",
                                    "Make one with `pva form SCENARIO`. Tables of the field are "
                                    "named under `tables` of study.yaml.", file=str(self.path),
                                    code="not-a-form"))
        for name in foreign:
            near = near_name(name, known)
            self.add(f"the form has no sheet `{name}`", "Take it away." if near is None else
                     f"Call it `{near}` if that is meant, or take it away.",
                     Place(str(self.path)), "unknown-sheet")
        sheets = [known[name] for name in known if name in there]
        for sheet in sorted(sheets, key=lambda s: not isinstance(s, RowSheet)):
            self._sheet(sheet, there[sheet.name])
        return self.data

    def _sheet(self, sheet: Any, grid: Grid) -> None:
        columns = headings_of(sheet)
        at = self._headings(sheet, grid, columns)
        if at is None:
            return
        for stray in strays_of(sheet, grid, at):
            self.add(stray.what, stray.todo, self._cell_place(sheet, stray.row, stray.column),
                     stray.code)
        place_of = {cell.heading: i for i, cell in enumerate(columns)}
        take = {KeySheet: self._key, RowSheet: self._row, PlaceSheet: self._place}[type(sheet)]
        heads = [place_of.get(head) for head in grid.rows[at]]
        for number in range(at + 1, len(grid.rows)):
            cells: dict[str, tuple[str, Place]] = {}
            for i, text in enumerate(grid.rows[number]):
                if not text:
                    continue
                where = self._cell_place(sheet, number, i)
                if i >= len(heads) or heads[i] is None:
                    self.add(f"`{text[:40]}` stands under no heading of the form",
                             "Move it under one, or take it away.", where, "no-heading")
                    continue
                cells[columns[heads[i]].heading] = (restored(text), where)
            if cells:
                take(sheet, cells, self._cell_place(sheet, number, 0))

    def _headings(self, sheet: Any, grid: Grid, columns: list[Cell]) -> int | None:
        """Row of the headings; misspelt ones are told."""
        known = [cell.heading for cell in columns]
        hits = [len(set(row) & set(known)) for row in grid.rows[:_MOST_ABOVE]]
        if not hits or not max(hits):
            self.add(f"the sheet has lost its headings: {', '.join(known)}",
                     "Write them in again.", Place(f"{self.path}, sheet `{sheet.name}`"),
                     "headings-missing")
            return None
        at = hits.index(max(hits))
        for i, head in enumerate(grid.rows[at]):
            if head and head not in known:
                self.add(f"the sheet has no heading `{head}`", did_you_mean(
                    head, known, f"Its headings are {', '.join(known)}."),
                    self._cell_place(sheet, at, i), "unknown-heading")
        return at

    def _cell_place(self, sheet: Any, row: int, column: int) -> Place:
        from openpyxl.utils import get_column_letter

        return Place(f"{self.path}, sheet `{sheet.name}`, cell "
                     f"{get_column_letter(column + 1)}{row + 1}")

    def add(self, what: str, todo: str, place: Place, code: str) -> None:
        """Note a problem."""
        self.problems.append(Problem(what, todo, file=place.file, code=code))

    # the three kinds of sheet

    def _key(self, sheet: KeySheet, cells: dict, place: Place) -> None:
        if "key" not in cells:
            self.add("the row has a value and no key", "Write the key, or take the value away.",
                     place, "no-key")
            return
        key, at = cells["key"]
        if "value" not in cells:
            return
        if sheet is OTHER:
            self._other(key, *cells["value"], at)
            return
        known = {cell.heading: cell for cell in sheet.cells}
        if key not in known:
            self.add(f"the sheet has no key `{key}`", did_you_mean(
                key, known, "Keys without a place stand on the sheet `other keys`."), at,
                "unknown-key")
            return
        self._take(known[key], known[key].path, *cells["value"])

    def _row(self, sheet: RowSheet, cells: dict, place: Place) -> None:
        rows = self._inside(sheet.path, place, WrittenList)
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
        for pattern in sheet.patterns:
            if set(pattern.labels) == set(labels) and all(
                    pattern.allows(k, text) for k, (text, _) in labels.items()):
                return self._resolved(pattern.parts, labels)
        needed = " or ".join(dict.fromkeys(
            " and ".join(f"`{name}`" for name in p.labels) or "none" for p in sheet.patterns))
        said = ", ".join(f"{k} `{text}`" for k, (text, _) in labels.items()) or "nothing"
        self.add(f"the row names {said}, which is no place of this sheet",
                 f"Name {needed}, with the words of the lists.", place, "no-such-place")
        return None

    def _resolved(self, parts: tuple, labels: dict) -> tuple | None:
        path: tuple = ()
        for part in parts:
            if not part.startswith("{"):
                path = (*path, part)
                continue
            text, at = labels[part[1:-1]]
            rows = self._look(path)
            if path and path[-1] in ("sites", "releases") or path[-2:] == ("recruitment", "hosts"):
                known = [label_of(row, i) for i, row in enumerate(rows or ())]
                if text not in known:
                    self.add(f"there is no {part[1:-1]} called `{text}`", did_you_mean(
                        text, known, "Add it to the sheet "
                        f"`{'host fish' if path[-1] == 'hosts' else path[-1]}` first, or take this "
                        "row away."), at, "unknown-name")
                    return None
                path = (*path, known.index(text))
            else:
                path = (*path, text)
        return path

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
            self._pair(ends, (*path, *under), cells)

    def _pair(self, ends: list[Cell], path: tuple, cells: dict) -> None:
        text, at = cells[ends[0].heading]
        if len(ends) < 2:
            self.add(f"`{ends[0].heading}` is one end of two, and the other is blank",
                     "Write both, or none.", at, "one-end")
            return
        found = [self._meant(end, *cells[end.heading]) for end in ends]
        if None not in found:
            self._set(path, WrittenList(found, [at, at]), at)

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
            self._set(path, block, place)

    def _interval(self, block: WrittenMap, cells: dict) -> None:
        ends = [Cell(name, (), PAIR) for name in ("low", "high") if name in cells]
        if not ends:
            return
        at = cells[ends[0].heading][1]
        if len(ends) < 2:
            self.add(f"`{ends[0].heading}` is one end of an interval, and the other is blank",
                     "Write low and high, or none.", at, "one-end")
            return
        found = [self._meant(end, *cells[end.heading]) for end in ends]
        if None not in found:
            block["interval"], block.places["interval"] = WrittenList(found, [at, at]), at

    def _source(self, block: WrittenMap, cells: dict) -> None:
        if "source_kind" not in cells:
            if "source" in cells:
                self.add("the source has no kind", "Choose one under `source_kind`.",
                         cells["source"][1], "source-without-kind")
            return
        kind, at = cells["source_kind"]
        if kind not in KINDS:
            self.add(f"`source_kind` cannot be `{kind[:40]}`", did_you_mean(
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
            self.add(f"`{cell.heading}` is `{text[:40]}`, where {needed} is needed",
                     advice(text, cell.kind), at, "wrong-form")
            return None

    def _take(self, cell: Cell, path: tuple, text: str, at: Place) -> None:
        value = self._meant(cell, text, at)
        if value is not None:
            self._set(path, value, at)

    def _other(self, key: str, text: str, at: Place, key_at: Place) -> None:
        try:
            value = parse_value(text)
        except FormError as error:
            self.add(f"the value of `{key}` cannot be read: {error.problems[0].what}",
                     error.problems[0].todo, at, "wrong-form")
            return
        path: tuple = ()
        for word in key.split(BETWEEN):
            rows = self._look(path)
            if isinstance(rows, list):
                known = [label_of(row, i) for i, row in enumerate(rows)]
                if word not in known:
                    under = BETWEEN.join(map(str, path))
                    self.add(f"there is no row called `{word}` under `{under}`", did_you_mean(
                        word, known, "Add it to its sheet first."), key_at, "unknown-name")
                    return
                path = (*path, known.index(word))
            else:
                path = (*path, word)
        self._set(path, _placed(value, at), at)

    def _look(self, path: tuple) -> Any:
        data: Any = self.data
        for part in path:
            try:
                data = data[part]
            except (KeyError, IndexError, TypeError):
                return None
        return data

    def _inside(self, path: tuple, at: Place, kind: type) -> Any:
        """The container at a path, made where it is missing; None where something else stands."""
        data: Any = self.data
        for i, part in enumerate(path):
            last = i == len(path) - 1
            if isinstance(data, dict) and part not in data:
                data[part] = kind() if last else WrittenMap()
                data.places[part] = at
            data = data[part]
            if not isinstance(data, kind if last else dict | list):
                self.add(f"`{'.'.join(map(str, path[:i + 1]))}` is written in two ways",
                         "Keep one of the two.", at, "written-twice")
                return None
        return data

    def _set(self, path: tuple, value: Any, at: Place) -> None:
        if path in self.seen:
            self.add(f"the same is written a second time; first {self.seen[path]}",
                     "Keep one of the two.", at, "written-twice")
            return
        self.seen[path] = str(at.file).partition(", ")[2]
        inside = self.data if len(path) == 1 else self._inside(path[:-1], at, WrittenMap)
        if inside is None:
            return
        if isinstance(inside.get(path[-1]), dict | list):
            self.add(f"`{'.'.join(map(str, path))}` is written in two ways", "Keep one of the two.",
                     at, "written-twice")
            return
        inside[path[-1]] = value
        inside.places[path[-1]] = at


def _placed(data: Any, at: Place) -> Any:
    """Plain data with one place for all of it."""
    if isinstance(data, dict):
        return WrittenMap({k: _placed(v, at) for k, v in data.items()}, dict.fromkeys(data, at))
    if isinstance(data, list):
        return WrittenList([_placed(v, at) for v in data], [at] * len(data))
    return data

"""A written scenario taken apart into the sheets of the spreadsheet form."""

from __future__ import annotations

import json
from collections.abc import Iterator
from dataclasses import dataclass, field
from typing import Any

from pva.scenario.form import without_nulls
from pva.scenario.workbook_cells import NOTHING, to_cell
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

BETWEEN = " > "  # between the parts of a path on the sheet of other keys
_RATE_KEYS = {cell.path[0] for cell in RATE_CELLS}


@dataclass
class Parts:
    """Rows of every sheet, by heading, and on the sheet of other keys what is left.

    Parameters
    ----------
    data : dict
        The written scenario as plain data, `extends` followed.
    """

    data: dict
    rows: dict[str, list[dict[str, Any]]] = field(default_factory=dict)
    _taken: set[tuple] = field(default_factory=set)

    def __post_init__(self):
        for sheet in SHEETS:
            take = {KeySheet: self._keys, RowSheet: self._rows, PlaceSheet: self._places}
            self.rows[sheet.name] = list(take[type(sheet)](sheet))
        self.rows[OTHER.name] = [
            {"key": BETWEEN.join(self._label(path, i) for i in range(len(path))),
             "value": json.dumps(value, ensure_ascii=False)}
            for path, value in self._left(self.data, ())]

    def _keys(self, sheet: KeySheet) -> Iterator[dict]:
        for cell in sheet.cells:
            yield {"key": cell.heading, "value": self._cell(cell, cell.path), "unit": cell.unit}

    def _rows(self, sheet: RowSheet) -> Iterator[dict]:
        rows = _at(self.data, sheet.path)
        if not isinstance(rows, list) or not all(isinstance(r, dict) for r in rows):
            return
        for i in range(len(rows)):
            yield self._values(sheet.cells, (*sheet.path, i))

    def _places(self, sheet: PlaceSheet) -> Iterator[dict]:
        for pattern in sheet.patterns:
            for labels, path in _expand(self.data, pattern.parts, (), {}):
                if not all(pattern.allows(k, v) for k, v in labels.items()) or self._done(path):
                    continue
                row = self._values(sheet.cells, path)
                if sheet.rate:
                    under = [p for p in sheet.rate_under if _at(self.data, (*path, p)) is not None]
                    row |= self._rate((*path, *under[-1:]))
                if any(v is not None for v in row.values()):
                    yield labels | row

    def _values(self, cells: tuple[Cell, ...], path: tuple) -> dict[str, Any]:
        """Plain values under a path; the two ends of a pair stand in neighbouring cells."""
        found: dict[str, Any] = {}
        for i, cell in enumerate(cells):
            if cell.kind != PAIR:
                found[cell.heading] = self._cell(cell, (*path, *cell.path))
            elif i + 1 < len(cells) and cells[i + 1].path == cell.path:
                ends = _at(self.data, (*path, *cell.path))
                pair = [None, None] if not _is_pair(ends) else [to_cell(e, PAIR) for e in ends]
                if pair[0] is not None and NOTHING not in pair:
                    self._taken.add((*path, *cell.path))
                else:
                    pair = [None, None]
                found |= {cell.heading: pair[0], cells[i + 1].heading: pair[1]}
        return found

    def _cell(self, cell: Cell, path: tuple) -> Any:
        value = _at(self.data, path)
        shown = NOTHING if value is None else to_cell(value, cell.kind)
        if shown is NOTHING:
            return None
        self._taken.add(path)
        return shown

    def _rate(self, path: tuple) -> dict[str, Any]:
        """Cells of a RATE; nothing where it holds what no cell can show."""
        block = _at(self.data, path)
        if isinstance(block, int | float) and not isinstance(block, bool):
            block = {"value": block}
        if not isinstance(block, dict) or not block or not set(block) <= _RATE_KEYS:
            return {}
        if None in block.values():  # takes away at a site what holds at top level
            return {}
        row: dict[str, Any] = {}
        for cell in RATE_CELLS:
            value = block.get(cell.path[0])
            row[cell.heading] = None if value is None else _rate_part(cell, value)
        if NOTHING in row.values():
            return {}
        self._taken.add(path)
        return row

    def _done(self, path: tuple) -> bool:
        return any(path[:n] in self._taken for n in range(1, len(path) + 1))

    def _left(self, data: Any, path: tuple) -> Iterator[tuple[tuple, Any]]:
        """What no sheet has taken, in the largest pieces."""
        if path and path in self._taken:
            return
        if path and not any(one[:len(path)] == path for one in self._taken):
            yield path, data
            return
        items = enumerate(data) if isinstance(data, list) else data.items()
        for key, value in items:
            yield from self._left(value, (*path, key))

    def _label(self, path: tuple, i: int) -> str:
        """A part of a path in words; rows by their name, else by their number."""
        if not isinstance(_at(self.data, path[:i]), list):
            return str(path[i])
        return label_of(_at(self.data, path[:i + 1]), path[i])


def as_written(document: dict) -> dict:
    """A written document without empty values; at a site they take away what holds elsewhere."""
    return {k: v if k == "sites" else without_nulls(v) for k, v in document.items()
            if v is not None}


def label_of(row: Any, index: int) -> str:
    """How a row of a list is named on other sheets."""
    name = row.get("name") if isinstance(row, dict) else None
    return name if isinstance(name, str) else f"row {index + 1}"


def _rate_part(cell: Cell, value: Any) -> Any:
    if cell.heading in ("low", "high"):
        return to_cell(value[cell.heading == "high"], PAIR) if _is_pair(value) else NOTHING
    if cell.heading in ("source_kind", "source"):
        if not isinstance(value, dict) or len(value) != 1:
            return NOTHING
        kind, words = next(iter(value.items()))
        return kind if cell.heading == "source_kind" else words or None
    return to_cell(value, cell.kind)


def _is_pair(value: Any) -> bool:
    return isinstance(value, list) and len(value) == 2


def _at(data: Any, path: tuple) -> Any:
    for part in path:
        if isinstance(data, dict) and part in data or isinstance(data, list) and isinstance(
                part, int) and part < len(data):
            data = data[part]
        else:
            return None
    return data


def _expand(data: Any, parts: tuple, path: tuple, labels: dict) -> Iterator[tuple[dict, tuple]]:
    """Every place that a pattern finds, with its labels."""
    if len(path) == len(parts):
        yield labels, path
        return
    part = parts[len(path)]
    if not part.startswith("{"):
        if isinstance(data, dict) and part in data:
            yield from _expand(data[part], parts, (*path, part), labels)
        return
    if isinstance(data, list):
        named = [(i, label_of(row, i)) for i, row in enumerate(data)]
    else:
        named = [(k, k) for k in data if isinstance(k, str)] if isinstance(data, dict) else []
    for key, label in named:
        yield from _expand(data[key], parts, (*path, key), labels | {part[1:-1]: label})

"""What a person typed into a form where nobody would read it: told, never passed over."""

from __future__ import annotations

import re
from collections.abc import Iterator
from typing import Any, NamedTuple

from pydantic_core import PydanticCustomError

from pva.files.grid import Grid
from pva.scenario.spec_types import to_number
from pva.scenario.workbook_layout import OTHER, KeySheet

_PLACE = re.compile(r"([A-Z]+)(\d+)")


class Stray(NamedTuple):
    """A cell whose text would get lost.

    Parameters
    ----------
    what, todo : str
    row, column : int
        Counted from 0.
    code : str
    """

    what: str
    todo: str
    row: int
    column: int
    code: str


def strays_of(sheet: Any, grid: Grid, at: int) -> Iterator[Stray]:
    """Every such cell of a sheet whose headings stand in row `at`, counted from 0."""
    yield from _without_result(grid)
    yield from _above(grid, at)
    if isinstance(sheet, KeySheet):
        yield from _beside(sheet, grid, at)


def _without_result(grid: Grid) -> Iterator[Stray]:
    """Formulas that no program has worked out: they read as blank."""
    from openpyxl.utils import column_index_from_string

    for place in grid.without_result:
        letters, number = _PLACE.fullmatch(place).groups()
        yield Stray("the cell holds a formula without a result",
                    "Open the form in a spreadsheet program and save it, or write the value "
                    "itself.", int(number) - 1, column_index_from_string(letters) - 1,
                    "formula-without-result")


def _above(grid: Grid, at: int) -> Iterator[Stray]:
    for row in range(at):
        for column, text in enumerate(grid.rows[row]):
            if _is_number(text):
                yield Stray(f"`{text}` stands above the headings, where nothing is read",
                            "Move it below them, or take it away.", row, column, "above-headings")


def _beside(sheet: KeySheet, grid: Grid, at: int) -> Iterator[Stray]:
    """Values typed beside the column of values."""
    heads = {head: i for i, head in enumerate(grid.rows[at])}
    units = {cell.heading: cell.unit for cell in sheet.cells}
    for number in range(at + 1, len(grid.rows)):
        row = grid.rows[number]
        key, value, unit, meaning = (
            row[heads[name]] if name in heads and heads[name] < len(row) else ""
            for name in ("key", "value", "unit", "meaning"))
        other = unit and not value and unit != units.get(key) and (sheet is OTHER or key in units)
        for name, text, lost in (("unit", unit, other or _is_number(unit)),
                                 ("meaning", meaning, _is_number(meaning))):
            if lost:
                yield Stray(f"`{text[:40]}` stands under `{name}`, where nothing is read",
                            "Move it under `value`, or take it away.", number, heads[name],
                            "beside-value")


def _is_number(text: str) -> bool:
    try:
        to_number(text)
    except PydanticCustomError:
        return False
    return True

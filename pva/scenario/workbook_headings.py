"""The headings of a sheet of the form: which column holds what, and which cannot be read.

A column that cannot be read is one problem, however many cells stand in it.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

from pva.files.grid import Grid
from pva.files.near_names import near_name

MOST_ABOVE = 20  # rows in which the headings may stand
_NOTES = "notes may stand on the sheet `read me`"
_WRITE_OR_AWAY = f"Write the heading that is meant, or take the column away; {_NOTES}."


@dataclass(frozen=True)
class Unread:
    """A column of which nothing was read.

    Parameters
    ----------
    where, what, done, todo, code : str
        As in a `Problem`; where is its column and row, or its only cell.
    """

    where: str
    what: str
    done: str
    todo: str
    code: str


@dataclass(frozen=True)
class Headings:
    """The row of headings, understood.

    Parameters
    ----------
    at : int
        Row of the headings, counted from 0.
    heads : dict of int to str
        Headings of the columns that are read, by column, counted from 0.
    unread : tuple of Unread
    missing : frozenset of str
        Headings that no column has.
    """

    at: int
    heads: dict[int, str]
    unread: tuple[Unread, ...]
    missing: frozenset[str]

    @property
    def lost(self) -> frozenset[str]:
        """Missing headings of which one may be meant on a column that could not be read.

        What they would hold is not blamed for being blank: the column is told already.
        """
        return self.missing if self.unread else frozenset()


def cell_name(row: int, column: int) -> str:
    """Name of a cell, such as C7; row and column counted from 0."""
    return f"{_letters(column)}{row + 1}"


def headings_found(grid: Grid, known: Sequence[str]) -> Headings | None:
    """The headings of a sheet; None where it has none of those known."""
    hits = [len(set(row) & set(known)) for row in grid.rows[:MOST_ABOVE]]
    if not hits or not max(hits):
        return None
    at = hits.index(max(hits))
    row = grid.rows[at]
    first = {head: row.index(head) for head in known if head in row}
    reading = _Columns(grid, at, known, first)
    heads = {column: head for head, column in first.items()}
    return Headings(at, heads, tuple(reading.unread()), frozenset(reading.missing))


class _Columns:
    """The columns below a row of headings, of which some cannot be read."""

    def __init__(self, grid: Grid, at: int, known: Sequence[str], first: dict[str, int]):
        self.rows, self.at, self.known, self.first = grid.rows, at, known, first
        self.missing = [head for head in known if head not in first]

    def unread(self) -> Iterator[Unread]:
        """Every column with a heading that the form does not have, twice, or not at all."""
        row, read = self.rows[self.at], set(self.first.values())
        for column in range(max(len(r) for r in self.rows[self.at:])):
            head = row[column] if column < len(row) else ""
            if column in read:
                continue
            below = [n for n in range(self.at + 1, len(self.rows))
                     if column < len(self.rows[n]) and self.rows[n][column]]
            if head in self.first:
                yield self._twice(head, column, below)
            elif head:
                yield self._unknown(head, column, below)
            elif below:
                yield self._without(column, below)

    def _unknown(self, head: str, column: int, below: list[int]) -> Unread:
        return Unread(self._place(column), f"the sheet has no heading `{head[:40]}`",
                      _not_read(column, below), self._meant(head), "unknown-heading")

    def _twice(self, head: str, column: int, below: list[int]) -> Unread:
        return Unread(self._place(column), f"the heading `{head}` stands here a second time; first "
                      f"in column {_letters(self.first[head])}", _not_read(column, below),
                      "Keep one of the two columns.", "heading-twice")

    def _without(self, column: int, below: list[int]) -> Unread:
        if len(below) == 1:
            text = self.rows[below[0]][column][:40]
            return Unread(f"cell {cell_name(below[0], column)}",
                          f"`{text}` stands under no heading of the form", "",
                          "Move it under one, or take it away.", "no-heading")
        return Unread(self._place(column), "the column has no heading", _not_read(column, below),
                      f"{self._missing_here()} {_WRITE_OR_AWAY}" if self.missing else
                      f"Move its cells under a heading, or take them away; {_NOTES}.", "no-heading")

    def _place(self, column: int) -> str:
        return f"column {_letters(column)}, row {self.at + 1}"

    def _meant(self, head: str) -> str:
        """The heading that was probably meant, or those that are not there."""
        near = near_name(head, self.known)
        if near in self.missing:
            return f"Did you mean `{near}`? Write it so, or take the column away."
        there = "" if near is None else (
            f"The nearest, `{near}`, stands in column {_letters(self.first[near])}. ")
        if not self.missing:
            return f"{there}No heading of the form is missing: take the column away; {_NOTES}."
        return f"{there}{self._missing_here()} {_WRITE_OR_AWAY}"

    def _missing_here(self) -> str:
        return f"Missing from the sheet: {', '.join(f'`{head}`' for head in self.missing)}."


def _not_read(column: int, below: list[int]) -> str:
    if not below:
        return "No cell below it is filled"
    first, last = cell_name(below[0], column), cell_name(below[-1], column)
    if len(below) == 1:
        return f"The filled cell below it ({first}) was not read"
    return f"The {len(below)} filled cells below it ({first} to {last}) were not read"


def _letters(column: int) -> str:
    from openpyxl.utils import get_column_letter

    return get_column_letter(column + 1)

"""Which row of a grid holds the names of the columns, and what they are called."""

from __future__ import annotations

from collections import Counter
from pathlib import Path

from pva.errors import DataError, Problem
from pva.files.grid import Grid
from pva.files.sheet_cells import MOST_COLUMNS

NO_HEADER = 0
HEADER_SEARCH_ROWS = 30


def header_of(path: Path, grid: Grid, header_row: int | None, wanted: list[str]
              ) -> tuple[int, list[str]]:
    """Place of the header and the names of the columns.

    Returns
    -------
    at : int
        Index of the header among the rows; -1 where the table has none.
    names : list of str
        A column without a name is called ``column N``.

    Raises
    ------
    DataError
        The table is empty, the row named is blank, or a name stands twice.
    """
    filled = [i for i, row in enumerate(grid.rows) if any(row)]
    if not filled:
        raise DataError(Problem("the table is empty", "Name the right file and sheet. If there is "
                                "nothing to list, keep the headings alone.",
                                file=str(path), code="table-empty"))
    if header_row == NO_HEADER:
        width = max(_width(grid.rows[i]) for i in filled)
        return -1, [f"column {i}" for i in range(1, width + 1)]
    at = header_row - 1 if header_row else _header_at(grid.rows, filled, wanted)
    if at >= len(grid.rows) or not any(grid.rows[at]):
        raise DataError(Problem(f"row {at + 1} is empty and cannot be the header",
                                "Correct `header_row`.", file=str(path), code="header-missing"))
    return at, _names(path, grid.rows[at], at + 1)


def plain_name(name: str) -> str:
    """A column name with case, spaces, underscores and a final full stop levelled."""
    return " ".join(name.replace("_", " ").casefold().split()).rstrip(".:")


def _width(row: list[str]) -> int:
    return max((i for i, cell in enumerate(row, 1) if cell), default=0)


def _header_at(rows: list[list[str]], filled: list[int], wanted: list[str]) -> int:
    top = [i for i in filled if i < HEADER_SEARCH_ROWS] or filled[:1]
    names = {plain_name(name) for name in wanted}
    hits = [len(names & {plain_name(cell) for cell in rows[i]}) for i in top]
    if max(hits) > 0:
        return top[hits.index(max(hits))]
    several = [i for i in top if sum(bool(cell) for cell in rows[i]) >= 2]
    return (several or top)[0]


def _names(path: Path, cells: list[str], row: int) -> list[str]:
    cells = cells[:_width(cells)]
    names = [" ".join(cell.split()) or f"column {i}" for i, cell in enumerate(cells, 1)]
    if len(names) > MOST_COLUMNS:
        raise DataError(Problem(f"the header has {len(names):,} columns; at most {MOST_COLUMNS:,} "
                                "are read", "Look whether a separator or a line end is wrong.",
                                file=str(path), line=row, code="table-too-wide"))
    twice = sorted(name for name, times in Counter(names).items() if times > 1)
    if twice:
        raise DataError(Problem(f"the column {', '.join(twice)} stands twice in the header",
                                "Give every column its own name.", file=str(path), line=row,
                                code="column-twice"))
    return names

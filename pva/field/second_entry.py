"""Field sheets typed by two persons: what differs, cell by cell. Nothing is changed.

Typing everything twice and comparing is the surest way to find slips that look like good data.
"""

from __future__ import annotations

from collections import Counter, defaultdict
from collections.abc import Callable
from dataclasses import dataclass, field
from operator import eq
from pathlib import Path

import pandas as pd

from pva.errors import DataError, Problem
from pva.field.account import LedgerTable
from pva.field.columns import BLANKS, targets_of_columns
from pva.field.dates import read_date
from pva.field.opening import open_table
from pva.field.spec import TableFile
from pva.field.study import Study
from pva.field.tags import read_tag
from pva.files import RawTable
from pva.files.headers import plain_name

CELLS = ["file", "row", "other_file", "other_row", "column", "value", "other_value", "secret"]
MISSING = ["file", "row", "missing_in", "cells"]
TABLE_ENDINGS = (".csv", ".xlsx", ".txt", ".tsv", ".xlsm")
RARE, NEAR = 3, 5  # rows that share a rare cell, or stand about where expected, may be one record
IN_ORDER = 0.8  # share of rows that stand behind the same row in both tables, where order is kept
_PLACES = ("lat", "lon", "northing", "easting", "coord", "gps")
_MOST_DIGITS = 12  # longer numbers are names, such as tags


@dataclass
class SecondEntry:
    """What two persons typed differently.

    Parameters
    ----------
    compared : list of (str, str)
        Table of the study and file it was compared with.
    cells : DataFrame
        One row a cell that differs: `CELLS`; `secret` where it holds a position.
    missing : DataFrame
        Rows that one of the two lacks: `MISSING`.
    notes : list of str
        Tables and columns that only one of the two has.
    """

    compared: list[tuple[str, str]] = field(default_factory=list)
    cells: pd.DataFrame = field(default_factory=lambda: pd.DataFrame(columns=CELLS))
    missing: pd.DataFrame = field(default_factory=lambda: pd.DataFrame(columns=MISSING))
    notes: list[str] = field(default_factory=list)

    @property
    def differ(self) -> bool:
        """Whether anything has to be looked up on the field sheets."""
        return bool(len(self.cells) or len(self.missing) or self.notes)


def compare_entries(study: Study, other: Path) -> SecondEntry:
    """Compare the tables of a study with those typed by a second person.

    The same value written another way (54 and 54.0, another form of a tag or a date, small and
    capital letters) is no difference; the order of rows is none either.

    Parameters
    ----------
    study : Study
    other : Path
        A folder with files of the same names (the ending may differ), or one table.

    Returns
    -------
    SecondEntry

    Raises
    ------
    DataError
        No table has a counterpart, or a table cannot be read.
    """
    tables: list[tuple[str, TableFile]] = [(t.kind, t) for t in study.spec.tables]
    if study.spec.visits is not None and study.spec.visits.table is not None:
        tables.append(("visits", study.spec.visits.table))
    found, cells, missing = SecondEntry(), [], []
    for kind, spec, path in _counterparts(study, tables, other, found.notes):
        one = LedgerTable(spec.label, kind, open_table(study, kind, spec), 0)
        second = LedgerTable(str(path), kind, open_table(study, kind, _as_typed(spec, path), path),
                             0)
        found.compared.append((one.label, second.label))
        _compare(one, second, spec, cells, missing, found.notes)
    found.cells = pd.DataFrame(cells, columns=CELLS)
    found.missing = pd.DataFrame(missing, columns=MISSING)
    return found


def _counterparts(study: Study, tables: list, other: Path, notes: list[str]) -> list[tuple]:
    pairs = []
    for kind, spec in tables:
        if other.is_dir():
            path = _in_folder(other, spec.file)
            if path is None:
                notes.append(f"{spec.label} has no counterpart in {other}")
        else:
            path = other if Path(spec.file).stem.casefold() == other.stem.casefold() else None
        if path is not None:
            pairs.append((kind, spec, path))
    if not pairs and not other.is_dir():
        pairs = _by_header(study, tables, other)
    if not pairs:
        names = ", ".join(dict.fromkeys(spec.file for _, spec in tables))
        raise DataError(Problem(
            f"no table of the study has a counterpart here; the study reads {names}",
            "Give the second file the same name, or keep the second files in a folder under the "
            "same names.", done="Nothing was compared.", file=str(other),
            code="no-second-entry"))
    return pairs


def _in_folder(folder: Path, file: str) -> Path | None:
    for place in (folder / file, folder / Path(file).name):
        for ending in dict.fromkeys((place.suffix, *TABLE_ENDINGS)):
            if place.with_suffix(ending).is_file():
                return place.with_suffix(ending)
    return None


def _by_header(study: Study, tables: list, other: Path) -> list[tuple]:
    """The one table with the same columns as a file of another name."""
    fits = []
    for kind, spec in tables:
        try:
            one = open_table(study, kind, spec).header
            second = open_table(study, kind, _as_typed(spec, other), other).header
        except DataError:
            continue
        if set(map(plain_name, one)) == set(map(plain_name, second)):
            fits.append((kind, spec, other))
    return fits if len(fits) == 1 else []


def _as_typed(spec: TableFile, path: Path) -> TableFile:
    """How the second file is read: another ending has its own sheet and separator."""
    if path.suffix.lower() == Path(spec.file).suffix.lower():
        return spec
    return spec.model_copy(update={"sheet": None, "delimiter": None, "header_row": (
        0 if spec.header_row == 0 else None)})


def _compare(one: LedgerTable, other: LedgerTable, spec: TableFile, cells: list, missing: list,
             notes: list[str]) -> None:
    names = {plain_name(n): i for i, n in enumerate(one.raw.header)}
    others = {plain_name(n): i for i, n in enumerate(other.raw.header)}
    for lacking, there, here in ((other, names, others), (one, others, names)):
        for name in there.keys() - here.keys():
            notes.append(f"{lacking.label} has no column {name}")
    shared = [(i, others[name]) for name, i in names.items() if name in others]
    targets = targets_of_columns(one, spec)
    levels = [_level(targets.get(i, ""), spec) for i, _ in shared]
    first, second = (_levelled(raw, [pair[side] for pair in shared], levels)
                     for side, raw in enumerate((one.raw, other.raw)))
    pairs, only_first, only_second = pair_rows(first, second)
    for i, j in pairs:
        for k, (a, b) in enumerate(shared):
            if first[i][k] != second[j][k]:
                name = one.raw.header[a]
                cells.append((one.label, one.raw.numbers[i], other.label, other.raw.numbers[j],
                              name, one.raw.rows[i][a], other.raw.rows[j][b],
                              _tells_place(targets.get(a, ""), name)))
    for rows, table, lacking in ((only_first, one, other), (only_second, other, one)):
        for i in rows:
            hidden = {k for k, (a, b) in enumerate(shared)
                      if _tells_place(targets.get(a, ""), one.raw.header[a])}
            written = [table.raw.rows[i][pair[table is other]] for k, pair in enumerate(shared)
                       if k not in hidden]
            missing.append((table.label, table.raw.numbers[i], lacking.label,
                            ", ".join(c for c in written if c)))


def _tells_place(target: str, name: str) -> bool:
    """Whether a column holds positions, by what the study says of it or by its own name."""
    return target in ("latitude", "longitude") or plain_name(name).startswith(_PLACES)


def _level(target: str, spec: TableFile) -> Callable[[str], str]:
    """What a cell of this column means, as text to be compared."""
    def level(cell: str) -> str:
        word = " ".join(cell.casefold().split())
        if word in BLANKS:
            return ""
        if target in ("tag", "second_mark"):
            tag = read_tag(cell)
            return word if tag.fault else tag.name
        if "date" in target and (day := read_date(cell, spec.dates).date):
            return day.isoformat()
        return _number(word)
    return level


def _number(word: str) -> str:
    plain = word.replace(",", ".")
    if len(plain) > _MOST_DIGITS or not plain[-1:].isdigit():
        return word
    try:
        return f"{float(plain):.12g}"
    except ValueError:
        return word


def _levelled(raw: RawTable, places: list[int], levels: list[Callable]) -> list[tuple[str, ...]]:
    columns = []
    for place, level in zip(places, levels, strict=True):
        cells = [row[place] for row in raw.rows]
        read = {cell: level(cell) for cell in set(cells)}
        columns.append([read[cell] for cell in cells])
    return list(zip(*columns, strict=True)) if columns else [()] * len(raw.rows)


def pair_rows(first: list[tuple], second: list[tuple]
              ) -> tuple[list[tuple[int, int]], list[int], list[int]]:
    """Find the rows of two tables that are the same record, in whatever order.

    Equal rows are paired first, copies of one row by the place where they are expected. The others
    are paired with the most alike row that shares a rare cell, such as a tag, or stands about where
    it is expected, if half of their filled cells agree.

    Returns
    -------
    pairs : list of (int, int)
        In the order of the first table.
    only_first, only_second : list of int
    """
    equal = _equal_rows(first, second)
    pairs = list(equal.items())
    left = [i for i in range(len(first)) if i not in equal]
    right = sorted(set(range(len(second))) - set(equal.values()))
    taken_first, taken_second = set(), set()
    for *_, i, j in sorted(_alike(first, second, left, right, equal)):
        if i not in taken_first and j not in taken_second:
            pairs.append((i, j))
            taken_first.add(i)
            taken_second.add(j)
    left = [i for i in left if i not in taken_first]
    right = [j for j in right if j not in taken_second]
    moved = _places([second[j] for j in right])
    far = [(i, right[moved[first[i]].pop(0)]) for i in left if moved[first[i]]]
    return (sorted(pairs + far), sorted(set(left) - {i for i, _ in far}),
            sorted(set(right) - {j for _, j in far}))


def _equal_rows(first: list[tuple], second: list[tuple]) -> dict[int, int]:
    """Pairs of equal rows; rows that stand once in both tell where copies are expected."""
    here, there = _places(first), _places(second)
    paired = {at[0]: there[row][0] for row, at in here.items()
              if len(at) == 1 == len(there.get(row, ()))}
    shifts = _shifts(paired, len(first))
    in_order = sum(map(eq, shifts[0], shifts[0][1:])) >= IN_ORDER * (len(first) - 1)
    for row, at in here.items():
        if at[0] in paired:
            continue
        free = dict.fromkeys(there.get(row, ()))
        for shift in shifts:
            for i in at:
                if i not in paired and i + shift[i] in free:
                    paired[i] = i + shift[i]
                    del free[i + shift[i]]
        if not in_order:  # else a copy far off is more likely another record, and waits
            paired.update(zip((i for i in at if i not in paired), free, strict=False))
    return paired


def _places(rows: list[tuple]) -> dict[tuple, list[int]]:
    places: dict[tuple, list[int]] = defaultdict(list)
    for i, row in enumerate(rows):
        places[row].append(i)
    return places


def _shifts(paired: dict[int, int], rows: int) -> tuple[list[int], list[int]]:
    """How far down each row of the first is expected, by the pair before and the one after."""
    before, last = [], 0
    for i in range(rows):
        last = paired[i] - i if i in paired else last
        before.append(last)
    after = []
    for i in reversed(range(rows)):
        last = paired[i] - i if i in paired else last
        after.append(last)
    return before, after[::-1]


def _alike(first: list, second: list, left: list[int], right: list[int],
           paired: dict[int, int]) -> list[tuple]:
    """Rows that may be one record, to be sorted: the most alike come first; ends in both rows."""
    counts = Counter((k, cell) for row in second for k, cell in enumerate(row) if cell)
    holding: dict[tuple[int, str], list[int]] = defaultdict(list)
    free = set(right)
    for j in right:
        for k, cell in enumerate(second[j]):
            if cell and counts[k, cell] <= RARE:
                holding[k, cell].append(j)
    found, (before, after) = [], _shifts(paired, len(first))
    for i in left:
        row, expected = first[i], {i + before[i], i + after[i]}
        options = free & {j for at in expected for j in range(at - NEAR, at + NEAR + 1)}
        for k, cell in enumerate(row):
            options.update(holding.get((k, cell), ()))
        for j in options:
            agree = sum(a == b != "" for a, b in zip(row, second[j], strict=True))
            filled = sum(bool(a or b) for a, b in zip(row, second[j], strict=True))
            if agree and 2 * agree >= filled:
                rare = sum(j in holding.get((k, cell), ()) for k, cell in enumerate(row))
                found.append((-rare, filled - agree, min(abs(at - j) for at in expected), i, j))
    return found

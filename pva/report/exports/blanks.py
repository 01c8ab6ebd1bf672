"""Units whose blanks may be told as absences, and animals that found no unit.

An absence is published for ever and read by people who never saw the field sheet. So it is told
only where somebody dug, where the animals of that survey were entered as many as were counted, and
where no row of an animal that may belong to the unit was set aside.
"""

from __future__ import annotations

import re
from dataclasses import dataclass

from pva.field.records import FieldRecords

_ANIMALS = "animals"


@dataclass(frozen=True)
class Blanks:
    """What may be said of units without an animal.

    Parameters
    ----------
    counted : frozenset
        Index of units in which every animal entered was used.
    absent : frozenset
        Those of them that were dug, too: a species not found there may be told as absent.
    unplaced : int
        Rows of animals set aside that name no unit of the study; they may belong to any.
    """

    counted: frozenset
    absent: frozenset
    unplaced: int


def blanks_of(records: FieldRecords) -> Blanks:
    """Which units are counted in full.

    A survey without a single animal is counted where a table of animals holds its header alone,
    which is how "none found" is entered.
    """
    units, account = records.units, records.account
    tables = account.tables[account.tables["is"] == _ANIMALS]
    if not len(tables):
        return Blanks(frozenset(), frozenset(), 0)
    none_found = bool((tables["in"] == 0).any())
    entered = {_bare(s) for s in records.animals["survey"]}
    lost, unplaced = _doubtful(units, account, set(tables["file"]))
    counted = frozenset(
        one.Index for one in units.itertuples()
        if (none_found or _bare(one.survey) in entered) and _bare(one.unit) not in lost
        and "animals-found-differs" not in one.flags.split())
    dug = frozenset(one.Index for one in units.itertuples() if one.excavated is not False)
    return Blanks(counted, counted & dug, unplaced)


def _doubtful(units, account, files: set) -> tuple[set, int]:
    """Names of units that a row of an animal set aside may belong to, and rows without any."""
    known = {_bare(name) for name in units["unit"]}
    aside = account.set_aside
    lost, unplaced = set(), 0
    for cells in aside[aside["file"].isin(files)].drop(
            columns=["file", "row", "column", "code", "sentence"], errors="ignore").to_numpy():
        named = {_bare(cell) for cell in cells if str(cell).strip()} & known
        lost |= named
        unplaced += not named
    return lost, unplaced


def _bare(text: object) -> tuple[str, ...]:
    """Letters and numbers alone, so that `Q-01`, `q 1` and `Q1` are one unit."""
    return tuple(part.lstrip("0") or "0"
                 for part in re.findall(r"\d+|[^\W\d_]+", str(text).casefold()))

"""The field records after reading and checking: one clean table per kind of fact, labelled.

This is what estimation starts from. Every table is a pandas DataFrame with the columns named in
`COLUMNS` (always present, missing cells are NaN, NaT or None), plus `file` and `row` (the row of
the source table, counted as a person sees it, header = row 1) and `flags` (reason codes of rows
that were used but deserve a look, joined by spaces). Extra columns of the crew are kept at the end.

Encounters have two columns more: `event` (``release`` where the crew says that the animal was newly
marked, ``encounter``, or None) and `reads` (rows of the tables that this row stands for). An animal
may have several rows in one visit, one for each length measured; a tag only heard is left out where
the animal was in hand at the same visit. Animals marked at first capture stand in `releases` and,
as seen that day, in `encounters` too.
"""

from __future__ import annotations

from dataclasses import dataclass, field

import pandas as pd

ALIVE, HEARD, SHELL, REMOVED = "alive", "heard", "shell", "removed"

COLUMNS = {
    # animal: canonical name of one individual (its main tag as text); number: animals in the row,
    # 1 for a marked animal, more for an untagged batch (then animal is None)
    "releases": ["animal", "tag", "species", "site", "date", "stage", "age", "length_mm", "source",
                 "batch", "batch_mark", "second_mark", "number"],
    "visits": ["visit", "site", "first_date", "last_date", "method", "area_m2", "effort_hours",
               "passes"],
    # animal is None for an unmarked or unidentified animal; visit is always filled in
    "encounters": ["animal", "tag", "species", "site", "visit", "date", "status", "length_mm",
                   "batch_mark", "second_mark", "latitude", "longitude", "remarks", "method"],
    "units": ["survey", "site", "date", "transect", "unit", "area_m2", "excavated", "depth_cm",
              "sieve_mm"],
    "animals": ["survey", "site", "unit", "species", "length_mm", "batch_mark", "status"],
    "hosts": ["date", "site", "host", "count", "effort", "glochidia_per_fish"],
}


@dataclass(frozen=True)
class RowAccount:
    """Where every row went: in = used + flagged + set aside, for each file and in all.

    `tables`: DataFrame (file, is, in, used, flagged, set_aside); `reasons`: DataFrame (code, effect
    'flagged' or 'set aside', rows, sentence); `set_aside`: DataFrame (file, row, column, value,
    code, sentence, and the whole row as written in the columns that follow); `flagged`: the same.
    """

    tables: pd.DataFrame
    reasons: pd.DataFrame
    set_aside: pd.DataFrame
    flagged: pd.DataFrame

    @property
    def totals(self) -> dict[str, int]:
        """``{'in': , 'used': , 'flagged': , 'set_aside': }`` over all files."""
        return {k: int(self.tables[k].sum()) for k in ("in", "used", "flagged", "set_aside")}


@dataclass(frozen=True)
class FieldRecords:
    """All clean tables of one study, and the account of its rows.

    `releases` also holds, when no release table exists or the study says that new animals are
    marked when first caught, one row per animal at its first capture (source ``first capture``).
    """

    releases: pd.DataFrame
    visits: pd.DataFrame
    encounters: pd.DataFrame
    units: pd.DataFrame
    animals: pd.DataFrame
    hosts: pd.DataFrame
    account: RowAccount
    notes: list[str] = field(default_factory=list)

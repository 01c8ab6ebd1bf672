"""Field records as they stood before a year: what came later is held out."""

from __future__ import annotations

from dataclasses import replace

import pandas as pd

from pva.field.records import FieldRecords


def records_before(records: FieldRecords, year: int) -> FieldRecords:
    """Records of the years before `year`, as if nobody had been out since.

    Parameters
    ----------
    records : FieldRecords
    year : int
        First calendar year that is left out.

    Returns
    -------
    FieldRecords
        The account of the rows stays that of all records.
    """
    visits = _before(records.visits, "first_date", year)
    units = _before(records.units, "date", year)
    return replace(
        records, releases=_before(records.releases, "date", year), visits=visits, units=units,
        encounters=_at(records.encounters, visits, ["visit", "site"]),
        animals=_at(records.animals, units, ["survey", "site", "unit"]),
        hosts=_before(records.hosts, "date", year))


def last_year(records: FieldRecords) -> int | None:
    """Last calendar year with a visit or a unit dug; None without either."""
    days = pd.concat([_days(records.visits, "first_date"), _days(records.units, "date")]).dropna()
    return int(days.dt.year.max()) if len(days) else None


def _days(table: pd.DataFrame, column: str) -> pd.Series:
    return pd.to_datetime(table[column], errors="coerce")


def _before(table: pd.DataFrame, column: str, year: int) -> pd.DataFrame:
    """Rows dated before the year; rows without a date stay."""
    days = _days(table, column)
    return table[~(days.dt.year >= year)].reset_index(drop=True)


def _at(table: pd.DataFrame, kept: pd.DataFrame, key: list[str]) -> pd.DataFrame:
    """Rows that belong to a visit or unit that is kept."""
    places = pd.MultiIndex.from_frame(kept[key])
    own = pd.MultiIndex.from_frame(table[key]).isin(places)
    return table[own].reset_index(drop=True)

"""Bounds of survival from batches without single tags: how many were released, how many were met.

All that marks of a batch can say: survivors are at least as many as were met alive at one visit,
and the dead at least as many as their shells. Where a known share of the site was searched or dug
and the animals lie evenly, the lower bound is raised by that share. Nobody can tell lost marks,
animals that left and animals that were missed from dead ones, so no point is given.
"""

from __future__ import annotations

import numpy as np
import pandas as pd
from scipy.stats import beta

from pva.estimate.estimates import Estimate
from pva.estimate.following import SHORT, YEAR, day_numbers
from pva.field.records import ALIVE, REMOVED, SHELL, FieldRecords
from pva.sources import Source

COLUMNS = ["mark", "site", "released", "visit", "years", "found", "shells", "searched", "low",
           "high", "low_even", "yearly_low", "yearly_high"]
NOTE = ("bounds from a batch mark: animals that lost the mark, left or were missed cannot be told "
        "from dead ones")


def batch_bounds(records: FieldRecords, areas: dict[str, float] | None = None) -> pd.DataFrame:
    """Bounds of survival of every batch mark at every search that could have met it.

    Parameters
    ----------
    records : FieldRecords
    areas : dict of str to float, optional
        Site -> m2, to know which share of it was searched.

    Returns
    -------
    DataFrame
        mark, site, released (animals), visit, years since the last release with that mark, found
        alive, shells, searched (share of the site, NaN where not known), low and high (survival
        since release, one-sided 95 % each), low_even (lower bound if animals lie evenly over the
        site), yearly_low and yearly_high (NaN for less than a quarter of a year).
    """
    cohorts = _cohorts(records.releases)
    met = pd.concat([_met_at_visits(records, areas or {}), _met_in_units(records, areas or {})])
    rows = []
    for (site, mark), released, day in cohorts:
        here = met[met["site"].eq(site) & (met["day"] > day)]
        for search in here.drop_duplicates("visit").sort_values("day").itertuples():
            own = here[here["visit"].eq(search.visit) & here["mark"].eq(mark)]
            found, shells = int(own["found"].sum()), int(own["shells"].sum())
            rows.append((mark, site, released, search.visit, (search.day - day) / YEAR, found,
                         shells, search.searched, *_bounds(released, found, shells,
                                                           search.searched)))
    table = pd.DataFrame(rows, columns=COLUMNS[:-2])
    years = table["years"].where(table["years"] >= SHORT)
    table["yearly_low"] = table["low"].astype(float) ** (1 / years)
    table["yearly_high"] = table["high"].astype(float) ** (1 / years)
    return table


def _bounds(released: int, found: int, shells: int, searched: float):
    found = min(found, released)
    low = float(beta.ppf(0.05, found, released - found + 1)) if found else 0.0
    shells = min(shells, released)
    dead = float(beta.ppf(0.05, shells, released - shells + 1)) if shells else 0.0
    even = min(low / searched, 1.0 - dead) if searched == searched and searched > 0 else np.nan
    return low, 1.0 - dead, even


def _cohorts(releases: pd.DataFrame):
    """Batches without single tags by site and mark: animals and day of the last release."""
    table = releases[releases["animal"].isna() & releases["batch_mark"].notna()]
    table = table.assign(day=day_numbers(table["date"])).dropna(subset=["day"])
    for key, rows in table.groupby(["site", "batch_mark"]):
        yield key, int(rows["number"].sum()), float(rows["day"].max())


def _met_at_visits(records: FieldRecords, areas) -> pd.DataFrame:
    """Marked animals without a tag at each visit; a visit that met none has one row without."""
    visits = records.visits.assign(day=day_numbers(records.visits["first_date"]))
    rows = []
    met = records.encounters
    met = met[met["animal"].isna()]
    for visit in visits.dropna(subset=["day"]).itertuples():
        here = met[met["visit"].eq(visit.visit) & met["site"].eq(visit.site)]
        area = areas.get(visit.site, np.nan)
        share = visit.area_m2 / area if visit.area_m2 == visit.area_m2 else np.nan
        shared = (visit.visit, visit.site, visit.day, min(share, 1.0))
        rows += _counts(here, shared)
    return _frame(rows)


def _met_in_units(records: FieldRecords, areas) -> pd.DataFrame:
    """Marked animals found in units dug, survey by survey."""
    units = records.units.assign(day=day_numbers(records.units["date"]))
    rows = []
    for (survey, site), dug in units.groupby(["survey", "site"]):
        found = records.animals
        found = found[found["survey"].eq(survey) & found["site"].eq(site)]
        share = float(dug["area_m2"].sum()) / areas.get(site, np.nan)
        rows += _counts(found, (f"units, {survey}", site, float(dug["day"].min()),
                                min(share, 1.0)))
    return _frame(rows)


def _counts(met: pd.DataFrame, shared: tuple) -> list[tuple]:
    alive = met["status"].isin([ALIVE, REMOVED]) | met["status"].isna()
    dead = met["status"].eq(SHELL)
    marks = met["batch_mark"]
    out = [(*shared, None, 0, 0)]
    for mark in sorted(set(marks.dropna())):
        own = marks.eq(mark)
        out.append((*shared, mark, int((own & alive).sum()), int((own & dead).sum())))
    return out


def _frame(rows) -> pd.DataFrame:
    return pd.DataFrame(rows, columns=["visit", "site", "day", "searched", "mark", "found",
                                       "shells"])


def batch_rates(table: pd.DataFrame) -> dict[str, Estimate]:
    """One entry a mark and site: yearly bounds up to the last search that met it alive."""
    out = {}
    for (mark, site), rows in table.groupby(["mark", "site"]):
        rows = rows.dropna(subset=["yearly_low"])
        if rows.empty:
            continue
        met = rows[rows["found"] > 0]
        last = (met if len(met) else rows).iloc[-1]
        key = f"survival/marked {mark} @ {site}"
        out[key] = Estimate(
            key, None, interval=(float(last["yearly_low"]), float(last["yearly_high"])),
            n=int(last["released"]), note=f"{NOTE}; {last['found']} alive and {last['shells']} "
            f"shells of {last['released']} met {last['years']:.1f} years after the release",
            source=Source("measured", f"batch mark {mark}, {last['visit']}"))
    return out

"""What was counted in the field, in the form in which a projection can predict it."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd

from pva.estimate.estimates import Estimates
from pva.estimate.options import Options
from pva.field.records import ALIVE, FieldRecords
from pva.scenario.resolved import Resolved

QUADRATS, RECAPTURES = "adults in quadrats", "marked animals seen alive"
FEWEST_UNITS = 10  # of one survey, for its clumping


@dataclass(frozen=True)
class Seen:
    """One count of the field.

    Parameters
    ----------
    what : {'adults in quadrats', 'marked animals seen alive'}
    site, when : str
        `when`: name of the survey or visit.
    year : int
        Census that it is held against.
    count : int
    units, unit_m2 : float
        Units dug and mean area; 0 for recaptures.
    detection : tuple of float or None
        Chance of being seen and its standard error; None for quadrats.
    """

    what: str
    site: str
    when: str
    year: int
    count: int
    units: float = 0.0
    unit_m2: float = 0.0
    detection: tuple[float, float] | None = None


def all_seen(records: FieldRecords, options: Options, estimates: Estimates,
             resolved: Resolved) -> tuple[list[Seen], list[str]]:
    """Counts at the sites and in the years of a scenario, in order of time, and notes.

    Parameters
    ----------
    records : FieldRecords
    options : Options
    estimates : Estimates
        Chances of detection by method.
    resolved : Resolved
    """
    sites, notes = [s.name for s in resolved.sites], []
    dug = _in_quadrats(records, options, sites)
    met, lacking = _recaptured(records, estimates, sites)
    if lacking:
        notes.append("Visits left out because the chance of being seen is not known for their "
                     f"method: {', '.join(lacking)}.")
    inside = [s for s in (*dug, *met) if resolved.first < s.year <= resolved.last]
    return sorted(inside, key=lambda s: (s.year, s.what, sites.index(s.site))), notes


def _excavated(records: FieldRecords, sites) -> pd.DataFrame:
    units = records.units
    return units[units["site"].isin(sites) & units["excavated"].ne(False)]


def _adults(records: FieldRecords, options: Options) -> pd.DataFrame:
    table = records.animals
    table = table[table["status"].isna() | table["status"].eq(ALIVE)]
    if "excavated" in table:
        table = table[table["excavated"].ne(False) | table["excavated"].isna()]
    if options.adult_from_mm is not None:
        table = table[table["length_mm"] >= options.adult_from_mm]
    return table


def _in_quadrats(records: FieldRecords, options: Options, sites) -> list[Seen]:
    found, animals = [], _adults(records, options)
    for (survey, site), own in _excavated(records, sites).groupby(["survey", "site"]):
        here = animals[animals["survey"].eq(survey) & animals["site"].eq(site)
                       & animals["unit"].isin(own["unit"])]
        year = pd.to_datetime(own["date"], errors="coerce").dt.year.min()
        if pd.notna(year):
            found.append(Seen(QUADRATS, site, str(survey), int(year), len(here), float(len(own)),
                              float(own["area_m2"].mean())))
    return found


def _recaptured(records: FieldRecords, estimates: Estimates, sites):
    met = records.encounters
    met = met[met["animal"].notna() & met["status"].eq(ALIVE)]
    met = met[met["tag"].notna()]  # told by a second mark alone: the tag is lost
    marked = records.releases[records.releases["animal"].notna()]
    marked = set(marked.loc[marked["source"].ne("first capture"), "animal"])
    met = met[met["animal"].isin(marked)]
    found, lacking = [], []
    for visit in records.visits.to_dict("records"):
        day = pd.to_datetime(visit["first_date"], errors="coerce")
        if visit["site"] not in sites or pd.isna(day):
            continue
        detection = _detection(estimates, visit["method"])
        if detection is None:
            lacking.append(f"{visit['visit']} at {visit['site']}")
            continue
        here = met[met["visit"].eq(visit["visit"]) & met["site"].eq(visit["site"])]
        found.append(Seen(RECAPTURES, visit["site"], str(visit["visit"]), int(day.year),
                          int(here["animal"].nunique()), detection=detection))
    return found, lacking


def _detection(estimates: Estimates, method) -> tuple[float, float] | None:
    for key in (f"detection/{method}", "detection/all"):
        one = estimates.rates.get(key)
        if one is not None and one.value is not None:
            return one.value, one.se or 0.0
    return None


def clumping_of(records: FieldRecords, options: Options, *, sites, before: int) -> float | None:
    """Dispersion k of adults in quadrats, from the surveys before a year, by moments.

    Returns
    -------
    float or None
        None where the surveys show no more spread than evenly scattered animals.
    """
    animals, above, squares = _adults(records, options), 0.0, 0.0
    for (survey, site), own in _excavated(records, sites).groupby(["survey", "site"]):
        year = pd.to_datetime(own["date"], errors="coerce").dt.year.min()
        if not year < before or len(own) < FEWEST_UNITS:
            continue
        here = animals[animals["survey"].eq(survey) & animals["site"].eq(site)]
        counts = own["unit"].map(here["unit"].value_counts()).fillna(0).to_numpy(float)
        mean = counts.mean()
        above += len(own) * (counts.var(ddof=1) - mean)
        squares += len(own) * mean**2
    return float(squares / above) if above > 0 and squares > 0 else None


def kept_share(resolved: Resolved, numbers: np.ndarray, *, survival: float,
               kept: float) -> np.ndarray:
    """Share of the marked animals alive that still hold their tag, at every site and census.

    Releases are weighted by the survival of adults, which is near enough for tags that mostly
    stay.

    Parameters
    ----------
    resolved : Resolved
        The past.
    numbers : float array (release, model year)
        Marked animals released.
    survival, kept : float
        Yearly survival of adults, yearly chance that a tag stays.

    Returns
    -------
    ndarray, shape (site, census)
    """
    years, sites = len(resolved.years), [s.name for s in resolved.sites]
    share = np.ones((len(sites), years))
    for i, name in enumerate(sites):
        own = numbers[[r.site == name for r in resolved.releases]].sum(axis=0)
        for census in range(1, years):
            age = census - np.arange(census)
            alive = own[:census] * survival**age
            if alive.sum() > 0:
                share[i, census] = (alive * kept**age).sum() / alive.sum()
    return share

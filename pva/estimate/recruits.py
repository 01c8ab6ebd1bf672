"""Unmarked small animals: recruits for certain, probably, or not to be told from stocked ones.

Unmarked is not wild-born: marks wear off and tags are shed. Each animal is judged by whether any
stocked cohort could be so small by then.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd
from scipy.stats import beta, norm

from pva.estimate.following import day_numbers
from pva.estimate.growth import Growth, growing_time
from pva.field.records import ALIVE, FieldRecords

DEFINITE, PROBABLE, CANNOT_TELL = "definite", "probable", "cannot tell"
CERTAIN, LIKELY = 0.001, 0.05
BATCH_SPREAD = 0.12  # SD over mean of lengths in a batch measured only by its mean (judgement)
FEWEST_IN_BATCH = 5


@dataclass(frozen=True)
class Cohort:
    """A release that could have lost its marks: site, day, mean and SD of length (mm), number."""

    name: str
    site: str
    day: float
    mean_mm: float
    sd_mm: float
    number: int


def cohorts(records: FieldRecords, species: str | None = None) -> list[Cohort]:
    """Released batches with their lengths; first captures are no releases."""
    table = records.releases
    table = table[table["length_mm"].notna() & table["source"].ne("first capture")]
    if species:
        table = table[table["species"].isna() | table["species"].eq(species)]
    table = table.assign(day=day_numbers(table["date"])).dropna(subset=["day"])
    out = []
    for (site, day, batch), rows in table.groupby(["site", "day", table["batch"].fillna("")]):
        lengths = rows["length_mm"].to_numpy(float)
        spread = lengths.std(ddof=1) if len(lengths) >= FEWEST_IN_BATCH else 0.0
        spread = max(spread, BATCH_SPREAD * lengths.mean() if len(lengths) < FEWEST_IN_BATCH else 0)
        out.append(Cohort(str(batch), str(site), float(day), float(lengths.mean()), float(spread),
                          int(rows["number"].sum())))
    return out


def small_enough(length: float, day: float, site: str, stocked: list[Cohort],
                 growth: Growth | None, season) -> tuple[float, str]:
    """Largest chance, over the cohorts of the site, that a stocked animal measures so little.

    Returns
    -------
    chance : float
        0 where nothing was stocked there before.
    cohort : str
        The cohort that comes closest.
    """
    best, name = 0.0, ""
    for cohort in stocked:
        if cohort.site != site or cohort.day >= day:
            continue
        mean, sd = cohort.mean_mm, cohort.sd_mm
        if growth is not None:
            gone = np.diff(growing_time([cohort.day, day], season))[0]
            left = np.exp(-growth.rate * gone)
            mean = growth.asymptote_mm - (growth.asymptote_mm - mean) * left
            sd = np.sqrt((left * sd) ** 2 + ((1 - left) * growth.asymptote_sd_mm) ** 2
                         + growth.measurement_sd_mm**2)
        chance = float(norm.cdf(length, mean, max(sd, 1e-6)))
        if chance >= best:
            best, name = chance, cohort.name
    return best, name


def judge(records: FieldRecords, *, species: str | None, below_mm: float, growth: Growth | None,
          season) -> pd.DataFrame:
    """Judge every unmarked animal below a length found in units.

    Parameters
    ----------
    records : FieldRecords
    species : str or None
    below_mm : float
        Animals at least this long are not looked at.
    growth : Growth or None
        Without it cohorts are taken not to have grown, which calls fewer animals recruits.
    season : (int, int)
        Months of growth.

    Returns
    -------
    DataFrame
        survey, site, unit, length_mm, day, verdict, chance, cohort.
    """
    found = unmarked(records, species)
    days = _unit_days(records)
    stocked = cohorts(records, species)
    rows = []
    for animal in found[found["length_mm"] < below_mm].to_dict("records"):
        day = days.get((animal["survey"], animal["site"], animal["unit"]), np.nan)
        chance, cohort = (0.0, "") if not stocked else small_enough(
            animal["length_mm"], day, animal["site"], stocked, growth, season)
        verdict = DEFINITE if chance < CERTAIN else PROBABLE if chance < LIKELY else CANNOT_TELL
        rows.append((animal["survey"], animal["site"], animal["unit"], animal["length_mm"], day,
                     verdict, chance, cohort))
    return pd.DataFrame(rows, columns=["survey", "site", "unit", "length_mm", "day", "verdict",
                                       "chance", "cohort"])


def unmarked(records: FieldRecords, species: str | None) -> pd.DataFrame:
    """Living animals found in units without any mark."""
    table = records.animals
    table = table[table["length_mm"].notna() & (table["status"].isna() | table["status"].eq(ALIVE))]
    if species:
        table = table[table["species"].isna() | table["species"].eq(species)]
    for mark in ("batch_mark", "tag", "second_mark"):
        if mark in table:
            table = table[table[mark].isna() | table[mark].eq("")]
    return table


def _unit_days(records: FieldRecords) -> dict:
    units = records.units
    return dict(zip(zip(units["survey"], units["site"], units["unit"], strict=True),
                    day_numbers(units["date"]), strict=True))


def ratio(recruits: int, adults: int, *, level: float = 0.95) -> tuple[float | None, float, float]:
    """Recruits per adult with an exact interval (given how many animals were found in all).

    Returns
    -------
    value, low, high : float
        `value` None without adults; `high` inf where it cannot be bounded. With no recruit found,
        `high` is a one-sided limit.
    """
    tail = (1 - level) / 2 if recruits else 1 - level
    low = 0.0 if recruits == 0 else beta.ppf(tail, recruits, adults + 1)
    high = 1.0 if adults == 0 else beta.ppf(1 - tail, recruits + 1, adults)
    value = recruits / adults if adults else None
    return value, float(low / (1 - low)), float(high / (1 - high)) if high < 1 else np.inf

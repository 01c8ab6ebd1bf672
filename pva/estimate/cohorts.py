"""What was stocked and what it could be by a day: length and lost marks of every cohort."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd
from scipy.stats import norm

from pva.estimate.following import YEAR, day_numbers
from pva.estimate.growth import Growth, growing_time
from pva.estimate.stage_steps import LengthStage
from pva.estimate.tag_loss import TagRetention
from pva.field.records import FieldRecords

BATCH_SPREAD = 0.12  # SD over mean of lengths in a batch measured only by its mean (judgement)
FEWEST_IN_BATCH = 5
MARKS = ("tag", "second_mark", "batch_mark")


@dataclass(frozen=True)
class Cohort:
    """A release that could have lost its marks.

    Parameters
    ----------
    name, site : str
    day : float
        Proleptic ordinal.
    mean_mm, sd_mm : float
        Length at release; NaN where nobody can say, so that its animals may measure anything.
    number : int
        Animals released.
    marked : bool array (kind of animal, mark)
        Which of `MARKS` each kind of animal bore.
    share : float array (kind of animal)
        Share of the animals that are of each kind.
    """

    name: str
    site: str
    day: float
    mean_mm: float
    sd_mm: float
    number: int
    marked: np.ndarray
    share: np.ndarray

    def unmarked(self, years: float, keeping: MarkKeeping) -> float:
        """Share that bears no mark any more after some years."""
        lost = 1 - np.array([keeping.kept(mark, years) for mark in MARKS])
        return float(self.share @ np.where(self.marked, lost, 1.0).prod(axis=1))


@dataclass(frozen=True)
class MarkKeeping:
    """How long marks sit. What nobody knows counts as lost, which calls fewer animals recruits.

    Parameters
    ----------
    retention : TagRetention or None
        Of tag and second mark.
    batch_mark : float or None
        Share of batch marks that sits after a year.
    """

    retention: TagRetention | None = None
    batch_mark: float | None = None

    def kept(self, mark: str, years: float) -> float:
        """Chance that a mark sits after some years."""
        if mark == "batch_mark":
            return 0.0 if self.batch_mark is None else self.batch_mark**years
        if self.retention is None:
            return 0.0
        place = 0 if mark == "tag" else 1
        rate = np.log1p(np.exp(-self.retention.logit[place]))
        return float(np.exp(-rate * years ** np.exp(self.retention.log_shape[place])))


def cohorts(records: FieldRecords, *, species: str | None = None, growth: Growth | None = None,
            stages: tuple[LengthStage, ...] = ()) -> list[Cohort]:
    """Released batches; first captures are no releases.

    A batch that nobody measured is given the length of its age on the curve, or the range of its
    stage.

    Parameters
    ----------
    records : FieldRecords
    species : str, optional
    growth : Growth, optional
    stages : tuple of LengthStage
    """
    table = records.releases
    table = table[table["source"].ne("first capture")]
    if species:
        table = table[table["species"].isna() | table["species"].eq(species)]
    table = table.assign(day=day_numbers(table["date"])).dropna(subset=["day"])
    out = []
    for (site, day, batch), rows in table.groupby(["site", "day", table["batch"].fillna("")]):
        mean, spread = _lengths(rows, growth, stages)
        marked, share = _marks(rows)
        out.append(Cohort(str(batch), str(site), float(day), mean, spread,
                          int(rows["number"].fillna(1).sum()), marked, share))
    return out


def _lengths(rows: pd.DataFrame, growth: Growth | None, stages) -> tuple[float, float]:
    lengths = rows["length_mm"].dropna().to_numpy(float)
    if len(lengths) >= FEWEST_IN_BATCH:
        return float(lengths.mean()), float(lengths.std(ddof=1))
    if len(lengths):
        spread = lengths.std(ddof=1) if len(lengths) > 1 else 0.0
        return float(lengths.mean()), float(max(spread, BATCH_SPREAD * lengths.mean()))
    age = pd.to_numeric(rows["age"], errors="coerce").min()
    if growth is not None and np.isfinite(age):
        grown = 1 - np.exp(-growth.rate * age)
        return growth.asymptote_mm * grown, growth.asymptote_sd_mm * grown
    named = {s.name: s for s in stages if np.isfinite(s.high)}
    stage = next((named[s] for s in rows["stage"].dropna() if s in named), None)
    if stage is None:
        return np.nan, np.nan
    return (stage.low + stage.high) / 2, (stage.high - stage.low) / np.sqrt(12)


def _marks(rows: pd.DataFrame) -> tuple[np.ndarray, np.ndarray]:
    bears = np.column_stack([rows[m].notna() & rows[m].ne("") for m in MARKS])
    kinds, which = np.unique(bears, axis=0, return_inverse=True)
    number = rows["number"].fillna(1).to_numpy(float)
    return kinds, np.bincount(which.ravel(), number, len(kinds)) / max(number.sum(), 1e-9)


def length_on(cohort: Cohort, day: float, growth: Growth | None, season) -> tuple[float, float]:
    """Mean and SD of a measured length on a day, mm.

    The smallest of a batch may be the slowest growers too, so the spread of lengths at release and
    that of asymptotes add up. The error of the curve and that of a length come on top. Where
    growth differs between curves, the slowest one counts. Without a curve the animals are taken
    not to have grown.

    Parameters
    ----------
    cohort : Cohort
    day : float
    growth : Growth or None
    season : (int, int)
    """
    if growth is None or not np.isfinite(cohort.mean_mm):
        return cohort.mean_mm, cohort.sd_mm
    gone = float(np.diff(growing_time([cohort.day, day], season))[0])
    gone = max(gone - (growth.growth_lost_years or 0.0), 0.0)
    return min(_grown(cohort, gone, curve, growth) for curve in growth.curves.values() or (growth,))


def _grown(cohort: Cohort, gone: float, curve, growth: Growth) -> tuple[float, float]:
    left = np.exp(-curve.rate * gone)
    short = curve.asymptote_mm - cohort.mean_mm
    spread = left * cohort.sd_mm + (1 - left) * growth.asymptote_sd_mm
    # the curve is told in asymptote and log rate
    slope = np.array([1 - left, short * left * curve.rate * gone])
    by_curve = max(float(slope @ curve.covariance[:2, :2] @ slope), 0.0)
    return (curve.asymptote_mm - short * left,
            float(np.sqrt(spread**2 + by_curve + growth.measurement_sd_mm**2)))


@dataclass(frozen=True)
class Stocked:
    """Everything stocked that may lie unmarked at a site on a day.

    Parameters
    ----------
    names : tuple of str
    mean_mm, sd_mm : float arrays (cohort)
        Of a measured length; NaN where any length is possible.
    unmarked : float array (cohort)
        Animals without a mark, were all still alive and there.
    """

    names: tuple[str, ...]
    mean_mm: np.ndarray
    sd_mm: np.ndarray
    unmarked: np.ndarray

    def as_small(self, length: float) -> tuple[float, str]:
        """Largest chance over cohorts that an animal measures so little, and the cohort."""
        if not self.names:
            return 0.0, ""
        chance = np.where(np.isnan(self.mean_mm), 1.0,
                          norm.cdf(length, self.mean_mm, np.maximum(self.sd_mm, 1e-6)))
        closest = int(np.argmax(chance))
        return float(chance[closest]), self.names[closest]

    def per_mm(self, length: float, below_mm: float) -> float:
        """Unmarked animals expected per mm of length; of any length: spread over all below."""
        known = ~np.isnan(self.mean_mm)
        per = norm.pdf(length, self.mean_mm[known], np.maximum(self.sd_mm[known], 1e-6))
        return float(per @ self.unmarked[known] + self.unmarked[~known].sum() / below_mm)


def stocked_at(site: str, day: float, all_cohorts: list[Cohort], *, growth: Growth | None, season,
               keeping: MarkKeeping, upstream: tuple[str, ...] = ()) -> Stocked:
    """What was stocked at a site, or at sites that animals may be washed from, before a day."""
    own = [c for c in all_cohorts if c.site in (site, *upstream) and c.day < day]
    lengths = [length_on(c, day, growth, season) for c in own]
    return Stocked(
        tuple(c.name for c in own), np.array([m for m, _ in lengths], float),
        np.array([s for _, s in lengths], float),
        np.array([c.number * c.unmarked((day - c.day) / YEAR, keeping) for c in own], float))

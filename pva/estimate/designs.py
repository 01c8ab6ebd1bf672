"""What a sampling design says: means, totals and their variances from counts and areas alone.

No law of the counts is assumed here; variances come from how units, strata or starts differ. The
formulas are those of the textbooks on survey sampling (Cochran 1977, Sampling Techniques; from
memory).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np


@dataclass(frozen=True)
class DesignMean:
    """A mean per m2 (or per whatever areas are counted in).

    Parameters
    ----------
    value : float
        Animals per m2.
    variance : float or None
        Of `value`; None where one unit (or one start) cannot tell it.
    degrees : int
        Degrees of freedom behind the variance.
    relation : float
        Double sampling: the part of `variance` that comes from the relation between what is seen
        at the surface and what is there.
    """

    value: float
    variance: float | None
    degrees: int
    relation: float = 0.0

    @property
    def se(self) -> float | None:
        """Standard error."""
        return None if self.variance is None else float(np.sqrt(self.variance))


@dataclass(frozen=True)
class Stratum:
    """Units of one stratum.

    Parameters
    ----------
    counts : float array (unit)
        Animals in each unit, blanks included.
    areas : float array (unit)
        m2 of each unit.
    area_m2 : float
        Of the whole stratum.
    """

    counts: np.ndarray
    areas: np.ndarray
    area_m2: float


def simple(counts, areas, *, area_m2: float | None = None) -> DesignMean:
    """Units chosen at random from the whole: animals over area, the ratio estimator.

    With units of one size this is the plain mean.

    Parameters
    ----------
    counts, areas : float array (unit)
    area_m2 : float, optional
        Whole area; the part that was dug is then no longer unknown.
    """
    counts, areas = _unit_arrays(counts, areas)
    value, n = counts.sum() / areas.sum(), counts.size
    if n < 2:
        return DesignMean(float(value), None, 0)
    off = counts - value * areas
    variance = n / (n - 1) * (off**2).sum() / areas.sum() ** 2
    if area_m2 is not None:
        variance *= max(1 - areas.sum() / area_m2, 0.0)
    return DesignMean(float(value), float(variance), n - 1)


def stratified(strata: Sequence[Stratum]) -> DesignMean:
    """Strata weighted by their areas, each sampled at random."""
    whole = sum(s.area_m2 for s in strata)
    parts = [(s.area_m2 / whole, simple(s.counts, s.areas, area_m2=s.area_m2)) for s in strata]
    value = sum(w * p.value for w, p in parts)
    if any(p.variance is None for _, p in parts):
        return DesignMean(float(value), None, 0)
    return DesignMean(float(value), float(sum(w**2 * p.variance for w, p in parts)),
                      sum(p.degrees for _, p in parts))


def systematic(counts, areas, starts, *, possible: int | None = None) -> DesignMean:
    """Several systematic grids, each from its own random start: starts are the sample.

    Parameters
    ----------
    counts, areas : float array (unit)
    starts : array (unit)
        Which start each unit belongs to.
    possible : int, optional
        Starts there are in all (the interval between units), for the part that was looked at.
    """
    counts, areas = _unit_arrays(counts, areas)
    _, where = np.unique(np.asarray(starts).astype(str), return_inverse=True)
    told = simple(np.bincount(where, counts), np.bincount(where, areas))
    if told.variance is None or possible is None:
        return told
    share = (told.degrees + 1) / possible
    return DesignMean(told.value, told.variance * max(1 - share, 0.0), told.degrees)


def double_ratio(surface, areas, dug, *, counts, whole_units: float | None = None) -> DesignMean:
    """Surface counts everywhere, corrected by the units that were dug as well.

    Animals found in the dug units per animal seen at their surface, times what is seen at the
    surface of all units. Slightly biased in few units (order 1 / units dug).

    Parameters
    ----------
    surface : float array (unit)
        Animals seen at the surface, all units.
    areas : float array (unit)
        m2 of each unit.
    dug : bool array (unit)
        Units dug as well, chosen at random among all.
    counts : float array (unit)
        All animals of each unit; used where `dug`.
    whole_units : float, optional
        Units that the whole area would hold.

    Raises
    ------
    ValueError
        Nothing was seen at the surface of the units dug.
    """
    first = _double(surface, areas, dug, counts, whole_units)
    seen = first.surface[first.dug].sum()
    if seen == 0:
        raise ValueError("nothing was seen at the surface of the units dug")
    share = first.counts[first.dug].sum() / seen
    off = first.counts - share * first.surface
    value = share * first.surface.sum() / first.areas.sum()
    return first.told(value, off)


def double_regression(surface, areas, dug, *, counts,
                      whole_units: float | None = None) -> DesignMean:
    """As `double_ratio`, by a line through the dug units: where the surface misses a fixed part.

    Parameters
    ----------
    surface, areas, dug, counts, whole_units
        See `double_ratio`.

    Raises
    ------
    ValueError
        All units dug showed the same at the surface.
    """
    first = _double(surface, areas, dug, counts, whole_units)
    x, y, a = (part[first.dug] for part in (first.surface / first.areas,
                                            first.counts / first.areas, first.areas))
    mean_x, mean_y = np.average(x, weights=a), np.average(y, weights=a)
    spread = (a * (x - mean_x) ** 2).sum()
    if spread == 0:
        raise ValueError("all units dug showed the same at the surface")
    slope = (a * (x - mean_x) * (y - mean_y)).sum() / spread
    value = mean_y + slope * (first.surface.sum() / first.areas.sum() - mean_x)
    off = first.counts - mean_y * first.areas - slope * (first.surface - mean_x * first.areas)
    return first.told(value, off, spent=2)


@dataclass(frozen=True)
class _Double:
    surface: np.ndarray
    areas: np.ndarray
    dug: np.ndarray
    counts: np.ndarray
    whole_units: float | None

    def told(self, value, off, *, spent: int = 1) -> DesignMean:
        """Variance of the second sample about the relation, and of the first about its mean."""
        n, first = int(self.dug.sum()), self.dug.size
        if n <= spent:
            return DesignMean(float(value), None, 0)
        size = self.areas[self.dug].mean()
        residual = (off[self.dug] ** 2).sum() / (n - spent) / size**2
        own = self.counts[self.dug] - self.counts[self.dug].mean() / size * self.areas[self.dug]
        spread = (own**2).sum() / (n - 1) / size**2
        among = 1 / first - (1 / self.whole_units if self.whole_units else 0.0)
        relation = residual * (1 / n - 1 / first)
        variance = relation + spread * max(among, 0.0)
        return DesignMean(float(value), float(variance), n - spent, float(relation))


def _double(surface, areas, dug, counts, whole_units) -> _Double:
    surface, areas = _unit_arrays(surface, areas)
    dug = np.asarray(dug, bool)
    return _Double(surface, areas, dug, np.where(dug, np.asarray(counts, float), 0.0), whole_units)


def allocation(units: int, sizes, spreads, *, costs=1.0) -> np.ndarray:
    """Where to put a given number of units so that the mean is told best for the money.

    Parameters
    ----------
    units : int
        In all.
    sizes : float array (stratum)
        Units or m2 that each stratum holds.
    spreads : float array (stratum)
        SD of a unit's count.
    costs : float or float array (stratum)
        Of one unit.

    Returns
    -------
    float array (stratum)
        Units for each stratum, not rounded: in proportion to size x SD / sqrt(cost).
    """
    weight = np.asarray(sizes, float) * np.asarray(spreads, float) / np.sqrt(costs)
    return units * weight / weight.sum()


def _unit_arrays(counts, areas) -> tuple[np.ndarray, np.ndarray]:
    counts = np.asarray(counts, float)
    return counts, np.broadcast_to(np.asarray(areas, float), counts.shape)

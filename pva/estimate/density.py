"""Animals per m2 from counts in units, blanks and all, whatever the design.

Counts on clumped beds get negative-binomial profile intervals, others exact Poisson intervals.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from scipy.optimize import brentq, minimize_scalar
from scipy.special import gammaln, xlogy
from scipy.stats import chi2, norm, t

from pva.estimate.combined import Told

CLUMPED = 0.05  # chance under even scatter below which counts are called clumped
FEWEST_FOR_CLUMPING = 6  # units
LARGEST_K = 1e4
USUAL_K, SPREAD_OF_K = 0.5, 1.5  # weak pull, SD on the log scale (judgement; coverage is tested)
NEGATIVE_BINOMIAL, POISSON, NONE_FOUND = "negative binomial", "Poisson", "none found"


@dataclass(frozen=True)
class Density:
    """Density of one site and survey.

    Parameters
    ----------
    value, low, high : float
        Animals per m2 and its interval; with none found, `high` is a one-sided limit.
    se : float or None
    method : str
        How the interval was made.
    units, blanks, animals : int
        Units dug, units without an animal, animals found.
    area_m2 : float
        Dug in all.
    clumping : float or None
        Dispersion k of the negative binomial.
    """

    value: float
    low: float
    high: float
    se: float | None
    method: str
    units: int
    blanks: int
    animals: int
    area_m2: float
    clumping: float | None = None

    @property
    def told(self) -> Told:
        """Value and interval alone."""
        return Told(self.value, self.low, self.high)


def density(counts, areas, *, level: float = 0.95) -> Density:
    """Density from counts per unit.

    Parameters
    ----------
    counts : int array (unit)
        Animals in each unit dug, blanks included.
    areas : float or float array (unit)
        m2 of each unit.
    level : float
        Confidence, 0 to 1.
    """
    counts = np.asarray(counts, float)
    areas = np.broadcast_to(np.asarray(areas, float), counts.shape)
    total, area = counts.sum(), areas.sum()
    facts = {"units": int(counts.size), "blanks": int((counts == 0).sum()), "animals": int(total),
             "area_m2": float(area)}
    if total == 0:
        return Density(0.0, 0.0, float(-np.log(1 - level) / area), None, NONE_FOUND, **facts)
    clumped = counts.size > 1 and clumped_chance(counts, areas) < CLUMPED
    if clumped and counts.size >= FEWEST_FOR_CLUMPING:
        value, k = negative_binomial(counts, areas)
        low, high = profile(counts, areas, level=level)
        se = np.sqrt(value / area + value**2 * (areas**2).sum() / (k * area**2))
        return Density(value, low, high, float(se), NEGATIVE_BINOMIAL, **facts, clumping=float(k))
    tail = (1 - level) / 2
    low, high = chi2.ppf(tail, 2 * total) / 2, chi2.ppf(1 - tail, 2 * total + 2) / 2
    told = Density(float(total / area), float(low / area), float(high / area),
                   float(np.sqrt(total) / area), POISSON, **facts)
    return _widened(told, counts, areas, level) if clumped else told


def _widened(told: Density, counts, areas, level: float) -> Density:
    """Too few units to tell a dispersion: the spread between them widens the even interval."""
    degrees = counts.size - 1
    uneven = np.sqrt(_unevenness(counts, areas) / degrees)
    wider = uneven * t.ppf((1 + level) / 2, degrees) / norm.ppf((1 + level) / 2)
    return replace(told, se=told.se * float(uneven), method=f"{POISSON}, widened for uneven counts",
                   low=told.value * (told.low / told.value) ** float(wider),
                   high=told.value * (told.high / told.value) ** float(wider))


def clumped_chance(counts, areas) -> float:
    """Chance of counts at least as uneven if animals were scattered evenly."""
    return float(chi2.sf(_unevenness(counts, areas), counts.size - 1))


def _unevenness(counts, areas) -> float:
    expected = counts.sum() * areas / areas.sum()
    return float(((counts - expected) ** 2 / expected).sum())


@dataclass(frozen=True)
class _Counts:
    """Different pairs of count and area, and how often each occurs."""

    counts: np.ndarray
    areas: np.ndarray
    times: np.ndarray

    def loglik(self, value: float, k: float) -> float:
        """Negative-binomial log likelihood, mean ``value x area``, dispersion k."""
        n, mean = self.counts, value * self.areas
        return float((self.times * (gammaln(n + k) - gammaln(k) - gammaln(n + 1)
                                    - k * np.log1p(mean / k) + xlogy(n, mean / (mean + k)))).sum())

    def best_k(self, value: float, *, pull: bool = False) -> tuple[float, float]:
        """Highest log likelihood at a density, and the dispersion there."""
        weight = 0.5 / SPREAD_OF_K**2 if pull else 0.0
        found = minimize_scalar(lambda x: (weight * (x - np.log(USUAL_K)) ** 2
                                           - self.loglik(value, np.exp(x))),
                                bounds=(np.log(1e-3), np.log(LARGEST_K)), method="bounded",
                                options={"xatol": 1e-9 if not pull else 1e-3})
        return -float(found.fun), float(np.exp(found.x))


def _pairs(counts, areas) -> _Counts:
    rows, times = np.unique(np.column_stack([counts, areas]).astype(float), axis=0,
                            return_counts=True)
    return _Counts(rows[:, 0], rows[:, 1], times)


def negative_binomial(counts, areas) -> tuple[float, float]:
    """Maximum-likelihood density and dispersion k.

    Parameters
    ----------
    counts : int array (unit)
    areas : float array (unit)

    Returns
    -------
    value, k : float
        Animals per m2, and the dispersion (small = clumped).
    """
    pairs = _pairs(counts, areas)
    value = _best_density(pairs)
    return value, pairs.best_k(value)[1]


def _best_density(pairs: _Counts) -> float:
    rough = float((pairs.times * pairs.counts).sum() / (pairs.times * pairs.areas).sum())
    if np.ptp(pairs.areas) < 1e-12 * pairs.areas.max():
        return rough
    found = minimize_scalar(lambda x: -pairs.best_k(np.exp(x))[0],
                            bounds=(np.log(rough) - 3, np.log(rough) + 3), method="bounded",
                            options={"xatol": 1e-9})
    return float(np.exp(found.x))


def profile(counts, areas, *, level: float = 0.95) -> tuple[float, float]:
    """Profile-likelihood interval of the density, dispersion free.

    Few units tell the dispersion badly. So the fall of the likelihood is held against Student's t
    in place of the normal, and the dispersion is pulled weakly to `USUAL_K`: all animals in one
    unit would allow any density else.
    """
    pairs = _pairs(counts, areas)
    best = _best_density(pairs)
    top = pairs.best_k(best, pull=True)[0]
    drop = t.ppf((1 + level) / 2, np.size(counts) - 1) ** 2 / 2

    def fallen(x):
        return top - pairs.best_k(np.exp(x), pull=True)[0] - drop

    ends = []
    for direction in (-1.0, 1.0):
        near, step = np.log(best), 0.3
        while fallen(near + direction * step) < 0 and step < 20:
            step *= 1.6
        ends.append(float(np.exp(brentq(fallen, near, near + direction * step, xtol=1e-4))))
    return ends[0], ends[1]


def blanks_doubt(counts, areas) -> float:
    """Chance that not one unit is blank, were blanks listed too (1 where one is listed)."""
    counts = np.asarray(counts, float)
    if (counts == 0).any() or counts.sum() == 0:
        return 1.0
    # an average above 1 is partly due to the blanks that are missing: solve mean of counts above 0
    mean = counts.mean()
    if mean <= 1.0:
        return 0.0
    true = brentq(lambda m: m / -np.expm1(-m) - mean, 1e-9, mean)
    return float((-np.expm1(-true)) ** counts.size)

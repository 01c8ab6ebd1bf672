"""Animals per m2 from the units dug, blanks and all.

Counts on clumped beds get negative-binomial profile intervals, others exact Poisson intervals.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.optimize import brentq, minimize_scalar
from scipy.special import gammaln, xlogy
from scipy.stats import chi2

CLUMPED = 0.05  # chance under even scatter below which counts are called clumped
LARGEST_K = 1e4
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
    if counts.size > 1 and clumped_chance(counts, areas) < CLUMPED:
        value, k = negative_binomial(counts, areas)
        low, high = profile(counts, areas, level=level)
        se = np.sqrt(value / area + value**2 * (areas**2).sum() / (k * area**2))
        return Density(value, low, high, float(se), NEGATIVE_BINOMIAL, **facts, clumping=float(k))
    value, tail = total / area, (1 - level) / 2
    low, high = chi2.ppf(tail, 2 * total) / 2, chi2.ppf(1 - tail, 2 * total + 2) / 2
    return Density(float(value), float(low / area), float(high / area),
                   float(np.sqrt(total) / area), POISSON, **facts)


def clumped_chance(counts, areas) -> float:
    """Chance of counts at least as uneven if animals were scattered evenly."""
    expected = counts.sum() * areas / areas.sum()
    return float(chi2.sf(((counts - expected) ** 2 / expected).sum(), counts.size - 1))


def loglik(counts, areas, value: float, k: float) -> float:
    """Negative-binomial log likelihood of counts with mean ``value x area`` and dispersion k."""
    mean = value * areas
    return float((gammaln(counts + k) - gammaln(k) - gammaln(counts + 1)
                  - k * np.log1p(mean / k) + xlogy(counts, mean / (mean + k))).sum())


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
    counts, areas = np.asarray(counts, float), np.asarray(areas, float)
    rough = counts.sum() / areas.sum()
    found = minimize_scalar(lambda x: -_best_k(counts, areas, np.exp(x))[0],
                            bounds=(np.log(rough) - 3, np.log(rough) + 3), method="bounded",
                            options={"xatol": 1e-9})
    value = rough if np.ptp(areas) < 1e-12 * areas.max() else float(np.exp(found.x))
    return float(value), _best_k(counts, areas, value)[1]


def _best_k(counts, areas, value: float) -> tuple[float, float]:
    found = minimize_scalar(lambda x: -loglik(counts, areas, value, np.exp(x)),
                            bounds=(np.log(1e-3), np.log(LARGEST_K)), method="bounded",
                            options={"xatol": 1e-9})
    return -float(found.fun), float(np.exp(found.x))


def profile(counts, areas, *, level: float = 0.95) -> tuple[float, float]:
    """Profile-likelihood interval of the density, dispersion free."""
    best, _ = negative_binomial(counts, areas)
    top = _best_k(counts, areas, best)[0]
    drop = chi2.ppf(level, 1) / 2

    def fallen(x):
        return top - _best_k(counts, areas, np.exp(x))[0] - drop

    ends = []
    for direction in (-1.0, 1.0):
        near, step = np.log(best), 0.3
        while fallen(near + direction * step) < 0 and step < 20:
            step *= 1.6
        ends.append(float(np.exp(brentq(fallen, near, near + direction * step, xtol=1e-6))))
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

"""Doubt of a chance: Monte Carlo error, and spread between parameter draws.

Where draws differ, the Monte Carlo error comes from the independent scrambles of the draws, with
fewer than eight from the draws themselves, else (or of a single draw) from the replicates.
Intervals are score intervals (Wilson 1927, J. Am. Stat. Assoc. 22:209-212), which stay within 0 and
1; where something never (or always) happened in N independent runs the limit is the chance that
would give such a row one time in twenty, about 3 / N. Replicates of one draw share its rates, so
where draws differ N is the number of draws.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd
from scipy.special import stdtrit

_Z = 1.959963984540054


@dataclass(frozen=True)
class ChanceDoubt:
    """A chance with its 95 % Monte Carlo interval and its spread between draws."""

    chance: float
    low: float
    high: float
    draw_low: float | None
    draw_high: float | None


def chance_with_doubt(by_draw: np.ndarray, *, replicates: int, scramble: np.ndarray,
                      unknown: bool, certain: bool = False) -> ChanceDoubt:
    """Chance of something counted by draw.

    Parameters
    ----------
    by_draw : ndarray of int, shape (draw,)
        Replicates in which it happened.
    replicates : int
        Replicates of a draw.
    scramble : ndarray of int, shape (draw,)
    unknown : bool
        Whether draws differ.
    certain : bool
        Nothing is left to chance: the interval is the chance itself.
    """
    count, total = int(by_draw.sum()), len(by_draw) * replicates
    chance = count / total
    if certain:
        return ChanceDoubt(chance, chance, chance, None, None)
    low, high = _interval(by_draw, chance, count, total, replicates, scramble, unknown)
    draw_low = draw_high = None
    if unknown and len(by_draw) > 1:
        draw_low, draw_high = (float(v) for v in np.percentile(by_draw / replicates, [2.5, 97.5]))
    return ChanceDoubt(chance, low, high, draw_low, draw_high)


def _interval(by_draw, chance, count, total, replicates, scramble, unknown):
    if count in (0, total):
        limit = never_limit(len(by_draw) if unknown and len(by_draw) > 1 else total)
        return (0.0, limit) if count == 0 else (1 - limit, 1.0)
    if unknown and scramble[-1] == 0:  # few draws: each tells of itself alone
        scramble = np.arange(len(by_draw))
    groups = scramble[-1] + 1
    if unknown and groups > 1:
        sizes = np.bincount(scramble) * replicates
        chances = np.bincount(scramble, weights=by_draw) / sizes
        error = float(np.sqrt((sizes * (chances - chance) ** 2).sum() / total / (groups - 1)))
        if error > 0:
            return wilson(chance, chance * (1 - chance) / error**2,
                          float(stdtrit(groups - 1, 0.975)))
    return wilson(chance, total, _Z)


def never_limit(independent: int) -> float:
    """Largest chance that still gives nothing in that many independent runs one time in twenty."""
    return 1 - 0.05 ** (1 / independent)


def wilson(chance: float, size: float, z: float = _Z) -> tuple[float, float]:
    """Score interval of a chance seen in a sample of (effective) size."""
    centre = (chance + z**2 / (2 * size)) / (1 + z**2 / size)
    half = z / (1 + z**2 / size) * np.sqrt(chance * (1 - chance) / size + z**2 / (4 * size**2))
    return max(0.0, float(centre - half)), min(1.0, float(centre + half))


def mean_error(mean_by_scramble: np.ndarray, size_by_scramble: np.ndarray) -> np.ndarray:
    """Standard error of a mean from the means of independent scrambles.

    Parameters
    ----------
    mean_by_scramble : ndarray, shape (scramble, ...)
    size_by_scramble : ndarray, shape (scramble,)
    """
    groups = len(size_by_scramble)
    weight = (size_by_scramble / size_by_scramble.sum()).reshape(
        (-1,) + (1,) * (mean_by_scramble.ndim - 1))
    mean = (weight * mean_by_scramble).sum(axis=0)
    return np.sqrt((weight * (mean_by_scramble - mean) ** 2).sum(axis=0) / (groups - 1))


def rank_correlation(a: np.ndarray, b: np.ndarray) -> float:
    """Spearman's rank correlation, NaN where one of the two never varies; shapes (draw,)."""
    if len(a) < 3 or np.ptp(a) == 0 or np.ptp(b) == 0:
        return float("nan")
    return float(np.corrcoef(pd.Series(a).rank(), pd.Series(b).rank())[0, 1])


def verdict(low: float, high: float, wanted: float) -> str:
    """``met``, ``not met`` or ``cannot tell yet``."""
    if low >= wanted:
        return "met"
    return "not met" if high < wanted else "cannot tell yet"

"""How many parameter draws reach a chance of their own, with the noise of replicates taken off."""

from __future__ import annotations

import numpy as np


def true_chances(by_draw: np.ndarray, replicates: int) -> np.ndarray:
    """Chances of draws pulled towards their mean until their spread is that of the true chances.

    A chance counted in few replicates scatters more than the chances themselves: its variance is
    that of the true chances plus the mean binomial variance, which is known and taken off.

    Parameters
    ----------
    by_draw : ndarray, shape (draw,)
        Share of each draw's replicates that succeeded.
    replicates : int

    Returns
    -------
    ndarray, shape (draw,)
    """
    if replicates < 2:
        return by_draw
    mean = by_draw.mean()
    noise = float((by_draw * (1 - by_draw)).mean() / (replicates - 1))
    seen = float(by_draw.var(ddof=1)) if len(by_draw) > 1 else 0.0
    if seen <= 0:
        return by_draw
    return mean + (by_draw - mean) * np.sqrt(max(seen - noise, 0.0) / seen)


def draw_shares(point, wanted: float) -> float:
    """Share of draws whose own chance at a number is at least `wanted`."""
    return float((true_chances(point.by_draw, point.replicates) >= wanted - 1e-12).mean())

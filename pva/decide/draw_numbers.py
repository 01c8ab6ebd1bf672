"""How many parameter draws reach a chance of their own, with the noise of replicates taken off."""

from __future__ import annotations

import numpy as np

_CLEAR = 2.0  # standard errors of a variance beyond which a spread is more than noise
_SHARE_LOOKS, _SHARE_STEP = 3, 0.05  # looks at most, and relative step, for the spread of draws


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
    if seen < noise * (1 + _CLEAR * np.sqrt(2 / (len(by_draw) - 1))):
        return np.full(len(by_draw), mean)  # no more scatter than replicates alone make
    return mean + (by_draw - mean) * np.sqrt(max(seen - noise, 0.0) / seen)


def draw_shares(point, wanted: float) -> float:
    """Share of draws whose own chance at a number is at least `wanted`."""
    return float((true_chances(point.by_draw, point.replicates) >= wanted - 1e-12).mean())


def between_draws(looks, ladder):
    """2.5 and 97.5 % over draws of the number each draw needs; None where a draw never gets there.

    The noise of replicates is taken off, so looks with few of them are enough.
    """
    return tuple(_share_crossing(looks, ladder, share) for share in (0.025, 0.975))


def _share_crossing(looks, ladder, share):
    def shares_at(number):
        return draw_shares(looks.cheap(number), looks.wanted)

    step = next((i for i, n in enumerate(ladder)
                 if draw_shares(looks.points[n], looks.wanted) >= share), len(ladder) - 1)
    while step < len(ladder) - 1 and shares_at(ladder[step]) < share:
        step += 1
    while step > 0 and shares_at(ladder[step - 1]) >= share:
        step -= 1
    if shares_at(ladder[step]) < share:
        return None
    if step == 0:
        return 0.0
    low, high = ladder[step - 1], ladder[step]
    for _ in range(_SHARE_LOOKS):
        if high - low <= max(1.0, _SHARE_STEP * high):
            break
        middle = float(round((low + high) / 2))
        low, high = (low, middle) if shares_at(middle) >= share else (middle, high)
    return high

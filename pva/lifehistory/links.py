"""Link scales: matching means and spreads of probabilities and positive rates exactly.

The years of a probability follow a logit-normal law whose two parameters are chosen so that mean
and SD on the probability scale are the ones asked for.
"""

from __future__ import annotations

from functools import lru_cache

import numpy as np
from scipy.special import expit, logit

from pva.estimate.link_scale import NODES, WEIGHTS, sd_over_years

_LARGEST_LINK_SD = 12.0


def centre_for_mean(mean, spread):
    """Link mean for which the logit-normal mean is `mean`, at a given link SD.

    Parameters
    ----------
    mean : float or ndarray
        Wanted means in (0, 1).
    spread : float or ndarray
        Link SD, at least 0, broadcast with `mean`.

    Returns
    -------
    ndarray
        Link means; `mean_over_years(result, spread)` equals `mean` to about 1e-13.
    """
    mean, spread = np.broadcast_arrays(np.asarray(mean, float), np.asarray(spread, float))
    centre = logit(mean) * np.sqrt(1 + 0.346 * spread**2)  # probit-like start value
    low = np.full(mean.shape, -60.0 - 10 * np.max(spread, initial=0))
    high = -low
    for _ in range(60):
        values = expit(centre[..., None] + spread[..., None] * NODES)
        miss = values @ WEIGHTS - mean
        if np.all(np.abs(miss) <= 1e-15 + 1e-13 * np.minimum(mean, 1 - mean)):
            break
        low = np.where(miss < 0, centre, low)
        high = np.where(miss > 0, centre, high)
        slope = (values * (1 - values)) @ WEIGHTS
        step = centre - miss / np.maximum(slope, 1e-300)
        centre = np.where((step > low) & (step < high), step, (low + high) / 2)
    return centre


@lru_cache(maxsize=4096)
def match_probability(mean: float, sd: float) -> tuple[float, float]:
    """Logit-normal law with this mean and SD on the probability scale.

    Parameters
    ----------
    mean : float
        In (0, 1).
    sd : float
        At least 0.

    Returns
    -------
    tuple of float
        Link mean and link SD.

    Raises
    ------
    ValueError
        If no law on (0, 1) has such an SD (it must stay below sqrt(mean (1 - mean))), or if the
        law would be so extreme that nearly all years are 0 or 1.
    """
    if sd == 0:
        return float(logit(mean)), 0.0
    limit = float(np.sqrt(mean * (1 - mean)))
    most = float(sd_over_years(centre_for_mean(mean, _LARGEST_LINK_SD), _LARGEST_LINK_SD))
    if sd >= limit or sd > most:
        raise ValueError(f"no logit-normal law has mean {mean:g} and SD {sd:g}; the SD must stay "
                         f"below {min(limit, most):.3g}")
    spread = _spread_for_sd(mean, sd)
    return float(centre_for_mean(mean, spread)), spread


def _spread_for_sd(mean: float, sd: float) -> float:
    """Link SD at which a law with this mean has this SD: Newton's steps, kept between bounds.

    As `centre_for_mean` does, and for the same reason without a library's root finder: every rate
    of every command passes here, and loading one takes longer than all of them.
    """
    low, high = 0.0, _LARGEST_LINK_SD
    spread = min(sd / (mean * (1 - mean)), high / 2)
    if spread < 1e-6:
        return spread  # here the curve is straight to twelve digits
    for _ in range(100):
        values = expit(centre_for_mean(mean, spread) + spread * NODES)
        away, steep = values - mean, values * (1 - values)
        now = float(np.sqrt(away**2 @ WEIGHTS))
        low, high = (spread, high) if now < sd else (low, spread)
        moves = NODES - (steep * NODES) @ WEIGHTS / (steep @ WEIGHTS)  # the centre follows
        slope = float((away * steep * moves) @ WEIGHTS) / now
        step = spread - (now - sd) / slope
        last, spread = spread, step if low < step < high else (low + high) / 2
        if abs(spread - last) <= 1e-15 + 1e-13 * spread:
            break
    return spread


def match_positive(mean: float, sd: float) -> tuple[float, float]:
    """Lognormal law with this mean and SD: link (log) mean and link SD."""
    spread = float(np.sqrt(np.log1p((sd / mean) ** 2)))
    return float(np.log(mean) - spread**2 / 2), spread

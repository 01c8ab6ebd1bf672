"""Link scales: matching means and spreads of probabilities and positive rates exactly.

The years of a probability follow a logit-normal law whose two parameters are chosen so that mean
and SD on the probability scale are the ones asked for. The integrals use the trapezoidal rule over
a normal density, which converges faster than any power of the step for such smooth integrands.
"""

from __future__ import annotations

import numpy as np
from scipy.optimize import brentq
from scipy.special import expit, logit

_STEP = 0.1
_NODES = np.arange(-8.5, 8.5 + _STEP / 2, _STEP)
_WEIGHTS = np.exp(-0.5 * _NODES**2) * _STEP / np.sqrt(2 * np.pi)
_WEIGHTS = _WEIGHTS / _WEIGHTS.sum()
_LARGEST_LINK_SD = 12.0


def logit_normal_mean(centre, spread):
    """Mean of expit(centre + spread Z), Z standard normal.

    Parameters
    ----------
    centre, spread : float or ndarray
        Link mean and link SD, broadcast together.

    Returns
    -------
    ndarray
        Means, of the broadcast shape, in (0, 1).
    """
    centre, spread = np.broadcast_arrays(np.asarray(centre, float), np.asarray(spread, float))
    return expit(centre[..., None] + spread[..., None] * _NODES) @ _WEIGHTS


def logit_normal_sd(centre, spread):
    """SD of expit(centre + spread Z); shapes as in `logit_normal_mean`."""
    centre, spread = np.broadcast_arrays(np.asarray(centre, float), np.asarray(spread, float))
    values = expit(centre[..., None] + spread[..., None] * _NODES)
    mean = values @ _WEIGHTS
    return np.sqrt(np.maximum((values - mean[..., None]) ** 2 @ _WEIGHTS, 0.0))


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
        Link means; `logit_normal_mean(result, spread)` equals `mean` to about 1e-13.
    """
    mean, spread = np.broadcast_arrays(np.asarray(mean, float), np.asarray(spread, float))
    centre = logit(mean) * np.sqrt(1 + 0.346 * spread**2)  # probit-like start value
    low = np.full(mean.shape, -60.0 - 10 * np.max(spread, initial=0))
    high = -low
    for _ in range(60):
        values = expit(centre[..., None] + spread[..., None] * _NODES)
        miss = values @ _WEIGHTS - mean
        if np.all(np.abs(miss) <= 1e-15 + 1e-13 * np.minimum(mean, 1 - mean)):
            break
        low = np.where(miss < 0, centre, low)
        high = np.where(miss > 0, centre, high)
        slope = (values * (1 - values)) @ _WEIGHTS
        step = centre - miss / np.maximum(slope, 1e-300)
        centre = np.where((step > low) & (step < high), step, (low + high) / 2)
    return centre


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

    def excess(spread):
        return float(logit_normal_sd(centre_for_mean(mean, spread), spread)) - sd

    if sd >= limit or excess(_LARGEST_LINK_SD) < 0:
        raise ValueError(
            f"no logit-normal law has mean {mean:g} and SD {sd:g}; the SD must stay below "
            f"{min(limit, excess(_LARGEST_LINK_SD) + sd):.3g}"
        )
    spread = brentq(excess, 0.0, _LARGEST_LINK_SD, xtol=1e-13, rtol=1e-13)
    return float(centre_for_mean(mean, spread)), float(spread)


def match_positive(mean: float, sd: float) -> tuple[float, float]:
    """Lognormal law with this mean and SD: link (log) mean and link SD."""
    spread = float(np.sqrt(np.log1p((sd / mean) ** 2)))
    return float(np.log(mean) - spread**2 / 2), spread

"""Probabilities on the logit scale and back, with years and doubt averaged over exactly."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.special import expit, logit

_NODES, _WEIGHTS = np.polynomial.hermite_e.hermegauss(61)
_WEIGHTS = _WEIGHTS / _WEIGHTS.sum()
Z95 = 1.959963984540054


@dataclass(frozen=True)
class Link:
    """Moments of a probability on the logit scale, or of a positive rate on the log scale.

    Parameters
    ----------
    mean : float
        Mean over years on the link scale.
    se : float
        Standard error of `mean`: what we do not know.
    year_sd : float
        Standard deviation of years about `mean`: process variance only.
    """

    mean: float
    se: float = 0.0
    year_sd: float = 0.0


def mean_over_years(mean, year_sd):
    """Mean of ``expit(mean + year_sd z)`` over a standard normal z.

    Parameters
    ----------
    mean, year_sd : float or array, any broadcastable shape
        Logit scale.

    Returns
    -------
    array
        Probabilities, the broadcast shape.
    """
    mean, year_sd = np.broadcast_arrays(np.asarray(mean, float), np.asarray(year_sd, float))
    values = expit(mean[..., None] + year_sd[..., None] * _NODES)
    return values @ _WEIGHTS


def sd_over_years(mean: float, year_sd: float) -> float:
    """Standard deviation of ``expit(mean + year_sd z)``, natural scale."""
    values = expit(mean + year_sd * _NODES)
    centre = values @ _WEIGHTS
    return float(np.sqrt(max((values - centre) ** 2 @ _WEIGHTS, 0.0)))


def natural(link: Link) -> dict:
    """What a person reads: value, se, interval and year_sd of a probability.

    Parameters
    ----------
    link : Link
        Logit scale.

    Returns
    -------
    dict
        ``value`` (mean over years), ``se`` (SD of that mean over what we do not know),
        ``interval`` (95 %, low and high) and ``year_sd``, all on the natural scale.
    """
    over_doubt = mean_over_years(link.mean + link.se * _NODES, link.year_sd)
    centre = over_doubt @ _WEIGHTS
    spread = float(np.sqrt(max((over_doubt - centre) ** 2 @ _WEIGHTS, 0.0)))
    low, high = mean_over_years(link.mean + np.array([-Z95, Z95]) * link.se, link.year_sd)
    return {
        "value": float(mean_over_years(link.mean, link.year_sd)),
        "se": spread,
        "interval": (float(low), float(high)),
        "year_sd": sd_over_years(link.mean, link.year_sd),
    }


def logit_of(probability: float) -> float:
    """Logit, finite at 0 and 1 (cut at 1e-9)."""
    return float(logit(np.clip(probability, 1e-9, 1 - 1e-9)))

"""Probabilities on the logit scale and back, with years and doubt averaged over exactly."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.special import expit

# trapezoidal rule over a normal density: converges faster than any power of the step for integrands
# as smooth as a logistic curve
_STEP = 0.1
NODES = np.arange(-8.5, 8.5 + _STEP / 2, _STEP)
WEIGHTS = np.exp(-0.5 * NODES**2)
WEIGHTS = WEIGHTS / WEIGHTS.sum()
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
    values = expit(mean[..., None] + year_sd[..., None] * NODES)
    return values @ WEIGHTS


def sd_over_years(mean, year_sd):
    """Standard deviation of ``expit(mean + year_sd z)``, natural scale; shapes as the mean's."""
    mean, year_sd = np.broadcast_arrays(np.asarray(mean, float), np.asarray(year_sd, float))
    values = expit(mean[..., None] + year_sd[..., None] * NODES)
    centre = values @ WEIGHTS
    return np.sqrt(np.maximum((values - centre[..., None]) ** 2 @ WEIGHTS, 0.0))


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
    over_doubt = mean_over_years(link.mean + link.se * NODES, link.year_sd)
    centre = over_doubt @ WEIGHTS
    spread = float(np.sqrt(max((over_doubt - centre) ** 2 @ WEIGHTS, 0.0)))
    low, high = mean_over_years(link.mean + np.array([-Z95, Z95]) * link.se, link.year_sd)
    return {
        "value": float(mean_over_years(link.mean, link.year_sd)),
        "se": spread,
        "interval": (float(low), float(high)),
        "year_sd": float(sd_over_years(link.mean, link.year_sd)),
    }

"""Rates averaged over models by their weights, with the doubt about the model in their errors.

References
----------
Unconditional standard error: Buckland, Burnham and Augustin 1997, Biometrics 53:603-618 (from
memory).
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from scipy.special import expit, logit

from pva.estimate.contrasts import Joint, joint
from pva.estimate.survival import Fitted, levels_told, weights
from pva.estimate.survival_rates import SurvivalRates, contrasts_of

LEAST_WEIGHT = 0.01  # models with less support are left out


@dataclass(frozen=True)
class Averaged:
    """Rates averaged over models.

    Parameters
    ----------
    joint : Joint
    shift : float array (key)
        By how much each rate moved from that of the reported model, logit scale.
    models : tuple of str
        Names of the models that took part, the reported one first.
    weights : float array (model)
        They sum to 1.
    single : float array (model, key)
        Rates of each model, logit scale.
    """

    joint: Joint
    shift: np.ndarray
    models: tuple[str, ...]
    weights: np.ndarray
    single: np.ndarray


def to_average(models: list[Fitted]) -> list[tuple[Fitted, float]]:
    """Models that take part, with their support: the reported one, and others above 1 %."""
    shares = weights(models)
    usable = [(m, w) for m, w in zip(models, shares, strict=True)
              if w >= LEAST_WEIGHT and levels_told(m)]
    if not any(m is models[0] for m, _ in usable):
        usable.insert(0, (models[0], float(shares[0])))
    return usable


def average_rates(rates: SurvivalRates, models, keys: dict, inflation: float):
    """The rates of the reported model averaged over others.

    Parameters
    ----------
    rates : SurvivalRates
        Of the reported model, for all `keys`.
    models : list of (Fitted, float)
        As made by `to_average`.
    keys : dict
        As made by `wanted_keys` from all these models.
    inflation : float
        Overdispersion, at least 1.

    Returns
    -------
    rates : SurvivalRates
    averaged : Averaged
    """
    each = [joint(m, contrasts_of(m, keys), inflation) for m, _ in models]
    told = average(rates.joint, each, [m.name for m, _ in models], [w for _, w in models])
    shift = dict(zip(told.joint.keys, told.shift, strict=True))
    apparent = {k: float(expit(logit(v) + shift[k])) for k, v in rates.apparent.items()}
    heard = {k: tuple(float(x) for x in expit(logit(np.array(v)) + shift[k]))
             for k, v in rates.heard.items()}
    return replace(rates, joint=told.joint, apparent=apparent, heard=heard, profiles={}), told


def average(reported: Joint, each: list[Joint], names, shares) -> Averaged:
    """Average over models.

    Parameters
    ----------
    reported : Joint
        What the first model reports, with everything that adds to its doubt (years, lost tags).
    each : list of Joint
        The same keys under every model, the first model first; plain sampling doubt.
    names : sequence of str
    shares : float array (model)
        Support of each model; need not sum to 1.

    Returns
    -------
    Averaged
        A rate that some model cannot tell, or that sits at 0 or 1 in it, stays as reported.
    """
    shares = np.asarray(shares, float) / np.sum(shares)
    mean = np.array([one.mean for one in each])
    variance = np.array([np.diag(one.covariance) for one in each])
    usable = np.isfinite(variance).all(axis=0) & np.isfinite(np.diag(reported.covariance))
    shift = np.where(usable, shares @ (mean - mean[0]), 0.0)
    told = Joint(reported.keys, reported.mean + shift,
                 _covariance(reported, each, mean, shares, usable))
    return Averaged(told, shift, tuple(names), shares, mean)


def _covariance(reported: Joint, each, mean, shares, usable) -> np.ndarray:
    """Unconditional errors with the correlation between and within models."""
    at = np.flatnonzero(usable)
    here = np.ix_(at, at)
    mean = mean[:, at]
    gap = mean - shares @ mean
    within = np.array([one.covariance[here] for one in each])
    errors = shares @ np.sqrt(np.diagonal(within, axis1=1, axis2=2) + gap**2)
    total = np.tensordot(shares, within, 1) + (gap * shares[:, None]).T @ gap
    scale = errors / np.sqrt(np.diag(total))
    out = reported.covariance.copy()
    beyond = reported.covariance[here] - within[0]  # years, lost tags: common to all models
    out[here] = total * np.outer(scale, scale) + beyond
    told = np.flatnonzero(np.isfinite(np.diag(out)))
    out[np.ix_(told, told)] = _never_negative(out[np.ix_(told, told)])
    return out


def _never_negative(matrix: np.ndarray) -> np.ndarray:
    """The nearest covariance without negative variance in any direction."""
    values, vectors = np.linalg.eigh(matrix)
    return (vectors * np.clip(values, 0.0, None)) @ vectors.T if values.min() < 0 else matrix

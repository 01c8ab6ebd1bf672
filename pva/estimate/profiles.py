"""Profile-likelihood intervals of a fit, also beside rates that sit at their limit."""

from __future__ import annotations

import numpy as np
from scipy.optimize import brentq, minimize
from scipy.stats import chi2

from pva.estimate.fit import Fit, objective

_FLAT_LOGIT, _BACK_LOGIT = 5.0, 3.0  # a rate hardly has a slope there; where to begin again


def profile_interval(fitted: Fit, contrast: np.ndarray, *, level: float = 0.95,
                     reach: float = 12.0, inflation: float = 1.0) -> tuple[float, float]:
    """Profile-likelihood interval of a combination of parameters, logit scale.

    Parameters
    ----------
    fitted : Fit
    contrast : float array (parameter)
        The combination.
    level : float
        Confidence, 0 to 1; a one-sided limit (the other end infinite) keeps this level too.
    reach : float
        Furthest logit looked at; beyond it the end is infinite.
    inflation : float
        Overdispersion, at least 1: the likelihood must fall by so much more.

    Returns
    -------
    low, high : float
        -inf or inf where the likelihood never falls far enough.
    """
    best = float(contrast @ fitted.beta)
    drop = chi2.ppf(level, 1) / 2 * inflation
    profiled = _profile(fitted, contrast)
    low = _crossing(profiled, best, -reach, drop)
    high = _crossing(profiled, best, reach, drop)
    if np.isinf(low) != np.isinf(high):
        # stuck at 0 or 1: the one limit there is, exact where no event was seen at all
        drop = -np.log(1 - level) * inflation
        low = low if np.isinf(low) else _crossing(profiled, best, -reach, drop)
        high = high if np.isinf(high) else _crossing(profiled, best, reach, drop)
    return low, high


def _profile(fitted: Fit, contrast: np.ndarray):
    """Loss of log likelihood when the combination is held at a value."""
    negative = objective(fitted.histories, fitted.design, fitted.pull)
    base = negative(fitted.beta)[0]
    lead = int(np.argmax(np.abs(contrast)))
    others = np.delete(np.arange(contrast.size), lead)
    state = {"free": fitted.beta[others]}

    def whole(free, value):
        beta = np.empty(contrast.size)
        beta[others] = free
        beta[lead] = (value - contrast[others] @ free) / contrast[lead]
        return beta

    def reduced(free, value):
        loss, gradient = negative(whole(free, value))
        return loss, gradient[others] - gradient[lead] * contrast[others] / contrast[lead]

    def loss(value):
        if others.size == 0:
            return negative(whole(np.zeros(0), value))[0] - base
        starts = [state["free"]]
        if np.abs(state["free"]).max() > _FLAT_LOGIT:
            # what sits at 0 or 1 has no slope there and would never come back by itself
            starts.append(np.clip(state["free"], -_BACK_LOGIT, _BACK_LOGIT))
        ends = [minimize(reduced, start, args=(value,), jac=True, method="BFGS",
                         options={"gtol": 1e-5}) for start in starts]
        found = min(ends, key=lambda end: end.fun)
        state["free"] = found.x
        return found.fun - base

    return loss


def _crossing(loss, best: float, limit: float, drop: float) -> float:
    """Where the profile has fallen by `drop`, going from the best value towards `limit`."""
    direction = 1.0 if limit > 0 else -1.0
    near, step = best, 0.25
    found: dict[float, float] = {best: 0.0}  # a search that ends a little elsewhere counts once

    def known(x):
        if x not in found:
            found[x] = loss(x)
        return found[x]

    while True:
        far = near + direction * step
        if (far - limit) * direction > 0:
            return direction * np.inf
        if known(far) > drop:
            return float(brentq(lambda x: known(x) - drop, near, far, xtol=1e-4))
        near, step = far, step * 1.6

"""What shells add: leaving told from dying, and doubt where nearly all or no shells are found."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
from scipy.special import expit

from pva.estimate.fit import AT_BOUNDARY
from pva.estimate.profiles import profile_interval
from pva.estimate.survival import Data, Fitted, fit_model, levels_told


def with_leaving(models: list[Fitted], data: Data, inflation: float) -> list[Fitted]:
    """Each model once more with leaving, all by AICc; those that cannot be told come last.

    Parameters
    ----------
    models : list of Fitted
        Models in which every animal stays.
    data : Data
        With shells found anywhere.
    inflation : float
    """
    more = [fit_model(replace(m.model, leaving=True), data, near=m, inflation=inflation)
            for m in models]
    told = [m for m in more if m.fit.told[m.laid.design.slices["staying"]].all()]
    return sorted([*models, *(told or more)], key=lambda f: (not levels_told(f), f.aicc))


def extreme_finding(fitted: Fitted) -> float | None:
    """The chance of finding a shell, where it sits at 0 or 1; None where it does not.

    Survival is then as good as counted from the shells, and its standard error, worked out as if
    that chance were known, means nothing.
    """
    where = fitted.laid.design.slices["shell"]
    rates = fitted.laid.design.shell @ fitted.fit.beta[where]
    stuck = np.abs(rates) > AT_BOUNDARY
    return float(expit(rates[stuck][0])) if stuck.any() else None


def profiled(fitted: Fitted, contrasts: dict[str, np.ndarray]) -> dict[str, tuple[float, float]]:
    """Profile intervals (natural scale) of rates, with every other parameter free to move.

    Parameters
    ----------
    fitted : Fitted
    contrasts : mapping of str to float array (parameter)
    """
    out = {}
    for key, contrast in contrasts.items():
        low, high = profile_interval(fitted.fit, contrast)
        out[key] = (float(expit(low)), float(expit(high)))
    return out

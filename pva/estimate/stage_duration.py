"""Steps between stages from how long a stage lasts: the textbook rule, for comparison.

Animals of a stage live by one survival and stay a fixed number of years, so that the youngest are
the most numerous among them.

References
----------
Crouse, Crowder & Caswell 1987, Ecology 68:1412-1423, whose entries it reproduces with a growth rate
of 1; with the population's own growth rate: Caswell 2001, Matrix Population Models (from memory).
"""

from __future__ import annotations

import numpy as np


def stage_duration_shares(survival, years, growth_rate: float = 1.0) -> np.ndarray:
    """Share of a stage's survivors that move on within a year.

    Parameters
    ----------
    survival, years : float array (stage)
        Yearly survival (0 to 1) and years that a stage lasts (at least 1).
    growth_rate : float
        Yearly factor by which the population grows: it makes young animals more numerous.

    Returns
    -------
    float array (stage)
    """
    survival, years = np.asarray(survival, float), np.maximum(np.asarray(years, float), 1.0)
    ratio = survival / growth_rate
    even = np.abs(ratio - 1) < 1e-9
    ratio = np.where(even, 1 - 1e-6, ratio)
    share = (ratio**years - ratio ** (years - 1)) / (ratio**years - 1)
    return np.where(even, 1 / years, share)


def consistent_growth_rate(matrix_at, *, start: float = 1.0, tolerance: float = 1e-12) -> float:
    """Growth rate at which the steps that assume it give it.

    Parameters
    ----------
    matrix_at : function of float giving a float array (to, from)
        The projection matrix whose steps assume a growth rate.
    start : float
    tolerance : float

    Returns
    -------
    float
    """
    rate = start
    for _ in range(500):
        found = float(np.abs(np.linalg.eigvals(matrix_at(rate))).max())
        if abs(found - rate) < tolerance:
            return found
        rate = found
    return rate

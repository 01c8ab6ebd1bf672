"""How much survival truly differs from year to year, apart from the error of each year's estimate.

References
----------
Weighted moment estimator: Burnham et al. 1987 and White 2000 (from memory); checked against the
figures of Kacker 2004, Metrologia 41:132-136, table 1.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd
from scipy.optimize import brentq
from scipy.stats import chi2

from pva.estimate.following import YEAR

FEWEST_YEARS = 3


@dataclass(frozen=True)
class YearVariance:
    """Spread of true yearly values about their mean.

    Parameters
    ----------
    variance : float
        Process variance; 0 where sampling error alone explains the spread.
    mean, se : float
        Mean over years and its standard error, process and sampling together.
    weights : float array (year)
        Weights of the years in the mean; they sum to 1.
    interval : tuple of float
        95 % interval of the variance.
    """

    variance: float
    mean: float
    se: float
    weights: np.ndarray
    interval: tuple[float, float]


def year_variance(values, covariance, process=None) -> YearVariance:
    """Weighted moment estimate: the variance at which the weighted residual sum equals n - 1.

    Parameters
    ----------
    values : float array (year)
        Estimates, link scale.
    covariance : float array (year, year)
        Sampling covariance of `values`.
    process : float array (year, year), optional
        Covariance of the true values for a process variance of 1; the identity where left out.
        An interval over two years holds the mean of two, with half the variance.
    """
    values, covariance = np.asarray(values, float), np.asarray(covariance, float)
    process = np.eye(values.size) if process is None else np.asarray(process, float)
    n = values.size

    def solved(variance):
        inverse = np.linalg.pinv(covariance + variance * process, hermitian=True)
        weights = inverse.sum(axis=1) / inverse.sum()
        residual = values - weights @ values
        return float(residual @ inverse @ residual), weights

    def where(target):
        if solved(0.0)[0] <= target:
            return 0.0
        top = max(np.var(values), 1e-6)
        while solved(top)[0] > target:
            top *= 4
        return float(brentq(lambda v: solved(v)[0] - target, 0.0, top, xtol=1e-12))

    variance = where(n - 1)
    weights = solved(variance)[1]
    spread = weights @ (covariance + variance * process) @ weights
    interval = where(chi2.ppf(0.975, n - 1)), where(chi2.ppf(0.025, n - 1))
    return YearVariance(variance, float(weights @ values), float(np.sqrt(spread)), weights,
                        interval)


def census_turn(steps: pd.DataFrame) -> float:
    """Share of the year at which a new year of luck begins: the usual time of the visits.

    Parameters
    ----------
    steps : DataFrame
        With `end` (days) and `visit`.
    """
    visits = steps.loc[steps["visit"].notna(), "end"].to_numpy(float) / YEAR
    angle = 2 * np.pi * (visits % 1)
    return float(np.arctan2(np.sin(angle).mean(), np.cos(angle).mean()) / (2 * np.pi) % 1)


def shared_years(starts, ends, *, turn: float) -> np.ndarray:
    """Covariance of interval means when each year has its own luck.

    Parameters
    ----------
    starts, ends : float array (interval)
        In years (day / 365.25).
    turn : float
        Share of the year at which a new year of luck begins (the usual time of the census).

    Returns
    -------
    float array (interval, interval)
        1 on the diagonal for an interval of one whole year, less for longer ones.
    """
    starts, ends = np.asarray(starts, float) - turn, np.asarray(ends, float) - turn
    years = np.arange(np.floor(starts.min()), np.ceil(ends.max()))
    held = np.minimum(ends[:, None], years + 1) - np.maximum(starts[:, None], years)
    share = np.clip(held, 0.0, None) / (ends - starts)[:, None]
    return share @ share.T

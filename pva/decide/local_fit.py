"""Where the chance crosses the one wanted: a line on the logit scale through looks in fresh luck.

Looks in common luck share the error of their level, so a hundred of them place the crossing no
better than one. Looks in fresh luck do not: each has its own parameter draws, environments and
animals, and a line through all of them (logistic regression) has an error that shrinks with every
look. Its dispersion is estimated from the scrambles of the draws, which are independent; without
draws it is that of the binomial. The interval of the crossing is Fieller's (1954, J. R. Stat. Soc.
B 16:175-185): the numbers at which the line's own interval holds the chance wanted.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from scipy.special import expit, logit
from scipy.stats import t as student

_Z = 1.959963984540054
_STEPS = 30


@dataclass(frozen=True)
class Cells:
    """Counts of independent groups of runs; arrays of shape (cell,)."""

    number: np.ndarray
    met: np.ndarray
    runs: np.ndarray


@dataclass(frozen=True)
class LocalFit:
    """A line on the logit scale, with its covariance and the quantile of its intervals.

    Parameters
    ----------
    level, slope : float
        At `centre`, and per animal.
    covariance : ndarray, shape (2, 2)
    quantile : float
        Standard errors to either side of a 95 % interval.
    """

    centre: float
    level: float
    slope: float
    covariance: np.ndarray
    quantile: float

    def chance(self, number: float) -> tuple[float, float, float]:
        """Chance at a number and the ends of its 95 % interval."""
        away = number - self.centre
        middle = self.level + self.slope * away
        half = self.quantile * math.sqrt(np.array([1, away]) @ self.covariance @ [1, away])
        return tuple(float(expit(v)) for v in (middle, middle - half, middle + half))

    def crossing(self, wanted: float) -> tuple[float, float, float] | None:
        """Number at which the chance is `wanted`, and its 95 % interval; None where it is open."""
        level = self.level - float(logit(wanted))
        variance, shared, steep = (self.covariance[0, 0], self.covariance[0, 1],
                                   self.covariance[1, 1])
        squared = self.quantile**2
        a = self.slope**2 - squared * steep
        if self.slope <= 0 or a <= 0:
            return None
        b, c = level * self.slope - squared * shared, level**2 - squared * variance
        half = math.sqrt(max(b * b - a * c, 0.0))
        return (self.centre - level / self.slope, self.centre + (-b - half) / a,
                self.centre + (-b + half) / a)


def fit_line(cells: Cells, *, overdispersed: bool) -> LocalFit | None:
    """Logistic regression of goals met on the number; None where it has no solution.

    Parameters
    ----------
    cells : Cells
    overdispersed : bool
        Runs of a cell share draws: the dispersion is estimated from the scatter of the cells.
    """
    share = cells.met / cells.runs
    if len(set(cells.number.tolist())) < 2 or not 0 < cells.met.sum() < cells.runs.sum():
        return None
    centre = float(np.average(cells.number, weights=cells.runs))
    scale = float(np.ptp(cells.number))
    design = np.column_stack([np.ones(len(share)), (cells.number - centre) / scale])
    beta = np.array([float(logit(cells.met.sum() / cells.runs.sum())), 0.0])
    for _ in range(_STEPS):
        chance = np.clip(expit(design @ beta), 1e-9, 1 - 1e-9)
        weight = cells.runs * chance * (1 - chance)
        information = design.T @ (weight[:, None] * design)
        if np.linalg.cond(information) > 1e12:
            return None
        step = np.linalg.solve(information, design.T @ (cells.met - cells.runs * chance))
        beta = beta + np.clip(step, -2, 2)
        if np.abs(step).max() < 1e-9:
            break
    else:
        return None
    chance = expit(design @ beta)
    dispersion, quantile = 1.0, _Z
    if overdispersed:
        free = len(share) - 2
        scatter = (cells.met - cells.runs * chance) ** 2 / (cells.runs * chance * (1 - chance))
        dispersion, quantile = float(scatter.sum() / free), float(student.ppf(0.975, free))
    covariance = dispersion * np.linalg.inv(information)
    back = np.array([1.0, 1 / scale])
    return LocalFit(centre, float(beta[0]), float(beta[1] / scale),
                    covariance * np.outer(back, back), quantile)

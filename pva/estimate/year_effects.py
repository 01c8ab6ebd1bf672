"""Years as random effects in the likelihood: how much survival truly differs between years.

Every year has an effect of its own on the logit scale, normal and independent of other years; a
step that lies in two years feels both by its share. The effects are integrated out by Laplace's
method, together with all other parameters under a flat weight: with a handful of years, estimating
the mean from the same years would else make their spread too small. Only the SD is left, and its
likelihood is followed over a grid, so that its interval is a profile.

Histories with animals missed for a while bind the years together, so the integral does not fall
apart into one for each year; the tests hold Laplace's method against quadrature over all of them.

References
----------
Laplace's method for random effects: Skaug and Fournier 2006, Computational Statistics and Data
Analysis 51:699-709 (from memory). Integrating the mean out as well: Patterson and Thompson 1971,
Biometrika 58:545-554 (from memory).
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
import pandas as pd
from scipy.interpolate import CubicSpline
from scipy.optimize import brentq, minimize_scalar
from scipy.stats import chi2

from pva.estimate.choices import YEAR_TERM
from pva.estimate.coding import NOT_COUNTED
from pva.estimate.fit import RANK_TOLERANCE, Design, Fit, fit, newton, objective
from pva.estimate.following import YEAR
from pva.estimate.likelihood import Histories
from pva.estimate.survival import Data, Fitted, Prepared, followed, prepare
from pva.estimate.year_variance import FEWEST_YEARS, census_turn

GRID = np.array([0.0, 0.04, 0.08, 0.13, 0.2, 0.29, 0.41, 0.57, 0.8, 1.15, 1.7, 2.6, 4.0])
HARDLY = 0.1  # of a step; a year that no step lies in by more joins its neighbours
SHARE_ROUNDED = 2  # decimals of a share, so that like animals share a row
DROP = chi2.ppf(0.95, 1) / 2
NUDGE = 0.02  # logit, over which the slope of a curvature is taken
VAGUE = 2.0  # standard error (logit) beyond which a parameter is not moved for the years
ALIKE_BELOW = 1e-3  # SD below which years count as alike
FLATTEST = 0.01  # curvature below which a direction is left out of an integral


@dataclass(frozen=True)
class YearEffects:
    """Spread of true survival between years, logit scale, from the likelihood.

    Parameters
    ----------
    sd : float
        0 where the likelihood is highest without any spread.
    interval : tuple of float
        95 % profile interval of `sd`; infinite where it has no end.
    years : tuple of str
    profile : float array (2, grid)
        SD, and the log likelihood there less its highest.
    fitted : Fitted
        The fit at `sd`: survival of a mean year, with what years add in its covariance. Already
        widened by the overdispersion that was given.
    """

    sd: float
    interval: tuple[float, float]
    years: tuple[str, ...]
    profile: np.ndarray
    fitted: Fitted


def years_of_luck(steps: pd.DataFrame) -> pd.DataFrame:
    """Share of each step that lies in each year of luck.

    Parameters
    ----------
    steps : DataFrame
        With `start`, `end` (days) and `visit`.

    Returns
    -------
    DataFrame (step, year)
        Columns such as 2018-2019; rows sum to 1.
    """
    turn = census_turn(steps)
    start = steps["start"].to_numpy(float) / YEAR - turn
    end = steps["end"].to_numpy(float) / YEAR - turn
    years = np.arange(np.floor(start.min()), np.ceil(end.max()))
    held = np.minimum(end[:, None], years + 1) - np.maximum(start[:, None], years)
    share = np.clip(held, 0.0, None) / (end - start)[:, None]
    kept = share.max(axis=0) > HARDLY
    share = np.round(share[:, kept], SHARE_ROUNDED)
    share /= share.sum(axis=1, keepdims=True)
    names = [f"{int(y + turn + 1e-9)}-{int(y + turn + 1e-9) + 1}" for y in years[kept]]
    return pd.DataFrame(share, columns=names, index=steps.index)


def random_years(chosen: Fitted, data: Data, *, inflation: float = 1.0) -> YearEffects | None:
    """Estimate the SD between years; None with fewer than three years.

    Parameters
    ----------
    chosen : Fitted
        The model that is reported; survival by year as a fixed difference is left out of it.
    data : Data
    inflation : float
        Overdispersion, at least 1: the records then count for less.
    """
    model = chosen.model.with_survival(*(t for t in chosen.model.survival if t != YEAR_TERM))
    luck = years_of_luck(data.steps)
    if luck.shape[1] < FEWEST_YEARS:
        return None
    ready = prepare(model, data, luck=luck)
    histories = _lighter(ready.histories, inflation)
    profile, tops = _profile(ready, histories, chosen.fit)
    sd, interval = read_profile(GRID, profile)
    near = tops[int(np.argmin(np.abs(GRID - sd)))]
    fitted = _fitted(ready, histories, replace(chosen, model=model), sd, near)
    return YearEffects(sd, interval, tuple(luck), np.stack([GRID, profile - profile.max()]),
                       fitted)


def again(base: Fitted, data: Data, *, reading: str = NOT_COUNTED,
          inflation: float = 1.0) -> Fitted:
    """The fit with random years repeated for other records or another reading, at the same SD."""
    ready = prepare(base.model, data, reading=reading, luck=years_of_luck(data.steps))
    return _fitted(ready, _lighter(ready.histories, inflation), base, base.year_sd, base.fit)


def log_marginal(negative, beta: np.ndarray, over: np.ndarray) -> tuple[float, np.ndarray]:
    """Laplace's method: log of the integral of a likelihood over some of its parameters.

    Parameters
    ----------
    negative : callable
        Minus log likelihood (with the normal density of random effects) and its gradient.
    beta : float array (parameter)
        Values of the others, and where to begin.
    over : bool array (parameter)
        The parameters to integrate over.

    Returns
    -------
    value : float
        Without the constant powers of 2 pi.
    beta : float array (parameter)
        The highest point.
    """
    at = np.flatnonzero(over)

    def part(values):
        whole = beta.copy()
        whole[at] = values
        loss, gradient = negative(whole)
        return loss, gradient[at]

    top, information = newton(part, beta[at])
    best = beta.copy()
    best[at] = top
    values = np.linalg.eigvalsh(information)
    values = values[values > min(RANK_TOLERANCE * values.max(), FLATTEST)]
    return float(-negative(best)[0] - 0.5 * np.log(values).sum()), best


def towards_marginal(negative, found: Fit, lucky: np.ndarray) -> np.ndarray:
    """From the joint highest point to that of the likelihood with the years integrated out.

    With the years at their own best values the other parameters are pulled towards the middle; one
    Newton step with the slope of the curvature of the years puts them back.

    Parameters
    ----------
    negative : callable
        As for `log_marginal`.
    found : Fit
        The joint highest point.
    lucky : bool array (parameter)
        The years.

    Returns
    -------
    float array (parameter)
    """
    beta, at = found.beta, np.flatnonzero(lucky)
    # a rate close to 0 or 1 has next to no curvature to step by: it stays where it is
    fixed = ~lucky & (found.stuck | (np.diag(found.along) > VAGUE**2))
    others = np.flatnonzero(~lucky & found.told & ~fixed)
    along = _given(found.along, np.flatnonzero(fixed))
    spread = along[np.ix_(others, others)]
    # the years follow when another parameter moves: their regression on it
    paths = along[:, others] @ np.linalg.pinv(spread, hermitian=True)
    base = _log_curvature(negative, beta, at)
    slope = np.array([(_log_curvature(negative, beta + NUDGE * path, at) - base) / NUDGE
                      for path in paths.T])
    return beta - along[:, others] @ (0.5 * slope)


def _given(covariance: np.ndarray, fixed: np.ndarray) -> np.ndarray:
    """Covariance of the others where some parameters are held."""
    across = covariance[:, fixed]
    held = np.linalg.pinv(covariance[np.ix_(fixed, fixed)], hermitian=True)
    return covariance - across @ held @ across.T


def _log_curvature(negative, beta: np.ndarray, at: np.ndarray) -> float:
    """Log determinant of the second derivatives in some parameters."""
    step = 1e-4
    rows = []
    for i in at:
        shift = np.zeros_like(beta)
        shift[i] = step
        rows.append((negative(beta + shift)[1] - negative(beta - shift)[1])[at] / (2 * step))
    return float(np.linalg.slogdet(np.array(rows))[1])


def read_profile(grid: np.ndarray, profile: np.ndarray) -> tuple[float, tuple[float, float]]:
    """SD of highest likelihood, and its 95 % profile interval, from values on a grid.

    Parameters
    ----------
    grid : float array (grid)
        SDs from 0 upwards.
    profile : float array (grid)
        Log likelihood there.
    """
    curve = CubicSpline(np.sqrt(grid), profile)  # even steps of the root of an SD change it evenly
    place = int(np.argmax(profile))
    near = np.sqrt(grid[[max(place - 1, 0), min(place + 1, grid.size - 1)]])
    found = minimize_scalar(lambda x: -curve(x), bounds=tuple(near), method="bounded",
                            options={"xatol": 1e-7})
    root = float(found.x) if -found.fun > profile[0] else 0.0
    root = 0.0 if root**2 < ALIKE_BELOW else root
    wanted = float(curve(root)) - DROP

    def crossing(a, b):
        return float(brentq(lambda x: curve(x) - wanted, a, b, xtol=1e-6)) ** 2

    low = 0.0 if profile[0] >= wanted else crossing(0.0, root)
    last = float(np.sqrt(grid[-1]))
    high = np.inf if profile[-1] >= wanted else crossing(root, last)
    return root**2, (low, high)


def _lighter(histories: Histories, inflation: float) -> Histories:
    return histories._replace(count=histories.count / max(inflation, 1.0))


def _scaled(design: Design, lucky: np.ndarray, sd: float) -> Design:
    """Columns of the years times their SD, so that every effect has a normal density of SD 1."""
    scale = np.where(lucky, sd, 1.0)[design.slices["survival"]]
    return replace(design, survival=design.survival * scale)


def _profile(ready: Prepared, histories: Histories, near: Fit):
    """Log likelihood of every SD of the grid, and the highest points."""
    design, lucky = ready.laid.design, ready.lucky
    pull = lucky.astype(float)
    middle = int(np.argmin(np.abs(GRID - 0.2)))
    first = fit(histories, _scaled(design, lucky, GRID[middle]), near=near, pull=pull)
    free = ~first.stuck
    order = [*range(middle, GRID.size), *range(middle - 1, -1, -1)]
    values, tops = np.empty(GRID.size), [first] * GRID.size
    for k in order:
        before = first if k == middle else tops[k - 1 if k > middle else k + 1]
        negative = objective(histories, _scaled(design, lucky, GRID[k]), pull)
        values[k], beta = log_marginal(negative, before.beta, free)
        tops[k] = replace(first, beta=beta)
    return values, tops


def _fitted(ready: Prepared, histories: Histories, like: Fitted, sd: float, near: Fit) -> Fitted:
    """The fit at one SD."""
    design = _scaled(ready.laid.design, ready.lucky, sd)
    pull = ready.lucky.astype(float)
    found = fit(histories, design, near=near, pull=pull)
    if sd > 0:
        moved = towards_marginal(objective(histories, design, pull), found, ready.lucky)
        found = replace(found, beta=moved)
    laid = replace(ready.laid, design=design)
    return Fitted(like.model, laid, found, like.aicc, followed(ready.steps, ready.seen),
                  ready.steps, year_sd=sd)

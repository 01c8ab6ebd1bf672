"""Growth from repeated lengths: von Bertalanffy, each animal with its own asymptote.

Negative increments are measurement error and stay in.
"""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass, field

import numpy as np
from scipy.optimize import minimize

from pva.estimate.fit import hessian
from pva.estimate.likelihood_growth import Lengths, growth_loglik, growth_posterior
from pva.estimate.link_scale import Z95

DEGREE = 5  # of the log density of first sizes
RIDGE = 1e-3  # weak pull of first sizes towards an even spread
TIE_PULL = 4.0  # weak pull of the tie to 0.5, SD 0.5
FEWEST = 12  # animals measured twice or more, below which no curve is fitted
NAMES = ("asymptote_mm", "rate", "asymptote_sd_mm", "measurement_sd_mm")


@dataclass(frozen=True)
class Growth:
    """A fitted growth curve.

    Parameters
    ----------
    asymptote_mm, rate, asymptote_sd_mm, measurement_sd_mm : float
        Mean asymptote (mm), growth rate (per year), SD of asymptotes between animals (mm), SD of
        one length measurement (mm).
    se : dict of str to float
        Standard errors by those names, natural scale.
    interval : dict of str to tuple
        95 % intervals.
    working : float array (5)
        Asymptote, log rate, log asymptote SD, log measurement SD, and how far first sizes follow
        the own asymptote (1 = animals of any age, 0 = released at a chosen size).
    covariance : float array (4, 4)
        Of the first four.
    animals, measurements, negative : int
        Animals measured at least twice, lengths used, increments below zero.
    share, log_weight : float arrays
        Grid and log weights (group, node) of first size over own asymptote.
    notes : tuple of str
    """

    asymptote_mm: float
    rate: float
    asymptote_sd_mm: float
    measurement_sd_mm: float
    se: dict
    interval: dict
    working: np.ndarray
    covariance: np.ndarray
    animals: int
    measurements: int
    negative: int
    loglik: float
    share: np.ndarray
    log_weight: np.ndarray
    notes: tuple[str, ...] = field(default=())

    def length_after(self, length, years, asymptote=None):
        """Length after `years` of growing time, of an animal with the given asymptote (mm)."""
        top = self.asymptote_mm if asymptote is None else asymptote
        return top - (top - np.asarray(length, float)) * np.exp(-self.rate * np.asarray(years))

    def years_to(self, length, start=0.0):
        """Growing time (years) from one length to another on the mean curve; inf if beyond it."""
        if length >= self.asymptote_mm:
            return np.inf
        top = self.asymptote_mm
        return float(np.log((top - start) / (top - length)) / self.rate)

    def own(self, data: Lengths) -> tuple[np.ndarray, np.ndarray]:
        """Best guess of each animal's asymptote and true first length, mm."""
        return growth_posterior(data, self.asymptote_mm, self.rate, self.asymptote_sd_mm**2,
                                self.measurement_sd_mm**2, self.working[4], self.share,
                                self.log_weight)


def growing_time(days, season=(1, 12)) -> np.ndarray:
    """Growing time of calendar days: years, each year's growth spread over its season.

    Parameters
    ----------
    days : float array
        Proleptic Gregorian ordinals.
    season : (int, int)
        First and last month of growth, inclusive; may run over the turn of the year.

    Returns
    -------
    float array
        Differences are growing time in years; a whole calendar year counts 1.
    """
    days = np.asarray(days, float)
    year = np.array([dt.date.fromordinal(int(d)).year for d in np.atleast_1d(days).ravel()])
    year = year.reshape(days.shape)
    turn = {y: dt.date(int(y), 1, 1).toordinal() for y in range(year.min(), year.max() + 2)}
    begin = np.vectorize(turn.get, otypes=[float])(year)
    end = np.vectorize(turn.get, otypes=[float])(year + 1)
    share = (days - begin) / (end - begin)
    low, high = (season[0] - 1) / 12, season[1] / 12
    if low < high:
        return year + np.clip((share - low) / (high - low), 0.0, 1.0)
    grown = np.clip(share, 0.0, high) + np.clip(share - low, 0.0, None)
    return year + grown / (high + 1 - low)


def fit_growth(data: Lengths) -> Growth:
    """Fit the curve to animals measured at least twice.

    Parameters
    ----------
    data : Lengths
        Animals measured once are left out.

    Returns
    -------
    Growth
    """
    data = _measured_twice(data)
    nodes, theta = 60, None
    working = np.array([*_crude(data)])
    for _ in range(3):
        share, basis = _grid(nodes)
        negative = _objective(data, share, basis)
        groups = int(data.group.max()) + 1
        start = np.concatenate([working, np.zeros(groups * DEGREE) if theta is None else theta])
        found = minimize(negative, start, jac=True, method="BFGS",
                         options={"gtol": 1e-4 * np.sqrt(len(start)), "maxiter": 400})
        working, theta = found.x[:5], found.x[5:]
        needed = int(np.ceil(1.3 * working[0] / np.exp(working[3])))
        if nodes >= min(needed, 400):
            break
        nodes = min(int(needed * 1.15), 400)
    information = hessian(negative, found.x, step=1e-3)
    covariance = np.linalg.pinv(information, rcond=1e-10, hermitian=True)[:4, :4]
    log_weight = _log_weights(theta, basis, int(data.group.max()) + 1)
    return _described(data, working, covariance, -found.fun, share, log_weight)


def _measured_twice(data: Lengths) -> Lengths:
    counts = np.diff(data.first)
    keep = np.flatnonzero(counts >= 2)
    pick = np.concatenate([np.arange(data.first[i], data.first[i + 1]) for i in keep])
    present, group = np.unique(data.group[keep], return_inverse=True)
    return Lengths(np.concatenate([[0], np.cumsum(counts[keep])]), data.elapsed[pick],
                   data.length[pick], group.astype(np.int64))


def _crude(data: Lengths):
    """Rough starting values: asymptote, log rate, log SDs."""
    top = float(np.quantile(data.length, 0.97))
    first, last = data.first[:-1], data.first[1:] - 1
    gone, years = data.length[last] - data.length[first], data.elapsed[last]
    left = np.maximum(1.05 * top - data.length[first], 0.05 * top)
    use = years > 0
    rate = np.clip(np.median(np.clip(gone[use] / left[use], 0.005, 0.9) / years[use]), 0.02, 1.0)
    return 1.05 * top, np.log(rate), np.log(0.06 * top), np.log(0.02 * top), 0.7


def _grid(nodes: int) -> tuple[np.ndarray, np.ndarray]:
    share = np.linspace(0.01, 1.0, nodes)
    basis = np.polynomial.chebyshev.chebvander(np.linspace(-1, 1, nodes), DEGREE)[:, 1:]
    return share, basis


def _log_weights(theta, basis, groups: int) -> np.ndarray:
    log = theta.reshape(groups, DEGREE) @ basis.T
    top = log.max(axis=1, keepdims=True)
    return log - top - np.log(np.exp(log - top).sum(axis=1, keepdims=True))


def _objective(data: Lengths, share, basis):
    groups = int(data.group.max()) + 1
    sizes = np.bincount(data.group, minlength=groups)

    def negative(x):
        a, v = np.exp(2 * np.clip(x[2], -3, 6)), np.exp(2 * np.clip(x[3], -4, 6))
        rate = np.exp(np.clip(x[1], -12, 3))
        log_weight = _log_weights(x[5:], basis, groups)
        loglik, by_rates, posterior = growth_loglik(data, x[0], rate, a, v, x[4], share,
                                                       log_weight)
        by_theta = (posterior - sizes[:, None] * np.exp(log_weight)) @ basis
        gradient = np.concatenate([
            [by_rates[0], by_rates[1] * rate, by_rates[2] * 2 * a, by_rates[3] * 2 * v,
             by_rates[4]],
            by_theta.ravel()])
        gradient[5:] -= RIDGE * x[5:]
        gradient[4] -= TIE_PULL * (x[4] - 0.5)
        pulled = 0.5 * RIDGE * x[5:] @ x[5:] + 0.5 * TIE_PULL * (x[4] - 0.5) ** 2
        return -loglik + pulled, -gradient

    return negative


def _described(data, working, covariance, loglik, share, log_weight) -> Growth:
    natural = np.array([working[0], *np.exp(working[1:4])])
    spread = np.sqrt(np.clip(np.diag(covariance), 0, None))
    low = np.array([working[0] - Z95 * spread[0], *np.exp(working[1:4] - Z95 * spread[1:])])
    high = np.array([working[0] + Z95 * spread[0], *np.exp(working[1:4] + Z95 * spread[1:])])
    se = spread * np.array([1.0, *natural[1:]])
    same = np.repeat(np.arange(data.group.size), np.diff(data.first))
    steps = np.diff(data.length)[np.diff(same) == 0]
    return Growth(
        **dict(zip(NAMES, map(float, natural), strict=True)),
        se=dict(zip(NAMES, map(float, se), strict=True)),
        interval={n: (float(lo), float(hi)) for n, lo, hi in zip(NAMES, low, high, strict=True)},
        working=working, covariance=covariance, animals=int(data.group.size),
        measurements=int(data.length.size), negative=int((steps < 0).sum()), loglik=float(loglik),
        share=share, log_weight=log_weight,
    )

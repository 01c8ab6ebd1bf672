"""Growth from repeated lengths: von Bertalanffy, each animal with its own asymptote.

Negative increments are measurement error and stay in.
"""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass, field, replace

import numpy as np
from scipy.optimize import minimize

from pva.estimate.first_sizes import FirstSizes
from pva.estimate.fit import hessian
from pva.estimate.likelihood_growth import Lengths, growth_loglik, growth_posterior
from pva.estimate.link_scale import Z95

TIE_PULL = 0.25  # weak pull of the tie to 0.5, SD 2: a stronger one costs coverage
VAGUE_ASYMPTOTE, VAGUE_RATE = 0.25, 0.6  # relative SE beyond which growth is not told
EXACT = 1e-4  # a relative SE below this is a flat corner of the likelihood, not knowledge
FASTEST, WIDEST = 3.0, 0.3  # per year, share of the asymptote: beyond them no growth was seen
FIRST_NODES, MOST_NODES = 60, 400
GROSS = 4.5  # error SDs
NO_SPREAD = 0.005  # share of the asymptote below which its spread counts as none
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

    @property
    def is_told(self) -> bool:
        """Whether the increments tell the rate and the asymptote at all."""
        by_error = self.se["asymptote_mm"] / self.asymptote_mm, self.se["rate"] / self.rate
        return bool(EXACT < by_error[0] < VAGUE_ASYMPTOTE and EXACT < by_error[1] < VAGUE_RATE
                    and self.rate < FASTEST and self.asymptote_sd_mm < WIDEST * self.asymptote_mm)

    def own(self, data: Lengths) -> tuple[np.ndarray, np.ndarray]:
        """Best guess of each animal's asymptote and true first length, mm."""
        return growth_posterior(data, self.asymptote_mm, self.rate, np.exp(2 * self.working[2]),
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


def fit_growth(data: Lengths, batches=None) -> Growth:
    """Fit the curve to animals measured at least twice.

    Animals with a length that lies more than `GROSS` error SDs off their own curve, in either
    direction, are slips of pen or identity and are left out; the number is noted.

    Parameters
    ----------
    data : Lengths
        Animals measured once are left out.
    batches : bool array (group), optional
        Groups that were released at much the same size; none where left out.

    Returns
    -------
    Growth
    """
    groups = int(data.group.max()) + 1
    humps = np.zeros(groups, bool) if batches is None else np.asarray(batches, bool)
    data = _of_animals(data, np.flatnonzero(np.diff(data.first) >= 2))
    growth, theta, inverse = _fit(data, humps, _crude(data), None, FIRST_NODES)
    left = 0
    for _ in range(3):
        sound = _sound(data, growth)
        if sound.all() or sound.sum() < FEWEST:
            break
        left += int((~sound).sum())
        data = _of_animals(data, np.flatnonzero(sound))
        growth, theta, inverse = _fit(data, humps, growth.working, theta, growth.share.size,
                                      inverse)
    if not left:
        return growth
    note = (f"{left} animals with a length more than {GROSS:g} error SDs off their curve are left "
            "out of growth: check the lengths and tags")
    return replace(growth, notes=(*growth.notes, note))


def _fit(data: Lengths, humps, working, theta, nodes: int, inverse=None):
    """One fit, on a grid fine enough for the error of a length.

    Returns the curve, the distribution of first sizes, and the inverse of the second derivatives
    to begin a like fit with.
    """
    working = np.asarray(working, float)
    for _ in range(3):
        sizes = _sizes(humps, nodes, working[0])
        if theta is None:
            theta = sizes.start(data.length[data.first[:-1]], data.group)
        negative = _objective(data, sizes)
        start = np.concatenate([working, theta])
        found = minimize(negative, start, jac=True, method="BFGS",
                         options={"gtol": 1e-3 * np.sqrt(len(start)), "maxiter": 400,
                                  "hess_inv0": inverse})
        working, theta = found.x[:5], found.x[5:]
        inverse = _positive(found.hess_inv)
        needed = min(int(np.ceil(1.3 * working[0] / np.exp(working[3]))), MOST_NODES)
        if nodes >= needed:
            break
        nodes = min(int(needed * 1.15), MOST_NODES)
    information = hessian(negative, found.x, step=1e-3)
    whole = np.linalg.pinv(information, rcond=1e-10, hermitian=True)
    log_weight = sizes.log_weights(theta, working[0])
    growth = _described(data, working, whole[:4, :4], -found.fun, sizes.share, log_weight)
    return growth, theta, _positive(whole)


def _positive(matrix: np.ndarray) -> np.ndarray:
    """The nearest symmetric matrix whose axes are neither flat nor endless."""
    values, vectors = np.linalg.eigh(0.5 * (matrix + matrix.T))
    out = (vectors * np.clip(values, 1e-8, 1e3)) @ vectors.T
    return 0.5 * (out + out.T)


def _sound(data: Lengths, growth: Growth) -> np.ndarray:
    """Animals all of whose lengths lie near their own curve."""
    own, begun = growth.own(data)
    count = np.diff(data.first)
    own, begun = np.repeat(own, count), np.repeat(begun, count)
    curve = own - (own - begun) * np.exp(-growth.rate * data.elapsed)
    off = np.abs(data.length - curve) > GROSS * growth.measurement_sd_mm
    return np.add.reduceat(off.astype(int), data.first[:-1]) == 0


def _of_animals(data: Lengths, keep: np.ndarray) -> Lengths:
    counts = np.diff(data.first)
    pick = np.concatenate([np.arange(data.first[i], data.first[i + 1]) for i in keep])
    return Lengths(np.concatenate([[0], np.cumsum(counts[keep])]), data.elapsed[pick],
                   data.length[pick], data.group[keep])


def _crude(data: Lengths):
    """Rough starting values: asymptote, log rate, log SDs."""
    top = float(np.quantile(data.length, 0.97))
    first, last = data.first[:-1], data.first[1:] - 1
    gone, years = data.length[last] - data.length[first], data.elapsed[last]
    left = np.maximum(1.05 * top - data.length[first], 0.05 * top)
    use = years > 0
    rate = np.clip(np.median(np.clip(gone[use] / left[use], 0.005, 0.9) / years[use]), 0.02, 1.0)
    return 1.05 * top, np.log(rate), np.log(0.06 * top), np.log(0.02 * top), 0.7


def _sizes(humps, nodes: int, asymptote: float) -> FirstSizes:
    share = np.linspace(0.01, 1.0, nodes)
    return FirstSizes(np.asarray(humps, bool), share, 0.6 * asymptote * (share[1] - share[0]))


def _objective(data: Lengths, sizes: FirstSizes):
    """Minus log likelihood with weak pulls, and its gradient."""
    number = np.bincount(data.group, minlength=sizes.humps.size)

    def negative(x):
        a, v = np.exp(2 * np.clip(x[2], -3, 6)), np.exp(2 * np.clip(x[3], -4, 6))
        rate = np.exp(np.clip(x[1], -12, 3))
        log_weight = sizes.log_weights(x[5:], x[0])
        loglik, by_rates, posterior = growth_loglik(data, x[0], rate, a, v, x[4], sizes.share,
                                                    log_weight)
        excess = posterior - number[:, None] * np.exp(log_weight)
        by_theta, by_asymptote = sizes.gradient(x[5:], x[0], excess)
        pulled, by_pull = sizes.penalty(x[5:])
        gradient = np.concatenate([
            [by_rates[0] + by_asymptote, by_rates[1] * rate, by_rates[2] * 2 * a,
             by_rates[3] * 2 * v, by_rates[4] - TIE_PULL * (x[4] - 0.5)], by_theta - by_pull])
        return pulled + 0.5 * TIE_PULL * (x[4] - 0.5) ** 2 - loglik, -gradient

    return negative


def _described(data, working, covariance, loglik, share, log_weight) -> Growth:
    natural = np.array([working[0], *np.exp(working[1:4])])
    spread = np.minimum(np.sqrt(np.clip(np.diag(covariance), 0, None)), [np.inf, 4.0, 4.0, 4.0])
    low = np.array([working[0] - Z95 * spread[0], *np.exp(working[1:4] - Z95 * spread[1:])])
    high = np.array([working[0] + Z95 * spread[0], *np.exp(working[1:4] + Z95 * spread[1:])])
    se = spread * np.array([1.0, *natural[1:]])
    notes = ()
    if natural[2] < NO_SPREAD * natural[0]:
        notes = ("asymptotes of single animals could not be told apart",)
        natural[2], se[2], low[2], high[2] = 0.0, np.nan, 0.0, np.nan
    same = np.repeat(np.arange(data.group.size), np.diff(data.first))
    steps = np.diff(data.length)[np.diff(same) == 0]
    return Growth(
        **dict(zip(NAMES, map(float, natural), strict=True)),
        se=dict(zip(NAMES, map(float, se), strict=True)),
        interval={n: (float(lo), float(hi)) for n, lo, hi in zip(NAMES, low, high, strict=True)},
        working=working, covariance=covariance, animals=int(data.group.size),
        measurements=int(data.length.size), negative=int((steps < 0).sum()), loglik=float(loglik),
        share=share, log_weight=log_weight, notes=notes,
    )

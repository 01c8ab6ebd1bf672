"""Growth from repeated lengths: von Bertalanffy, each animal with its own asymptote.

Negative increments are measurement error and stay in.
"""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass, field

import numpy as np

from pva.estimate.growth_model import Measured, Terms
from pva.estimate.likelihood_growth import Rates, growth_posterior
from pva.estimate.link_scale import Z95

VAGUE_ASYMPTOTE, VAGUE_RATE = 0.25, 0.6  # relative SE beyond which growth is not told
EXACT = 1e-4  # a relative SE below this is a flat corner of the likelihood, not knowledge
FASTEST, WIDEST = 3.0, 0.3  # per year, share of the asymptote: beyond them no growth was seen
MOST_MISREAD = 0.1  # share of misread lengths beyond which nothing else can be told
FEWEST = 12  # animals measured twice or more, below which no curve is fitted
NAMES = ("asymptote_mm", "rate", "asymptote_sd_mm", "measurement_sd_mm")


@dataclass(frozen=True)
class Curve:
    """A growth curve: what transitions are made of.

    Parameters
    ----------
    working : float array (4)
        Asymptote (mm), log rate, log asymptote SD, log measurement SD.
    covariance : float array (4, 4)
    """

    working: np.ndarray
    covariance: np.ndarray

    @property
    def asymptote_mm(self) -> float:
        """Mean asymptote, mm."""
        return float(self.working[0])

    @property
    def rate(self) -> float:
        """Growth rate, per year."""
        return float(np.exp(self.working[1]))

    def interval(self, i: int) -> tuple[float, float]:
        """95 % interval of asymptote (0), rate (1) and the SDs, natural scale."""
        half = Z95 * np.sqrt(max(self.covariance[i, i], 0.0))
        ends = self.working[i] - half, self.working[i] + half
        return ends if i == 0 else tuple(float(np.exp(x)) for x in ends)


@dataclass(frozen=True)
class Growth:
    """A fitted growth curve.

    Parameters
    ----------
    asymptote_mm, rate, asymptote_sd_mm, measurement_sd_mm : float
        Mean asymptote (mm), growth rate (per year), SD of asymptotes between animals (mm), SD of
        one length measurement (mm). Where growth differs: the geometric mean of the curves.
    se : dict of str to float
        Standard errors by those names, natural scale.
    interval : dict of str to tuple
        95 % intervals; also ``misread_share`` and ``growth_lost_years`` where estimated.
    working, covariance : float array (4), (4, 4)
        See `Curve`.
    animals, measurements, negative : int
        Animals measured at least twice, lengths used, increments below zero.
    misread_share : float
        Estimated share of lengths that are misread; 0 where none lies far off.
    misread : int
        Lengths that are more likely misread than not.
    growth_lost_years : float or None
        Growing time lost after handling; None where it is not in the model.
    loglik : float
        Without the weak pulls.
    parameters : int
    terms : Terms
    curves : dict of str to Curve
        By level of what growth differs by; empty where it is the same for all.
    rates : Rates
        At the maximum.
    share, log_weight : float arrays
        Grid and log weights (group, node) of first size over own asymptote.
    notes : tuple of str
    error_told : bool
        False where the error of a length went to the least that can be worked out, and too few
        animals were measured at three occasions to believe it.
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
    misread_share: float
    misread: int
    growth_lost_years: float | None
    loglik: float
    parameters: int
    terms: Terms
    curves: dict
    rates: Rates
    share: np.ndarray
    log_weight: np.ndarray
    notes: tuple[str, ...] = field(default=())
    error_told: bool = True

    def length_after(self, length, years, asymptote=None):
        """Length after `years` of growing time, of an animal with the given asymptote (mm)."""
        top = self.asymptote_mm if asymptote is None else asymptote
        return top - (top - np.asarray(length, float)) * np.exp(-self.rate * np.asarray(years))

    def years_to(self, length, start=0.0):
        """Growing time (years) from one length to another on the mean curve; inf if beyond it."""
        return float(_years_between(self.asymptote_mm, self.rate, start, length))

    def years_to_interval(self, length, start=0.0) -> tuple[float, float]:
        """95 % interval of `years_to`; ends are inf where the mean curve may never get there."""
        rng = np.random.default_rng(1)
        drawn = rng.multivariate_normal(self.working[:2], self.covariance[:2, :2], 4000,
                                        method="eigh")
        years = _years_between(drawn[:, 0], np.exp(drawn[:, 1]), start, length)
        low, high = np.sort(years)[[99, 3899]]
        return float(low), float(high)

    @property
    def aicc(self) -> float:
        """Akaike's criterion, corrected for the number of lengths."""
        k, n = self.parameters, self.measurements
        return -2 * self.loglik + 2 * k + (2 * k * (k + 1) / (n - k - 1) if n > k + 1 else np.inf)

    @property
    def is_told(self) -> bool:
        """Whether the increments tell the rate and the asymptote at all."""
        by_error = self.se["asymptote_mm"] / self.asymptote_mm, self.se["rate"] / self.rate
        return bool(self.misread_share < MOST_MISREAD and self.error_told
                    and EXACT < by_error[0] < VAGUE_ASYMPTOTE and EXACT < by_error[1] < VAGUE_RATE
                    and self.rate < FASTEST and self.asymptote_sd_mm < WIDEST * self.asymptote_mm)

    def own(self, measured: Measured) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
        """Best guess of each animal's asymptote and true first length (mm), and rate of its curve;
        groups and curves as in the lengths that were fitted."""
        curve = self._curve(measured)
        top, begun, _ = growth_posterior(measured.lengths, curve, self.rates, self.share,
                                         self.log_weight)
        return top, begun, self.rates.rate[curve]

    def chance_misread(self, measured: Measured) -> np.ndarray:
        """Chance that each length is misread (measurement)."""
        return growth_posterior(measured.lengths, self._curve(measured), self.rates, self.share,
                                self.log_weight)[2]

    def _curve(self, measured: Measured) -> np.ndarray:
        return measured.curve if self.curves else np.zeros_like(measured.curve)


def _years_between(top, rate, start, length):
    top, rate = np.asarray(top, float), np.asarray(rate, float)
    with np.errstate(divide="ignore", invalid="ignore"):
        years = np.log((top - start) / (top - length)) / rate
    return np.where(top > length, years, np.inf)


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

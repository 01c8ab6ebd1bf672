"""The luck of years for the blind simulation (blind_numpy.py): yearly rates and bad years, and what
the rates truly are where they are in doubt.

Written from the model's description alone; shares no code with the twin or the engine.
"""

from __future__ import annotations

import math

import numpy as np
from scipy.optimize import brentq
from scipy.special import expit, logit, ndtri

_SIDE = ndtri(0.975)
_GRID = np.linspace(-12.0, 12.0, 961)  # link means
_Z = np.linspace(-9.0, 9.0, 1801)
_WEIGHT = np.exp(-_Z**2 / 2) / np.exp(-_Z**2 / 2).sum()


def centre_of(mean: float, spread: float) -> float:
    """Link mean of the logit-normal law with that mean and link SD."""
    away = 1 + spread**2
    return brentq(lambda centre: _WEIGHT @ expit(centre + spread * _Z) - mean,
                  logit(mean) - away, logit(mean) + away, xtol=1e-12)


def spread_of(mean: float, sd: float) -> float:
    """Link SD of the logit-normal law with that mean and SD."""
    def too_wide(spread):
        p = expit(centre_of(mean, spread) + spread * _Z)
        return math.sqrt(_WEIGHT @ (p - mean) ** 2) - sd
    return brentq(too_wide, 1e-6, 12.0)


def rates_in(tree):
    """Every rate in a tree of data classes, tuples and mappings."""
    if hasattr(tree, "year_sd") and hasattr(tree, "effect"):
        yield tree
        return
    if isinstance(tree, dict):
        parts = tree.values()
    elif isinstance(tree, tuple):
        parts = tree
    else:
        parts = vars(tree).values() if hasattr(tree, "__dataclass_fields__") else ()
    for part in parts:
        yield from rates_in(part)


def _even(size, r):
    return np.full((size, size), float(r)) + (1 - r) * np.eye(size)


def _root(correlation):
    values, vectors = np.linalg.eigh(correlation)
    return vectors * np.sqrt(np.maximum(values, 0.0))


class YearLuck:
    """How good the years are, for all replicates side by side.

    Parameters
    ----------
    question : Resolved
    replicates : int
    rng : numpy.random.Generator
    """

    def __init__(self, question, replicates, rng):
        self._question, self._rng, self._size = question, rng, replicates
        self._years = len(question.years) - 1
        varying = rates_in((question.sites, question.movement, question.releases))
        self._effects = sorted({r.effect for r in varying if r.year_sd > 0})
        self._normals = self._drawn()
        self._laws, self._truths = {}, {}
        self._reigns = [self._reign(kind) for kind in question.bad_years]

    def _between_rates(self):
        written = self._question.year_effects.between_rates
        if not isinstance(written, dict):
            return _even(len(self._effects), written)
        table = np.eye(len(self._effects))
        for (one, other), r in written.items():
            if one in self._effects and other in self._effects:
                i, j = self._effects.index(one), self._effects.index(other)
                table[i, j] = table[j, i] = r
        return table

    def _between_sites(self):
        effects, sites = self._question.year_effects, self._question.sites
        if effects.distance_km is None:
            return _even(len(sites), effects.between_sites)
        km = np.array([s.river_km for s in sites])
        return np.exp(-abs(km[:, None] - km) / effects.distance_km)

    def _drawn(self):
        """Standard normals, shape (year, effect, site, replicate)."""
        normals = self._rng.standard_normal(
            (self._years, len(self._effects), len(self._question.sites), self._size))
        if not self._effects:
            return normals
        normals = np.einsum("ef,st,yftn->yesn", _root(self._between_rates()),
                            _root(self._between_sites()), normals, optimize=True)
        keep = self._question.year_effects.carry_over
        for y in range(1, self._years):
            normals[y] = keep * normals[y - 1] + math.sqrt(1 - keep**2) * normals[y]
        return normals

    def _reign(self, kind):
        """Whether a kind of bad year reigns, shape (year, site, replicate)."""
        shape = (self._years, len(self._question.sites), self._size)
        normals = (math.sqrt(kind.strikes) * self._rng.standard_normal((shape[0], 1, shape[2]))
                   + math.sqrt(1 - kind.strikes) * self._rng.standard_normal(shape))
        starts = normals < ndtri(kind.chance)
        for year in kind.years:
            if year < self._question.last:
                starts[year - self._question.first] = True
        return np.stack([starts[max(0, y - kind.length + 1):y + 1].any(axis=0)
                         for y in range(self._years)])

    def multiplier(self, y, site, of):
        """Product over the kinds that reign; `of` gives the multiplier of a kind."""
        product = np.ones(self._size)
        for kind, reigns in zip(self._question.bad_years, self._reigns, strict=True):
            product *= np.where(reigns[y, site], of(kind), 1.0)
        return product

    def truth(self, rate):
        """The mean over years of a rate: as written, or shape (replicate,) where it is in doubt.

        Drawn once, and shared by all that hold the rate.
        """
        if rate.se is None and rate.interval is None:
            return rate.value
        if rate.key not in self._truths:
            z = self._rng.standard_normal(self._size)
            chance = rate.kind == "probability"
            if rate.interval is not None:
                low, high = logit(rate.interval) if chance else np.log(rate.interval)
                link = (low + high) / 2 + (high - low) / 2 / _SIDE * z
            elif chance:
                spread = spread_of(rate.value, rate.se)
                link = centre_of(rate.value, spread) + spread * z
            else:
                spread = math.sqrt(math.log1p((rate.se / rate.value) ** 2))
                link = math.log(rate.value) - spread**2 / 2 + spread * z
            self._truths[rate.key] = expit(link) if chance else np.exp(link)
        return self._truths[rate.key]

    def _mean(self, rate, y):
        """The mean over years that holds in the year that begins at census y."""
        truth = self.truth(rate)
        known = [v for year, v in sorted(rate.by_year.items()) if year <= self._question.first + y]
        if not known:
            return truth
        if rate.kind == "probability":
            return expit(logit(truth) + logit(known[-1]) - logit(rate.value))
        return truth * known[-1] / rate.value

    def rate(self, rate, y, site):
        """A rate in the year that begins at census y: a number, or shape (replicate,)."""
        mean = self._mean(rate, y)
        if rate.year_sd == 0:
            return mean
        z = self._normals[y, self._effects.index(rate.effect), site]
        if rate.kind == "probability":
            spread, means = self._law(rate.value, rate.year_sd)
            return expit(np.interp(logit(mean), means, _GRID) + spread * z)
        spread = math.sqrt(math.log1p((rate.year_sd / rate.value) ** 2))
        return mean * np.exp(spread * z - spread**2 / 2)

    def _law(self, value, sd):
        """Link SD, and the logit of the mean over years for each link mean of the grid."""
        if (value, sd) not in self._laws:
            spread = spread_of(value, sd)
            means = expit(_GRID[:, None] + spread * _Z) @ _WEIGHT
            self._laws[value, sd] = spread, logit(means)
        return self._laws[value, sd]

    def delivered(self, row):
        """Share delivered of one release in one year."""
        mean, sd = row.delivered_mean, row.delivered_sd
        if sd == 0:
            return np.full(self._size, mean)
        spread = spread_of(mean, sd)
        return expit(centre_of(mean, spread) + spread * self._rng.standard_normal(self._size))

"""Samplers for one lane at a time, used where rows are few: gamma and hypergeometric numbers.

Binomial and Poisson counts of whole rows: `rows.py`.
"""

from __future__ import annotations

import math

import numpy as np

from pva.compiled import inner
from pva.engine.elementary import exp, log, log_factorial
from pva.engine.random_numbers import FIRST, counter, inverse_normal, uniform, uniforms

_BOOST = 1 << 30  # attempt number of the extra uniform of a gamma with a shape below 1


@inner()
def gamma(shape, key, address, year):
    """A gamma number of mean `shape` and scale 1 (Marsaglia & Tsang 2000, ACM TOMS 26:363-372)."""
    boost = 1.0
    if shape < 1.0:
        boost = exp(log(uniform(key, counter(address, year, 2 * _BOOST))) / shape)
        shape += 1.0
    d = shape - 1.0 / 3.0
    c = 1.0 / math.sqrt(9.0 * d)
    attempt = np.int64(0)
    while True:
        u, w = uniforms(key, address, year, attempt)
        attempt += 1
        x = inverse_normal(u)
        v = 1.0 + c * x
        if v <= 0.0:
            continue
        v = v * v * v
        if log(w) < 0.5 * x * x + d - d * v + d * log(v):
            return boost * d * v


@inner()
def hypergeometric(good, bad, taken, key, address, year):
    """Good ones among `taken` at random from `good` + `bad`, by inversion outward from the mode."""
    if taken <= 0.0 or good <= 0.0:
        return 0.0
    if bad <= 0.0:
        return taken
    low = max(0.0, taken - bad)
    high = min(taken, good)
    if low == high:
        return low
    u = uniform(key, counter(address, year, FIRST))
    mode = np.floor((taken + 1.0) * (good + 1.0) / (good + bad + 2.0))
    mode = min(max(mode, low), high)
    chance = exp(_log_choose(good, mode) + _log_choose(bad, taken - mode)
                      - _log_choose(good + bad, taken))
    up, down = mode, mode
    chance_up, chance_down = chance, chance
    u -= chance
    while u > 0.0 and (up < high or down > low):
        if up < high:
            chance_up *= (good - up) * (taken - up) / ((up + 1.0) * (bad - taken + up + 1.0))
            up += 1.0
            u -= chance_up
            if u <= 0.0:
                return up
        if down > low:
            chance_down *= (down * (bad - taken + down)
                            / ((good - down + 1.0) * (taken - down + 1.0)))
            down -= 1.0
            u -= chance_down
            if u <= 0.0:
                return down
    return mode


@inner()
def _log_choose(n, k):
    return log_factorial(n) - log_factorial(k) - log_factorial(n - k)

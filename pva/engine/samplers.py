"""Exact samplers on addressed random numbers; counts are whole numbers held as floats.

Small means: inversion from the low end with one uniform. Large means: transformed rejection
(Hörmann 1993, J. Statistical Computation and Simulation 46:101-110, binomial; 1993, Insurance:
Mathematics and Economics 12:39-45, Poisson), valid from a mean of 10. No normal approximation.
"""

from __future__ import annotations

import math

from numba import njit

from pva.engine.random_numbers import inverse_normal, uniforms

_SWITCH = 10.0
_BOOST = 1 << 30  # attempt number of the extra uniform of a gamma with a shape below 1


@njit(cache=True, nogil=True)
def binomial(n, p, key, address, year):
    """Successes in n trials of chance p."""
    if n <= 0.0 or p <= 0.0:
        return 0.0
    if p >= 1.0:
        return n
    q = min(p, 1.0 - p)
    if n * q < _SWITCH:
        u = uniforms(key, address, year, 0)[0]
        # counting the rarer outcome from the matching end keeps the result rising with u
        return _binomial_inversion(n, p, u) if p <= 0.5 else n - _binomial_inversion(n, q, 1.0 - u)
    k = _binomial_rejection(n, q, key, address, year)
    return k if p <= 0.5 else n - k


@njit(cache=True, nogil=True)
def _binomial_inversion(n, p, u):
    odds = p / (1.0 - p)
    chance = math.exp(n * math.log1p(-p))
    k = 0.0
    while u > chance and k < n:
        u -= chance
        k += 1.0
        chance *= odds * (n + 1.0 - k) / k
    return k


@njit(cache=True, nogil=True)
def _binomial_rejection(n, p, key, address, year):
    root = math.sqrt(n * p * (1.0 - p))
    b = 1.15 + 2.53 * root
    a = -0.0873 + 0.0248 * b + 0.01 * p
    centre = n * p + 0.5
    accept = 0.92 - 4.2 / b
    alpha = (2.83 + 5.1 / b) * root
    log_odds = 0.0  # the three below are worked out only where the quick test does not accept
    mode = -1.0
    h = 0.0
    attempt = 0
    while True:
        u, v = uniforms(key, address, year, attempt)
        attempt += 1
        u -= 0.5
        us = 0.5 - abs(u)
        k = math.floor((2.0 * a / us + b) * u + centre)
        if k < 0.0 or k > n:
            continue
        if us >= 0.07 and v <= accept:
            return k
        if mode < 0.0:
            log_odds = math.log(p / (1.0 - p))
            mode = math.floor((n + 1.0) * p)
            h = math.lgamma(mode + 1.0) + math.lgamma(n - mode + 1.0)
        v = math.log(v * alpha / (a / (us * us) + b))
        if v <= h - math.lgamma(k + 1.0) - math.lgamma(n - k + 1.0) + (k - mode) * log_odds:
            return k


@njit(cache=True, nogil=True)
def poisson(mean, key, address, year):
    """A Poisson count."""
    if mean <= 0.0:
        return 0.0
    if mean < _SWITCH:
        u = uniforms(key, address, year, 0)[0]
        chance = math.exp(-mean)
        k = 0.0
        while u > chance and k < 1000.0:
            u -= chance
            k += 1.0
            chance *= mean / k
        return k
    return _poisson_rejection(mean, key, address, year)


@njit(cache=True, nogil=True)
def _poisson_rejection(mean, key, address, year):
    b = 0.931 + 2.53 * math.sqrt(mean)
    a = -0.059 + 0.02483 * b
    inverse_alpha = 1.1239 + 1.1328 / (b - 3.4)
    accept = 0.9277 - 3.6224 / (b - 2.0)
    attempt = 0
    while True:
        u, v = uniforms(key, address, year, attempt)
        attempt += 1
        u -= 0.5
        us = 0.5 - abs(u)
        k = math.floor((2.0 * a / us + b) * u + mean + 0.43)
        if us >= 0.07 and v <= accept:
            return k
        if k < 0.0 or (us < 0.013 and v > us):
            continue
        if (math.log(v * inverse_alpha / (a / (us * us) + b))
                <= k * math.log(mean) - mean - math.lgamma(k + 1.0)):
            return k


@njit(cache=True, nogil=True)
def gamma(shape, key, address, year):
    """A gamma number of mean `shape` and scale 1 (Marsaglia & Tsang 2000, ACM TOMS 26:363-372)."""
    boost = 1.0
    if shape < 1.0:
        boost = uniforms(key, address, year, _BOOST)[0] ** (1.0 / shape)
        shape += 1.0
    d = shape - 1.0 / 3.0
    c = 1.0 / math.sqrt(9.0 * d)
    attempt = 0
    while True:
        u, w = uniforms(key, address, year, attempt)
        attempt += 1
        x = inverse_normal(u)
        v = 1.0 + c * x
        if v <= 0.0:
            continue
        v = v * v * v
        if math.log(w) < 0.5 * x * x + d - d * v + d * math.log(v):
            return boost * d * v


@njit(cache=True, nogil=True)
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
    u = uniforms(key, address, year, 0)[0]
    mode = math.floor((taken + 1.0) * (good + 1.0) / (good + bad + 2.0))
    mode = min(max(mode, low), high)
    chance = math.exp(_log_choose(good, mode) + _log_choose(bad, taken - mode)
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


@njit(cache=True, nogil=True)
def _log_choose(n, k):
    return math.lgamma(n + 1.0) - math.lgamma(k + 1.0) - math.lgamma(n - k + 1.0)

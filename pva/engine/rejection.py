"""Large counts: transformed rejection, a first proposal for every lane, then the few left over.

Hörmann (1993, J. Statistical Computation and Simulation 46:101-110, binomial; 1993, Insurance:
Mathematics and Economics 12:39-45, Poisson), valid from a mean of 10. A proposal k is accepted
where a second uniform number is below a ratio that needs f(k) / f(m), m the mode. Bounds of that
ratio (`_bounds`) settle most lanes without a single factorial; only what lies between the bounds is
worked out in full (`judge`). The decision is always that of the exact ratio.
"""

from __future__ import annotations

import math

import numpy as np

from pva.compiled import inner
from pva.engine.elementary import HALF_LOG_TWO_PI, log, log_factorial
from pva.engine.random_numbers import uniform

BINOMIAL, POISSON = np.int64(0), np.int64(1)  # typed: a bare constant would compile all twice
REFUSED, DOUBTFUL = -1.0, -2.0
_MARGIN = 1e-9  # far above rounding, far below what it costs


@inner()
def _bounds(x, c, steepness, bend):
    """Bounds of log f(k) / f(m) at a distance x from the mode, and whether they hold.

    On either side f(k) / f(m) is a product over i = 1 .. x of 1 - t, where
    t = (i + c) steepness / (1 + i bend) and -1 < c <= 0. With w = 1 / (1 + x bend)

    - 1 / (1 + i bend) lies between 1 - i bend + i^2 bend^2 w and 1 - i bend + i^2 bend^2;
    - the sum of t^2 or t^3 lies between those with 1 / (1 + i bend) put at w and at 1;
    - log(1 - t) lies between -t - t^2 / 2 - t^3 / 3 - t^4 / 2, for t <= 1 / 2, and
      -t - t^2 / 2 - t^3 / 3.
    """
    y = x + c
    below, above = c * (c + 1.0), y * (y + 1.0)
    # sums of i + c, its square and its cube, in units of the steepness
    one = 0.5 * (above - below)
    two = (1 / 6) * (above * (2.0 * y + 1.0) - below * (2.0 * c + 1.0))
    three = 0.25 * (above * above - below * below)
    sloping = bend * (two - c * one)  # (i + c) i
    curving = bend * bend * (three - c * (two + two - c * one))  # (i + c) i^2
    far = x * bend
    shrink = max(1.0 - far, 0.0)  # at most w
    shrink = max(1.0 - far * (1.0 - far * shrink), shrink)
    most = y * steepness
    two, three = two * steepness, three * steepness * steepness
    low = one - sloping + curving + 0.5 * two + three * (1 / 3 + 0.5 * most)
    high = one - sloping + shrink * (curving + shrink * (0.5 * two + (1 / 3) * shrink * three))
    return -low * steepness, -high * steepness, most <= 0.5


@inner()
def propose(kind, n, p, key, first, second, out):
    """One attempt for every lane: a count, `REFUSED` or `DOUBTFUL`; returns how many are in doubt.

    Binomial: p <= 1/2 and n p >= 10. Poisson: p holds the means, at least 10; n is not used.
    All shapes (lane,).
    """
    if kind == BINOMIAL:
        return _propose_binomials(n, p, key, first, second, out)
    return _propose_poissons(p, key, first, second, out)


@inner()
def judge(kind, n, p, key, first, second, out):
    """The same attempt in full for lanes in doubt: a count, or `REFUSED`."""
    if kind == BINOMIAL:
        _judge_binomials(n, p, key, first, second, out)
    else:
        _judge_poissons(p, key, first, second, out)


@inner()
def _propose_binomials(n, p, key, first, second, out):
    doubts = 0
    for i in range(len(out)):
        u = uniform(key[i], first) - 0.5
        v = uniform(key[i], second)
        q = 1.0 - p[i]
        top = (n[i] + 1.0) * p[i]
        mode = np.floor(top)
        above, below = mode * q, (n[i] - mode) * p[i]
        edge = 0.5 - abs(u)
        inverse = 1.0 / (edge * above * below)  # three divisions in one
        edges = inverse * above * below
        root = math.sqrt(n[i] * p[i] * q)
        b = 1.15 + 2.53 * root
        a = -0.0873 + 0.0248 * b + 0.01 * p[i]
        k = np.floor((2.0 * a * edges + b) * u + (n[i] * p[i] + 0.5))
        # what v must stay below is f(k) / f(m) times this
        height = log(v * root * (2.83 * b + 5.1) / ((a * edges * edges + b) * b))
        up = k >= mode
        c = mode - top if up else top - mode - 1.0
        steepness = inverse * edge * (below if up else above)
        low, high, sound = _bounds(abs(k - mode), c, steepness, steepness * (q if up else p[i]))
        inside = (k >= 0.0) & (k <= n[i])
        yes = inside & sound & (height < low - _MARGIN)
        no = (not inside) | (height > high + _MARGIN)
        out[i] = k if yes else (REFUSED if no else DOUBTFUL)
        doubts += 0 if yes | no else 1
    return doubts


@inner()
def _judge_binomials(n, p, key, first, second, out):
    for i in range(len(out)):
        u = uniform(key[i], first) - 0.5
        v = uniform(key[i], second)
        root = math.sqrt(n[i] * p[i] * (1.0 - p[i]))
        b = 1.15 + 2.53 * root
        a = -0.0873 + 0.0248 * b + 0.01 * p[i]
        edge = 0.5 - abs(u)
        k = np.floor((2.0 * a / edge + b) * u + (n[i] * p[i] + 0.5))
        inside = (k >= 0.0) & (k <= n[i])
        k = min(max(k, 0.0), n[i])
        mode = np.floor((n[i] + 1.0) * p[i])
        height = log(v * (2.83 + 5.1 / b) * root / (a / (edge * edge) + b))
        ratio = (log_factorial(mode) + log_factorial(n[i] - mode) - log_factorial(k)
                 - log_factorial(n[i] - k) + (k - mode) * log(p[i] / (1.0 - p[i])))
        out[i] = k if inside & (height <= ratio) else REFUSED


@inner()
def _propose_poissons(mean, key, first, second, out):
    doubts = 0
    for i in range(len(out)):
        u = uniform(key[i], first) - 0.5
        v = uniform(key[i], second)
        mode = np.floor(mean[i])
        edge = 0.5 - abs(u)
        inverse = 1.0 / (edge * mode * mean[i])
        edges = inverse * mode * mean[i]
        b = 0.931 + 2.53 * math.sqrt(mean[i])
        a = -0.059 + 0.02483 * b
        k = np.floor((2.0 * a * edges + b) * u + mean[i] + 0.43)
        # log f(m) by Stirling's series, whose next term is below 1e-10 from 10 on
        r = 1.0 / (mode + 1.0)
        series = r * (1 / 12 - r * r * (1 / 360 - r * r * (1 / 1260)))
        peak = ((mode + 0.5) * log(mean[i] * r) - 0.5 * log(mean[i]) + (mode + 1.0 - mean[i])
                - HALF_LOG_TWO_PI - series)
        height = log(v * (1.1239 * (b - 3.4) + 1.1328) / ((a * edges * edges + b) * (b - 3.4)))
        height = height - peak
        up = k >= mode
        c = mode - mean[i] if up else mean[i] - mode - 1.0
        steepness = inverse * edge * (mean[i] if up else mode)
        low, high, sound = _bounds(abs(k - mode), c, steepness, steepness if up else 0.0)
        yes = (k >= 0.0) & sound & (height < low - _MARGIN)
        no = (k < 0.0) | (height > high + _MARGIN)
        out[i] = k if yes else (REFUSED if no else DOUBTFUL)
        doubts += 0 if yes | no else 1
    return doubts


@inner()
def _judge_poissons(mean, key, first, second, out):
    for i in range(len(out)):
        u = uniform(key[i], first) - 0.5
        v = uniform(key[i], second)
        b = 0.931 + 2.53 * math.sqrt(mean[i])
        a = -0.059 + 0.02483 * b
        edge = 0.5 - abs(u)
        k = np.floor((2.0 * a / edge + b) * u + mean[i] + 0.43)
        height = log(v * (1.1239 + 1.1328 / (b - 3.4)) / (a / (edge * edge) + b))
        ratio = k * log(mean[i]) - mean[i] - log_factorial(max(k, 0.0))
        out[i] = k if (k >= 0.0) & (height <= ratio) else REFUSED

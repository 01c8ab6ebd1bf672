"""Addressed random numbers: any number can be had by itself, in any order, on any thread.

A number is named by a key (seed, layer of chance, draw, replicate) and a counter (address of its
stream, model year, attempt, first or second of the attempt). Both are 64-bit numbers; their sum
goes through the mixing function of SplitMix64 (Steele, Lea & Flood 2014, OOPSLA), as its own states
do. Known answers and quick statistical tests: `tests/engine/test_random_numbers.py`. The counter is
the same for a whole row of lanes, so one lane costs two multiplications.

Normals come from the inverse of the normal distribution function: the middle by one polynomial in
log(4 p (1 - p)), fitted to 2e-16 in 50 digits; the tails, one number in a thousand, by Wichura
(1988, Applied Statistics 37:477-484).
"""

from __future__ import annotations

import math

import numpy as np
from numba import float64, int64, uint64

from pva.compiled import inner
from pva.engine.elementary import fma, log

SCHEME = "mixing function of SplitMix64, addressed by names; version 2"

_STEP = np.uint64(0x9E3779B97F4A7C15)
_MULTIPLY_1 = np.uint64(0xBF58476D1CE4E5B9)
_MULTIPLY_2 = np.uint64(0x94D049BB133111EB)
_UNIT = 2.0**-52
_MIDDLE = 6.25  # of -log(4 p (1 - p)): up to here the polynomial holds
ENVIRONMENT, INDIVIDUALS, OTHER_INDIVIDUALS = 0, 1, 2
# numbers of the first attempt; typed: with a bare constant `counter` would compile once more
FIRST, SECOND = np.int64(0), np.int64(1)


@inner()
def mixed(x):
    """A 64-bit number stirred without loss."""
    x = (x ^ (x >> uint64(30))) * _MULTIPLY_1
    x = (x ^ (x >> uint64(27))) * _MULTIPLY_2
    return x ^ (x >> uint64(31))


@inner()
def counter(address, year, number):
    """Counter of a stream in a year; `number` is twice the attempt, plus 1 for its second."""
    here = mixed(uint64(address) + _STEP * (uint64(year) + uint64(1)))
    return mixed(here + _STEP * (uint64(number) + uint64(1)))


@inner()
def uniform(key, count):
    """A number strictly between 0 and 1: 52 bits, with 53 the largest would round to 1."""
    return (float64(int64(mixed(key + count) >> uint64(12))) + 0.5) * _UNIT


@inner()
def uniforms(key, address, year, attempt):
    """Both numbers of an attempt."""
    return (uniform(key, counter(address, year, 2 * attempt)),
            uniform(key, counter(address, year, 2 * attempt + 1)))


@inner()
def normals(key, address, year, out):
    """One standard normal for every lane, into `out`; key and out have shape (lane,)."""
    count = counter(address, year, FIRST)
    far = 0
    for i in range(len(out)):
        p = uniform(key[i], count)
        w = -log(4.0 * p * (1.0 - p))
        far += 1 if w > _MIDDLE else 0
        out[i] = (p + p - 1.0) * _middle(w - 0.5 * _MIDDLE)
    if far > 0:
        for i in range(len(out)):
            p = uniform(key[i], count)
            if 4.0 * p * (1.0 - p) < 0.002:  # e to the -6.21: some more than those that are far
                out[i] = inverse_normal(p)


@inner()
def inverse_normal(p):
    """Quantile of the standard normal, relative accuracy about 1e-15."""
    w = -log(4.0 * p * (1.0 - p))
    if w <= _MIDDLE:
        return (p + p - 1.0) * _middle(w - 0.5 * _MIDDLE)
    r = math.sqrt(-log(min(p, 1.0 - p)))
    value = _ratio_tail(r - 1.6) if r <= 5.0 else _ratio_far(r - 5.0)
    return -value if p < 0.5 else value


@inner()
def _middle(s):
    """Quantile over 2 p - 1 as a polynomial in s = -log(4 p (1 - p)) - 3.125."""
    p = fma(-5.081556263217504e-22, s, 4.51702010660485e-21)
    p = fma(p, s, 2.8273805909578654e-20)
    p = fma(p, s, -4.912241660340459e-19)
    p = fma(p, s, 8.591419094975e-19)
    p = fma(p, s, 2.1935565352484576e-17)
    p = fma(p, s, -1.7275519790527177e-16)
    p = fma(p, s, -5.57226748086415e-17)
    p = fma(p, s, 9.222558296724625e-15)
    p = fma(p, s, -5.659687073061811e-14)
    p = fma(p, s, -1.1415427137390895e-13)
    p = fma(p, s, 3.7201267209535326e-12)
    p = fma(p, s, -1.8354802577559388e-11)
    p = fma(p, s, -7.65698113492015e-11)
    p = fma(p, s, 1.4866543569083624e-09)
    p = fma(p, s, -5.8161801676714855e-09)
    p = fma(p, s, -4.111174160550445e-08)
    p = fma(p, s, 5.988894861277318e-07)
    p = fma(p, s, -1.931065027529881e-06)
    p = fma(p, s, -1.9632852863696442e-05)
    p = fma(p, s, 0.00026408204954061674)
    p = fma(p, s, -0.001047511569485617)
    p = fma(p, s, -0.008532899177267343)
    p = fma(p, s, 0.3396349587011389)
    p = fma(p, s, 2.338620710026593)
    return p


@inner()
def _ratio_tail(r):
    top = ((((((7.74545014278341407640e-4 * r + 2.27238449892691845833e-2) * r
               + 2.41780725177450611770e-1) * r + 1.27045825245236838258e0) * r
             + 3.64784832476320460504e0) * r + 5.76949722146069140550e0) * r
           + 4.63033784615654529590e0) * r + 1.42343711074968357734e0
    bottom = ((((((1.05075007164441684324e-9 * r + 5.47593808499534494600e-4) * r
                  + 1.51986665636164571966e-2) * r + 1.48103976427480074590e-1) * r
                + 6.89767334985100004550e-1) * r + 1.67638483018380384940e0) * r
              + 2.05319162663775882187e0) * r + 1.0
    return top / bottom


@inner()
def _ratio_far(r):
    top = ((((((2.01033439929228813265e-7 * r + 2.71155556874348757815e-5) * r
               + 1.24266094738807843860e-3) * r + 2.65321895265761230930e-2) * r
             + 2.96560571828504891230e-1) * r + 1.78482653991729133580e0) * r
           + 5.46378491116411436990e0) * r + 6.65790464350110377720e0
    bottom = ((((((2.04426310338993978564e-15 * r + 1.42151175831644588870e-7) * r
                  + 1.84631831751005468180e-5) * r + 7.86869131145613259100e-4) * r
                + 1.48753612908506148525e-2) * r + 1.36929880922735805310e-1) * r
              + 5.99832206555887937690e-1) * r + 1.0
    return top / bottom


def mix64(x: np.ndarray) -> np.ndarray:
    """`mixed` for arrays outside compiled code."""
    x = np.asarray(x, dtype=np.uint64)
    with np.errstate(over="ignore"):
        x = (x ^ (x >> np.uint64(30))) * _MULTIPLY_1
        x = (x ^ (x >> np.uint64(27))) * _MULTIPLY_2
    return x ^ (x >> np.uint64(31))


def replicate_keys(*, seed: int, layer: int, draw: np.ndarray, replicate: np.ndarray) -> np.ndarray:
    """Keys of replicates.

    Parameters
    ----------
    seed : int
        0 .. 2**64 - 1.
    layer : int
        `ENVIRONMENT`, `INDIVIDUALS` or `OTHER_INDIVIDUALS`.
    draw, replicate : ndarray of int, shape (replicate,)

    Returns
    -------
    ndarray of uint64, shape (replicate,)
    """
    with np.errstate(over="ignore"):
        key = mix64(np.uint64(seed) + _STEP)
        key = mix64(key + _STEP * np.uint64(layer + 1))
        key = mix64(key + _STEP * (np.asarray(draw, dtype=np.uint64) + np.uint64(1)))
        return mix64(key + _STEP * (np.asarray(replicate, dtype=np.uint64) + np.uint64(1)))

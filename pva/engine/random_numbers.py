"""Addressed random numbers: any number can be had by itself, in any order, on any thread.

A number is named by a key (seed, layer of chance, draw, replicate) and a counter (address of its
stream, model year, attempt). Philox4x32-10 turns both into 128 bits (Salmon, Moraes, Dror & Shaw
2011, Proceedings of SC11, article 16); known-answer vectors are tested. Normals come from the
inverse of the normal distribution function (Wichura 1988, Applied Statistics 37:477-484).
"""

from __future__ import annotations

import math

import numpy as np
from numba import njit, uint64

SCHEME = "Philox4x32-10, addressed by names; version 1"

_LOW = np.uint64(0xFFFFFFFF)
_HALF = np.uint64(32)
_MULTIPLY_0 = np.uint64(0xD2511F53)
_MULTIPLY_1 = np.uint64(0xCD9E8D57)
_WEYL_0 = np.uint64(0x9E3779B9)
_WEYL_1 = np.uint64(0xBB67AE85)
_UNIT = 2.0**-52
ENVIRONMENT, INDIVIDUALS, OTHER_INDIVIDUALS = 0, 1, 2


@njit(cache=True, nogil=True)
def bits(key, address, year, attempt):
    """Two 64-bit numbers of a key and a counter."""
    c0 = uint64(address) & _LOW
    c1 = uint64(address) >> _HALF
    c2 = uint64(year) & _LOW
    c3 = uint64(attempt) & _LOW
    k0 = uint64(key) & _LOW
    k1 = uint64(key) >> _HALF
    for _ in range(10):
        first = _MULTIPLY_0 * c0
        second = _MULTIPLY_1 * c2
        c0 = (second >> _HALF) ^ c1 ^ k0
        c1 = second & _LOW
        c2 = (first >> _HALF) ^ c3 ^ k1
        c3 = first & _LOW
        k0 = (k0 + _WEYL_0) & _LOW
        k1 = (k1 + _WEYL_1) & _LOW
    return (c0 << _HALF) | c1, (c2 << _HALF) | c3


@njit(cache=True, nogil=True)
def uniforms(key, address, year, attempt):
    """Two numbers strictly between 0 and 1: 52 bits, with 53 the largest would round to 1."""
    a, b = bits(key, address, year, attempt)
    return ((a >> uint64(12)) + 0.5) * _UNIT, ((b >> uint64(12)) + 0.5) * _UNIT


@njit(cache=True, nogil=True)
def normal(key, address, year):
    """One standard normal."""
    return inverse_normal(uniforms(key, address, year, 0)[0])


@njit(cache=True, nogil=True)
def inverse_normal(p):
    """Quantile of the standard normal, relative accuracy about 1e-16 (algorithm AS 241)."""
    q = p - 0.5
    if abs(q) <= 0.425:
        r = 0.180625 - q * q
        return q * _ratio_centre(r)
    r = math.sqrt(-math.log(p if q < 0 else 1.0 - p))
    value = _ratio_tail(r - 1.6) if r <= 5.0 else _ratio_far(r - 5.0)
    return -value if q < 0 else value


@njit(cache=True, nogil=True)
def _ratio_centre(r):
    top = ((((((2.5090809287301226727e3 * r + 3.3430575583588128105e4) * r
               + 6.7265770927008700853e4) * r + 4.5921953931549871457e4) * r
             + 1.3731693765509461125e4) * r + 1.9715909503065514427e3) * r
           + 1.3314166789178437745e2) * r + 3.3871328727963666080e0
    bottom = ((((((5.2264952788528545610e3 * r + 2.8729085735721942674e4) * r
                  + 3.9307895800092710610e4) * r + 2.1213794301586595867e4) * r
                + 5.3941960214247511077e3) * r + 6.8718700749205790830e2) * r
              + 4.2313330701600911252e1) * r + 1.0
    return top / bottom


@njit(cache=True, nogil=True)
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


@njit(cache=True, nogil=True)
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
    """Bijective mixing of 64-bit numbers (finaliser of Steele, Lea & Flood 2014, OOPSLA)."""
    x = np.asarray(x, dtype=np.uint64)
    with np.errstate(over="ignore"):
        x = (x ^ (x >> np.uint64(30))) * np.uint64(0xBF58476D1CE4E5B9)
        x = (x ^ (x >> np.uint64(27))) * np.uint64(0x94D049BB133111EB)
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
    step = np.uint64(0x9E3779B97F4A7C15)
    with np.errstate(over="ignore"):
        key = mix64(np.uint64(seed) + step)
        key = mix64(key + step * np.uint64(layer + 1))
        key = mix64(key + step * (np.asarray(draw, dtype=np.uint64) + np.uint64(1)))
        return mix64(key + step * (np.asarray(replicate, dtype=np.uint64) + np.uint64(1)))

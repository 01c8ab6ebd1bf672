"""Elementary functions that the compiler can lay over many lanes at once.

The library's exp and log take one number at a time. These are plain arithmetic, so a loop over
lanes becomes wide instructions; they are right to about two units of the last place. Series are
those of every textbook; ln 2 is split in two so that its multiples are exact.
"""

from __future__ import annotations

import math

import numpy as np
from llvmlite import ir
from numba import float64, int64, types
from numba.extending import intrinsic

from pva.compiled import inner

_LN2_HIGH = 6.93147180369123816490e-01
_LN2_LOW = 1.90821492927058770002e-10
_PER_LN2 = 1.4426950408889634
_ROOT_HALF = 0x3FE6A09E667F3BCD  # bits of the square root of a half
_TABLE = 256
_LOG_FACTORIAL = np.array([math.lgamma(k + 1.0) for k in range(_TABLE)])
HALF_LOG_TWO_PI = 0.9189385332046727


@intrinsic
def _bits(typing, x):
    """The 64 bits of a float."""
    return types.int64(types.float64), lambda context, builder, signature, args: builder.bitcast(
        args[0], ir.IntType(64))


@intrinsic
def _float(typing, x):
    """The float of 64 bits."""
    return types.float64(types.int64), lambda context, builder, signature, args: builder.bitcast(
        args[0], ir.DoubleType())


@intrinsic
def fma(typing, a, b, c):
    """a b + c, rounded once."""
    signature = types.float64(types.float64, types.float64, types.float64)
    return signature, lambda context, builder, signature, args: builder.fma(*args)


@inner()
def _split_power(x):
    """x = k ln 2 + r; returns 2 ** k and exp(r) - 1, for x in -708 .. 709."""
    k = np.floor(x * _PER_LN2 + 0.5)
    r = fma(k, -_LN2_LOW, fma(k, -_LN2_HIGH, x))
    p = fma(1 / 6227020800, r, 1 / 479001600)
    p = fma(p, r, 1 / 39916800)
    p = fma(p, r, 1 / 3628800)
    p = fma(p, r, 1 / 362880)
    p = fma(p, r, 1 / 40320)
    p = fma(p, r, 1 / 5040)
    p = fma(p, r, 1 / 720)
    p = fma(p, r, 1 / 120)
    p = fma(p, r, 1 / 24)
    p = fma(p, r, 1 / 6)
    p = fma(p, r, 0.5)
    return _float((int64(k) + 1023) << 52), fma(p * r, r, r)


@inner()
def exp(x):
    """e to the x; 0 below -708, and at most e to the 709."""
    power, rest = _split_power(min(max(x, -708.0), 709.0))
    return 0.0 if x < -708.0 else fma(power, rest, power)


@inner()
def expm1(x):
    """e to the x, less 1, without loss near 0."""
    power, rest = _split_power(min(max(x, -708.0), 709.0))
    return fma(power, rest, power - 1.0)


@inner()
def logistic(x):
    """1 / (1 + e to the -x); exactly 0 and 1 at the infinite ends."""
    value = 1.0 / (1.0 + exp(-x))
    return 0.0 if x < -708.0 else value


@inner()
def log(x):
    """Natural logarithm of a normal positive number."""
    bits = _bits(x)
    exponent = (bits - _ROOT_HALF) >> 52
    m = _float(bits - (exponent << 52)) - 1.0  # between root(1/2) - 1 and root(2) - 1
    s = m / (2.0 + m)
    z = s * s
    p = fma(1 / 21, z, 1 / 19)
    p = fma(p, z, 1 / 17)
    p = fma(p, z, 1 / 15)
    p = fma(p, z, 1 / 13)
    p = fma(p, z, 1 / 11)
    p = fma(p, z, 1 / 9)
    p = fma(p, z, 1 / 7)
    p = fma(p, z, 1 / 5)
    p = fma(p, z, 1 / 3)
    e = float64(exponent)
    return fma(e, _LN2_HIGH, fma(e, _LN2_LOW, fma(s + s, p * z, s + s)))


@inner()
def log_of_rest(p):
    """log(1 - p) without loss near 0, for p in 0 .. 1/2."""
    rest = 1.0 - p
    return log(rest) - ((rest - 1.0) + p) / rest


@inner()
def log_factorial(k):
    """log k! of a whole number held as a float: a table, then Stirling's series."""
    n = k + 1.0
    r = 1.0 / (n * n)
    series = (1 / 12 - r * (1 / 360 - r * (1 / 1260))) / n
    far = (k + 0.5) * log(n) - n + (HALF_LOG_TWO_PI + series)
    return _LOG_FACTORIAL[int64(min(k, _TABLE - 1.0))] if k < _TABLE else far

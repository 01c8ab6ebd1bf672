"""Intervals of sums, products and quotients of independent estimates from their own intervals.

Each end is moved by the square root of the summed squares of the parts' distances to their own
ends, so that lopsided intervals stay lopsided (method of variance estimates recovery: Zou & Donner
2008, Statistics in Medicine 27:1693-1702, from memory).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np


@dataclass(frozen=True)
class Told:
    """A value and its interval; where nothing was found, `low` is 0 and `high` one-sided."""

    value: float
    low: float
    high: float

    def times(self, factor: float) -> Told:
        """The same in another unit."""
        return Told(self.value * factor, self.low * factor, self.high * factor)


def weighted_sum(weights: Sequence[float], parts: Sequence[Told]) -> Told:
    """Sum of independent estimates, each times its known weight (at least 0)."""
    weights = np.asarray(weights, float)
    value, low, high = (np.array([getattr(p, name) for p in parts]) for name in
                        ("value", "low", "high"))
    total = float(weights @ value)
    down = np.sqrt(((weights * (value - low)) ** 2).sum())
    up = np.sqrt(((weights * (high - value)) ** 2).sum())
    return Told(total, max(total - float(down), 0.0), total + float(up))


def quotient(top: Told, below: Told) -> Told:
    """One independent estimate over another that is above 0, on the log scale.

    Where the first is 0, its high end is taken over the low end of the second.
    """
    if top.value == 0:
        return Told(0.0, 0.0, top.high / below.low if below.low > 0 else np.inf)
    value = top.value / below.value
    if top.low <= 0:
        low = 0.0
    else:
        low = value * np.exp(-np.hypot(np.log(top.value / top.low),
                                       np.log(below.high / below.value)))
    if below.low <= 0:
        return Told(value, float(low), np.inf)
    high = value * np.exp(np.hypot(np.log(top.high / top.value),
                                   np.log(below.value / below.low)))
    return Told(float(value), float(low), float(high))

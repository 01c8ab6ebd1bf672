"""Chance against number: single looks, and the curve they make."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from scipy.optimize import isotonic_regression
from scipy.special import expit, logit


@dataclass(frozen=True)
class Point:
    """Chance at one number, with its Monte Carlo interval.

    `by_draw`, shape (draw,): share of each draw's replicates; empty for a point read off a fit.
    """

    number: float
    chance: float
    low: float
    high: float
    by_draw: np.ndarray
    replicates: int


@dataclass(frozen=True)
class Curve:
    """All points in order of the number."""

    points: tuple[Point, ...]

    @property
    def numbers(self) -> list[float]:
        """Numbers looked at."""
        return [p.number for p in self.points]

    @property
    def chances(self) -> list[float]:
        """Chance at each."""
        return [p.chance for p in self.points]

    @property
    def lows(self) -> list[float]:
        """Lower ends."""
        return [p.low for p in self.points]

    @property
    def highs(self) -> list[float]:
        """Upper ends."""
        return [p.high for p in self.points]


def curve_of(looks: Sequence[Point], fitted: Sequence[Point], *, monotone: bool) -> Curve:
    """Looks in one luck, joined with what fresh looks say of the neighbourhood of the answer.

    Looks within the numbers of `fitted` give way to it. Where more animals can only help, what is
    left and right of it is fitted so that it never falls (isotonic regression, weighted by
    replicates) and meets it.
    """
    ordered = sorted(looks, key=lambda p: p.number)
    if not fitted:
        return Curve(tuple(_rising(ordered) if monotone else ordered))
    first, last = fitted[0], fitted[-1]
    left = [p for p in ordered if p.number < first.number]
    right = [p for p in ordered if p.number > last.number]
    if monotone:
        left = [_bounded(p, np.minimum, first) for p in _rising(left)]
        right = [_bounded(p, np.maximum, last) for p in _rising(right)]
    return Curve((*left, *fitted, *right))


def _rising(points):
    if len(points) < 2:
        return points
    weights = [p.replicates for p in points]
    fits = [isotonic_regression([getattr(p, k) for p in points], weights=weights).x
            for k in ("chance", "low", "high")]
    return [replace(p, chance=float(c), low=float(lo), high=float(hi))
            for p, c, lo, hi in zip(points, *fits, strict=True)]


def _bounded(point, which, end):
    return replace(point, **{k: float(which(getattr(point, k), getattr(end, k)))
                             for k in ("chance", "low", "high")})


def shifted(point: Point, by: float) -> Point:
    """A look moved on the logit scale by what its luck is off; 0 and 1 stay."""
    if not by:
        return point
    moved = {k: float(expit(logit(v) + by)) if 0 < v < 1 else v
             for k, v in (("chance", point.chance), ("low", point.low), ("high", point.high))}
    return replace(point, **moved)


def luck_of(look: Point, chance: float) -> float:
    """How far a look's luck is off on the logit scale, where the chance is known better."""
    if not (0 < look.chance < 1 and 0 < chance < 1):
        return 0.0
    return float(logit(chance) - logit(look.chance))

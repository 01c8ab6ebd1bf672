"""The last step of a search: looks in fresh luck near the crossing, and a line through them."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from scipy.special import logit

from pva.decide.curve import Point
from pva.decide.local_fit import Cells, LocalFit, fit_line
from pva.model.draws import SCRAMBLES, scramble_of_draw

_PAIRS, _PAIRS_KNOWN = 4, 2  # pairs of fresh looks, with and without parameter draws
_NARROW, _WIDE = 0.15, 0.5  # distance of the looks from the crossing on the logit scale
_ERRORS = 3.0  # ... and in standard errors of a full look
_Z = 1.96


@dataclass(frozen=True)
class Refined:
    """Number, its interval, the chance there, and points of the line (none without a line)."""

    number: float
    low: float
    high: float | None
    chance: float
    fitted: tuple[Point, ...] = ()
    fit: LocalFit | None = None

    def chance_of(self, number: float) -> float:
        """Chance at a number near the answer, by the line."""
        return self.fit.chance(number)[0]


def refine(looks, below: Point, above: Point, top: float, *, unknown: bool) -> Refined | None:
    """Where the chance wanted is crossed; None where no line can say it.

    Parameters
    ----------
    looks : object
        `fresh(number, replicates)`, `few`, `replicates`, `wanted`, `known`.
    below, above : Point
        Looks in common luck, not enough and enough.
    top : float
        Largest number.
    unknown : bool
        Draws differ: fresh draws are worth more than many replicates of each.
    """
    centre, half = _where(looks, below, above)
    if half < 1:
        return None  # a step of one animal: looks in common luck close in on it
    replicates = looks.few if unknown else looks.replicates
    points, fit = [], None
    for _ in range(_PAIRS if unknown else _PAIRS_KNOWN):
        for number in (centre - half, centre + half):
            at = float(min(max(round(number), 0), top))
            points.append(looks.fresh(at, replicates))
        fit = fit_line(_cells(points, unknown=unknown), overdispersed=unknown)
        crossing = None if fit is None else fit.crossing(looks.wanted)
        if crossing is not None:
            centre = min(max(crossing[0], centre - half), centre + half)
    if crossing is None:
        return None
    return _refined(fit, crossing, points, looks.wanted, top, half)


def _where(looks, below, above):
    """Crossing by the bracket, and how far from it fresh looks tell most, in animals."""
    wanted = float(logit(looks.wanted))
    error = (above.high - above.low) / (2 * _Z) / (looks.wanted * (1 - looks.wanted))
    width = min(max(_ERRORS * error, _NARROW), _WIDE)
    known = sorted(looks.known.values(), key=lambda p: p.number)
    left = [p for p in known if p.number <= below.number]
    right = [p for p in known if p.number >= above.number]
    start = next((p for p in reversed(left) if _logit(p) <= wanted - width), left[0])
    end = next((p for p in right if _logit(p) >= wanted + width), right[-1])
    slope = (_logit(end) - _logit(start)) / (end.number - start.number)
    share = (wanted - _logit(below)) / (_logit(above) - _logit(below))
    centre = below.number + share * (above.number - below.number)
    return centre, width / slope


def _logit(point):
    return float(logit(np.clip(point.chance, 1e-3, 1 - 1e-3)))


def _cells(points, *, unknown):
    """Independent groups: the scrambles of every look's draws, or the looks where draws agree."""
    number, met, runs = [], [], []
    for point in points:
        draws = len(point.by_draw)
        groups = np.zeros(draws, int)
        if unknown:
            groups = scramble_of_draw(draws) if draws >= SCRAMBLES else np.arange(draws)
        size = np.bincount(groups) * float(point.replicates)
        met.append(np.bincount(groups, weights=point.by_draw * point.replicates))
        runs.append(size)
        number.append(np.full(len(size), point.number))
    return Cells(*(np.concatenate(v) for v in (number, met, runs)))


def _refined(fit: LocalFit, crossing, points, wanted, top, half) -> Refined | None:
    root, low, high = crossing
    first, last = min(p.number for p in points), max(p.number for p in points)
    if low < first - 2 * half or high > last + 2 * half or root > top:
        return None  # the line would be believed far from where it was seen
    number = float(max(math.ceil(root - 1e-9), 0))
    low = min(float(max(math.ceil(low - 1e-9), 0)), number)
    high = max(float(math.ceil(high - 1e-9)), number)
    fitted = tuple(Point(n, *fit.chance(n), np.empty(0), points[0].replicates)
                   for n in sorted({first, number, last}))
    return Refined(number, low, None if high > top else high, fit.chance(number)[0], fitted,
                   fit)

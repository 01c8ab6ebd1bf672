"""Search for the smallest number whose chance is enough: bracket cheaply, then look closely.

All looks share luck, so the curve is smooth in the number although its level carries Monte Carlo
error. Near the crossing a local logistic line is fitted to fresh replicates.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from scipy.special import expit, logit

_GRID = 16
_SPAN = 2.0**8  # largest over smallest number of the ladder
_CLOSE = 4
_CHEAP = 5  # share of replicates spent on each bracketing look: one in this many


@dataclass(frozen=True)
class Point:
    """Chance at one number, with its Monte Carlo interval and the chance of every draw."""

    number: float
    chance: float
    low: float
    high: float
    by_draw: np.ndarray
    size: int


@dataclass(frozen=True)
class Curve:
    """All looks in order of the number."""

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


@dataclass(frozen=True)
class Found:
    """Result of a search; `number` None = not reachable, or cannot tell (`reachable` None)."""

    reachable: bool | None
    number: int | None
    low: float | None
    high: float | None
    draw_low: float | None
    draw_high: float | None
    chance_at_number: float | None
    best: Point
    band: tuple[float, float] | None
    curve: Curve


Look = Callable[..., Point]


def search(look: Look, most: float, wanted: float, *, monotone: bool, replicates: int,
           progress=None) -> Found:
    """Smallest whole number with a chance of at least `wanted`.

    Parameters
    ----------
    look : callable
        look(number, replicates, first_replicate) -> Point.
    most : float
        Largest number tried.
    wanted : float
        In (0, 1).
    monotone : bool
        Whether the chance can only rise with the number.
    replicates : int
        Per draw, of a full look.
    progress : callable or None
    """
    tell = progress or (lambda done, total: None)
    steps = _GRID + _CLOSE + 2
    cheap = max(2, math.ceil(replicates / _CHEAP))
    points: dict[float, Point] = {}
    for i, number in enumerate(_first_numbers(most)):
        points[number] = look(number, cheap, 0)
        tell(i + 1, steps)
    bracket = _crossing(points, wanted)
    if bracket is None:
        best = max(points.values(), key=lambda p: p.chance)
        points[best.number] = best = look(best.number, replicates, 0)
        tell(steps, steps)
        if best.chance < wanted:
            return _unreachable(points, best, wanted)
        bracket = _crossing(points, wanted)
        if bracket is None:  # already enough at zero
            return _already(points, best)
    close = _close_looks(look, bracket, wanted, replicates, tell, steps)
    points |= {p.number: p for p in close}
    return _reached(points, close, wanted, most, monotone, look, replicates)


def _first_numbers(most):
    """0 and a geometric ladder up to the largest."""
    top = max(float(math.floor(most)), 1.0)
    ladder = np.unique(np.round(np.geomspace(max(1.0, top / _SPAN), top, _GRID - 1)))
    return [0.0, *ladder.tolist()]


def _crossing(points, wanted):
    """Numbers just below and just above the first rise through the chance wanted."""
    ordered = sorted(points)
    for a, b in zip(ordered, ordered[1:], strict=False):
        if points[a].chance < wanted <= points[b].chance:
            return a, b
    return None


def _close_looks(look, bracket, wanted, replicates, tell, steps):
    """Full looks that close in on the crossing, on the number's root scale."""
    low, high = bracket
    close = [look(low, replicates, 0), look(high, replicates, 0)]
    for i in range(_CLOSE):
        tell(_GRID + i + 1, steps)
        below = [p for p in close if p.chance < wanted]
        above = [p for p in close if p.chance >= wanted]
        if not below or not above:  # the cheap looks misled: widen by the nearest ladder step
            number = low / 2 if not below else high * 1.5
            low, high = min(low, number), max(high, number)
        else:
            a = max(below, key=lambda p: p.number)
            b = min(above, key=lambda p: p.number)
            number = _between(a, b, wanted)
        number = float(round(number))
        if any(p.number == number for p in close):
            break
        close.append(look(number, replicates, 0))
    return close


def _between(a, b, wanted):
    """Where a line on the logit scale crosses, kept off the ends so the bracket shrinks."""
    ya, yb, y = (logit(np.clip(v, 1e-3, 1 - 1e-3)) for v in (a.chance, b.chance, wanted))
    share = (y - ya) / (yb - ya) if yb > ya else 0.5
    return a.number + np.clip(share, 0.1, 0.9) * (b.number - a.number)


def _line(points, wanted):
    """Weighted logistic line of chance on the number, through the looks nearest the crossing."""
    near = sorted(points, key=lambda p: abs(p.chance - wanted))[:4]
    x = np.array([p.number for p in near])
    chance = np.clip([p.chance for p in near], 1e-3, 1 - 1e-3)
    weight = np.sqrt(chance * (1 - chance)) / (0.02 + np.abs(chance - wanted))
    slope, level = np.polyfit(x, logit(chance), 1, w=weight)
    return slope, level


def _reached(points, close, wanted, most, monotone, look, replicates):
    slope, level = _line(close, wanted)
    ordered = sorted(points)
    under = max((n for n in ordered if points[n].chance < wanted), default=0.0)
    over = min((n for n in ordered if points[n].chance >= wanted and n > under),
               default=max(ordered))
    root = (logit(wanted) - level) / slope if slope > 0 else over
    if monotone:
        root = min(max(root, under), over)
    number = int(math.ceil(round(root, 6)))
    at = points.get(float(number)) or look(float(number), replicates, 0)
    points[float(number)] = at
    half_low, half_high = at.chance - at.low, at.high - at.chance
    low, high = (_cross(slope, level, wanted - half_high), _cross(slope, level,
                                                                 wanted + half_low))
    if high is not None and high > most:
        high = None
    draw_low, draw_high = _draw_numbers(points, wanted)
    best = max(points.values(), key=lambda p: (p.chance, -p.number))
    band = None if monotone else _band(points, wanted, number)
    return Found(True, number, low, high, draw_low, draw_high, float(expit(level + slope * number)),
                 best, band, _curve(points))


def _cross(slope, level, chance):
    if slope <= 0 or not 0 < chance < 1:
        return None
    return max(0.0, float((logit(chance) - level) / slope))


def _draw_numbers(points, wanted):
    """2.5 and 97.5 % over draws of the number each draw needs; None where it never gets there."""
    ordered = sorted(points)
    chances = np.array([points[n].by_draw for n in ordered])  # (number, draw)
    if chances.shape[1] < 2:
        return None, None
    rising = np.maximum.accumulate(chances, axis=0)
    needed = np.full(chances.shape[1], np.inf)
    for d in range(chances.shape[1]):
        enough = np.flatnonzero(rising[:, d] >= wanted)
        if len(enough):
            needed[d] = _interpolated(ordered, rising[:, d], enough[0], wanted)
    low, high = np.percentile(needed, [2.5, 97.5], method="inverted_cdf")
    return _finite(low), _finite(high)


def _interpolated(numbers, chance, i, wanted):
    if i == 0:
        return numbers[0]
    share = (wanted - chance[i - 1]) / (chance[i] - chance[i - 1])
    return numbers[i - 1] + share * (numbers[i] - numbers[i - 1])


def _finite(value):
    return float(value) if np.isfinite(value) else None


def _band(points, wanted, number):
    good = [n for n in points if points[n].chance >= wanted]
    return float(number), float(max(good, default=number))


def _unreachable(points, best, wanted):
    draw_low, draw_high = _draw_numbers(points, wanted)
    reachable = None if best.high >= wanted else False
    return Found(reachable, None, None, None, draw_low, draw_high, None, best, None,
                 _curve(points))


def _already(points, best):
    zero = points[0.0]
    return Found(True, 0, 0.0, 0.0, 0.0, _draw_numbers(points, zero.chance)[1], zero.chance, best,
                 None, _curve(points))


def _curve(points):
    return Curve(tuple(points[n] for n in sorted(points)))

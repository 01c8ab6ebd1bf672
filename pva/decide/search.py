"""Search for the smallest number whose chance is enough: bracket cheaply, then look closely.

All looks share luck, so the chance is a nearly smooth function of the number although its level
carries Monte Carlo error: the crossing is bisected on full looks, and the error of the level is
turned into numbers by the crossings of the lower and the upper ends of the looks' intervals.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from scipy.special import logit

from pva.decide.draw_numbers import draw_shares

_LADDER = 16
_SPAN = 2.0**8  # largest over smallest number of the ladder
_CHEAP = 5  # a cheap look spends one replicate in this many
_MOST_BISECTIONS = 40
_SHARE_LOOKS, _SHARE_STEP = 3, 0.05  # looks at most, and relative step, for the spread of draws
_FINE = 0.25  # a bracket is fine when its rise is this part of the Monte Carlo interval


@dataclass(frozen=True)
class Point:
    """Chance at one number, with its Monte Carlo interval and the chance of every draw."""

    number: float
    chance: float
    low: float
    high: float
    by_draw: np.ndarray
    replicates: int


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


Look = Callable[[float, int], Point]


def search(look: Look, most: float, wanted: float, *, monotone: bool, unknown: bool,
           replicates: int, progress=None) -> Found:
    """Smallest whole number with a chance of at least `wanted`.

    Parameters
    ----------
    look : callable
        look(number, replicates) -> Point.
    most : float
        Largest number tried.
    wanted : float
        In (0, 1).
    monotone : bool
        Whether the chance can only rise with the number; else the band that succeeds is found.
    unknown : bool
        Whether draws differ, so that the number has a spread between draws.
    replicates : int
        Per draw, of a full look.
    progress : callable or None
        Called with looks done and expected in all.
    """
    looks = _Looks(look, replicates, wanted, progress)
    ladder = _ladder(most)
    for number in ladder:
        looks.cheap(number)
    bracket = _first_rise(looks, ladder)
    if bracket is None:
        return _not_reached(looks, ladder, unknown)
    below, above = bracket
    if above.number > 0:
        below, above = _bisect(looks, below, above)
    number = above.number
    band = None if monotone else (number, _last_success(looks, ladder, number))
    low, high = _interval(looks, ladder, number)
    draw_low, draw_high = _between_draws(looks, ladder) if unknown else (None, None)
    return Found(True, int(number), low, high, draw_low, draw_high, above.chance, looks.best(),
                 band, looks.curve())


class _Looks:
    """Looks made so far; a full look at a number replaces a cheap one."""

    def __init__(self, look, replicates, wanted, progress):
        self._look, self._replicates, self._progress = look, replicates, progress
        self.wanted = wanted
        self._few = max(2, math.ceil(replicates / _CHEAP))
        self.points: dict[float, Point] = {}
        self.closely: dict[float, Point] = {}
        self._done = 0

    def _tell(self):
        self._done += 1
        if self._progress is not None:
            self._progress(self._done, max(self._done, _LADDER + 14))

    def cheap(self, number):
        if number not in self.points:
            self._tell()
            self.points[number] = self._look(number, min(self._few, self._replicates))
        return self.points[number]

    def full(self, number):
        if number not in self.closely:
            self._tell()
            self.closely[number] = self.points[number] = self._look(number, self._replicates)
        return self.closely[number]

    def enough(self, point):
        return point.chance >= self.wanted

    def best(self):
        return max(self.closely.values(), key=lambda p: (p.chance, -p.number))

    def curve(self):
        return Curve(tuple(self.points[n] for n in sorted(self.points)))


def _ladder(most):
    """0 and a geometric ladder of whole numbers up to the largest."""
    top = max(float(math.floor(most)), 1.0)
    steps = np.unique(np.round(np.geomspace(max(1.0, top / _SPAN), top, _LADDER - 1)))
    return [0.0, *steps.tolist()]


def _first_rise(looks, ladder):
    """Neighbours on the ladder between which full looks first rise through the chance wanted.

    Cheap looks say where to begin; full looks decide. None where no full look is enough.
    """
    if looks.enough(looks.full(0.0)):
        return looks.full(0.0), looks.full(0.0)
    hopeful = [i for i, n in enumerate(ladder) if i and looks.points[n].high >= looks.wanted]
    likely = next((i for i in hopeful if looks.enough(looks.points[ladder[i]])), None)
    if likely is not None:
        hopeful = [i for i in hopeful if i >= likely]
    up = next((i for i in hopeful if looks.enough(looks.full(ladder[i]))), None)
    if up is None:
        return None
    while looks.enough(looks.full(ladder[up - 1])):  # ends at 0, which is not enough
        up -= 1
    return looks.full(ladder[up - 1]), looks.full(ladder[up])


def _bisect(looks, below, above):
    """Shrink a bracket of a not enough and an enough number."""
    for _ in range(_MOST_BISECTIONS):
        if above.number - below.number <= 1 or _fine(below, above, looks.wanted):
            break
        middle = looks.full(_inside(below, above, looks.wanted))
        if looks.enough(middle):
            above = middle
        else:
            below = middle
    return below, above


def _fine(below, above, wanted):
    """Whether the chance rises less across the bracket than its level is known."""
    return above.chance - below.chance <= _FINE * (above.high - above.low) and (
        above.chance - wanted <= 0.1 * (above.high - above.low))


def _inside(below, above, wanted):
    """Whole number where a line on the logit scale crosses, kept off the ends of the bracket."""
    ya, yb, y = (logit(np.clip(v, 1e-3, 1 - 1e-3)) for v in (below.chance, above.chance, wanted))
    share = float(np.clip((y - ya) / (yb - ya) if yb > ya else 0.5, 0.1, 0.9))
    if yb - ya > 4:  # a step, not a slope: halve
        share = 0.5
    number = float(round(below.number + share * (above.number - below.number)))
    return min(max(number, below.number + 1), above.number - 1)


def _interval(looks, ladder, number):
    """Numbers at which the upper and the lower end of the looks' intervals reach the chance wanted.

    Returns
    -------
    tuple of (float, float or None)
        The second is None where even the largest number may not be enough.
    """
    for n in reversed([n for n in ladder if n < number]):
        if looks.full(n).high < looks.wanted:
            break
    for n in [n for n in ladder if n > number]:
        if looks.full(n).low >= looks.wanted:
            break
    ordered = [looks.closely[n] for n in sorted(looks.closely)]
    low = _crossing(ordered, [p.high for p in ordered], looks.wanted)
    high = _crossing([p for p in ordered if p.number >= number],
                     [p.low for p in ordered if p.number >= number], looks.wanted)
    low = number if low is None else min(_whole(low), number)
    return low, None if high is None else max(_whole(high), number)


def _whole(number):
    """The first whole number that is enough where `number` just is."""
    return float(math.ceil(number - 1e-9))


def _crossing(points, values, wanted):
    """First number at which values, joined by straight lines on the logit scale, reach `wanted`."""
    if values[0] >= wanted:
        return points[0].number
    for (a, b), (ya, yb) in zip(zip(points, points[1:], strict=False),
                                zip(values, values[1:], strict=False), strict=True):
        if ya < wanted <= yb:
            la, lb, lw = (logit(np.clip(v, 1e-6, 1 - 1e-6)) for v in (ya, yb, wanted))
            return a.number + float((lw - la) / (lb - la)) * (b.number - a.number)
    return None


def _last_success(looks, ladder, number):
    """End of the band of numbers from `number` on that succeed, by full looks."""
    above = [n for n in ladder if n > number]
    failing = next((n for n in above if not looks.enough(looks.points[n])
                    and not looks.enough(looks.full(n))), None)
    good = looks.full(number)
    for n in above:
        if failing is not None and n >= failing:
            break
        if looks.enough(looks.full(n)):
            good = looks.full(n)
    if failing is None:
        return good.number
    bad = looks.full(failing)
    while bad.number - good.number > max(1.0, 0.02 * bad.number):
        middle = looks.full(float(round((bad.number + good.number) / 2)))
        good, bad = (middle, bad) if looks.enough(middle) else (good, middle)
    return good.number


def _between_draws(looks, ladder):
    """2.5 and 97.5 % over draws of the number each draw needs; None where a draw never gets there.

    The ladder's cheap looks say in which step those shares are reached, full looks close in.
    """
    return tuple(_share_crossing(looks, ladder, share) for share in (0.025, 0.975))


def _share_crossing(looks, ladder, share):
    def shares_at(number):
        return draw_shares(looks.full(number), looks.wanted)

    step = next((i for i, n in enumerate(ladder)
                 if draw_shares(looks.points[n], looks.wanted) >= share), len(ladder) - 1)
    while step < len(ladder) - 1 and shares_at(ladder[step]) < share:
        step += 1
    while step > 0 and shares_at(ladder[step - 1]) >= share:
        step -= 1
    if shares_at(ladder[step]) < share:
        return None
    if step == 0:
        return 0.0
    low, high = ladder[step - 1], ladder[step]
    for _ in range(_SHARE_LOOKS):
        if high - low <= max(1.0, _SHARE_STEP * high):
            break
        middle = float(round((low + high) / 2))
        low, high = (low, middle) if shares_at(middle) >= share else (middle, high)
    return high


def _not_reached(looks, ladder, unknown):
    for n in (ladder[-1], max(ladder, key=lambda n: looks.points[n].chance)):
        looks.full(n)
    draw_low, draw_high = _between_draws(looks, ladder) if unknown else (None, None)
    best = looks.best()
    reachable = None if best.high >= looks.wanted else False
    return Found(reachable, None, None, None, draw_low, draw_high, None, best, None,
                 looks.curve())

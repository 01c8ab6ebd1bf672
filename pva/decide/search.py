"""Search for the smallest number whose chance is enough.

Three steps. Looks with few replicates on a ladder of numbers say where to begin. Full looks in one
common luck close in: in it the chance is a nearly smooth function of the number. Then looks in
fresh luck near the crossing, and a line through them, say where it is and how well that is known
(`pva.decide.local_fit`): common luck sharpens differences, not levels.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from scipy.special import logit

from pva.decide.curve import Curve, Point, curve_of, luck_of, shifted
from pva.decide.draw_numbers import between_draws
from pva.decide.refine import Refined, refine

_LADDER = 16
_SPAN = 2.0**8  # largest over smallest number of the ladder
_CHEAP = 5  # a cheap look spends one replicate in this many
_MOST_BISECTIONS = 40
_FINE = 0.25  # a bracket is fine when its rise is this part of the Monte Carlo interval
_NEAR = 1.2  # a bracket is near when it rises by no more than this on the logit scale


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


Look = Callable[[float, int, int], Point]


def search(look: Look, most: float, wanted: float, *, monotone: bool, unknown: bool,
           replicates: int, certain: bool = False, progress=None) -> Found:
    """Smallest whole number with a chance of at least `wanted`.

    Parameters
    ----------
    look : callable
        look(number, replicates, luck) -> Point; luck 0 is common to all looks, every other whole
        number is fresh.
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
    certain : bool
        Nothing is left to chance, so that fresh luck tells nothing new.
    progress : callable or None
        Called with looks done and expected in all.
    """
    looks = _Looks(look, replicates, wanted, progress, hasty=unknown and not certain)
    ladder = _ladder(most)
    for number in ladder:
        looks.cheap(number)
    bracket = _first_rise(looks, ladder)
    if bracket is None and looks.hasty:
        looks.hasty = False
        bracket = _first_rise(looks, ladder)
    if bracket is None:
        return _not_reached(looks, ladder, unknown, monotone)
    below, above = bracket
    refined, off = None, 0.0
    if above.number > 0:
        below, above = _bisect(looks, below, above, _near)
        if not certain:
            refined = refine(looks, below, above, ladder[-1], unknown=unknown)
    if refined is None:
        if looks.hasty:
            looks.hasty = False
            below, above = _first_rise(looks, ladder) or (below, above)
        if above.number > 0:
            below, above = _bisect(looks, below, above, _fine)
        low, high = _interval(looks, ladder, above.number)
        refined = Refined(above.number, low, high, above.chance)
    number = refined.number
    band = None if monotone else (number, _last_success(looks, ladder, above.number))
    draws = between_draws(looks, ladder) if unknown else (None, None)
    if refined.fitted:
        off = luck_of(above, refined.chance_of(above.number))
    curve = curve_of([shifted(p, off) for p in looks.points.values()], refined.fitted,
                     monotone=monotone)
    return Found(True, int(number), refined.low, refined.high, *draws, refined.chance,
                 max(curve.points, key=lambda p: (p.chance, -p.number)), band, curve)


class _Looks:
    """Looks made so far; a full look at a number replaces a cheap one."""

    def __init__(self, look, replicates, wanted, progress, *, hasty):
        self._look, self.replicates, self._progress = look, replicates, progress
        self.wanted = wanted
        self.hasty = hasty  # cheap looks bracket the crossing, because fresh looks will place it
        self.few = min(replicates, max(2, math.ceil(replicates / _CHEAP)))
        self.points: dict[float, Point] = {}
        self.closely: dict[float, Point] = {}
        self._done = self._fresh = 0

    def _tell(self):
        self._done += 1
        if self._progress is not None:
            self._progress(self._done, max(self._done, _LADDER + 18))

    def cheap(self, number):
        if number not in self.points:
            self._tell()
            self.points[number] = self._look(number, self.few, 0)
        return self.points[number]

    def full(self, number):
        if number not in self.closely:
            self._tell()
            self.closely[number] = self.points[number] = self._look(number, self.replicates, 0)
        return self.closely[number]

    def near(self, number):
        """A look good enough to bracket the crossing."""
        return self.cheap(number) if self.hasty else self.full(number)

    @property
    def known(self):
        """Looks that the bracket rests on, by number."""
        return self.points if self.hasty else self.closely

    def fresh(self, number, replicates):
        """A look in luck of its own."""
        self._tell()
        self._fresh += 1
        return self._look(number, replicates, self._fresh)

    def enough(self, point):
        return point.chance >= self.wanted

    def best(self):
        return max(self.closely.values(), key=lambda p: (p.chance, -p.number))


def _ladder(most):
    """0 and a geometric ladder of whole numbers up to the largest."""
    top = max(float(math.floor(most)), 1.0)
    steps = np.unique(np.round(np.geomspace(max(1.0, top / _SPAN), top, _LADDER - 1)))
    return [0.0, *steps.tolist()]


def _first_rise(looks, ladder):
    """Neighbours on the ladder between which looks first rise through the chance wanted.

    Cheap looks say where to begin. None where no look is enough.
    """
    if looks.points[0.0].high >= looks.wanted and looks.enough(looks.full(0.0)):
        return looks.full(0.0), looks.full(0.0)
    hopeful = [i for i, n in enumerate(ladder) if i and looks.points[n].high >= looks.wanted]
    likely = next((i for i in hopeful if looks.enough(looks.points[ladder[i]])), None)
    if likely is not None:
        hopeful = [i for i in hopeful if i >= likely]
    up = next((i for i in hopeful if looks.enough(looks.near(ladder[i]))), None)
    if up is None:
        return None
    while up > 1 and looks.enough(looks.near(ladder[up - 1])):  # 0 is not enough
        up -= 1
    return looks.near(ladder[up - 1]), looks.near(ladder[up])


def _bisect(looks, below, above, close):
    """Shrink a bracket of a not enough and an enough number until it is `close`."""
    for _ in range(_MOST_BISECTIONS):
        if above.number - below.number <= 1 or close(below, above, looks.wanted):
            break
        middle = looks.near(_inside(below, above, looks.wanted))
        if looks.enough(middle):
            above = middle
        else:
            below = middle
    return below, above


def _fine(below, above, wanted):
    """Whether the chance rises less across the bracket than its level is known."""
    return above.chance - below.chance <= _FINE * (above.high - above.low) and (
        above.chance - wanted <= 0.1 * (above.high - above.low))


def _near(below, above, wanted):
    """Whether a line on the logit scale is good enough across the bracket."""
    ya, yb = (logit(np.clip(p.chance, 1e-3, 1 - 1e-3)) for p in (below, above))
    return yb - ya <= _NEAR


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
    """End of the band of numbers from `number` on that succeed, with full looks where in doubt."""
    good, failing = looks.points[number], None
    for n in [n for n in ladder if n > number]:
        if looks.points[n].low >= looks.wanted or looks.enough(looks.full(n)):
            good = looks.points[n]
        else:
            failing = looks.full(n)
            break
    if failing is None:
        return good.number
    while failing.number - good.number > max(1.0, 0.02 * failing.number):
        middle = looks.full(float(round((failing.number + good.number) / 2)))
        good, failing = (middle, failing) if looks.enough(middle) else (good, middle)
    return good.number


def _not_reached(looks, ladder, unknown, monotone):
    for n in (ladder[-1], max(ladder, key=lambda n: looks.points[n].chance)):
        looks.full(n)
    draws = between_draws(looks, ladder) if unknown else (None, None)
    best = looks.best()
    reachable = None if best.high >= looks.wanted else False
    return Found(reachable, None, None, None, *draws, None, best, None,
                 curve_of(list(looks.points.values()), (), monotone=monotone))

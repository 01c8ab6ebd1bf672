"""One rate at a time, in its own unit: what it does to the chance, and where the answer flips.

A rate is held at a value in every parameter draw while all else stays as uncertain as it is, always
in the same luck. "The answer" is whether the chance of meeting all goals reaches the chance wanted;
without goals it is the chance of not falling below the threshold, which nothing flips.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from pva.decide.outcomes import chance_of_success, prepare
from pva.estimate.link_scale import Z95, mean_over_years
from pva.lifehistory.laws import drawn_values
from pva.lifehistory.rates import PROBABILITY, Rate
from pva.model.matrix import best
from pva.results.uncertainty import ChanceDoubt
from pva.scenario.rates_used import every_rate
from pva.scenario.resolved import Resolved

STEP = 0.02  # of a probability: the step that decides plans
RARE = 0.1  # a probability below it moves by shares of itself
SHARE = 0.1  # of any other rate
FAR = 10.0  # how many times its value a positive rate is followed
RUNS = 4000  # trajectories behind one chance
_MOST_LOOKS = 8  # to close in on a flip
_ENDS = (0.025, 0.975)


@dataclass(frozen=True)
class RateEffect:
    """What one rate does to the chance of success.

    Parameters
    ----------
    name : str
        Key of the rate.
    value : float
        Best value.
    low, high : float or None
        95 % of what is known about it; None where nothing is said.
    step : float
        Its natural step: 0.02 of a probability of at least 0.1, else a tenth of the value.
    chance : float
        With the rate held at its best value.
    chance_low, chance_high : float or None
        With the rate held at `low` and `high`.
    chance_less, chance_more : float
        With the rate held one step lower and higher.
    flip : float or None
        Nearest value at which the answer flips; None where it flips nowhere in the range followed.
    flip_low, flip_high : float or None
        Simulation error of `flip`, 95 %; None = not bounded.
    ruled_out : bool or None
        Whether `flip` lies outside `low` to `high`; None where there is no flip or no interval.
    """

    name: str
    value: float
    low: float | None
    high: float | None
    step: float
    source_kind: str
    source: str
    chance: float
    chance_low: float | None
    chance_high: float | None
    chance_less: float
    chance_more: float
    flip: float | None
    flip_low: float | None
    flip_high: float | None
    ruled_out: bool | None

    @property
    def reach(self) -> float:
        """Largest change of the chance within what is known, or else within one step."""
        ends = [self.chance_low, self.chance_high]
        if None in ends:
            ends = [self.chance_less, self.chance_more]
        return max(abs(e - self.chance) for e in ends)


def rate_effect(resolved: Resolved, rate: Rate, *, seed: int, wanted: float | None,
                threads: int | None = None) -> RateEffect:
    """Effect of one rate of a scenario.

    Parameters
    ----------
    resolved : Resolved
    rate : Rate
        One of `followed_rates`.
    wanted : float or None
        Chance at which the answer flips; None = nothing flips.
    """
    return effect_of(rate, _Looks(resolved, rate, seed=seed, threads=threads), wanted)


def followed_rates(resolved: Resolved) -> list[Rate]:
    """Rates whose effect is looked at."""
    return [r for r in every_rate(resolved) if followed(r)]


def followed(rate: Rate) -> bool:
    """Whether a rate can be held elsewhere: it is not fixed at 0, and the scenario uses it."""
    return best(rate) > 0


def stated_range(rate: Rate) -> tuple[float, float] | tuple[None, None]:
    """95 % of what is known about a rate, natural scale; None where nothing is said."""
    if rate.link is not None:
        if rate.link.se == 0:
            return None, None
        ends = rate.link.mean + np.array([-Z95, Z95]) * rate.link.se
        if rate.kind == PROBABILITY:
            low, high = mean_over_years(ends, rate.link.year_sd)
        else:
            low, high = np.exp(ends + rate.link.year_sd**2 / 2)
        return float(low), float(high)
    if not rate.is_uncertain:
        return None, None
    low, high = drawn_values(rate, np.array(_ENDS))
    return float(low), float(high)


class _Looks:
    """Chances of success with one rate held at a value, each made once."""

    def __init__(self, resolved: Resolved, rate: Rate, *, seed: int, threads: int | None):
        self._resolved, self._rate = resolved, rate
        self._seed, self._threads = seed, threads
        self._replicates = max(2, min(resolved.runs.replicates, RUNS // resolved.runs.draws))
        self.known: dict[float, ChanceDoubt] = {}

    def __call__(self, value: float) -> ChanceDoubt:
        if value not in self.known:
            ready = prepare(self._resolved, seed=self._seed, threads=self._threads,
                            held={self._rate.key: value})
            self.known[value] = chance_of_success(ready, replicates=self._replicates)
        return self.known[value]


def effect_of(rate: Rate, look: Callable, wanted: float | None) -> RateEffect:
    """Effect of one rate.

    Parameters
    ----------
    rate : Rate
    look : callable
        Gives the `ChanceDoubt` of a value of the rate, and keeps it in `known`.
    wanted : float or None
    """
    value = best(rate)
    low, high = stated_range(rate)
    step = STEP if rate.kind == PROBABILITY and value >= RARE else SHARE * value
    less, more = _inside(rate, value - step), _inside(rate, value + step)
    at = {v: look(v).chance for v in (value, less, more, low, high) if v is not None}
    flip, flip_low, flip_high = (None, None, None) if wanted is None else find_flip(
        rate, look, wanted)
    ruled_out = None if flip is None or low is None else not low <= flip <= high
    return RateEffect(
        rate.key, value, low, high, step, rate.source.kind, rate.source.text, at[value],
        at.get(low), at.get(high), at[less], at[more], flip, flip_low, flip_high, ruled_out)


def _inside(rate, value):
    return min(max(value, 0.0), 1.0) if rate.kind == PROBABILITY else max(value, 0.0)


def find_flip(rate: Rate, look: Callable, wanted: float):
    """Nearest value at which the chance crosses the one wanted, and its simulation error.

    Returns
    -------
    tuple of (float or None, float or None, float or None)
        The value and the ends of its 95 % interval.
    """
    value = best(rate)
    top = 1.0 if rate.kind == PROBABILITY else FAR * value
    above = look(value).chance >= wanted
    crossings = []
    for end in (0.0, top):
        bracket = _bracket(look, value, end, above, wanted)
        if bracket is not None:
            crossings.append(_closed_in(look, *bracket, above, wanted))
    if not crossings:
        return None, None, None
    flip = min(crossings, key=lambda v: abs(v - value))
    return flip, *_error(look, flip, wanted)


def _bracket(look, value, end, above, wanted):
    """Neighbouring values between which the answer flips, of those known and the end."""
    look(end)
    between = sorted((v for v in look.known if min(value, end) <= v <= max(value, end)),
                     key=lambda v: abs(v - value))
    for near, far in zip(between, between[1:], strict=False):
        if (look.known[far].chance >= wanted) != above:
            return near, far
    return None


def _closed_in(look, near, far, above, wanted):
    """The flip between two values: along the straight line, else by halves, until it is close."""
    for turn in range(_MOST_LOOKS):
        straight = _straight(look.known, near, far, wanted)
        middle = (near + far) / 2 if turn % 3 == 2 else straight
        if middle in (near, far):
            break
        seen = look(middle)
        if (seen.chance >= wanted) == above:
            near = middle
        else:
            far = middle
        if abs(seen.chance - wanted) < (seen.high - seen.low) / 8:
            break
    return _straight(look.known, near, far, wanted)


def _straight(known, near, far, wanted):
    """Where the straight line between two looks crosses the chance wanted."""
    a, b = known[near].chance, known[far].chance
    return near if a == b else near + (far - near) * (wanted - a) / (b - a)


def _error(look, flip, wanted):
    """Where the ends of the looks' intervals cross the chance wanted, beside the flip."""
    values = sorted(look.known)
    ends = []
    for side in ("low", "high"):
        curve = [getattr(look.known[v], side) for v in values]
        found = [a + (b - a) * (wanted - x) / (y - x) for a, b, x, y in
                 zip(values, values[1:], curve, curve[1:], strict=False)
                 if (x - wanted) * (y - wanted) <= 0 and x != y]
        ends.append(min(found, key=lambda v: abs(v - flip)) if found else None)
    inside = [e for e in ends if e is not None]
    low = min(inside) if inside and min(inside) <= flip else None
    high = max(inside) if inside and max(inside) >= flip else None
    return low, high

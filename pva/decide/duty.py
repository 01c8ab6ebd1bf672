"""The year the duty can end: when stocking may stop so that the goals are still met.

Every look is made in the same luck, so that years and numbers are compared sharply. The level of
that luck is known from the search (the chance at the number found) and taken off.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from pva.decide.curve import luck_of, shifted
from pva.decide.looking import Looker

_MOST_YEARS = 10  # last years looked at
_STEPS = 7  # looks for the number of one last year
_DOUBLINGS = 6
_CLOSE = 0.02  # a bracket of numbers this narrow is close enough


@dataclass(frozen=True)
class Shorter:
    """Number per release year that is enough when stocking ends in `last_year`; None = none is."""

    last_year: int
    number: float | None
    total_animals: float | None
    cost: float | None


@dataclass(frozen=True)
class Duty:
    """Chance of meeting all goals by the last year of release, at one number per release year.

    Parameters
    ----------
    number : float
    last_year : tuple of int
        The year before the first release stands for none at all.
    chance, low, high : tuple of float
        With 95 % Monte Carlo intervals.
    ends : int or None
        Earliest last year of release whose chance is enough; None = not even the planned one.
    ends_surely : int or None
        The same for the lower end of the interval.
    shorter : tuple of Shorter
        Numbers that would be enough with a shorter duty; empty unless asked for.
    """

    number: float
    last_year: tuple[int, ...]
    chance: tuple[float, ...]
    low: tuple[float, ...]
    high: tuple[float, ...]
    ends: int | None
    ends_surely: int | None
    shorter: tuple[Shorter, ...] = ()


def find_duty(look: Looker, *, number: float, found: float, chance_at_found: float, wanted: float,
              shorter: bool, monotone: bool) -> Duty:
    """When stocking may stop.

    Parameters
    ----------
    look : Looker
    number : float
        Animals per release year at which last years are compared.
    found, chance_at_found : float
        Number per release year that the search found, and its chance.
    wanted : float
    shorter : bool
        Also find the number needed for every shorter duty.
    monotone : bool
        More animals can only help: the chance never falls with the last year.
    """
    rows = look.rows
    off = luck_of(look.at(rows.planned(found), look.few), chance_at_found)

    def seen(at: float, last: int):
        return shifted(look.at(_until(rows, rows.planned(at), last), look.few), off)

    years = _some((rows.years[0] - 1, *rows.years))
    points = [seen(number, y) for y in years]
    curves = [np.array([getattr(p, k) for p in points]) for k in ("chance", "low", "high")]
    if monotone:
        curves = [np.maximum.accumulate(c) for c in curves]
    chance, low, high = curves
    least = wanted - (1e-9 if number == found else 0.0)
    numbers = ()
    if shorter:
        numbers = _numbers(rows, lambda at, last: seen(at, last).chance, years[1:-1], found, wanted)
    return Duty(number, years, *(tuple(c.tolist()) for c in (chance, low, high)),
                _earliest(years, chance, least), _earliest(years, low, least), numbers)


def _until(rows, planned: np.ndarray, last: int) -> np.ndarray:
    """Planned numbers with none of the varied rows after a year."""
    years = rows.first + np.arange(planned.shape[1])
    stopped = np.array(rows.chosen)[:, None] & (years > last)
    return np.where(stopped, 0.0, planned)


def _some(years: tuple[int, ...]) -> tuple[int, ...]:
    """At most a few years, the first and the last among them."""
    if len(years) <= _MOST_YEARS:
        return years
    picks = np.unique(np.linspace(0, len(years) - 1, _MOST_YEARS).round().astype(int))
    return tuple(years[i] for i in picks)


def _earliest(years, chances, wanted):
    return next((y for y, c in zip(years, chances, strict=True) if c >= wanted), None)


def _numbers(rows, chance: Callable[[float, int], float], years, found: float,
             wanted: float) -> tuple[Shorter, ...]:
    """Number needed for every last year, from the longest duty to the shortest."""
    result, start = [], found
    for last in reversed(years):
        number = _least(lambda at, last=last: chance(at, last), start, wanted, rows.most_per_year)
        if number is None:
            result.append(Shorter(last, None, None, None))
            continue
        start = number
        planned = _until(rows, rows.planned(number), last)[np.array(rows.chosen)].sum(axis=1)
        varied = [r for r, c in zip(rows.rows, rows.chosen, strict=True) if c]
        cost = float(sum(n * r.cost_each for n, r in zip(planned, varied, strict=True)))
        result.append(Shorter(last, number, float(planned.sum()),
                              cost if any(r.cost_each for r in varied) else None))
    return tuple(reversed(result))


def _least(chance: Callable[[float], float], start: float, wanted: float,
           most: float) -> float | None:
    """Smallest number from `start` on that is enough; None where none up to `most` is."""
    low, high = start, start
    for _ in range(_DOUBLINGS):
        if chance(high) >= wanted:
            break
        if high >= most:
            return None
        low, high = high, min(2 * high if high else 1.0, most)
    else:
        return None
    for _ in range(_STEPS):
        if high - low <= max(1.0, _CLOSE * high):
            break
        middle = (low + high) / 2
        low, high = (low, middle) if chance(middle) >= wanted else (middle, high)
    return float(np.ceil(high - 1e-9))

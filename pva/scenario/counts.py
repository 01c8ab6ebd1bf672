"""Numbers of animals that are too large to be counted one by one."""

from __future__ import annotations

from collections.abc import Sequence

from pva.lifehistory.rates import Rate
from pva.scenario.places import Problems

MOST_ANIMALS = 1e9
WHY = ("Animals are simulated one by one as whole numbers, which are counted exactly only up to "
       f"{MOST_ANIMALS:,.0f}; beyond it a number would act as none")


def check_count(number: float, path: Sequence, problems: Problems, *, what: str = "") -> None:
    """Record a number of animals above what is counted exactly.

    Parameters
    ----------
    number : float
        Animals.
    path : sequence
        Where it is written.
    problems : Problems
        Receives what is found.
    what : str
        Words in place of "`key` is NUMBER".
    """
    if number > MOST_ANIMALS:
        problems.add(path, f"{what or '{key} is'} {number:g} animals",
                     f"Write at most {MOST_ANIMALS:,.0f}, or leave out a limit that is never "
                     "reached.", code="count-too-large", why=WHY)


def most_of(rate: Rate) -> float:
    """Largest number that a rate names: its value, its interval and its years."""
    return max(rate.value, *(rate.interval or (0.0,)), *rate.by_year.values())

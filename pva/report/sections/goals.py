"""Goals, releases and rates in words, as several parts of the page need them."""

from __future__ import annotations

from pva.report.words import count
from pva.results.measures import UNITS, WORDS
from pva.results.wording import listed
from pva.scenario.resolved import EACH_SITE, RIVER, Goal, Resolved

_COUNTED = ("animals", "animals per year", "sites")


def goal_words(goal: Goal, *, where: bool = True) -> str:
    """A goal as one phrase: what, how many, when, and where unless left out."""
    bound = "at most" if goal.at_most else "at least"
    place = _where(goal) if where else ""
    what = f"{WORDS[goal.measure]} {bound} {_value(goal.value)}"
    if UNITS[goal.measure] in _COUNTED:
        what = f"{bound} {_value(goal.value)} {WORDS[goal.measure]}"
    return f"{what} {_when(goal)}{place}"


def _value(value):
    return count(value) if value >= 10 else f"{value:g}"


def _when(goal):
    if goal.years[0] == goal.years[1]:
        return f"in {goal.years[0]}"
    years = "{} to {}".format(*goal.years)
    if goal.of_years is not None:
        return f"in {goal.of_years} of the years {years}"
    if goal.running is not None:
        return f"in {goal.running} years running within {years}"
    return f"in every year {years}"


def _where(goal):
    if goal.where == RIVER:
        return ""
    if goal.where == EACH_SITE:
        return " at each site"
    if isinstance(goal.where, int):
        return f" at {goal.where} or more sites"
    return f" at {listed(goal.where)}"


def whole_river(goal: Goal, resolved: Resolved) -> bool:
    """Whether a goal counts every site together."""
    if goal.where == RIVER:
        return True
    return isinstance(goal.where, tuple) and set(goal.where) == {s.name for s in resolved.sites}


def planned(resolved: Resolved) -> dict[int, float]:
    """Animals planned for release by year, all rows together."""
    years = sorted({y for r in resolved.releases for y in r.numbers})
    return {y: sum(r.numbers.get(y, 0.0) for r in resolved.releases) for y in years}


def unit_words(resolved: Resolved, names=()) -> str:
    """What is stocked, per release year: "subadults a year, all sites together"."""
    rows = [r for r in resolved.releases if not names or r.name in names]
    stages = {r.stage for r in rows}
    animal = f"{stages.pop()}s" if len(stages) == 1 else "animals"
    together = ", all sites together" if len({r.site for r in rows}) > 1 else ""
    return f"{animal} a year{together}"

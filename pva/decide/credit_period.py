"""Which years a credit counts, how each is weighted, and whether two plans can be set against."""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np

from pva.errors import MeaningError, Problem
from pva.scenario.resolved import Resolved

FARTHEST = 100  # years from the scenarios to a base year that somebody could mean
PAIRED = "Both are run in the same luck, year by year, and counted alike"


@dataclass(frozen=True)
class Period:
    """Censuses counted and their weights.

    Parameters
    ----------
    rate : float
        Yearly discount rate.
    base, first, last : int
        Year to which is discounted, first and last census counted.
    begins : int
        First year of the scenarios.
    """

    rate: float
    base: int
    first: int
    last: int
    begins: int

    @property
    def years(self) -> range:
        """Years counted."""
        return range(self.first, self.last + 1)

    @property
    def censuses(self) -> slice:
        """Their places among the censuses of a run."""
        return slice(self.first - self.begins, self.last - self.begins + 1)

    @property
    def weights(self) -> np.ndarray:
        """Weight of every year counted, shape (year,)."""
        return self._weights(self.years)

    @property
    def money_weights(self) -> np.ndarray:
        """Weight of money spent in every year up to the last census, shape (year,).

        Money spent before the first census counted has bought part of it, so it counts as well.
        """
        return self._weights(range(self.begins, self.last))

    def _weights(self, years: range) -> np.ndarray:
        return (1.0 + self.rate) ** (self.base - np.array(years, dtype=float))


def period_of(scenario: Resolved, baseline: Resolved, *, rate: float, first: int | None,
              last: int | None, base: int | None, measure: str, counted: tuple[str, ...],
              claimed: float | None = None) -> Period:
    """The period asked for, or the years that both have.

    Raises
    ------
    MeaningError
        With every problem.
    """
    last_common = min(scenario.last, baseline.last)
    period = Period(rate, scenario.first if base is None else base,
                    scenario.first if first is None else first,
                    last_common if last is None else last, scenario.first)
    problems = [*_paired(scenario, baseline), *_asked(period, last_common)]
    if claimed is not None and not math.isfinite(claimed):
        problems.append(Problem(f"{claimed:g} animal-years cannot be claimed", "Write a number.",
                                code="credit-claim"))
    if measure not in counted:
        problems.append(Problem(f"a credit of `{measure}` cannot be told",
                                f"Choose one of {', '.join(counted)}.", code="credit-measure"))
    if problems:
        raise MeaningError(problems)
    return period


def _paired(scenario: Resolved, baseline: Resolved) -> Iterator[Problem]:
    if scenario.first != baseline.first:
        yield Problem(f"the scenario begins in {scenario.first}, the baseline in "
                      f"{baseline.first}", "Write the same first year in both.", why=PAIRED,
                      code="credit-years-differ")
    for key, words in (("census", "at another time of the year"), ("numbers", "other sexes")):
        a, b = getattr(scenario, key), getattr(baseline, key)
        if a != b:
            yield Problem(f"the baseline counts {words} ({b}) than the scenario ({a})",
                          f"Write the same `{key}` in both.", why=PAIRED,
                          code="credit-counts-differ")


def _asked(period: Period, last: int) -> Iterator[Problem]:
    if not 0 <= period.rate < 1:
        yield Problem(f"a discount rate of {period.rate:g} a year cannot be meant",
                      "Write a share such as 0.03 for 3 %, or 0 for a plain sum.",
                      code="credit-rate")
    for name, year in (("first", period.first), ("last", period.last)):
        if not period.begins <= year <= last:
            yield Problem(f"the {name} year counted, {year}, lies outside the years that both "
                          f"scenarios have ({period.begins} to {last})",
                          "Choose a year within them.", code="credit-year-outside")
    if not period.begins - FARTHEST <= period.base <= last + FARTHEST:
        yield Problem(f"nobody discounts to {period.base}: it lies more than {FARTHEST} years away "
                      f"from the years of the scenarios ({period.begins} to {last})",
                      "Choose the year in which the money or the damage is reckoned.",
                      code="credit-base-year")
    if period.first > period.last:
        yield Problem(f"the period ends in {period.last}, before it begins in {period.first}",
                      "Write the earlier year first.", code="credit-period")

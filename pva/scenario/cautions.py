"""Warnings: what is allowed but likely to mislead."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import numpy as np

from pva.lifehistory.laws import drawn_values, law_median
from pva.lifehistory.rates import Rate
from pva.scenario.meaning_resolved import varies
from pva.scenario.rates_used import every_rate, only_interval_counts, spread_is_measured
from pva.scenario.resolved import Resolved

_ASIDE = np.array([0.15, 0.85])  # of the law: a best value beyond these stands aside


def warnings_of(resolved: Resolved, estimates: Any, *, already: Sequence[str]) -> list[str]:
    """Warnings of a resolved scenario, none twice.

    Those raised before come first and notes of the estimates last: a long list is cut on screen,
    and what was asked now matters more than what is known since the estimates were made.
    """
    found = list(already)
    for check in (_only_ranges, _best_aside, _counted_twice, _late_releases, _nobody,
                  _early_clock):
        found += check(resolved)
    found += estimates.notes if estimates is not None else ()
    return list(dict.fromkeys(found))


def only_ranges(resolved: Resolved) -> list[str]:
    """Keys of rates that were measured, but are only known to lie in a range."""
    if not resolved.chance.unknown:
        return []
    return [r.key for r in every_rate(resolved, with_start=False)
            if r.source.kind == "measured" and r.distribution == "uniform"]


def _only_ranges(resolved: Resolved) -> list[str]:
    names = only_ranges(resolved)
    if not names:
        return []
    return [f"only a range is known of {', '.join(names)}: any value in it is drawn alike, and the "
            "goals are judged by every draw, not by their mean"]


def _best_aside(resolved: Resolved) -> list[str]:
    """Best values far from the middle of the interval from which runs draw."""
    if not resolved.chance.unknown:
        return []
    return [f"{r.key}: the best value {r.value:g} is far from {law_median(r):.3g}, the middle of "
            f"its interval {r.interval[0]:g} to {r.interval[1]:g}. Runs draw from the interval, "
            "whatever the best value: where the value was changed, change the interval with it"
            for r in every_rate(resolved) if only_interval_counts(r) and _is_aside(r)]


def _is_aside(rate: Rate) -> bool:
    low, high = drawn_values(rate, _ASIDE)
    return not low <= rate.value <= high


def _counted_twice(resolved: Resolved) -> list[str]:
    if not resolved.bad_years:
        return []
    fitted = [r for r in every_rate(resolved) if spread_is_measured(r) and varies(r)]
    if not fitted:
        return []
    kinds = ", ".join(b.name for b in resolved.bad_years)
    names = ", ".join(r.key for r in fitted[:4]) + (" ..." if len(fitted) > 4 else "")
    return [
        f"differences between years of {names} were measured in the field; if the years of the "
        f"data held a {kinds} that the study did not name as a bad year, it is counted twice"
    ]


def _late_releases(resolved: Resolved) -> list[str]:
    late = [r.name for r in resolved.releases if r.numbers.get(resolved.last)]
    if not late:
        return []
    return [f"animals released in {resolved.last} ({', '.join(late)}) are never counted: the last "
            f"census is that of {resolved.last}"]


def _nobody(resolved: Resolved) -> list[str]:
    start = any(r.value > 0 for s in resolved.sites for r in s.start.numbers.values())
    if start or any(n > 0 for r in resolved.releases for n in r.numbers.values()):
        return []
    return ["there are no animals at the first census and no releases: the population stays empty"]


def _early_clock(resolved: Resolved) -> list[str]:
    quasi = resolved.quasi_extinction
    empty = not any(r.value > 0 for s in resolved.sites for r in s.start.numbers.values())
    if empty and quasi.from_year <= resolved.first and quasi.adults_below > 0:
        return [f"quasi-extinction counts from {quasi.from_year}, when there are no adults yet"]
    return []

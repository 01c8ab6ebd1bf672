"""Several ways to stock held against each other, and the cheapest plan that is good enough."""

from __future__ import annotations

import itertools
import math
from dataclasses import dataclass

import numpy as np

from pva.decide.curve import luck_of, shifted
from pva.decide.looking import Looker
from pva.decide.rows import StockedRows

_SHARES = (0.25, 0.5, 0.75)
_STEPS = 6
_WORTH = 0.98  # a mixture is told only where it costs less than this part of the best alone
TRIED = ("each option alone, and of every two a quarter, a half and three quarters of what the "
         "first needs alone with the rest from the second")


def orders_of(summary: dict) -> list[dict]:
    """Lines of the order sheet of an answer: those of its cheapest plan, if there is one."""
    return (summary.get("cheapest") or summary)["order_sheet"]


@dataclass(frozen=True)
class OptionAnswer:
    """One option alone: the number per release year, and what it takes; None = not reachable."""

    name: str
    releases: tuple[str, ...]
    release_years: tuple[int, ...]
    reachable: bool | None
    number: float | None
    low: float | None
    high: float | None
    draw_low: float | None
    draw_high: float | None
    total_animals: float | None
    cost: float | None
    mothers: float | None
    chance_at_number: float | None
    best_chance: float
    limit: str | None


@dataclass(frozen=True)
class Part:
    """Animals of one option per release year in a plan."""

    option: str
    number: int
    total_animals: float
    cost: float
    mothers: float | None


@dataclass(frozen=True)
class CheapestPlan:
    """The cheapest plan found: one option, or two together.

    `chance`, `low`, `high`: of a full look, its level set by that of the best option alone.
    """

    parts: tuple[Part, ...]
    cost: float
    chance: float
    low: float
    high: float
    tried: str
    mixtures_tried: int
    order_sheet: tuple[dict, ...]


def cheapest_plan(look: Looker, found: list[tuple[OptionAnswer, StockedRows]],
                  wanted: float) -> CheapestPlan | None:
    """The cheapest of the options alone and of mixtures of two.

    All looks are made in the same luck: a mixture counts as good as the best option alone when its
    chance in that luck is at least that option's. None where an option has no cost, or nothing is
    enough.

    Parameters
    ----------
    look : Looker
    found : list of (OptionAnswer, StockedRows)
    wanted : float
    """
    if not all(_priced(rows) for _, rows in found):
        return None
    alone = [(one, rows) for one, rows in found if one.number is not None]
    best, target, parts, off = math.inf, wanted, None, 0.0
    if alone:
        one, rows = min(alone, key=lambda f: f[0].cost)
        best, parts = one.cost, [(one, rows, one.number)]
        target = look.at(rows.planned(one.number), look.few).chance
        off = luck_of(look.at(rows.planned(one.number), look.ready.resolved.runs.replicates),
                      one.chance_at_number)
    tried = 0
    for first, second in itertools.combinations(found, 2):
        for share in _SHARES:
            tried += 1
            mixture = _mixture(look, (first, second), share, best * _WORTH, target)
            if mixture is not None:
                best, parts = mixture
    return None if parts is None else _plan(look, parts, tried, off)


def _priced(rows: StockedRows) -> bool:
    return all(r.cost_each > 0 for r, c in zip(rows.rows, rows.chosen, strict=True) if c)


def _mixture(look, pair, share, below, target):
    """Cost and parts of a mixture that costs less than `below`; None where there is none."""
    sizes = [(one, rows, part * (one.number or rows.most_per_year))
             for (one, rows), part in zip(pair, (share, 1 - share), strict=True)]
    whole = sum(rows.cost(n) for _, rows, n in sizes)
    if whole <= 0:
        return None
    high, low = min(below / whole, 1 / min(share, 1 - share)), 0.0
    if not _enough(look, sizes, high, target):
        return None
    for _ in range(_STEPS):
        middle = (low + high) / 2
        low, high = (low, middle) if _enough(look, sizes, middle, target) else (middle, high)
    parts = [(one, rows, math.ceil(high * n - 1e-9)) for one, rows, n in sizes]
    cost = sum(rows.cost(n) for _, rows, n in parts)
    return (cost, parts) if cost < below else None


def _enough(look, sizes, factor, target):
    planned = _together([(rows, factor * n) for _, rows, n in sizes])
    return look.at(planned, look.few).chance >= target


def _together(parts) -> np.ndarray:
    """Planned numbers of every row with all parts in one plan."""
    planned = parts[0][0].planned(0.0)
    for rows, number in parts:
        planned = np.where(np.array(rows.chosen)[:, None], rows.planned(number), planned)
    return planned


def _plan(look, parts, tried, off):
    point = shifted(look.at(_together([(rows, n) for _, rows, n in parts]),
                            look.ready.resolved.runs.replicates), off)
    told = tuple(Part(one.name, math.ceil(n - 1e-9), rows.total(n), rows.cost(n),
                      rows.stated("mothers_per_1000", n)) for one, rows, n in parts)
    names = {n for _, rows, _ in parts for n in rows.names}
    sheet = [line for _, rows, n in parts for line in rows.order_sheet(n)
             if line["release"] in rows.names]
    rest = [line for line in parts[0][1].order_sheet(0.0) if line["release"] not in names]
    order = sorted([*sheet, *rest], key=lambda x: (x["order_year"], x["release_year"],
                                                   x["release"]))
    return CheapestPlan(told, sum(p.cost for p in told), point.chance, point.low, point.high,
                        TRIED, tried, tuple(order))

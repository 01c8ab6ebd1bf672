"""The goal itself moved: targets, years, thresholds and confidence, all from one set of runs."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from pva.decide.outcomes import Ready
from pva.engine.run import simulate
from pva.results.goals import below_by, judge
from pva.results.uncertainty import verdict
from pva.scenario.resolved import Goal, Resolved

TARGETS = (0.5, 0.75, 0.9, 1.0, 1.1, 1.25, 1.5, 2.0)  # times the value of the goal
CONFIDENCES = (0.5, 0.7, 0.8, 0.9, 0.95)
EARLIER = (-20, -15, -10, -5, 0, 5, 10)  # years from those of the goal


@dataclass(frozen=True)
class GoalChance:
    """Chance of one goal at another value and time; `named` marks the goal as written."""

    goal: str
    value: float
    years: tuple[int, int]
    named: bool
    chance: float
    low: float
    high: float
    verdicts: dict[float, str]


@dataclass(frozen=True)
class ThresholdRisk:
    """Chance of falling below another threshold by another year."""

    threshold: float
    year: int
    named: bool
    chance: float
    low: float
    high: float


def goal_table(ready: Ready, *, wanted: float
               ) -> tuple[tuple[GoalChance, ...], tuple[ThresholdRisk, ...]]:
    """Every goal at other values and years, and quasi-extinction at other thresholds and years.

    Each goal is judged alone; the confidence only moves the verdict. All cells come from the same
    runs, so that neighbours differ by the goal and not by luck.

    Parameters
    ----------
    ready : Ready
    wanted : float
        Chance wanted of the scenario, among the confidences.

    Returns
    -------
    tuple of (tuple of GoalChance, tuple of ThresholdRisk)
    """
    resolved = ready.resolved
    goals = [v for goal in resolved.goals for v in variants(goal, resolved)]
    risks = thresholds(resolved)
    met, below = _happened(ready, goals, risks)
    confidences = sorted({*CONFIDENCES, wanted})
    rows = []
    for (goal, named), happened in zip(goals, met, strict=True):
        doubt = ready.doubt(happened)
        rows.append(GoalChance(
            goal.name, goal.value, goal.years, named, doubt.chance, doubt.low, doubt.high,
            {c: verdict(doubt.low, doubt.high, c) for c in confidences}))
    cells = []
    for (threshold, year, named), happened in zip(risks, below, strict=True):
        doubt = ready.doubt(happened)
        cells.append(ThresholdRisk(threshold, year, named, doubt.chance, doubt.low, doubt.high))
    return tuple(rows), tuple(cells)


def variants(goal: Goal, resolved: Resolved) -> list[tuple[Goal, bool]]:
    """The goal at other values and moved in time, whole years inside the scenario."""
    found = []
    moves = [m for m in EARLIER if resolved.first < goal.years[0] + m
             and goal.years[1] + m <= resolved.last]
    for value in dict.fromkeys(_scaled(goal, t) for t in TARGETS):
        for move in moves:
            years = (goal.years[0] + move, goal.years[1] + move)
            moved = replace(goal, value=value, years=years)
            found.append((moved, value == goal.value and move == 0))
    return found


def _scaled(goal: Goal, times: float) -> float:
    """The goal's value times a number; whole where it counts animals or sites."""
    value = goal.value * times
    if goal.value == round(goal.value) and goal.value >= 1:
        return float(round(value))
    return round(value, 10)


def thresholds(resolved: Resolved) -> list[tuple[float, int, bool]]:
    """Thresholds and years of quasi-extinction, and which pair is the one written."""
    rule = resolved.quasi_extinction
    values = dict.fromkeys([float(round(rule.adults_below * t)) if rule.adults_below >= 4
                            else rule.adults_below * t for t in (0.5, 1, 2, 4)])
    steps = np.linspace(rule.from_year, resolved.last, 5)
    years = sorted({int(round(y)) for y in steps})
    return [(v, y, v == rule.adults_below and y == resolved.last) for v in values for y in years]


def _happened(ready, goals, risks):
    """Replicates that meet each goal, and that fall below each threshold by its year."""
    resolved, replicates = ready.resolved, ready.resolved.runs.replicates
    met = [[] for _ in goals]
    below = [[] for _ in risks]
    values = dict.fromkeys(v for v, _, _ in risks)
    for block in simulate(ready.model.plan, ready.model.draws, seed=ready.seed,
                          replicates=replicates, threads=ready.threads):
        for parts, (goal, _) in zip(met, goals, strict=True):
            parts.append(judge(goal, block.tallies, ready.places, resolved))
        passed = {v: below_by(block.tallies, _with_threshold(resolved, v)) for v in values}
        for parts, (value, year, _) in zip(below, risks, strict=True):
            parts.append(passed[value][:, year - resolved.first])
    return [[np.concatenate(p).reshape(-1, replicates) for p in parts]
            for parts in (met, below)]


def _with_threshold(resolved, value):
    return replace(resolved, quasi_extinction=replace(resolved.quasi_extinction,
                                                      adults_below=value))

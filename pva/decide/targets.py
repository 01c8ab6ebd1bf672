"""Chance of meeting every goal against the number stocked, for other targets of the first goal.

Every number is run once, and every target is judged on that same run: neighbours differ by the
target and not by luck. Fewer replicates than the search for the number spends: this is for reading
off, not for the answer.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import asdict, dataclass, replace

import numpy as np

from pva.decide.goal_table import TARGETS
from pva.decide.outcomes import prepare
from pva.decide.rows import StockedRows
from pva.engine.run import simulate
from pva.errors import CannotCompute, Problem
from pva.results.goals import judge
from pva.results.run import seed_of
from pva.results.summary import plain
from pva.scenario.scenario import Scenario

_PART = 5  # a part of the replicates of a full look
_MOST_NUMBERS = 12


@dataclass(frozen=True)
class TargetCurve:
    """Chance, and its 95 % Monte Carlo interval, at every number for one value of the goal."""

    value: float
    chance: tuple[float, ...]
    low: tuple[float, ...]
    high: tuple[float, ...]


@dataclass(frozen=True)
class TargetCurves:
    """Curves for other targets.

    Parameters
    ----------
    goal, measure : str
        The goal that is moved; the others stay as written.
    written : float
        Its value as written.
    numbers : tuple of float
        Animals per release year, rising.
    curves : tuple of TargetCurve
        The lowest target first; the written one is among them.
    """

    digest: str
    seed: int
    draws: int
    replicates: int
    goal: str
    measure: str
    written: float
    numbers: tuple[float, ...]
    curves: tuple[TargetCurve, ...]

    def summary(self) -> dict:
        """Plain dictionary as written to ``NAME.targets.json``."""
        return plain(asdict(self))


def target_curves(scenario: Scenario, numbers: Sequence[float], *, seed: int | None = None,
                  threads: int | None = None) -> TargetCurves:
    """Run every number once and judge it by every target.

    Parameters
    ----------
    scenario : Scenario
        With a goal and releases.
    numbers : sequence of float
        Animals per release year; of more than 12 those that cover the range evenly in order.
    seed : int or None
        None = the scenario's, or a new one if it names none.
    threads : int or None
        None = every core.

    Returns
    -------
    TargetCurves

    Raises
    ------
    CannotCompute
        If there is no goal or no release.
    """
    resolved = scenario.resolved
    if not resolved.goals or not resolved.releases:
        raise CannotCompute(Problem("there is no goal or no release, so no target can be moved",
                                    "Write `goals` and `releases`.", done="nothing was run",
                                    code="no-releases"))
    seed = seed_of(resolved, seed)
    ready = prepare(resolved, seed=seed, threads=threads)
    goal = resolved.goals[0]
    values = [goal.value * t for t in TARGETS]
    replicates = min(resolved.runs.replicates, max(2, math.ceil(resolved.runs.replicates / _PART)))
    numbers = _spread(sorted(set(map(float, numbers))))
    planned = StockedRows.of(resolved)
    found = [[ready.doubt(met) for met in
              _met(ready.with_releases(planned.planned(n)), goal, values, replicates)]
             for n in numbers]
    curves = tuple(TargetCurve(value, *(tuple(getattr(row[i], k) for row in found)
                                        for k in ("chance", "low", "high")))
                   for i, value in enumerate(values))
    return TargetCurves(scenario.digest, seed, resolved.runs.draws, replicates, goal.name,
                        goal.measure, goal.value, tuple(numbers), curves)


def _spread(numbers):
    if len(numbers) <= _MOST_NUMBERS:
        return numbers
    picks = np.unique(np.linspace(0, len(numbers) - 1, _MOST_NUMBERS).round().astype(int))
    return [numbers[i] for i in picks]


def _met(ready, goal, values, replicates):
    """Whether every goal is met at each value of the first, shape (draw, replicate) each."""
    parts = [[] for _ in values]
    for block in simulate(ready.model.plan, ready.model.draws, seed=ready.seed,
                          replicates=replicates, threads=ready.threads):
        rest = [judge(g, block.tallies, ready.places, ready.resolved)
                for g in ready.resolved.goals[1:]]
        for part, value in zip(parts, values, strict=True):
            one = judge(replace(goal, value=value), block.tallies, ready.places, ready.resolved)
            part.append(np.logical_and.reduce([one, *rest]))
    return [np.concatenate(p).reshape(-1, replicates) for p in parts]

"""Scenarios compared in the same luck: differences with their doubt."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from scipy.stats import t as student

from pva.decide.outcomes import outcomes, prepare
from pva.model.draws import SCRAMBLES, scramble_of_draw
from pva.results.run import seed_of, with_runs
from pva.results.summary import plain
from pva.results.uncertainty import mean_error, never_limit
from pva.scenario.scenario import Scenario

_Z = 1.959963984540054


@dataclass(frozen=True)
class Difference:
    """One outcome of a scenario against the first scenario.

    `more_runs` is the factor by which `more_of` (draws, or replicates where draws do not differ)
    must grow before the difference would be settled, if it stays as it is; None where it is settled
    or exactly 0.
    """

    outcome: str
    first: float
    other: float
    difference: float
    low: float
    high: float
    settled: bool
    more_runs: float | None
    more_of: str | None = None


@dataclass(frozen=True)
class Comparison:
    """Every scenario against the first, outcome by outcome."""

    titles: tuple[str, ...]
    seed: int
    draws: int
    replicates: int
    independent_runs: int
    differences: dict[str, tuple[Difference, ...]]
    warnings: tuple[str, ...] = ()

    def summary(self) -> dict:
        """Plain dictionary for JSON."""
        return plain({
            "scenarios": list(self.titles), "seed": self.seed, "draws": self.draws,
            "replicates": self.replicates, "independent_runs": self.independent_runs,
            "against_first": [
                {"scenario": title, "differences": [vars(d) for d in rows]}
                for title, rows in self.differences.items()],
            "warnings": list(self.warnings),
        })


def compare(scenarios: Sequence[Scenario], *, seed: int | None = None,
            threads: int | None = None) -> Comparison:
    """Compare scenarios with the first, replicate by replicate in the same luck.

    Draws, replicates and seed are those of the first scenario. Outcomes that scenarios have in
    common (goals by name) are compared.

    Parameters
    ----------
    scenarios : sequence of Scenario
        At least two.

    Returns
    -------
    Comparison

    Raises
    ------
    CannotCompute
        If a calibration has no solution.
    """
    first = scenarios[0].resolved
    seed = seed_of(first, seed)
    runs = first.runs
    results, models = [], []
    for scenario in scenarios:
        resolved = with_runs(scenario.resolved, draws=runs.draws, replicates=runs.replicates)
        ready = prepare(resolved, seed=seed, threads=threads)
        models.append(ready.model)
        results.append(outcomes(ready))
    doubtful = any(m.doubtful for m in models)
    scramble = groups(runs.draws, doubtful=doubtful)
    independent = min(m.independent_runs(runs.replicates) for m in models)
    titles = _distinct([s.resolved.title for s in scenarios])
    rows = {
        title: tuple(difference(n, results[0][n], result[n], scramble,
                                certain=all(m.certain for m in models))
                     for n in results[0] if n in result)
        for title, result in zip(titles[1:], results[1:], strict=True)
    }
    return Comparison(tuple(titles), seed, runs.draws, runs.replicates, independent, rows,
                      _warnings(scenarios, results))


def groups(draws: int, *, doubtful: bool) -> np.ndarray:
    """Independent group of each draw, shape (draw,): its scramble, or one where none differ.

    With fewer draws than scrambles each draw is a group: replicates of a draw share its rates.
    """
    if not doubtful:
        return np.zeros(draws, int)
    return scramble_of_draw(draws) if draws >= SCRAMBLES else np.arange(draws)


def _distinct(titles):
    """Titles with a number after a repeated one."""
    seen: dict[str, int] = {}
    result = []
    for title in titles:
        seen[title] = seen.get(title, 0) + 1
        result.append(title if seen[title] == 1 else f"{title} ({seen[title]})")
    return result


def _warnings(scenarios, results):
    missing = []
    for scenario, result in zip(scenarios[1:], results[1:], strict=True):
        lost = [n for n in results[0] if n not in result] + [n for n in result
                                                           if n not in results[0]]
        if lost:
            missing.append(f"{scenario.resolved.title}: not compared, because only one scenario "
                           f"has it: {', '.join(lost)}")
    return tuple(missing)


def difference(name: str, first: np.ndarray, other: np.ndarray, scramble: np.ndarray, *,
               certain: bool = True) -> Difference:
    """Difference of one outcome, other minus first.

    Parameters
    ----------
    first, other : ndarray, shape (draw, replicate)
        In the same luck.
    scramble : ndarray of int, shape (draw,)
    certain : bool
        Whether what every run shows alike is sure. Where it is not, and something happened always
        in one and never in the other, the interval ends where such a row would come one time in
        twenty.
    """
    away = other - first
    mean = float(away.mean())
    groups = int(scramble[-1]) + 1
    if groups > 1:
        sizes = np.bincount(scramble).astype(float)
        means = np.bincount(scramble, weights=away.mean(axis=1)) / sizes
        error, z = float(mean_error(means, sizes)), float(student.ppf(0.975, groups - 1))
    else:
        error, z = float(away.std(ddof=1) / np.sqrt(away.size)), _Z
    low, high = mean - z * error, mean + z * error
    if not certain and abs(mean) == 1 and np.isin((first, other), (0, 1)).all():
        edge = 1 - never_limit(len(first) if groups > 1 else first.size)
        low, high = (edge, 1.0) if mean > 0 else (-1.0, -edge)
    settled = abs(mean) > z * error or (error == 0 and mean == 0)
    more = None if settled or mean == 0 else float((z * error / mean) ** 2)
    of = None if more is None else "draws" if groups > 1 else "replicates"
    return Difference(name, float(first.mean()), float(other.mean()), mean, low, high, settled,
                      more, of)

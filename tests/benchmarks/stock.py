"""What the search for the number to stock spends, against a monotone fit on a plain grid.

The demo's question over stand-in estimates. Rival: 20 numbers from 0 to three times the answer,
each looked at in luck of its own, an isotonic regression through them, and the number read off
where it reaches the chance wanted. Both are repeated with other seeds; the scatter of their numbers
is what an interval is wide by, and spending is compared at equal scatter (scatter falling with the
root of what is spent, which flatters the grid: isotonic fits gain more slowly).

Run by hand: ``python tests/benchmarks/stock.py``. Prints ratios; asserts nothing.
"""

from __future__ import annotations

import shutil
import sys
import tempfile
import time
from pathlib import Path

import numpy as np
from scipy.optimize import isotonic_regression

from pva.decide import looking
from pva.decide.outcomes import goals_met, prepare
from pva.decide.rows import StockedRows
from pva.decide.search import search
from pva.scenario.scenario import read_scenario

PROJECT = Path(__file__).parents[2]
DRAWS, REPLICATES, REPEATS, GRID = 80, 20, 8, 20


class Spending:
    """Counts trajectories of every look."""

    def __init__(self):
        self.trajectories = self.looks = 0

    def __call__(self, ready, *, replicates):
        self.looks += 1
        self.trajectories += replicates * len(ready.model.draws.start)
        return goals_met(ready, replicates=replicates)


def demo(folder: Path):
    """The demo's main question over estimates that stand in for its field records."""
    shutil.copytree(PROJECT / "scenarios" / "hesperwell" / "scenarios", folder / "scenarios")
    (folder / "estimates").mkdir()
    shutil.copy(PROJECT / "tests" / "demo" / "true_estimates.yaml",
                folder / "estimates" / "estimates.yaml")
    return read_scenario(folder / "scenarios" / "base.yaml")


def searched(question, seed):
    """Number, trajectories, looks and seconds of one search, and the width of its interval."""
    resolved, spent = question.resolved, Spending()
    looking.goals_met = spent
    start = time.perf_counter()
    ready = prepare(resolved, seed=seed)
    rows = StockedRows.of(resolved)
    found = search(looking.Looker(ready, rows), rows.most, resolved.chance_wanted, monotone=False,
                   unknown=True, replicates=resolved.runs.replicates)
    seconds = time.perf_counter() - start
    width = np.nan if found.high is None else found.high - found.low
    return found.number, width, spent.trajectories, spent.looks, seconds


def on_a_grid(question, seed, answer, replicates):
    """Number read off a monotone fit on a grid, and trajectories."""
    resolved, spent = question.resolved, Spending()
    looking.goals_met = spent
    look = looking.Looker(prepare(resolved, seed=seed), StockedRows.of(resolved))
    numbers = np.linspace(0, 3 * answer, GRID)
    chances = [look(n, replicates, luck + 1).chance for luck, n in enumerate(numbers)]
    fitted = isotonic_regression(chances).x
    wanted = resolved.chance_wanted
    first = int(np.argmax(fitted >= wanted)) if fitted[-1] >= wanted else GRID - 1
    if first == 0:
        return 0.0, spent.trajectories
    share = np.clip((wanted - fitted[first - 1]) / (fitted[first] - fitted[first - 1]), 0, 1)
    return numbers[first - 1] + share * (numbers[1] - numbers[0]), spent.trajectories


def main() -> None:
    """Print what both spend at equal scatter."""
    with tempfile.TemporaryDirectory() as folder:
        question = demo(Path(folder)).with_changes(
            {"runs.draws": DRAWS, "runs.replicates": REPLICATES})
        searched(question, 1)  # warm
        ours = np.array([searched(question, 100 + s) for s in range(REPEATS)])
        answer = float(np.median(ours[:, 0]))
        grid = np.array([on_a_grid(question, 200 + s, answer, REPLICATES // 4)
                         for s in range(REPEATS)])
    scatter, other = ours[:, 0].std(ddof=1), grid[:, 0].std(ddof=1)
    equal = grid[0, 1] * (other / scatter) ** 2
    say = sys.stdout.write
    say(f"answer {answer:.0f} a year; search: {ours[:, 2].mean():,.0f} trajectories in "
        f"{ours[:, 3].mean():.0f} looks, {ours[:, 4].mean():.1f} s, scatter {scatter:.1f}, "
        f"printed interval {np.nanmedian(ours[:, 1]):.0f} wide "
        f"({np.nanmedian(ours[:, 1]) / (3.92 * scatter):.2f} of what its scatter says)\n")
    say(f"grid of {GRID}: {grid[0, 1]:,.0f} trajectories, scatter {other:.1f}; at the scatter of "
        f"the search it would spend {equal:,.0f}\n")
    printed = grid[0, 1] * (3.92 * other / np.nanmedian(ours[:, 1])) ** 2
    say(f"search / grid: {ours[:, 2].mean() / equal:.2f} at equal scatter, "
        f"{ours[:, 2].mean() / printed:.2f} at the width of the interval that the search prints\n")


if __name__ == "__main__":
    main()

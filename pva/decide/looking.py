"""Looks: the chance of meeting all goals under other release numbers."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np

from pva.decide.curve import Point
from pva.decide.outcomes import Ready, goals_met, prepare
from pva.decide.rows import StockedRows
from pva.results.run import with_runs

_APART = 0x9E3779B97F4A7C15  # odd, so that no two lucks of a scenario share a seed
_CHEAP = 5
_MORE_DRAWS = 5  # times the draws of the scenario in a fresh look


class Looker:
    """Chance of meeting all goals, in the scenario's luck (0) or in fresh luck (1, 2, ...).

    Where draws differ, fresh looks spend the same runs on more draws with fewer replicates of each:
    replicates of one draw share its rates and so tell little more than one of them.
    """

    def __init__(self, ready: Ready, rows: StockedRows):
        self.ready, self.rows = ready, rows

    @property
    def few(self) -> int:
        """Replicates of a cheap look."""
        replicates = self.ready.resolved.runs.replicates
        return min(replicates, max(2, math.ceil(replicates / _CHEAP)))

    def __call__(self, number: float, replicates: int, luck: int = 0) -> Point:
        """Look at a number in the unit that `rows` search."""
        planned = self.rows.planned(self.rows.per_year(number))
        return replace(self.at(planned, replicates, luck), number=float(number))

    def at(self, planned: np.ndarray, replicates: int, luck: int = 0) -> Point:
        """Look at planned numbers of every row, shape (row, model year)."""
        more = min(_MORE_DRAWS, replicates) if luck and self.ready.model.doubtful else 1
        replicates //= more
        ready = self._in_luck(luck, more).with_releases(planned)
        met = goals_met(ready, replicates=replicates)
        doubt = ready.doubt(met)
        return Point(math.nan, doubt.chance, doubt.low, doubt.high, met.mean(axis=1), replicates)

    def _in_luck(self, luck: int, more_draws: int) -> Ready:
        if luck == 0:
            return self.ready
        seed = (self.ready.seed + luck * _APART) % 2**64
        if not self.ready.model.doubtful:
            return replace(self.ready, seed=seed)
        resolved = self.ready.resolved
        resolved = with_runs(resolved, draws=more_draws * resolved.runs.draws)
        return prepare(resolved, seed=seed, threads=self.ready.threads, tasks=self.ready.tasks)

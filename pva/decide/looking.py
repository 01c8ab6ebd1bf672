"""Looks: the chance of meeting all goals under other release numbers."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np

from pva.decide.curve import Point
from pva.decide.outcomes import Ready, goals_met, prepare
from pva.decide.rows import StockedRows
from pva.model.draws import scramble_of_draw
from pva.results.uncertainty import chance_with_doubt

_APART = 0x9E3779B97F4A7C15  # odd, so that no two lucks of a scenario share a seed
_CHEAP = 5


class Looker:
    """Chance of meeting all goals, in the scenario's luck (0) or in fresh luck (1, 2, ...)."""

    def __init__(self, ready: Ready, rows: StockedRows):
        self.ready, self.rows = ready, rows
        self._scramble = scramble_of_draw(ready.resolved.runs.draws)

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
        ready = self._in_luck(luck).with_releases(planned)
        by_draw = goals_met(ready, replicates=replicates).sum(axis=1)
        doubt = chance_with_doubt(by_draw, replicates=replicates, scramble=self._scramble,
                                  unknown=ready.model.doubtful, certain=ready.model.certain)
        return Point(math.nan, doubt.chance, doubt.low, doubt.high, by_draw / replicates,
                     replicates)

    def _in_luck(self, luck: int) -> Ready:
        if luck == 0:
            return self.ready
        seed = (self.ready.seed + luck * _APART) % 2**64
        if not self.ready.model.doubtful:
            return replace(self.ready, seed=seed)
        return prepare(self.ready.resolved, seed=seed, threads=self.ready.threads)

"""Fold blocks of replicates into counts and sums, so that memory does not grow with replicates.

Counts are whole numbers and add in any order; sums of whole animals are exact too.
"""

from __future__ import annotations

from functools import cached_property
from itertools import chain

import numpy as np

from pva.engine.asked import LASTING, LATEST, LEAST, MET, SUCCESS, Found
from pva.engine.run import Block
from pva.model.draws import scramble_of_draw
from pva.model.record import T_COLLECTED, TALLIES
from pva.results.asking import BELOW, EXTINCT, GOALS, Asking
from pva.results.measures import MEASURES, SUMMED, TERMS, Places, measure
from pva.scenario.resolved import Resolved


class Counts:
    """How often every value occurred, by year: exact quantiles without keeping trajectories.

    Parameters
    ----------
    years : int
        Number of censuses.
    """

    _MERGE_AT = 40_000

    def __init__(self, years: int):
        self._waiting: list[np.ndarray] = []
        self._held = 0
        self._values = [np.zeros(0)] * years
        self._counts = [np.zeros(0, dtype=np.int64)] * years
        self._tables: list[np.ndarray] = []

    def add(self, values: np.ndarray) -> None:
        """Add values, shape (census, replicate); NaN is none."""
        self._waiting.append(values)
        self._held += values.shape[1]
        if self._held >= self._MERGE_AT:
            self._merge()

    def add_table(self, table: np.ndarray) -> None:
        """Add how often the numbers 0, 1 and so on occurred, shape (census, number)."""
        self._tables.append(table)

    def _merge(self):
        """Values that wait, and the table, go into the sorted lists."""
        new = np.concatenate(self._waiting, axis=1) if self._waiting else None
        self._waiting, self._held = [], 0
        width = max((t.shape[1] for t in self._tables), default=0)
        numbers = np.zeros((len(self._values), width), dtype=np.int64)
        while self._tables:
            table = self._tables.pop()
            numbers[:, :table.shape[1]] += table
        for year, row in enumerate(numbers):
            if new is not None:
                known = new[year][~np.isnan(new[year])]
                self._insert(year, *np.unique(known, return_counts=True))
            seen = np.flatnonzero(row)
            self._insert(year, seen.astype(float), row[seen])

    def _insert(self, year, value, count):
        if not len(value):
            return
        if not len(self._values[year]):
            self._values[year], self._counts[year] = value, count
            return
        both = np.concatenate([self._values[year], value])
        many = np.concatenate([self._counts[year], count])
        self._values[year], place = np.unique(both, return_inverse=True)
        self._counts[year] = np.bincount(place, weights=many).astype(np.int64)

    def as_arrays(self) -> dict[str, np.ndarray]:
        """Values and how often each occurred, years one after the other."""
        self._merge()
        return {"value": np.concatenate(self._values), "count": np.concatenate(self._counts),
                "of_year": np.array([len(v) for v in self._values])}

    def add_arrays(self, part: dict[str, np.ndarray]) -> None:
        """Add what `as_arrays` gave."""
        ends = np.cumsum(part["of_year"])
        for year, (first, end) in enumerate(zip(ends - part["of_year"], ends, strict=True)):
            self._insert(year, part["value"][first:end], part["count"][first:end])

    def squares(self) -> np.ndarray:
        """Sum of squares by year, shape (census,)."""
        self._merge()
        return np.array([count @ value**2 for value, count
                         in zip(self._values, self._counts, strict=True)])

    def quantiles(self, levels) -> np.ndarray:
        """Quantiles by linear interpolation, equal to numpy's, shape (level, census)."""
        self._merge()
        result = np.empty((len(levels), len(self._values)))
        for year, (value, count) in enumerate(zip(self._values, self._counts, strict=True)):
            last = np.cumsum(count)
            place = np.asarray(levels) * (last[-1] - 1)
            low = value[np.searchsorted(last, np.floor(place), side="right")]
            high = value[np.searchsorted(last, np.ceil(place), side="right")]
            result[:, year] = low + (high - low) * (place - np.floor(place))
        return result


def outcomes_of(block: Block) -> np.ndarray:
    """Adults in the last year and whether each goal is met, shape (outcome, replicate)."""
    return np.concatenate([block.found.end[LATEST:], block.found.watch[MET, GOALS:]])


class Fold:
    """Everything kept of a run.

    Parameters
    ----------
    resolved : Resolved
    places : Places
    keep : int
        Trajectories of adults kept for pictures, those of the first replicates.
    paired : int
        Replicates of every draw whose outcomes are kept, for pairs in the same environment.
    """

    _MERGE_AT = 16  # blocks

    def __init__(self, resolved: Resolved, places: Places, *, keep: int = 0, paired: int = 0):
        draws, years, sites = resolved.runs.draws, len(resolved.years), len(resolved.sites)
        self.resolved, self.places = resolved, places
        self._asking = Asking(resolved, places, keep=keep)
        self.asked = self._asking.asked  # of the engine
        self.scramble = scramble_of_draw(draws)
        groups = int(self.scramble[-1]) + 1
        self.extinct = np.zeros((draws, years), dtype=np.int64)
        self.below = np.zeros((draws, years), dtype=np.int64)
        self.goals = np.zeros((draws, len(resolved.goals)), dtype=np.int64)
        self.all_goals = np.zeros(draws, dtype=np.int64)
        self.first_success = np.zeros((len(resolved.goals), years + 1), dtype=np.int64)
        self.lasting_success = np.zeros((len(resolved.goals), years + 1), dtype=np.int64)
        self.adults_by_draw = np.zeros((draws, years))
        self.adults, self.wild_adults = Counts(years), Counts(years)
        self._tables: dict[int, tuple] = {}  # of the engine, which still counts there
        # scramble first; sums over replicates
        self._tallies = np.zeros((groups, years, sites, len(TALLIES)))
        self._totals = np.zeros((groups, years, len(self.asked.row), 2))
        self._sizes = np.zeros(groups, dtype=np.int64)
        self.stage_sum: np.ndarray | None = None
        self.least_adults = 0.0
        self.replicates = 0
        self._waiting: list[tuple[np.ndarray, Found]] = []
        self.kept: list[np.ndarray] = []
        self.paired = paired
        self.outcomes: list[np.ndarray] = []  # (outcome, replicate), in order

    def add(self, block: Block) -> None:
        """Fold one block in, which was simulated with what is `asked`."""
        resolved, found = self.resolved, block.found
        self._waiting.append((block.draw[found.part[:-1]], found))
        if len(self._waiting) >= self._MERGE_AT:
            self._take_in()
        self._tables[id(found.count)] = found.count, found.before
        if found.larger.any():
            self._add_large(found)
        self.least_adults += found.end[LEAST].sum()
        if self.stage_sum is None:
            self.stage_sum = np.zeros_like(block.stage_sum)
        self.stage_sum += block.stage_sum
        lanes = len(block.draw)
        self.replicates += lanes
        if self.paired:
            replicate = np.arange(block.first, block.first + lanes) % resolved.runs.replicates
            self.outcomes.append(outcomes_of(block)[:, replicate < self.paired])
        if found.kept.size:
            self.kept.extend(found.kept.T)

    def finish(self) -> None:
        """Take in what waits; to be called after the last block."""
        self._take_in()
        for table in chain.from_iterable(self._tables.values()):
            for counts, rows in zip((self.adults, self.wild_adults), table, strict=True):
                counts.add_table(rows[:, :-1])
        self._tables = {}

    def _add_large(self, found):
        for counts, values, many in zip((self.adults, self.wild_adults), found.large,
                                        found.larger, strict=True):
            counts.add(np.where(np.arange(values.shape[1]) < many[:, None], values, np.nan))

    def _take_in(self):
        if not self._waiting:
            return
        draw = np.concatenate([d for d, _ in self._waiting])
        found = [f for _, f in self._waiting]
        self._waiting = []
        self._add_parts(draw, found)
        self._add_goals(draw, found)

    def _add_parts(self, draw, found):
        """Sums over parts, each of the one draw given."""
        parts, years = len(draw), self.extinct.shape[1]
        tallies, totals, met, sizes = (
            np.concatenate(f) for f in zip(*((f.tally, f.total, f.met, np.diff(f.part))
                                             for f in found), strict=True))
        tallies = tallies.reshape(parts, *self._tallies.shape[1:])
        totals = totals.reshape(parts, *self._totals.shape[1:])
        met = met.reshape(parts, years, -1).astype(np.int64)
        adults = tallies[..., TERMS["adults"][0]].sum(axis=(2, 3))
        for kept, new in ((self.adults_by_draw, adults), (self.extinct, met[..., EXTINCT]),
                          (self.below, met[..., BELOW]), (self.goals, met[:, -1, GOALS:])):
            _add_runs(kept, draw, new)
        for kept, new in ((self._tallies, tallies), (self._totals, totals), (self._sizes, sizes)):
            _add_runs(kept, self.scramble[draw], new)

    def _add_goals(self, draw, found):
        if not self.resolved.goals:
            return
        every = np.concatenate([np.add.reduceat(np.logical_and.reduce(f.watch[MET, GOALS:]),
                                                f.part[:-1], dtype=np.int64) for f in found])
        _add_runs(self.all_goals, draw, every)
        for years, which in ((self.first_success, SUCCESS), (self.lasting_success, LASTING)):
            for g, goal in enumerate(years):
                when = np.concatenate([f.watch[which, GOALS + g] for f in found])
                goal += np.bincount(when.astype(np.int64), minlength=len(goal))

    @cached_property
    def sums(self) -> np.ndarray:
        """Sums of measures over replicates: measure, scramble, place (river first), census."""
        return self._measures[0]

    @cached_property
    def sizes(self) -> np.ndarray:
        """Replicates in which a measure was defined, in the shape of `sums`."""
        return self._measures[1].astype(np.int64)

    @cached_property
    def collected(self) -> np.ndarray:
        """Animals collected, summed over replicates, shape (site, census)."""
        return self._tallies[..., T_COLLECTED].sum(axis=0).T

    @cached_property
    def _measures(self):
        groups, years, sites, _ = self._tallies.shape
        result = np.zeros((2, len(MEASURES), groups, 1 + sites, years))
        for p in range(1 + sites):
            where = None if p == 0 else np.array([p - 1])
            for m, name in enumerate(MEASURES):
                row = self._asking.means.get((name, 0 if sites == 1 else p))
                if name in SUMMED:  # the measure of the sum is the sum of the measure
                    total = measure(name, self._tallies, self.places, where)
                    known = ~np.isnan(total)
                    result[0, m, :, p] = np.where(known, total, 0.0)
                    result[1, m, :, p] = known * self._sizes[:, None]
                elif row is not None:
                    result[:, m, :, p] = np.moveaxis(self._totals[:, :, row], -1, 0)
        return result


def _add_runs(to, number, new):
    """Add `new`, one a part, to the rows of `to` that rising numbers name."""
    first = np.flatnonzero(np.diff(number, prepend=-1))
    to[number[first]] += np.add.reduceat(new, first)

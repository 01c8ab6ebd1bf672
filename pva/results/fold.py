"""Fold blocks of replicates into counts and sums, so that memory does not grow with replicates.

Counts are whole numbers and add in any order; sums of whole animals are exact too.
"""

from __future__ import annotations

import numpy as np

from pva.engine.run import Block
from pva.model.draws import scramble_of_draw
from pva.model.record import T_FISH, TALLIES
from pva.results.goals import below_by, extinct_by, judge, success_years
from pva.results.measures import MEASURES, SUMMED, Places, measure
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

    def add(self, values: np.ndarray) -> None:
        """Add values, shape (replicate, census)."""
        self._waiting.append(values)
        self._held += len(values)
        if self._held >= self._MERGE_AT:
            self._merge()

    def _merge(self):
        if not self._waiting:
            return
        new = np.concatenate(self._waiting)
        self._waiting, self._held = [], 0
        for year in range(len(self._values)):
            value, count = np.unique(new[:, year], return_counts=True)
            both = np.concatenate([self._values[year], value])
            many = np.concatenate([self._counts[year], count])
            self._values[year], place = np.unique(both, return_inverse=True)
            self._counts[year] = np.bincount(place, weights=many).astype(np.int64)

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


def outcomes_of(tallies: np.ndarray, places: Places, resolved: Resolved) -> np.ndarray:
    """Adults in the last year and whether each goal is met, shape (outcome, replicate)."""
    goals = [judge(g, tallies, places, resolved) for g in resolved.goals]
    return np.array([measure("adults", tallies, places)[:, -1], *goals], dtype=float)


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

    def __init__(self, resolved: Resolved, places: Places, *, keep: int = 0, paired: int = 0):
        draws, years, sites = resolved.runs.draws, len(resolved.years), len(resolved.sites)
        self.resolved, self.places, self._keep = resolved, places, keep
        self.scramble = scramble_of_draw(draws)
        groups = int(self.scramble[-1]) + 1
        self.extinct = np.zeros((draws, years), dtype=np.int64)
        self.below = np.zeros((draws, years), dtype=np.int64)
        self.goals = np.zeros((draws, len(resolved.goals)), dtype=np.int64)
        self.all_goals = np.zeros(draws, dtype=np.int64)
        self.first_success = np.zeros((len(resolved.goals), years + 1), dtype=np.int64)
        self.lasting_success = np.zeros((len(resolved.goals), years + 1), dtype=np.int64)
        self.adults_by_draw = np.zeros((draws, years))
        self.adults = Counts(years)
        self.wild_adults = Counts(years)
        self.adults_squared = np.zeros(years)
        # measure, scramble, place (river first), census
        shape = (len(MEASURES), groups, 1 + sites, years)
        self.sums = np.zeros(shape)
        self.sizes = np.zeros(shape, dtype=np.int64)
        self.stage_sum: np.ndarray | None = None
        self.least_adults = 0.0
        self.replicates = 0
        self.kept: list[np.ndarray] = []
        self.collected = np.zeros((sites, years))
        self.paired = paired
        self.outcomes: list[np.ndarray] = []  # (outcome, replicate), in order

    def add(self, block: Block) -> None:
        """Fold one block in."""
        resolved, tallies = self.resolved, block.tallies
        draws = _Runs(block.draw)
        draws.add(extinct_by(tallies, resolved), self.extinct)
        draws.add(below_by(tallies, resolved), self.below)
        self._add_goals(block, draws)
        self._add_measures(block)
        adults = measure("adults", tallies, self.places)
        draws.add(adults, self.adults_by_draw)
        self.adults.add(adults)
        self.wild_adults.add(measure("wild_adults", tallies, self.places))
        self.adults_squared += (adults**2).sum(axis=0)
        start = resolved.quasi_extinction.from_year - resolved.first
        self.least_adults += adults[:, start:].min(axis=1).sum()
        self.collected += tallies[..., TALLIES.index("collected")].sum(axis=0).T
        if self.stage_sum is None:
            self.stage_sum = np.zeros_like(block.stage_sum)
        self.stage_sum += block.stage_sum
        self.replicates += len(tallies)
        replicate = np.arange(block.first, block.first + len(tallies)) % resolved.runs.replicates
        first_ones = replicate < self.paired
        if first_ones.any():
            self.outcomes.append(outcomes_of(tallies[first_ones], self.places, resolved))
        if len(self.kept) < self._keep:
            self.kept.extend(adults[:self._keep - len(self.kept)])

    def _add_goals(self, block, draws):
        met = [judge(g, block.tallies, self.places, self.resolved) for g in self.resolved.goals]
        for i, (goal, good) in enumerate(zip(self.resolved.goals, met, strict=True)):
            draws.add(good, self.goals[:, i])
            first, lasting = success_years(goal, block.tallies, self.places, self.resolved)
            width = self.first_success.shape[1]
            self.first_success[i] += np.bincount(first, minlength=width)
            self.lasting_success[i] += np.bincount(lasting, minlength=width)
        if met:
            draws.add(np.logical_and.reduce(met), self.all_goals)

    def _add_measures(self, block):
        sites = len(self.resolved.sites)
        places = [None] if sites == 1 else [None, *(np.array([i]) for i in range(sites))]
        groups = _Runs(self.scramble[block.draw])
        totals = [(g, many, block.tallies[part].sum(axis=0, keepdims=True))
                  for g, many, part in groups.parts()]
        for p, where in enumerate(places):
            for m, name in enumerate(MEASURES):
                if name in SUMMED:  # the measure of the sum is the sum of the measure
                    for group, many, total in totals:
                        self._add_sum(measure(name, total, self.places, where)[0], many,
                                      (m, group, p))
                elif self._can_occur(name, totals):
                    values = measure(name, block.tallies, self.places, where)
                    known = ~np.isnan(values)
                    groups.add(known, self.sizes[m, :, p])
                    groups.add(np.where(known, values, 0.0), self.sums[m, :, p])
        if sites == 1:
            self.sums[:, :, 1], self.sizes[:, :, 1] = self.sums[:, :, 0], self.sizes[:, :, 0]

    def _add_sum(self, total, many, place):
        known = ~np.isnan(total)
        self.sums[place] += np.where(known, total, 0.0)
        self.sizes[place] += many * known

    def _can_occur(self, name, totals):
        """Whether the measure is not null everywhere."""
        if name == "heterozygosity":
            return self.places.genetics is not None
        if name == "glochidia_per_host":
            return any(total[..., T_FISH].any() for _, _, total in totals)
        return True


class _Runs:
    """Neighbouring replicates of one draw (or scramble): sums over each.

    Parameters
    ----------
    number : ndarray of int, shape (replicate,)
        Rising.
    """

    def __init__(self, number: np.ndarray):
        first = np.flatnonzero(np.diff(number, prepend=number[0] - 1))
        self._numbers = number[first]
        self._parts = list(map(slice, first, [*first[1:], len(number)]))

    def add(self, values: np.ndarray, to: np.ndarray) -> None:
        """Add sums over the replicates of each number to its row of `to`."""
        for number, _, part in self.parts():
            to[number] += values[part].sum(axis=0, dtype=to.dtype)

    def parts(self):
        """Number, how many replicates, and where they are, for each run."""
        for number, part in zip(self._numbers, self._parts, strict=True):
            yield number, part.stop - part.start, part

"""From the table of lengths to what the growth model reads: groups, curves, who was released."""

from __future__ import annotations

import numpy as np
import pandas as pd

from pva.estimate.first_sizes import Groups
from pva.estimate.following import FIRST_CAPTURE
from pva.estimate.growth import FEWEST, growing_time
from pva.estimate.growth_model import Measured, ranges
from pva.estimate.likelihood_growth import Lengths

FEWEST_IN_BATCH = 8  # animals measured twice, below which a batch joins its source
FEWEST_FREE = 40  # the same for a batch from the river, whose shape takes more to tell
NARROW = 0.25  # SD over mean of first lengths, above which a batch is not of one size
ELSEWHERE = "elsewhere"  # levels of growth with too few animals


def measured_lengths(table: pd.DataFrame, season, *, beds=(), differs_by=()) -> Measured:
    """Array form of the lengths table.

    A hatchery batch begins at much the same size. Animals taken from a bed of the river have any
    size between the smallest and the largest that were taken, animals marked where they were first
    caught any size.

    Parameters
    ----------
    table : DataFrame
        `animal`, `species`, `source`, `batch`, `site`, `day`, `length_mm`.
    season : (int, int)
        Months of growth.
    beds : sequence of str
        Sites of the study: a source of that name is a bed.
    differs_by : sequence of str
        Columns by which growth may differ.

    Returns
    -------
    Measured
    """
    table = table.sort_values(["animal", "day"], kind="stable")
    time = growing_time(table["day"].to_numpy(), season)
    animal, length = table["animal"].to_numpy(), table["length_mm"].to_numpy(float)
    first = np.flatnonzero(np.concatenate([[True], animal[1:] != animal[:-1]]))
    size = np.diff(np.append(first, len(table)))
    facts = table.iloc[first].reset_index(drop=True)
    source = facts["source"].fillna("").astype(str)
    level = _levels(facts, differs_by, size)
    names, humps = _groups(source, facts["batch"].fillna("").astype(str), length[first], size,
                           set(beds))
    levels, curve = np.unique(level, return_inverse=True)
    crossed = names if levels.size == 1 else names + " @ " + level
    known, at, group = np.unique(crossed, return_index=True, return_inverse=True)
    lengths = Lengths(np.append(first, len(table)).astype(np.int64), time - np.repeat(time[first],
                      size), length, group.astype(np.int64))
    chosen = ranges(lengths, known.size)
    chosen[source.eq(FIRST_CAPTURE).to_numpy()[at]] = -np.inf, np.inf
    groups = Groups(humps[at], chosen, curve[at].astype(np.int64),
                    tuple(map(str, known)))
    return Measured(lengths, groups, curve.astype(np.int64), tuple(map(str, levels)),
                    source.ne(FIRST_CAPTURE).to_numpy(), tuple(animal[first]), time[first])


def _levels(facts: pd.DataFrame, differs_by, size) -> np.ndarray:
    """Level of each animal; levels with too few animals measured twice are joined."""
    usable = [c for c in differs_by if c in facts]
    if not usable:
        return np.full(len(facts), "all", object)
    level = facts[usable].fillna("").astype(str).agg(", ".join, axis=1)
    twice = level[size >= 2].value_counts()
    large = set(twice.index[twice >= FEWEST])
    return level.where(level.isin(large), ELSEWHERE).to_numpy(object)


def _groups(source, batch, first_mm, size, beds: set) -> tuple[np.ndarray, np.ndarray]:
    """Name of the group of each animal, and whether the group begins at much the same size."""
    names = ("source " + source).to_numpy(object)
    humps = np.zeros(len(source), bool)
    for own in (batch.to_numpy() == b for b in batch[batch.ne("")].unique()):
        twice, lengths = int((own & (size >= 2)).sum()), first_mm[own]
        free = source[own].isin(beds | {FIRST_CAPTURE}).any() or (
            lengths.std() > NARROW * lengths.mean())
        if twice >= (FEWEST_FREE if free else FEWEST_IN_BATCH):
            names[own] = f"batch {batch[own].iloc[0]}"
            humps[own] = not free
    return names, humps

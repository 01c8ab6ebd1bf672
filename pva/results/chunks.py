"""Large runs in chunks: each folded by itself, and all of them added up in one fixed order.

Where chunks end depends on the shape of the model and the number of draws, never on how many
replicates are asked for, how many threads or workers there are, or what is already finished. So
sums are the same to the last bit however the work is done, and more replicates can be added to
those that are there.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np

from pva.engine.run import simulate
from pva.model.assemble import Model
from pva.model.record import Draws, Plan
from pva.results.fold import Fold
from pva.results.measures import Places
from pva.results.tasks import Progress, Tasks
from pva.scenario.resolved import Resolved, Runs

SITE_YEARS = 1 << 22  # of a chunk, at most; about a second of one core
_ADDED = ("extinct", "below", "goals", "all_goals", "first_success", "lasting_success",
          "adults_by_draw", "stage_sum", "least_adults", "replicates", "_tallies", "_totals",
          "_sizes")
_COUNTED = ("adults", "wild_adults")


@dataclass(frozen=True)
class Chunk:
    """Some draws and some replicates of each; ends are not included."""

    draws: tuple[int, int]
    replicates: tuple[int, int]


def chunks_of(resolved: Resolved) -> list[Chunk]:
    """Chunks of a run, in the order in which they are added up."""
    runs = resolved.runs
    most = max(1, SITE_YEARS // (len(resolved.years) * len(resolved.sites)))
    together = min(runs.draws, most)
    each = 1 << max(0, (most // runs.draws).bit_length() - 1)  # of two, so that few ends are odd
    return [Chunk((draw, min(draw + together, runs.draws)),
                  (first, min(first + each, runs.replicates)))
            for first in range(0, runs.replicates, each)
            for draw in range(0, runs.draws, together)]


def fold_chunks(resolved: Resolved, model: Model, places: Places, chunks: Sequence[Chunk], *,
                seed: int, tasks: Tasks, threads: int | None = None, keep: int = 0,
                paired: int = 0, progress: Progress | None = None) -> Fold:
    """Fold every chunk, wherever it is done, and add them up.

    Parameters
    ----------
    keep, paired : int
        As in `Fold`.
    """
    total = resolved.runs.draws * resolved.runs.replicates

    def tell(done, _):
        if progress is not None:
            progress(total * done // len(chunks), total)

    work = (_task(resolved, model, places, c, seed=seed, keep=keep, paired=paired) for c in chunks)
    sums = _Sums(resolved, places, keep=keep, paired=paired)
    parts = tasks.carry_out(fold_chunk, work, total=len(chunks), threads=threads, progress=tell)
    for chunk, part in zip(chunks, parts, strict=True):
        sums.add(chunk, part)
    return sums.fold()


def _task(resolved, model, places, chunk, *, seed, keep, paired):
    """Arguments of `fold_chunk`; what does not change its numbers is levelled."""
    first, last = chunk.replicates
    runs = Runs(draws=resolved.runs.draws, replicates=last - first)
    draws = Draws(*(part[slice(*chunk.draws)] for part in model.draws))
    return (replace(resolved, runs=runs, warnings=()), model.plan, draws, places, seed,
            chunk.draws[0], first, keep, min(max(paired - first, 0), last - first))


def fold_chunk(resolved: Resolved, plan: Plan, draws: Draws, places: Places, seed: int,
               first_draw: int, first_replicate: int, keep: int, paired: int, *,
               threads: int | None) -> dict[str, Any]:
    """Simulate and fold one chunk; `resolved` holds the replicates of the chunk alone.

    Returns
    -------
    dict
        Counts and sums by name, as arrays.
    """
    fold = Fold(resolved, places, keep=keep, paired=paired)
    for block in simulate(plan, draws, seed=seed, replicates=resolved.runs.replicates,
                          threads=threads, first_draw=first_draw,
                          first_replicate=first_replicate, asked=fold.asked):
        fold.add(block)
    fold.finish()
    outcomes = np.concatenate(fold.outcomes, axis=1) if fold.outcomes else np.zeros((0, 0))
    return {name: np.asarray(getattr(fold, name)) for name in _ADDED} | {
        name: getattr(fold, name).as_arrays() for name in _COUNTED} | {
        "outcomes": outcomes, "kept": np.array(fold.kept)}


class _Sums:
    """Chunks added up in their order."""

    def __init__(self, resolved: Resolved, places: Places, *, keep: int, paired: int):
        self._keep = keep
        self._fold = Fold(resolved, places, keep=keep, paired=paired)
        self._outcomes: list[tuple[Chunk, np.ndarray]] = []
        self._kept: list[tuple[int, np.ndarray]] = []  # number of the replicate, its adults

    def add(self, chunk: Chunk, part: dict[str, Any]) -> None:
        """Add one chunk."""
        fold = self._fold
        for name in _ADDED:
            so_far = getattr(fold, name)
            setattr(fold, name, part[name] if so_far is None else so_far + part[name])
        for name in _COUNTED:
            getattr(fold, name).add_arrays(part[name])
        if part["outcomes"].size:
            self._outcomes.append((chunk, part["outcomes"]))
        each, (first, last) = fold.resolved.runs.replicates, chunk.replicates
        for place, adults in enumerate(part["kept"]):
            draw, replicate = divmod(place, last - first)
            self._kept.append(((chunk.draws[0] + draw) * each + first + replicate, adults))
        self._kept = sorted(self._kept, key=lambda k: k[0])[:self._keep]

    def fold(self) -> Fold:
        """Everything, as one fold of all replicates would have it."""
        fold = self._fold
        fold.replicates = int(fold.replicates)
        fold.least_adults = float(fold.least_adults)
        fold.kept = [adults for _, adults in self._kept]
        if fold.paired:
            fold.outcomes = [self._in_order()]
        return fold

    def _in_order(self):
        """Outcomes by draw and replicate, from chunks of some draws and some replicates."""
        runs = self._fold.resolved.runs
        paired = min(self._fold.paired, runs.replicates)
        found = np.empty((len(self._outcomes[0][1]), runs.draws, paired))
        for chunk, outcomes in self._outcomes:
            some, (first, last) = slice(*chunk.draws), chunk.replicates
            here = found[:, some, first:min(last, paired)]
            here[...] = outcomes.reshape(here.shape)
        return found.reshape(len(found), -1)

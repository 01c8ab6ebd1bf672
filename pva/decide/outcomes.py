"""Outcomes of a scenario replicate by replicate, for comparisons and searches."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace

import numpy as np

from pva.engine.run import simulate
from pva.model.assemble import Model, assemble
from pva.model.draws import scramble_of_draw
from pva.model.record import Draws, Plan
from pva.results.goals import below_by, extinct_by, judge
from pva.results.growth import long_run
from pva.results.measures import Places, measure
from pva.results.run import places_of
from pva.results.tasks import Tasks
from pva.results.uncertainty import ChanceDoubt, chance_with_doubt
from pva.scenario.resolved import Resolved


@dataclass(frozen=True)
class Ready:
    """A scenario assembled for many runs: only release numbers change between them."""

    resolved: Resolved
    model: Model
    places: Places
    seed: int
    threads: int | None
    tasks: Tasks | None = None  # where runs are done; None = here

    def with_releases(self, numbers: np.ndarray) -> Ready:
        """The same with other planned numbers, shape (row, year)."""
        releases = self.model.plan.releases._replace(release_number=np.ascontiguousarray(numbers))
        model = replace(self.model, plan=self.model.plan._replace(releases=releases))
        return replace(self, model=model)

    def doubt(self, happened: np.ndarray) -> ChanceDoubt:
        """Chance of what happened, shape (draw, replicate), in runs of this model."""
        return chance_with_doubt(
            happened.sum(axis=1).astype(int), replicates=happened.shape[1],
            scramble=scramble_of_draw(len(happened)), unknown=self.model.doubtful,
            certain=self.model.certain)


def prepare(resolved: Resolved, *, seed: int, threads: int | None = None,
            held: Mapping | None = None, points: Mapping | None = None,
            tasks: Tasks | None = None) -> Ready:
    """Assemble a scenario once; `held` and `points` as in `assemble`, `tasks` do its runs."""
    model = assemble(resolved, seed=seed, held=held, points=points)
    generation = None
    if any(g.measure == "heterozygosity" for g in resolved.goals):  # the only use of it here
        generation = long_run(resolved).analysis.generation_time_years
    return Ready(resolved, model, places_of(resolved, generation), seed, threads, tasks)


def goals_met(ready: Ready, *, replicates: int) -> np.ndarray:
    """Whether all goals are met in the same run, shape (draw, replicate), bool."""
    return success(ready, replicates=replicates)


def success(ready: Ready, *, replicates: int, same_luck: bool = False) -> np.ndarray:
    """All goals met, or without goals never below the threshold, shape (draw, replicate), bool."""
    parts = _parts(ready, replicates)
    work = (_task(ready, draws, some, same_luck) for draws, some in parts)
    answers = (ready.tasks or Tasks()).carry_out(succeeded, work, total=len(parts),
                                                 threads=ready.threads)
    rows = len(ready.model.draws.value)
    found = np.empty((rows, replicates), dtype=bool)
    for (draws, some), answer in zip(parts, answers, strict=True):
        found[slice(*draws), slice(*some)] = answer
    return found


def _parts(ready, replicates):
    """Ends of draws and replicates of about as many parts as are done at a time."""
    rows = len(ready.model.draws.value)
    workers = 1 if ready.tasks is None else ready.tasks.workers
    by_draw = min(workers, rows)
    return [((a, b), (c, d)) for a, b in _ends(rows, by_draw)
            for c, d in _ends(replicates, min(-(-workers // by_draw), replicates))]


def _ends(many, parts):
    ends = [many * i // parts for i in range(parts + 1)]
    return list(zip(ends, ends[1:], strict=False))


def _task(ready, draws, some, same_luck):
    model = ready.model
    rows = Draws(*(part[slice(*draws)] for part in model.draws))
    return (ready.resolved, model.plan, rows, ready.places, ready.seed, draws[0], some, same_luck)


def succeeded(resolved: Resolved, plan: Plan, draws: Draws, places: Places, seed: int,
              first_draw: int, replicates: tuple[int, int], same_luck: bool, *,
              threads: int | None) -> np.ndarray:
    """Success of some draws and replicates (ends; the last not included), as a task."""
    first, last = replicates
    met = [_succeeds(resolved, places, block.tallies) for block in simulate(
        plan, draws, seed=seed, replicates=last - first, threads=threads, same_luck=same_luck,
        first_draw=first_draw, first_replicate=first)]
    return np.concatenate(met).reshape(len(draws.value), -1)


def _succeeds(resolved, places, tallies):
    if not resolved.goals:
        return ~below_by(tallies, resolved)[:, -1]
    return np.logical_and.reduce([judge(g, tallies, places, resolved) for g in resolved.goals])


def chance_of_success(ready: Ready, *, replicates: int) -> ChanceDoubt:
    """Chance of `success` with its doubt."""
    return ready.doubt(success(ready, replicates=replicates))


def outcomes(ready: Ready) -> dict[str, np.ndarray]:
    """Outcomes by name, each of shape (draw, replicate).

    Every goal by its name, ``all goals``, ``extinction``, ``quasi-extinction`` (by the last year)
    and ``adults in the last year``.
    """
    resolved = ready.resolved
    names = [g.name for g in resolved.goals]
    rows: dict[str, list] = {n: [] for n in names}
    more: dict[str, list] = {"extinction": [], "quasi-extinction": [],
                             "adults in the last year": []}
    for block in simulate(ready.model.plan, ready.model.draws, seed=ready.seed,
                          replicates=resolved.runs.replicates, threads=ready.threads):
        for goal in resolved.goals:
            rows[goal.name].append(judge(goal, block.tallies, ready.places, resolved))
        more["extinction"].append(extinct_by(block.tallies, resolved)[:, -1])
        more["quasi-extinction"].append(below_by(block.tallies, resolved)[:, -1])
        more["adults in the last year"].append(
            measure("adults", block.tallies, ready.places)[:, -1])
    shape = (resolved.runs.draws, resolved.runs.replicates)
    result = {n: np.concatenate(v).reshape(shape).astype(float) for n, v in (rows | more).items()}
    if names:
        together = np.minimum.reduce([result[n] for n in names])
        result = {n: result[n] for n in names} | {"all goals": together} | {
            n: result[n] for n in more}
    return result

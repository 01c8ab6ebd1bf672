"""Outcomes of a scenario replicate by replicate, for comparisons and searches."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace

import numpy as np

from pva.engine.run import simulate
from pva.model.assemble import Model, assemble
from pva.model.draws import scramble_of_draw
from pva.results.goals import below_by, extinct_by, judge
from pva.results.growth import long_run
from pva.results.measures import Places, measure
from pva.results.run import places_of
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
            held: Mapping | None = None, points: Mapping | None = None) -> Ready:
    """Assemble a scenario once; `held` and `points` as in `assemble`."""
    model = assemble(resolved, seed=seed, held=held, points=points)
    generation = None
    if resolved.genetics is not None:
        generation = long_run(resolved).analysis.generation_time_years
    return Ready(resolved, model, places_of(resolved, generation), seed, threads)


def goals_met(ready: Ready, *, replicates: int, same_luck: bool = False) -> np.ndarray:
    """Whether all goals are met in the same run, shape (draw, replicate), bool."""
    def met(block):
        return np.logical_and.reduce([judge(g, block.tallies, ready.places, ready.resolved)
                                      for g in ready.resolved.goals])

    return _judged(ready, met, replicates, same_luck)


def success(ready: Ready, *, replicates: int, same_luck: bool = False) -> np.ndarray:
    """All goals met, or without goals never below the threshold, shape (draw, replicate), bool."""
    if ready.resolved.goals:
        return goals_met(ready, replicates=replicates, same_luck=same_luck)

    def kept(block):
        return ~below_by(block.tallies, ready.resolved)[:, -1]

    return _judged(ready, kept, replicates, same_luck)


def _judged(ready: Ready, of_block, replicates: int, same_luck: bool) -> np.ndarray:
    """What is judged block by block, shape (draw, replicate)."""
    blocks = simulate(ready.model.plan, ready.model.draws, seed=ready.seed, replicates=replicates,
                      threads=ready.threads, same_luck=same_luck)
    return np.concatenate([of_block(block) for block in blocks]).reshape(-1, replicates)


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

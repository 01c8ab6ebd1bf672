"""Run a scenario: parameter draws x replicates to one labelled data set."""

from __future__ import annotations

import secrets
from dataclasses import replace

import numpy as np
import xarray as xr

from pva.engine.run import simulate
from pva.model.assemble import Model, assemble
from pva.model.events import site_areas
from pva.results.chunks import chunks_of, fold_chunks
from pva.results.dataset import to_dataset
from pva.results.fold import Fold, outcomes_of
from pva.results.growth import long_run, simulated_growth
from pva.results.measures import Places
from pva.results.tasks import Progress, Tasks
from pva.results.variance import MOST_REPLICATES, variance_parts
from pva.scenario.resolved import Resolved
from pva.scenario.scenario import Scenario


def draw_seed() -> int:
    """A fresh seed, for a scenario that names none; it is printed and stored."""
    return secrets.randbelow(2**32)


def with_runs(resolved: Resolved, *, draws: int | None = None,
              replicates: int | None = None) -> Resolved:
    """The same question with other numbers of draws and replicates."""
    runs = resolved.runs
    return replace(resolved, runs=replace(runs, draws=draws or runs.draws,
                                          replicates=replicates or runs.replicates))


def seed_of(resolved: Resolved, seed: int | None) -> int:
    """The seed asked for, else the scenario's, else a new one."""
    if seed is not None:
        return seed
    return draw_seed() if resolved.runs.seed is None else resolved.runs.seed


def fold_run(resolved: Resolved, model: Model, places: Places, *, seed: int,
             threads: int | None = None, keep: int = 0, paired: int = 0,
             progress: Progress | None = None, tasks: Tasks | None = None) -> Fold:
    """Simulate and fold, without the matrix analysis and variance shares.

    A large run is folded in chunks; see `pva.results.chunks`.

    Parameters
    ----------
    keep, paired : int
        As in `Fold`.
    progress : callable or None
        Called with replicates done and in all.
    tasks : Tasks or None
        How the chunks of a large run are done; None = here, and nothing is kept.
    """
    chunks = chunks_of(resolved)
    if len(chunks) > 1 or (tasks is not None and tasks.cluster is not None):
        return fold_chunks(resolved, model, places, chunks, seed=seed, tasks=tasks or Tasks(),
                           threads=threads, keep=keep, paired=paired, progress=progress)
    fold = Fold(resolved, places, keep=keep, paired=paired)
    total = resolved.runs.draws * resolved.runs.replicates
    for block in simulate(model.plan, model.draws, seed=seed,
                          replicates=resolved.runs.replicates, threads=threads, asked=fold.asked):
        fold.add(block)
        if progress is not None:
            progress(fold.replicates, total)
    fold.finish()
    return fold


def places_of(resolved: Resolved, generation_years: float | None) -> Places:
    """What the measures need beside the engine's tallies."""
    return Places(site_areas(resolved), resolved.genetics, generation_years)


def run(scenario: Scenario, *, seed: int | None = None, threads: int | None = None,
        draws: int | None = None, replicates: int | None = None,
        progress: Progress | None = None, tasks: Tasks | None = None) -> xr.Dataset:
    """Run a scenario.

    Parameters
    ----------
    scenario : Scenario
    seed : int or None
        None = the scenario's seed, or a new one if it names none.
    threads : int or None
        None = every core. Numbers do not depend on it.
    draws, replicates : int or None
        None = the scenario's.
    progress : callable or None
        Called with replicates done and in all.
    tasks : Tasks or None
        Where the chunks of a large run are kept and done; None = here, and nothing is kept.
        Numbers do not depend on it.

    Returns
    -------
    xarray.Dataset
        Dimensions year, site, stage, origin, draw, goal, quantile; see `pva.results.dataset`.

    Raises
    ------
    CannotCompute
        If a calibration has no solution.
    """
    resolved = with_runs(scenario.resolved, draws=draws, replicates=replicates)
    seed = seed_of(resolved, seed)
    model = assemble(resolved, seed=seed)
    companion = long_run(resolved)
    places = places_of(resolved, companion.analysis.generation_time_years)
    paired = paired_replicates(resolved)
    fold = fold_run(resolved, model, places, seed=seed, threads=threads,
                    keep=resolved.runs.keep_trajectories, paired=paired, progress=progress,
                    tasks=tasks)
    return to_dataset(scenario, resolved, model, fold, seed=seed, companion=companion,
                      stochastic=simulated_growth(resolved, seed=seed),
                      shares=variance_shares(fold, model, seed=seed, threads=threads))


def paired_replicates(resolved: Resolved) -> int:
    """Replicates of every draw that are run in pairs, at most about `MOST_REPLICATES` in all."""
    return min(resolved.runs.replicates, max(2, MOST_REPLICATES // resolved.runs.draws))


def variance_shares(fold: Fold, model: Model, *, seed: int,
                    threads: int | None = None) -> dict[str, dict]:
    """Shares of variance of adults in the last year and of every goal, by outcome name.

    The run itself is the first member of every pair; the second is simulated here.

    Parameters
    ----------
    fold : Fold
        Of the run, with `paired` replicates kept.
    """
    resolved = fold.resolved
    second = [outcomes_of(block)
              for block in simulate(model.plan, model.draws, seed=seed, replicates=fold.paired,
                                    threads=threads, other_individuals=True, asked=fold.asked)]
    shape = (-1, resolved.runs.draws, fold.paired)
    pairs = zip(*(np.concatenate(parts, axis=1).reshape(shape)
                  for parts in (fold.outcomes, second)), strict=True)
    names = ["adults in the last year", *(g.name for g in resolved.goals)]
    return {name: variance_parts(a, b) for name, (a, b) in zip(names, pairs, strict=True)}

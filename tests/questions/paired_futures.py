"""The same futures of two scenarios: one luck, so that a difference is that of the scenarios."""

from __future__ import annotations

from functools import cache
from pathlib import Path

import numpy as np

from pva.engine.run import simulate
from pva.model.assemble import assemble
from pva.results.measures import Places, measure
from pva.scenario.scenario import Scenario, read_scenario

FOLDER = Path(__file__).parents[2] / "scenarios" / "questions"
SEED, REPLICATES = 61, 400
ERRORS = 5.0  # a difference of pure luck passes so many standard errors once in 3 million
BEST = {"chance.unknown": False, "runs.draws": 1, "runs.replicates": 1}


@cache
def written(name: str) -> Scenario:
    """A shipped scenario at its best values: the luck of years and animals is left."""
    return read_scenario(FOLDER / f"{name}.yaml").with_changes(BEST)


def changed(name: str, **changes) -> Scenario:
    """A shipped scenario with changes; two underscores stand for a dot."""
    return written(name).with_changes({k.replace("__", "."): v for k, v in changes.items()})


class Futures:
    """Tallies of many replicates of a scenario, read by measure, year and site."""

    def __init__(self, scenario: Scenario, *, replicates: int = REPLICATES):
        self.resolved = scenario.resolved
        model = assemble(self.resolved, seed=SEED)
        blocks = simulate(model.plan, model.draws, seed=SEED, replicates=replicates, threads=1)
        self.tallies = np.concatenate([b.tallies for b in blocks])
        self.sites = list(model.sites)
        self.areas = Places(np.array([s.area_m2 for s in self.resolved.sites]))

    def of(self, name: str, year: int | None = None, *, at: str | None = None) -> np.ndarray:
        """A measure, shape (replicate,) in a year, else (replicate, census)."""
        sites = None if at is None else np.array([self.sites.index(at)])
        values = measure(name, self.tallies, self.areas, sites)
        return values if year is None else values[:, year - self.resolved.first]


@cache
def futures(name: str) -> Futures:
    """Futures of a shipped scenario as it is written."""
    return Futures(written(name))


def clearly_more(more: np.ndarray, less: np.ndarray) -> None:
    """Fails unless the paired difference lies more than `ERRORS` standard errors above 0.

    A mechanism that does nothing gives the same futures, a difference of exactly 0, and fails.
    """
    away = np.asarray(more, float) - less
    error = away.std(ddof=1) / np.sqrt(len(away))
    assert away.mean() > ERRORS * error or (error == 0 and away.mean() > 0), (
        f"{np.mean(more):.4g} against {np.mean(less):.4g}: difference {away.mean():.3g}, "
        f"standard error {error:.2g}")

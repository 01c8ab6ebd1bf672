"""What the goal depends on, and where the answer flips."""

from __future__ import annotations

from dataclasses import asdict, dataclass

import numpy as np

from pva.decide.compare import Difference, difference, groups
from pva.decide.flips import RateEffect, rate_effects
from pva.decide.global_effects import VarianceShare, chance_shares
from pva.decide.goal_table import GoalChance, ThresholdRisk, goal_table
from pva.decide.information import Information, information
from pva.decide.outcomes import Ready, prepare, success
from pva.decide.what_if import switches
from pva.results.growth import long_run
from pva.results.run import seed_of
from pva.results.summary import plain
from pva.results.uncertainty import ChanceDoubt, verdict
from pva.results.weights import rate_weights
from pva.scenario.scenario import Scenario


@dataclass(frozen=True)
class SensitivityAnswer:
    """What the chance of success depends on.

    Parameters
    ----------
    outcome : str
        ``all goals``, or ``no quasi-extinction`` where the scenario has no goal.
    chance : ChanceDoubt
        With everything as written.
    verdict : str or None
        ``met``, ``not met`` or ``cannot tell yet``; None without goals.
    rates : tuple of RateEffect
        One rate at a time; the one with the largest reach first.
    switches : tuple of Difference
        Every mechanism switched off in turn, against the scenario as written, in the same luck.
    goals : tuple of GoalChance
    thresholds : tuple of ThresholdRisk
    variance_shares : tuple of VarianceShare
        All uncertain rates moved at once; empty where nothing is uncertain.
    information : Information or None
        What knowing each rate would be worth for the number to stock.
    elasticities : tuple of dict
        Of the long-run growth rate, from the matrix; see `pva.results.weights`.
    """

    title: str
    digest: str
    seed: int
    draws: int
    replicates: int
    independent_runs: int
    outcome: str
    chance_wanted: float
    chance: ChanceDoubt
    verdict: str | None
    rates: tuple[RateEffect, ...]
    switches: tuple[Difference, ...]
    goals: tuple[GoalChance, ...]
    thresholds: tuple[ThresholdRisk, ...]
    variance_shares: tuple[VarianceShare, ...]
    information: Information | None
    elasticities: tuple[dict, ...]
    warnings: tuple[str, ...] = ()

    def summary(self) -> dict:
        """Plain dictionary as written to ``NAME.sensitivity.json``."""
        fields = dict(vars(self))
        for name in ("rates", "switches", "goals", "thresholds", "variance_shares"):
            fields[name] = [asdict(row) for row in fields[name]]
        for row in fields["goals"]:
            row["verdicts"] = [{"chance_wanted": c, "verdict": v}
                               for c, v in row["verdicts"].items()]
        worth = self.information and asdict(self.information)
        return plain(fields | {"chance": vars(self.chance), "information": worth})


def sensitivity(scenario: Scenario, *, worth: float | None = None, seed: int | None = None,
                threads: int | None = None, progress=None) -> SensitivityAnswer:
    """Find what the chance of meeting all goals depends on.

    Parameters
    ----------
    scenario : Scenario
    worth : float or None
        Money that meeting all goals is worth; None = what the chance wanted implies.
    seed : int or None
        None = the scenario's seed, or a new one if it names none.
    threads : int or None
        None = every core. Numbers do not depend on it.
    progress : callable or None
        Called with rates done and in all.

    Returns
    -------
    SensitivityAnswer

    Raises
    ------
    CannotCompute
        If a calibration has no solution.
    """
    resolved = scenario.resolved
    seed = seed_of(resolved, seed)
    ready = prepare(resolved, seed=seed, threads=threads)
    wanted = resolved.chance_wanted if resolved.goals else None
    written = success(ready, replicates=resolved.runs.replicates)
    chance = ready.doubt(written)
    goals, thresholds = goal_table(ready, wanted=resolved.chance_wanted)
    return SensitivityAnswer(
        title=resolved.title, digest=scenario.digest, seed=seed, draws=resolved.runs.draws,
        replicates=resolved.runs.replicates,
        independent_runs=ready.model.independent_runs(resolved.runs.replicates),
        outcome="all goals" if resolved.goals else "no quasi-extinction",
        chance_wanted=resolved.chance_wanted, chance=chance,
        verdict=None if wanted is None else verdict(chance.low, chance.high, wanted),
        rates=tuple(rate_effects(resolved, seed=seed, wanted=wanted, threads=threads,
                                 progress=progress)),
        switches=switch_effects(ready, written), goals=goals, thresholds=thresholds,
        variance_shares=tuple(chance_shares(resolved, seed=seed, threads=threads)),
        information=information(resolved, seed=seed, worth=worth, threads=threads),
        elasticities=tuple(rate_weights(resolved, long_run(resolved))),
        warnings=(*scenario.warnings, *ready.model.warnings))


def switch_effects(ready: Ready, written: np.ndarray) -> tuple[Difference, ...]:
    """Chance of success with each mechanism switched off, against the scenario as written.

    Parameters
    ----------
    ready : Ready
    written : ndarray, shape (draw, replicate)
        Success of the scenario as written, all its replicates.
    """
    runs = ready.resolved.runs
    scramble = groups(runs.draws, doubtful=ready.model.doubtful)
    written = written.astype(float)
    found = []
    for name, variant in switches(ready.resolved).items():
        other = prepare(variant, seed=ready.seed, threads=ready.threads)
        happened = success(other, replicates=runs.replicates).astype(float)
        found.append(difference(name, written, happened, scramble))
    return tuple(found)

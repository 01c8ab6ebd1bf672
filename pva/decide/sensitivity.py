"""What the goal depends on, and where the answer flips."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import asdict, dataclass

import numpy as np

from pva.decide import sensitivity_parts as kinds
from pva.decide.compare import Difference, difference, groups
from pva.decide.flips import RateEffect, followed_rates
from pva.decide.global_effects import VarianceShare
from pva.decide.goal_table import GoalChance, ThresholdRisk, goal_table
from pva.decide.information import Information
from pva.decide.outcomes import Ready, prepare
from pva.decide.what_if import switches
from pva.results.growth import long_run
from pva.results.run import seed_of
from pva.results.summary import plain
from pva.results.tasks import Progress, Tasks
from pva.results.uncertainty import ChanceDoubt, verdict
from pva.results.weights import rate_weights
from pva.scenario.resolved import Resolved
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
                threads: int | None = None, progress: Progress | None = None,
                tasks: Tasks | None = None) -> SensitivityAnswer:
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
        Called with parts done and in all.
    tasks : Tasks or None
        Where parts are kept and done; None = here, and nothing is kept. Numbers do not depend on
        it.

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
    parts = _Parts(resolved, seed=seed, worth=worth, wanted=wanted)
    parts.carry_out(tasks or Tasks(), threads=threads, progress=progress)
    chance = ready.doubt(parts.written)
    goals, thresholds = goal_table(ready, wanted=resolved.chance_wanted)
    return SensitivityAnswer(
        title=resolved.title, digest=scenario.digest, seed=seed, draws=resolved.runs.draws,
        replicates=resolved.runs.replicates,
        independent_runs=ready.model.independent_runs(resolved.runs.replicates),
        outcome="all goals" if resolved.goals else "no quasi-extinction",
        chance_wanted=resolved.chance_wanted, chance=chance,
        verdict=None if wanted is None else verdict(chance.low, chance.high, wanted),
        rates=parts.rates(), switches=switch_effects(ready, parts.written, parts.switched()),
        goals=goals, thresholds=thresholds, variance_shares=parts.shares(),
        information=parts.information(),
        elasticities=tuple(rate_weights(resolved, long_run(resolved))),
        warnings=(*scenario.warnings, *ready.model.warnings))


class _Parts:
    """The parts of the analysis that are done apart, the longest first."""

    def __init__(self, resolved: Resolved, *, seed: int, worth: float | None,
                 wanted: float | None):
        variants = switches(resolved)
        self._names = tuple(variants)
        self._tasks = [(kinds.SHARES, resolved, seed, None), (kinds.WORTH, resolved, seed, worth)]
        self._tasks += [(kinds.RATE, resolved, seed, (rate, wanted))
                        for rate in followed_rates(resolved)]
        self._tasks += [(kinds.SUCCESS, one, seed, None) for one in (resolved, *variants.values())]
        self._found: dict[str, list] = {}

    def carry_out(self, tasks: Tasks, *, threads: int | None, progress: Progress | None) -> None:
        """Do every part."""
        answers = tasks.carry_out(kinds.part, self._tasks, total=len(self._tasks),
                                  threads=threads, progress=progress)
        for (kind, *_), answer in zip(self._tasks, answers, strict=True):
            self._found.setdefault(kind, []).append(answer)

    @property
    def written(self) -> np.ndarray:
        """Success of the scenario as written, shape (draw, replicate)."""
        return kinds.happened_of(self._found[kinds.SUCCESS][0])

    def switched(self) -> dict[str, np.ndarray]:
        """Success with each mechanism switched off."""
        return dict(zip(self._names, map(kinds.happened_of, self._found[kinds.SUCCESS][1:]),
                        strict=True))

    def rates(self) -> tuple[RateEffect, ...]:
        """Effects of every rate, the one with the largest reach first."""
        effects = map(kinds.effect_of_answer, self._found.get(kinds.RATE, []))
        return tuple(sorted(effects, key=lambda e: (-e.reach, e.name)))

    def shares(self) -> tuple[VarianceShare, ...]:
        """Shares of the variance of the chance."""
        return kinds.shares_of(self._found[kinds.SHARES][0])

    def information(self) -> Information | None:
        """Worth of knowing each rate."""
        return kinds.information_of(self._found[kinds.WORTH][0])


def switch_effects(ready: Ready, written: np.ndarray, switched: Mapping[str, np.ndarray]
                   ) -> tuple[Difference, ...]:
    """Chance of success with each mechanism switched off, against the scenario as written.

    Parameters
    ----------
    ready : Ready
    written : ndarray, shape (draw, replicate)
        Success of the scenario as written, all its replicates.
    switched : mapping of str to ndarray, shape (draw, replicate)
        The same with one mechanism switched off.
    """
    scramble = groups(ready.resolved.runs.draws, doubtful=ready.model.doubtful)
    return tuple(difference(name, written.astype(float), happened.astype(float), scramble,
                            certain=ready.model.certain)
                 for name, happened in switched.items())

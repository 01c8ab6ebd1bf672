"""The matrix of a scenario and its analysis as a plain dictionary."""

from __future__ import annotations

import math

from pva.results.growth import fastest_site, long_run, simulated_growth, small_noise
from pva.results.run import seed_of
from pva.results.summary import plain
from pva.scenario.resolved import AFTER, Resolved
from pva.scenario.scenario import Scenario

_Z = 1.959963984540054


def matrix_summary(scenario: Scenario, *, seed: int | None = None) -> dict:
    """Projection matrix of the site that grows fastest, and what follows from it.

    Parameters
    ----------
    scenario : Scenario
    seed : int or None
        For the stochastic growth rate; None = the scenario's, or a new one.

    Returns
    -------
    dict
        Lists of stages run over ``stages`` (age classes, life order); matrices are (to, from):
        ``matrix[i][j]`` = animals in stage i next year per animal in stage j. Null where a thing
        does not apply. ``years_to_maturity`` and ``generation_time_years`` in years,
        ``life_expectancy_years`` in yearly censuses by stage; ``rate_elasticities`` by name of
        the rate.
    """
    resolved = scenario.resolved
    seed = seed_of(resolved, seed)
    companion = long_run(resolved)
    matrix, found = companion.matrix, companion.analysis
    return plain({
        "scenario": resolved.title, "digest": scenario.digest, "seed": seed,
        "site": fastest_site(resolved)[0].name, "census": resolved.census,
        "stages": list(matrix.classes.names),
        "matrix": matrix.a, "survival_and_growth": matrix.u,
        "recruitment": matrix.f @ matrix.u if resolved.census == AFTER else matrix.f,
        "growth_rate": found.growth_rate,
        "stochastic_growth_rate": _stochastic(resolved, seed),
        "stable_stages": found.stable_stages,
        "reproductive_values": found.reproductive_values,
        "sensitivities": found.sensitivities, "elasticities": found.elasticities,
        "rate_elasticities": dict(zip(companion.rates, companion.rate_elasticities, strict=True)),
        "damping_ratio": found.damping_ratio,
        "net_reproductive_rate": found.net_reproductive_rate,
        "generation_time_years": found.generation_time_years,
        "generation_time_from_replacement_years": found.generation_time_from_replacement_years,
        "life_expectancy_years": found.life_expectancy_years,
        "life_variance_years2": found.life_variance_years2,
        "years_to_maturity": found.years_to_maturity,
        "keyfitz_entropy": found.keyfitz_entropy,
        "warnings": list(scenario.warnings),
    })


def _stochastic(resolved: Resolved, seed: int) -> dict:
    log, error = simulated_growth(resolved, seed=seed)
    return {"log": log, "se": error, "small_noise_log": small_noise(resolved),
            "factor": math.exp(log), "factor_low": math.exp(log - _Z * error),
            "factor_high": math.exp(log + _Z * error)}

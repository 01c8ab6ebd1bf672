"""The matrix of a scenario and its analysis as a plain dictionary."""

from __future__ import annotations

import math

import numpy as np

from pva.lifehistory.rates import PROBABILITY, Rate
from pva.model.matrix import best
from pva.results.growth import LongRun, fastest_site, long_run, simulated_growth, small_noise
from pva.results.run import seed_of
from pva.results.summary import plain
from pva.scenario.rates_used import every_rate
from pva.scenario.resolved import AFTER, Calibration, Resolved
from pva.scenario.scenario import Scenario
from pva.scenario.tables import doubt_words

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


def leading_rate(resolved: Resolved) -> dict | None:
    """The rate whose doubt moves the growth rate most: elasticity times relative doubt.

    A calibrated rate counts with its target, whose elasticity is that of all recruitment.

    Returns
    -------
    dict or None
        ``name, value, doubt, elasticity, source_kind, source``; None where no rate has any doubt
        or nothing grows. Survival after release and the start have no pull on growth.
    """
    companion = long_run(resolved)
    if companion.analysis.elasticities is None:
        return None
    pulls = dict(zip(companion.rates, companion.rate_elasticities, strict=True))
    rates = {r.key: r for r in every_rate(resolved) if r.key in pulls}
    for target in _targets(resolved):
        rates[target.key] = target
        pulls[target.key] = _recruitment_elasticity(companion, resolved)
    weights = {k: abs(pulls[k]) * relative_doubt(r) for k, r in rates.items()}
    weights = {k: w for k, w in weights.items() if np.isfinite(w) and w > 0}
    if not weights:
        return None
    name = max(weights, key=weights.get)
    rate = rates[name]
    return plain({"name": name, "value": best(rate), "doubt": doubt_words(rate),
                  "elasticity": pulls[name], "source_kind": rate.source.kind,
                  "source": rate.source.text})


def relative_doubt(rate: Rate) -> float:
    """Standard error, or about a quarter of the 95 % interval, over the value."""
    value = best(rate)
    if not value:
        return 0.0
    if rate.link is not None:
        return rate.link.se * (1 - value if rate.kind == PROBABILITY else 1.0)
    if rate.interval is not None:
        return (rate.interval[1] - rate.interval[0]) / (2 * _Z) / value
    return (rate.se or 0.0) / value


def _targets(resolved: Resolved) -> list[Rate]:
    return [link.rate for site in resolved.sites
            for link in (site.recruitment.attachment, site.recruitment.settlement)
            if isinstance(link, Calibration)]


def _recruitment_elasticity(companion: LongRun, resolved: Resolved) -> float:
    matrix = companion.matrix
    young = matrix.f @ matrix.u if resolved.census == AFTER else matrix.f
    growth = companion.analysis.growth_rate
    return float((companion.analysis.sensitivities * young).sum() / growth)

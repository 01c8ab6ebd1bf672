"""Labels for the folded numbers: one CF-style data set per run."""

from __future__ import annotations

import json
from datetime import UTC, datetime
from importlib.metadata import version

import numpy as np
import xarray as xr

from pva.engine.random_numbers import SCHEME
from pva.model.assemble import ORIGINS, Model
from pva.results.fold import Fold
from pva.results.growth import LongRun, small_noise
from pva.results.measures import MEASURES, UNITS, WORDS
from pva.results.survey_goals import judge_survey_goals
from pva.results.uncertainty import chance_with_doubt, mean_error, rank_correlation
from pva.scenario.cautions import only_ranges
from pva.scenario.resolved import Resolved

QUANTILES = (0.025, 0.05, 0.1, 0.25, 0.5, 0.75, 0.9, 0.95, 0.975)
PACKAGES = ("numpy", "scipy", "numba", "xarray", "pandas")
SHARES = ("unknown", "years", "individuals")


def to_dataset(scenario, resolved: Resolved, model: Model, fold: Fold, *, seed: int,
               companion: LongRun, stochastic: tuple[float, float],
               shares: dict[str, dict]) -> xr.Dataset:
    """Everything kept of a run, labelled.

    Returns
    -------
    xarray.Dataset
        Coordinates year, site, stage, origin, draw, goal, quantile, outcome; every variable has
        `long_name` and `units`.
    """
    data: dict[str, tuple] = {}  # one data set of them all at the end: each late one costs 1 ms
    _adults(data, fold)
    _measures(data, fold, doubtful=model.doubtful)
    _stages(data, model, fold)
    _risks(data, resolved, model, fold)
    _goals(data, resolved, model, fold)
    _long_run(data, companion, stochastic, shares)
    _dependence(data, resolved, model, fold)
    noise = small_noise(resolved)
    _put(data, "stochastic_growth_small_noise", (), np.nan if noise is None else noise,
         "log of the stochastic growth rate, small-noise approximation", "year-1")
    return xr.Dataset(data, coords=_coordinates(resolved, model, shares),
                      attrs=run_record(scenario, resolved, model, seed))


def _coordinates(resolved, model, shares):
    return {
        "year": list(resolved.years),
        "site": list(model.sites),
        "stage": list(model.stages),
        "origin": list(ORIGINS),
        "draw": np.arange(resolved.runs.draws),
        "quantile": list(QUANTILES),
        "goal": [g.name for g in resolved.goals],
        "outcome": list(shares),
        "layer": list(SHARES),
        "parameter": list(model.drawn),
        "bound": ["low", "high"],
    }


def _put(data, name, dims, values, words, units):
    data[name] = (dims, values, {"long_name": words, "units": units})


def _adults(data, fold):
    _put(data, "adults_quantile", ("quantile", "year"), fold.adults.quantiles(QUANTILES),
         "quantiles of adults of the river over all replicates", "animals")
    _put(data, "wild_adults_quantile", ("quantile", "year"),
         fold.wild_adults.quantiles(QUANTILES),
         "quantiles of wild-born adults of the river over all replicates", "animals")
    _put(data, "adults_by_draw", ("draw", "year"),
         fold.adults_by_draw / (fold.replicates / len(fold.adults_by_draw)),
         "mean adults of the river by parameter draw", "animals")
    _put(data, "least_adults", (), fold.least_adults / fold.replicates,
         "expected minimum of adults of the river from the first year risk is counted", "animals")
    if fold.kept:
        _put(data, "adults_kept", ("replicate", "year"), np.array(fold.kept),
             "adults of the river in the replicates kept", "animals")
    _put(data, "collected_mean", ("site", "year"), fold.collected / fold.replicates,
         "animals collected in the year before the census, mean over replicates", "animals")


def _measures(data, fold, *, doubtful):
    sums, sizes = fold.sums.sum(axis=1), fold.sizes.sum(axis=1)
    with np.errstate(invalid="ignore", divide="ignore"):
        means = np.where(sizes > 0, sums / sizes, np.nan)
        by_scramble = np.where(fold.sizes > 0, fold.sums / fold.sizes, np.nan)
    for m, name in enumerate(MEASURES):
        _put(data, f"{name}_mean", ("year",), means[m, 0],
             f"{WORDS[name]}, whole river, mean over replicates", UNITS[name])
        _put(data, f"{name}_at_site", ("site", "year"), means[m, 1:],
             f"{WORDS[name]}, by site, mean over replicates", UNITS[name])
    m = MEASURES.index("adults")
    weight = fold.sizes[m, :, 0, 0].astype(float)
    if len(weight) > 1 and doubtful:
        error = mean_error(by_scramble[m, :, 0], weight)
    else:
        variance = np.maximum(fold.adults.squares() / fold.replicates - means[m, 0] ** 2, 0)
        error = np.sqrt(variance / max(fold.replicates - 1, 1))
    _put(data, "adults_se", ("year",), error,
         "Monte Carlo standard error of mean adults of the river", "animals")


def _stages(data, model, fold):
    stages = len(model.stages)
    by_stage = np.stack([fold.stage_sum[..., model.classes.of_stage(i)].sum(axis=-1)
                         for i in range(stages)], axis=-1)
    _put(data, "animals_by_stage", ("year", "origin", "site", "stage"),
         by_stage / fold.replicates, "animals by stage, mean over replicates", "animals")


def _risks(data, resolved, model, fold):
    for name, counts, words in (
        ("extinction", fold.extinct, "chance that no animal was left at some census by the year"),
        ("quasi_extinction", fold.below,
         "chance that adults fell below the threshold at some census by the year"),
    ):
        doubts = [_doubt(model, fold, counts[:, y]) for y in range(counts.shape[1])]
        _put(data, f"{name}_chance", ("year",), [d.chance for d in doubts], words, "1")
        _put(data, f"{name}_interval", ("bound", "year"),
             [[d.low for d in doubts], [d.high for d in doubts]],
             f"{words}: 95 % Monte Carlo interval", "1")
        _put(data, f"{name}_draw_interval", ("bound", "year"),
             [[_number(d.draw_low) for d in doubts], [_number(d.draw_high) for d in doubts]],
             f"{words}: 2.5 and 97.5 % over parameter draws", "1")


def _goals(data, resolved, model, fold):
    doubts = [_doubt(model, fold, fold.goals[:, i]) for i in range(len(resolved.goals))]
    columns = np.array([[d.chance, d.low, d.high, _number(d.draw_low), _number(d.draw_high)]
                        for d in doubts]).reshape(len(doubts), 5).T
    _put(data, "goal_chance", ("goal",), columns[0], "chance that the goal is met", "1")
    _put(data, "goal_interval", ("bound", "goal"), columns[1:3],
         "chance that the goal is met: 95 % Monte Carlo interval", "1")
    _put(data, "goal_draw_interval", ("bound", "goal"), columns[3:5],
         "chance that the goal is met: 2.5 and 97.5 % over parameter draws", "1")
    _put(data, "goal_chance_by_draw", ("draw", "goal"), fold.goals / resolved.runs.replicates,
         "chance that the goal is met by parameter draw", "1")
    _put(data, "all_goals_chance_by_draw", ("draw",), fold.all_goals / resolved.runs.replicates,
         "chance that all goals are met in the same run, by parameter draw", "1")
    joint = _doubt(model, fold, fold.all_goals)
    _put(data, "all_goals_chance", (), joint.chance if resolved.goals else np.nan,
         "chance that all goals are met in the same run", "1")
    none = [np.nan, np.nan]
    _put(data, "all_goals_interval", ("bound",),
         [joint.low, joint.high] if resolved.goals else none,
         "chance that all goals are met: 95 % Monte Carlo interval", "1")
    _put(data, "all_goals_draw_interval", ("bound",),
         [_number(joint.draw_low), _number(joint.draw_high)] if resolved.goals else none,
         "chance that all goals are met: 2.5 and 97.5 % over parameter draws", "1")
    for name, counts, words in (
        ("first_success", fold.first_success, "share of replicates in which the yearly condition "
         "of the goal first held in the year"),
        ("lasting_success", fold.lasting_success, "share of replicates in which the yearly "
         "condition of the goal held from the year to the end, and not before"),
    ):
        _put(data, name, ("goal", "year"), counts[:, :-1] / fold.replicates, words, "1")


def _doubt(model, fold, by_draw):
    return chance_with_doubt(by_draw, replicates=fold.resolved.runs.replicates,
                             scramble=fold.scramble, unknown=model.doubtful, certain=model.certain)


def _number(value):
    return np.nan if value is None else value


def _long_run(data, companion, stochastic, shares):
    _put(data, "growth_rate", (), companion.analysis.growth_rate,
         "growth rate of the fastest site's matrix, no limits, no bad years", "year-1")
    _put(data, "stochastic_growth_log", (), stochastic[0],
         "log of the stochastic growth rate by simulation", "year-1")
    _put(data, "stochastic_growth_log_se", (), stochastic[1],
         "its Monte Carlo standard error", "year-1")
    _put(data, "generation_time", (), _number(companion.analysis.generation_time_years),
         "mean age of parents at the stable structure", "year")
    values = [[_number(parts[layer]) for layer in SHARES] for parts in shares.values()]
    _put(data, "variance_share", ("outcome", "layer"), values,
         "share of the outcome's variance due to not knowing, years and individuals", "1")


def _dependence(data, resolved, model, fold):
    """Drawn parameters, and how strongly the outcome follows each from draw to draw."""
    draws = resolved.runs.draws
    drawn = np.array(list(model.drawn.values())).reshape(len(model.drawn), draws)
    _put(data, "parameter_drawn", ("parameter", "draw"), drawn,
         "drawn mean over years of every uncertain rate", "as the rate")
    last = fold.adults_by_draw[:, -1]
    goals = fold.all_goals if resolved.goals else np.zeros(draws)
    for name, outcome, words in (
        ("adults_dependence", last, "mean adults in the last year"),
        ("goals_dependence", goals, "the chance that all goals are met"),
    ):
        _put(data, name, ("parameter",), [rank_correlation(d, outcome) for d in drawn],
             f"rank correlation over draws of the parameter with {words}", "1")


def run_record(scenario, resolved: Resolved, model: Model, seed: int) -> dict:
    """What a file must say about itself so that its numbers can be made again."""
    return {
        "title": resolved.title,
        "species": resolved.species,
        "Conventions": "CF-1.11",
        "scenario": scenario.twin_yaml(),
        "scenario_file": scenario.path.name if scenario.path else "",
        "digest": scenario.digest,
        "input_digests": json.dumps(scenario.input_digests),
        "seed": str(seed),
        "draws": resolved.runs.draws,
        "replicates": resolved.runs.replicates,
        "independent_runs": model.independent_runs(resolved.runs.replicates),
        "random_numbers": SCHEME,
        "versions": json.dumps({"pva": version("pva")} | {p: version(p) for p in PACKAGES}),
        "warnings": json.dumps([*scenario.warnings, *model.warnings]),
        "survey_goals": json.dumps(judge_survey_goals(scenario)),
        "date": datetime.now(UTC).isoformat(timespec="seconds"),
        "chance_wanted": resolved.chance_wanted,
        "only_ranges": json.dumps(only_ranges(resolved)),
        "adults_below": resolved.quasi_extinction.adults_below,
        "risk_counted_from": resolved.quasi_extinction.from_year,
    }

"""Simulated years have the mean, SD, correlations and carry-over asked for; and Fisher's branching.

Two stages that only survive, at two sites, without chance of single animals: the number of one
census over the last is the survival of the year, so every rate can be read off the run.
"""

from __future__ import annotations

import numpy as np
import pytest
from questions import SEED, animals, resolve, tallies
from scipy.special import logit

from pva.engine.run import simulate
from pva.files import read_yaml, shipped
from pva.lifehistory.links import match_probability
from pva.model.assemble import assemble

REPLICATES, YEARS = 20_000, 5
MEAN, SD = {"small": 0.7, "large": 0.9}, {"small": 0.10, "large": 0.05}
Z = 5  # standard errors: a false alarm in 1.7 million comparisons


def survivals(**effects):
    """Survival by stage, site and year, {(stage, site): (replicate, year)}."""
    resolved = resolve(
        years=YEARS, stages=[{"name": "small"}, {"name": "large", "breeds": True}],
        survival={s: {"value": MEAN[s], "year_sd": SD[s]} for s in MEAN},
        growth={"small": {"large": 0}}, recruitment={"per_adult": 0},
        sites=[{"name": n, "start": {"small": 1, "large": 1}} for n in ("up", "down")],
        year_effects=effects, chance={"unknown": "off", "individuals": "off"})
    model = assemble(resolved, seed=SEED)
    found = {}
    for s, site in enumerate(("up", "down")):
        numbers = {"large": [], "small": []}
        for block in simulate(model.plan, model.draws, seed=SEED, replicates=REPLICATES):
            adults = block.tallies[:, :, s, 0]
            numbers["large"].append(adults)
            numbers["small"].append(block.tallies[:, :, s, 2] - adults)
        for stage, parts in numbers.items():
            n = np.concatenate(parts)
            found[stage, site] = n[:, 1:] / n[:, :-1]
    return found


def link_correlation(a, b, stage_a, stage_b):
    """Correlation of two rates' standard normals, from the survivals."""
    normal = [(logit(x) - m) / s for x, (m, s) in (
        (a, match_probability(MEAN[stage_a], SD[stage_a])),
        (b, match_probability(MEAN[stage_b], SD[stage_b])))]
    return float(np.mean(normal[0] * normal[1]))


def test_mean_and_sd_of_years_are_those_asked_for():
    found = survivals(between_rates=0.3, between_sites=0.7)
    for (stage, _), values in found.items():
        year = values[:, 2]
        assert abs(year.mean() - MEAN[stage]) < Z * SD[stage] / np.sqrt(REPLICATES)
        fourth = np.mean((year - MEAN[stage]) ** 4)
        error = np.sqrt((fourth - SD[stage] ** 4) / REPLICATES) / (2 * SD[stage])
        assert abs(np.sqrt(np.mean((year - MEAN[stage]) ** 2)) - SD[stage]) < Z * error


@pytest.mark.parametrize(("pair", "asked"), [
    ((("small", "up"), ("large", "up")), 0.3),
    ((("large", "up"), ("large", "down")), 0.7),
    ((("small", "up"), ("large", "down")), 0.21),
])
def test_correlation_is_the_rate_part_times_the_site_part(pair, asked):
    error = np.sqrt((1 + asked**2) / REPLICATES)
    for effects, right in (({"between_rates": 0.3, "between_sites": 0.7}, True),
                           ({"between_rates": 0.0, "between_sites": 0.0}, False)):
        found = survivals(**effects)
        seen = link_correlation(found[pair[0]][:, 2], found[pair[1]][:, 2], pair[0][0], pair[1][0])
        assert bool(abs(seen - asked) < Z * error) is right


def test_carry_over_falls_geometrically_and_leaves_the_sd_of_years():
    values = survivals(between_rates=0.3, carry_over=0.6)["large", "up"]
    for gap, asked in ((1, 0.6), (2, 0.36), (3, 0.216)):
        seen = link_correlation(values[:, 0], values[:, gap], "large", "large")
        assert abs(seen - asked) < Z * np.sqrt((1 + asked**2) / REPLICATES)
    for year in (0, 4):  # stationary from the first year on
        error = SD["large"] / np.sqrt(REPLICATES)
        assert abs(values[:, year].std() - SD["large"]) < 2 * Z * error
    forgetful = survivals(between_rates=0.3)["large", "up"]
    wrong = link_correlation(forgetful[:, 0], forgetful[:, 1], "large", "large")
    assert abs(wrong - 0.6) > Z * np.sqrt(1.36 / REPLICATES)


def lines_extinct(mean):
    """Share of lines extinct by generation: one animal, Poisson young, parents die."""
    resolved = resolve(
        years=31, matrix={"stages": ["male"], "adults": ["male"], "survival_and_growth": [[0]],
                          "recruitment": [[mean]]},
        start={"male": 1}, chance={"unknown": "off", "years": "off"})
    found = animals(tallies(resolved, REPLICATES))
    return (np.minimum.accumulate(found, axis=1) == 0).mean(axis=0)


def test_one_type_branching_follows_fishers_table():
    """Fisher 1930, Poisson young (shared/checks/branching_single_type.yaml, memory and checked)."""
    table = read_yaml(shipped("shared/checks/branching_single_type.yaml"))[0]["poisson"]
    generations = [g for g in table["generations"] if g <= 31]
    for mean in ("1.00", "1.01"):
        exact = np.array(table[f"mean_{mean}"][:len(generations)])
        error = np.sqrt(exact * (1 - exact) / REPLICATES)
        right = lines_extinct(float(mean))[generations]
        wrong = lines_extinct(float(mean) + 0.1)[generations]
        # figures are printed to four places; 10 comparisons, a false alarm in 170,000 runs
        assert np.all(np.abs(right - exact) < Z * error + 5e-5)
        assert np.any(np.abs(wrong - exact) > Z * error + 5e-5)

"""Growth in the long run: matrices of scenarios, varying years, calibration, against theory."""

from __future__ import annotations

import copy

import numpy as np
import pytest
from ruamel.yaml import YAML

from pva.files import shipped
from pva.model.analysis import growth_rate
from pva.model.calibrate import place_of, recruit_row
from pva.model.matrix import projection
from pva.model.recruit_arrays import Calibrations
from pva.results.growth import (
    fastest_site,
    long_run,
    matrix_of_rates,
    simulated_growth,
    small_noise,
)
from pva.results.run import run
from pva.scenario.scenario import Scenario


def check_case(name):
    return YAML(typ="safe").load(shipped(f"shared/checks/{name}.yaml").read_text())


def good_and_bad_years(chance=0.5):
    case = check_case("stochastic_growth")["rule"]
    good, bad = case["good"], case["bad"]
    matrix = [list(row) for row in case["growth_entries"]]
    matrix[2][2] = good["adult_survival"]
    return {
        "title": "good and bad years", "years": {"first": 0, "last": 60},
        "census": "before breeding",
        "matrix": {"stages": ["a", "b", "c"], "adults": ["c"], "survival_and_growth": matrix,
                   "recruitment": [[0, 0, good["recruitment"]], [0, 0, 0], [0, 0, 0]]},
        "start": {"c": 10}, "quasi_extinction": {"adults_below": 1},
        "bad_years": [{"name": "bad", "chance": chance,
                       "survival": {"c": bad["adult_survival"] / good["adult_survival"]},
                       "recruitment": bad["recruitment"] / good["recruitment"]}],
        "runs": {"draws": 1, "replicates": 10, "seed": 2},
    }


def test_independent_good_and_bad_years():
    """Exact log growth rate by enumeration (shared/checks/stochastic_growth.yaml, derived)."""
    resolved = Scenario.from_dict(good_and_bad_years()).resolved
    exact = check_case("stochastic_growth")["years"][0]
    log, se = simulated_growth(resolved, seed=4)
    # 4 standard errors: false alarm 1 in 16,000; growth of the mean matrix must be rejected
    assert abs(log - exact["log_stochastic_growth"]) < 4 * se
    mean_log = check_case("stochastic_growth")["log_growth_of_mean_matrix"]
    assert abs(log - mean_log) > 4 * se
    assert small_noise(resolved) == pytest.approx(exact["small_noise"], abs=1e-6)


LIFE = {
    "title": "a life cycle", "years": {"first": 2000, "last": 2060}, "census": "before breeding",
    "stages": [{"name": "young", "years": 2}, {"name": "grown", "length_mm": [30, 50]},
               {"name": "adult", "length_mm": [50, 90], "breeds": True}],
    "survival": {"young": {"value": 0.6, "year_sd": 0.04},
                 "grown": {"value": 0.8, "year_sd": 0.03},
                 "adult": {"value": 0.92, "year_sd": 0.015}},
    "growth": {"grown": 0.3},
    "recruitment": {"per_adult": {"value": 0.4, "year_sd": 0.08}},
    "bad_years": {"none": "a test"}, "start": {"adult": 100},
    "quasi_extinction": {"adults_below": 5}, "runs": {"draws": 1, "replicates": 50, "seed": 1},
}


def life(**changes):
    return Scenario.from_dict(copy.deepcopy(LIFE) | changes)


@pytest.mark.parametrize("effects", [
    {"between_rates": 0.0}, {"between_rates": 0.8}, {"between_rates": 0.5, "carry_over": 0.5}])
def test_small_noise_agrees_with_simulation_when_noise_is_small(effects):
    resolved = life(year_effects=effects).resolved
    log, se = simulated_growth(resolved, seed=9)
    # small noise is good to the second order; third-order terms are below 1e-4 here
    assert abs(log - small_noise(resolved)) < 4 * se + 1e-4


def test_a_small_noise_that_forgets_carry_over_is_rejected():
    carried = {"between_rates": 1.0, "carry_over": 0.8}
    strong = {k: dict(v, year_sd=v["year_sd"] * 1.5) for k, v in LIFE["survival"].items()}
    resolved = life(year_effects=carried, survival=strong).resolved
    forgetful = life(year_effects={"between_rates": 1.0}, survival=strong).resolved
    log, se = simulated_growth(resolved, seed=9, chains=4096)
    assert abs(log - small_noise(resolved)) < 4 * se + 2e-4
    assert abs(log - small_noise(forgetful)) > 4 * se + 2e-4


@pytest.mark.parametrize("census", ["before breeding", "after breeding"])
def test_expected_projection_equals_matrix_powers(census):
    scenario = life(census=census, chance={"unknown": False, "years": False,
                                           "individuals": False})
    site, matrix = fastest_site(scenario.resolved)
    n = np.zeros(len(matrix.a))
    n[-1] = 100
    data = run(scenario, replicates=1)
    for year in range(61):
        stage = data.animals_by_stage.isel(year=year).sum(["origin", "site"]).values
        expected = [n[:2].sum(), n[2], n[3]]
        assert stage == pytest.approx(expected, rel=1e-10)
        n = matrix.a @ n


def test_elasticities_equal_numerical_derivatives_and_sum_to_one():
    resolved = life().resolved
    companion = long_run(resolved)
    assert companion.analysis.elasticities.sum() == pytest.approx(1, abs=1e-12)
    names, values, build = matrix_of_rates(resolved, resolved.sites[0])
    for i, name in enumerate(names):
        step = np.zeros(len(values))
        step[i] = 1e-6 * values[i]
        slope = (growth_rate(build(values + step)) - growth_rate(build(values - step))) / (
            2 * step[i])
        elasticity = slope * values[i] / growth_rate(build(values))
        assert companion.rate_elasticities[i] == pytest.approx(elasticity, abs=1e-7), name


CHAIN = {
    "females": 0.5, "gravid": 0.8, "glochidia": {"at_1_mm": 0.02, "power": 3},
    "attachment": 1e-3,
    "settlement": {"calibrate": {"recruits_per_adult": 0.4, "hosts_per_100m2": 10,
                                 "adults_per_m2": 0.2}},
    "hosts": [{"name": "drum", "suitability": 0.8, "capacity": 100, "contact": 0.05},
              {"name": "bass", "suitability": 0.2, "contact": 0.02}],
}


def chained(**changes):
    written = copy.deepcopy(LIFE)
    written["recruitment"] = copy.deepcopy(CHAIN)
    del written["start"]
    written["sites"] = [{"name": "A", "area_m2": 1000, "start": {"adult": 100},
                         "hosts": {"drum": {"per_100m2": 8}, "bass": {"per_100m2": 4}}}]
    return Scenario.from_dict(written).with_changes(changes) if changes else \
        Scenario.from_dict(written)


def average_recruits(scenario, adults, fish=(20 / 3, 10 / 3)):
    """Recruits per adult worked out line by line from the design, at 1,000 m2."""
    _, settlement = Calibrations(scenario.resolved).best_of(scenario.resolved.sites[0])
    mean_cube = (90**4 - 50**4) / 4 / 40
    glochidia = adults * 0.5 * 0.8 * 0.02 * mean_cube
    number = [d * 1000 / 100 for d in fish]
    meeting = [0.05 * fish[0], 0.02 * fish[1]]
    met = 1 - np.exp(-sum(meeting))
    load = [glochidia * 1e-3 * met * m / sum(meeting) / n
            for m, n in zip(meeting, number, strict=True)]
    carried = [100 * (1 - np.exp(-load[0] / 100)), load[1]]
    juveniles = number[0] * carried[0] * 0.8 + number[1] * carried[1] * 0.2
    return settlement * juveniles / adults


def test_settlement_is_solved_for_its_target_at_its_place():
    # 10 fish per 100 m2 split 8 : 4 as at the site; 0.2 adults per m2 on 1,000 m2
    assert average_recruits(chained(), 200) == pytest.approx(0.4, rel=1e-10)
    assert average_recruits(chained(), 20) > 0.4  # fewer glochidia: hosts less full


def test_the_calibrated_number_is_inherited_not_solved_anew():
    base = chained()
    poorer = base.with_changes({"survival.adult.value": 0.8,
                                "recruitment.hosts.drum.capacity": 50,
                                "sites.A.hosts.drum.per_100m2": 1})
    settled = [Calibrations(s.resolved).best_of(s.resolved.sites[0])[1] for s in (base, poorer)]
    assert settled[0] == settled[1]
    weaker = base.with_changes({"recruitment.attachment": 9e-4})
    assert Calibrations(weaker.resolved).best_of(weaker.resolved.sites[0])[1] > settled[0]


def test_a_growth_rate_as_target():
    scenario = chained(**{"recruitment.settlement": {"calibrate": {
        "growth_rate": 1.01, "hosts_per_100m2": 10, "adults_per_m2": 0.2}}})
    assert long_run(scenario.resolved).analysis.growth_rate == pytest.approx(1.01, abs=1e-9)


def test_attachment_solved_for_glochidia_on_hosts():
    scenario = chained(**{"recruitment.attachment": {"calibrate": {
        "glochidia_per_host": 12, "hosts_per_100m2": 10, "adults_per_m2": 0.2}}})
    attachment, _ = Calibrations(scenario.resolved).best_of(scenario.resolved.sites[0])
    mean_cube = (90**4 - 50**4) / 4 / 40
    glochidia = 200 * 0.5 * 0.8 * 0.02 * mean_cube
    met = 1 - np.exp(-(0.05 * 20 / 3 + 0.02 * 10 / 3))
    shares = np.array([0.05 * 20 / 3, 0.02 * 10 / 3])
    number = np.array([200 / 3, 100 / 3])
    load = glochidia * attachment * met * shares / shares.sum() / number
    carried = np.array([100 * (1 - np.exp(-load[0] / 100)), load[1]])
    assert (carried * number).sum() / number.sum() == pytest.approx(12, rel=1e-9)


def test_two_breeding_stages_are_averaged_over_their_stable_shares():
    written = copy.deepcopy(LIFE)
    written["stages"] = [{"name": "young", "years": 2},
                         {"name": "grown", "length_mm": [30, 50], "breeds": True},
                         {"name": "adult", "length_mm": [50, 90], "breeds": True}]
    written["recruitment"] = copy.deepcopy(CHAIN)
    del written["start"]
    written["sites"] = [{"name": "A", "area_m2": 1000, "start": {"adult": 100},
                         "hosts": {"drum": {"per_100m2": 8}, "bass": {"per_100m2": 4}}}]
    resolved = Scenario.from_dict(written).resolved
    calibration = resolved.sites[0].recruitment.settlement
    place = place_of(resolved.base, calibration)
    f, shares = recruit_row(place, 0.4)
    a = projection(place.u, f, "before breeding")
    values, vectors = np.linalg.eig(a)
    w = np.abs(vectors[:, values.real.argmax()].real)
    breeders = w[2:] / w[2:].sum()
    assert shares[2:] == pytest.approx(breeders, abs=1e-10)
    assert f[0, 2:] @ breeders == pytest.approx(0.4, abs=1e-10)
    assert f[0, 3] / f[0, 2] == pytest.approx(((90**4 - 50**4) / 40) / ((50**4 - 30**4) / 20))


def test_nothing_unknown_leaves_no_share_of_variance_to_not_knowing():
    data = run(life(runs={"draws": 40, "replicates": 100, "seed": 6}))
    shares = data.variance_share.isel(outcome=0)
    # 4,000 pairs: standard error of a share about .016 plus that of 40 draw means; five of them
    assert float(shares.sel(layer="unknown")) < 0.1
    assert float(shares.sel(layer="years")) > 0.15
    still = run(life(runs={"draws": 40, "replicates": 100, "seed": 6},
                     chance={"years": False}))
    assert float(still.variance_share.isel(outcome=0).sel(layer="years")) < 0.1
    doubtful = run(life(runs={"draws": 40, "replicates": 100, "seed": 6}).with_changes(
        {"survival.adult.se": 0.05}))
    assert float(doubtful.variance_share.isel(outcome=0).sel(layer="unknown")) > 0.4

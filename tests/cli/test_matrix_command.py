"""`pva matrix` against published matrices; sources in shared/checks/*.yaml."""

import json

import numpy as np
import pytest

from pva.files import read_yaml, shipped


@pytest.fixture(scope="module")
def answers(tmp_path_factory):
    from click.testing import CliRunner

    from pva.cli import main

    def answer(name):
        path = shipped(f"scenarios/{name}.yaml")
        result = CliRunner().invoke(main, ["matrix", str(path), "--json"])
        assert result.exit_code == 0, result.stderr
        return json.loads(result.stdout)

    return {name: answer(name) for name in ("loggerhead", "killer-whale")}


def published(name):
    return read_yaml(shipped(f"shared/checks/{name}.yaml"))[0]


def test_loggerhead(answers):
    # Crouse, Crowder & Caswell 1987, Ecology 68:1412-1423
    found, case = answers["loggerhead"], published("loggerhead")
    assert found["growth_rate"] == pytest.approx(case["growth_rate"], abs=1e-9)
    assert np.array(found["matrix"]) == pytest.approx(np.array(case["matrix"]), abs=1e-12)
    assert found["stages"][0] == "hatchling" and len(found["stages"]) == 7
    assert found["stable_stages"] == pytest.approx(case["stable_stages"], abs=5e-6)
    assert found["reproductive_values"] == pytest.approx(case["reproductive_values"], abs=6e-4)
    elasticities = np.array(found["elasticities"])
    for stage, value in case["elasticities"]["stay"].items():
        assert elasticities[int(stage), int(stage)] == pytest.approx(value, abs=5e-5)
    assert elasticities[0].sum() == pytest.approx(0.0510, abs=5e-5)
    assert found["damping_ratio"] == pytest.approx(case["damping_ratio"], abs=5e-6)
    assert found["net_reproductive_rate"] == pytest.approx(case["net_reproductive_rate"], abs=5e-6)
    assert found["generation_time_years"] == pytest.approx(case["mean_age_of_parents"], abs=5e-5)
    assert found["life_expectancy_years"][0] == pytest.approx(3.9554, abs=5e-5)
    long_run = found["stochastic_growth_rate"]
    assert long_run["log"] == pytest.approx(case["log_growth_rate"], abs=5e-5)
    assert long_run["small_noise_log"] == pytest.approx(case["log_growth_rate"], abs=5e-6)


def test_elasticities_of_rates_add_up_like_those_of_entries(answers):
    found = answers["loggerhead"]["rate_elasticities"]
    survival = sum(v for k, v in found.items() if k.startswith("survival/"))
    recruitment = sum(v for k, v in found.items() if k.startswith("recruitment/"))
    assert survival + recruitment == pytest.approx(1, abs=1e-6)


def test_killer_whale_with_a_stage_past_breeding(answers):
    # Brault & Caswell 1993, Ecology 74:1444-1454
    found, case = answers["killer-whale"], published("killer_whale")
    assert found["growth_rate"] == pytest.approx(case["growth_rate"], abs=5e-7)
    assert found["stable_stages"] == pytest.approx(case["stable_stages"], abs=5e-5)
    assert found["reproductive_values"] == pytest.approx(case["reproductive_values"], abs=5e-5)
    assert found["reproductive_values"][3] == 0
    assert found["elasticities"][2][2] == pytest.approx(
        case["elasticity_adult_survival"], abs=5e-5)
    assert found["net_reproductive_rate"] == pytest.approx(case["net_reproductive_rate"], abs=5e-5)
    assert found["damping_ratio"] == pytest.approx(case["damping_ratio"], abs=5e-5)


def test_the_words(call):
    said = call("matrix", shipped("scenarios/loggerhead.yaml"))
    assert said.stdout.splitlines()[:2] == [
        "In the long run the population falls by 5.5 % a year (growth rate 0.945), without limits "
        "of space and without releases.",
        "An animal that matures takes 11.0 years; parents are 19.6 years old on average; an animal "
        "leaves 0.366 young in its life."]


def test_the_leading_rate_is_the_most_doubtful_where_elasticities_are_alike(small):
    from pva.results.growth import long_run
    from pva.results.weights import rate_weights
    from pva.scenario.scenario import read_scenario

    def leading(question):
        return rate_weights(question.resolved, long_run(question.resolved))[0]

    scenario = read_scenario(small)
    found = leading(scenario)
    assert found["name"] == "recruitment/per_adult"  # doubt 25 %, against 2 and 8 %
    sure = scenario.with_changes({"recruitment.per_adult": 0.4})
    assert leading(sure)["name"] != "recruitment/per_adult"

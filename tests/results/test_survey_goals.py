"""Survey goals, each limit worked by hand beside it."""

from __future__ import annotations

import pytest

from pva.estimate.estimates import Estimate
from pva.estimate.link_scale import Link
from pva.results.run import run
from pva.results.summary import run_summary
from pva.results.survey_goals import judge_survey_goals, lower_limit
from pva.scenario.scenario import Scenario, read_scenario

ESTIMATES = """\
density/bed: {value: 0.8, se: 0.2, interval: [0.5, 1.4]}
density/none: {value: 0, interval: [0, 0.3]}
survival/adult: {value: 0.9, interval: [0.8, 0.95]}
abundance/bed:
  adult: {value: 300, se: 30}
  young: {value: 100, se: 40}
"""
SCENARIO = """\
title: Survey goals
estimates: estimates.yaml
years: {first: 2026, last: 2028}
census: before breeding
stages: [{name: juvenile, years: 2}, {name: adult, breeds: true}]
survival: {juvenile: 0.6, adult: 0.9}
recruitment: {per_adult: 0.3}
start: {adult: 100}
bad_years: {none: a test}
quasi_extinction: {adults_below: 2}
survey_goals:
  - {name: dense, estimate: density/bed, lower_limit_at_least: 0.5}
  - {name: dense but strict, estimate: density/bed, lower_limit_at_least: 0.5, confidence: 0.99}
  - {name: nothing there, estimate: density/none, lower_limit_at_least: 0.1}
  - {name: alive, estimate: survival/adult, lower_limit_at_least: 0.8, confidence: 0.975}
  - {name: many, estimate: abundance/bed, lower_limit_at_least: 330}
runs: {draws: 2, replicates: 2, seed: 1}
"""


@pytest.fixture
def scenario(tmp_path):
    (tmp_path / "estimates.yaml").write_text(ESTIMATES, encoding="utf-8")
    (tmp_path / "scenario.yaml").write_text(SCENARIO, encoding="utf-8")
    return read_scenario(tmp_path / "scenario.yaml")


def test_goals_of_a_scenario(scenario):
    judged = judge_survey_goals(scenario)
    assert [g["name"] for g in judged] == [
        "dense", "dense but strict", "nothing there", "alive", "many"]
    # ln(0.8/0.5) / 1.959964 = 0.239802; 0.8 exp(-1.644854 x 0.239802) = 0.539246
    assert judged[0] == {"name": "dense", "estimate": "density/bed", "confidence": 0.95,
                         "lower_limit": pytest.approx(0.539246, abs=2e-6), "at_least": 0.5,
                         "verdict": "met"}
    # 0.8 exp(-2.326348 x 0.239802) = 0.457945
    assert judged[1]["lower_limit"] == pytest.approx(0.457945, abs=2e-6)
    assert judged[2]["lower_limit"] == 0
    # at 97.5 % the limit is the low end of the interval
    assert judged[3]["lower_limit"] == pytest.approx(0.8, abs=1e-12)
    # se of the sum 50, of 400: 400 exp(-1.644854 x 0.125) = 325.661
    assert judged[4]["lower_limit"] == pytest.approx(325.661, abs=2e-3)
    assert [g["verdict"] for g in judged] == ["met", "not met", "not met", "met", "not met"]


def test_a_chance_with_link_moments_is_judged_on_the_logit_scale():
    told = Estimate("survival/adult", 0.88, se=0.02, link=Link(2.0, 0.3, 0.0))
    # expit(2 - 1.644854 x 0.3) = expit(1.506544) = 0.818548
    assert lower_limit(told, confidence=0.95) == pytest.approx(0.818548, abs=2e-6)


@pytest.mark.parametrize(("told", "confidence", "limit"), [
    (Estimate("density/bed", 0.8), 0.95, None),  # no doubt is named
    (Estimate("survival/adult", None, interval=(0.6, 0.9)), 0.95, 0.6),
    (Estimate("survival/adult", None, interval=(0.6, 0.9)), 0.99, None),
    (Estimate("survival/adult", 1.0, interval=(0.7, 1.0)), 0.95, 0.7),
    (Estimate("density/bed", 0.8, interval=(0.0, 1.4)), 0.95, 0.0),
])
def test_limits_without_a_scale(told, confidence, limit):
    assert lower_limit(told, confidence=confidence) == limit


def test_verdicts_stand_in_the_summary_of_a_run(scenario):
    assert run_summary(run(scenario))["survey_goals"] == judge_survey_goals(scenario)


def test_a_twin_has_no_estimates_to_judge_by(scenario):
    judged = judge_survey_goals(Scenario.from_dict(scenario.twin()))
    assert {(g["lower_limit"], g["verdict"]) for g in judged} == {(None, "cannot be told")}

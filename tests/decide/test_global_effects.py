"""Variance shares and the value of information, against functions whose answer is known."""

from __future__ import annotations

import copy
from dataclasses import replace

import numpy as np
import pytest
from scipy.stats import norm

from pva.decide.global_effects import chance_shares, factors, variance_indices
from pva.decide.information import (
    expected_given,
    implied_worth,
    information,
    partial_information,
    worth_of,
)
from pva.files import read_yaml, shipped
from pva.lifehistory.rates import LinkMoments
from pva.scenario.resolved import JointCovariance
from pva.scenario.scenario import Scenario

CASE = read_yaml(shipped("shared/checks/global_sensitivity.yaml"))[0]
SEED = 11


def ishigami(uniform):
    x = np.pi * (2 * uniform - 1)
    a, b = CASE["ishigami"]["a"], CASE["ishigami"]["b"]
    return np.sin(x[:, 0]) + a * np.sin(x[:, 1]) ** 2 + b * x[:, 2] ** 4 * np.sin(x[:, 0])


def product_function(uniform):
    a = np.array(CASE["product_function"]["a"])
    return ((np.abs(4 * uniform - 2) + a) / (1 + a)).prod(axis=1)


@pytest.mark.parametrize("function, case, count", [
    (ishigami, CASE["ishigami"], 3), (product_function, CASE["product_function"], 8)],
    ids=["ishigami", "product function"])
def test_published_shares(function, case, count):
    # 8,192 scrambled base points: errors of the design are below 0.01 for both functions
    found = variance_indices(function, [[f"x{i}"] for i in range(count)], points=8192, seed=SEED)
    assert [s.first for s in found] == pytest.approx(case["first"], abs=0.02)
    assert [s.total for s in found] == pytest.approx(case["total"], abs=0.02)
    for share, total in zip(found, case["total"], strict=True):
        assert abs(share.total - total) < 1.5 * share.total_error + 1e-4


def test_a_wrong_function_is_noticed():
    found = variance_indices(lambda u: ishigami(u[:, [1, 0, 2]]), [["a"], ["b"], ["c"]],
                             points=2048, seed=SEED)
    assert found[0].first != pytest.approx(CASE["ishigami"]["first"][0], abs=0.05)


def test_numbers_of_a_group_move_together():
    """y = a + b + c, equal variances: the group of a and b holds two thirds."""
    found = variance_indices(lambda u: u.sum(axis=1), [["a", "b"], ["c"]], points=4096, seed=SEED)
    assert [s.first for s in found] == pytest.approx([2 / 3, 1 / 3], abs=0.01)
    assert found[0].rank is None and found[1].rank == pytest.approx(0.56, abs=0.05)


def test_an_outcome_that_never_varies_has_no_shares():
    found = variance_indices(lambda u: np.ones(len(u)), [["a"], ["b"]], points=64, seed=SEED)
    assert [(s.first, s.total) for s in found] == [(0, 0), (0, 0)]


PLAN = {
    "title": "known by hand", "years": {"first": 2000, "last": 2001}, "census": "before breeding",
    "stages": [{"name": "adult", "breeds": True}],
    "survival": {"adult": {"value": 0.5, "interval": [0.3, 0.7], "distribution": "uniform"}},
    "recruitment": {"per_adult": {"value": 0.4, "interval": [0.0, 0.8],
                                  "distribution": "uniform"}},
    "bad_years": {"none": "worked out by hand"}, "start": {"adult": 100},
    "quasi_extinction": {"adults_below": 1, "from": 2001},
    "goals": [{"name": "enough", "measure": "adults", "at_least": 90, "in": 2001}],
    "chance": {"individuals": False}, "runs": {"draws": 64, "replicates": 1, "seed": 3},
}


def test_shares_of_a_scenario_by_hand():
    """Success where 100 s + 100 f >= 90; s uniform on 0.3-0.7, f on 0-0.8.

    P(success | s) = (s - 0.1) / 0.8 and P(success | f) = clip((f - 0.2) / 0.4, 0, 1), whose
    variances over that of a fair coin are 1/12 * (0.4 / 0.8)^2 / (1/4) = 1/12 and 2/3: for f, the
    mean square of the clipped line is (1/2) (1/3) + 1/4, less 1/4, over 1/4.
    """
    found = {s.names: s for s in chance_shares(Scenario.from_dict(PLAN).resolved, seed=SEED)}
    survival, young = found["survival/adult",], found["recruitment/per_adult",]
    assert survival.first == pytest.approx(1 / 12, abs=0.08)
    assert young.first == pytest.approx(2 / 3, abs=0.08)
    # all that is left is by both together
    assert survival.total == pytest.approx(1 - 2 / 3, abs=0.08)
    assert young.total == pytest.approx(1 - 1 / 12, abs=0.08)


def test_correlated_estimates_are_one_factor():
    written = copy.deepcopy(PLAN) | {
        "stages": [{"name": "young", "years": 1}, {"name": "adult", "breeds": True}],
        "survival": {"adult": 0.9, "young": 0.6}}
    resolved = Scenario.from_dict(written).resolved
    survival = {k: replace(r, estimate=r.key, link=LinkMoments(0.4, 0.2, 0.0))
                for k, r in resolved.sites[0].survival.items()}
    resolved = replace(resolved, sites=(replace(resolved.sites[0], survival=survival),))
    apart = [names for names, _ in factors(resolved, seed=1)]
    assert apart == [("survival/young",), ("survival/adult",), ("recruitment/per_adult",)]
    joint = JointCovariance(("survival/adult", "survival/young"),
                            np.array([[0.04, 0.02], [0.02, 0.04]]))
    together = factors(replace(resolved, covariance=joint), seed=1)
    assert together[0] == (("survival/young", "survival/adult"),
                           ("estimate survival/adult", "estimate survival/young"))
    loose = JointCovariance(joint.keys, np.diag([0.04, 0.04]))
    assert len(factors(replace(resolved, covariance=loose), seed=1)) == 3


# two actions: nothing (benefit 0), or something worth x ~ normal(m, 1) and noise nobody can know
def exact_gain(mean):
    return norm.pdf(mean) + mean * norm.cdf(mean) - max(mean, 0)


def two_actions(mean, draws, seed):
    luck = np.random.default_rng(seed)
    known = mean + norm.ppf((luck.permutation(draws) + 0.5) / draws)
    return known, np.column_stack([np.zeros(draws), known + luck.normal(0, 1, draws)])


@pytest.mark.parametrize("mean", [0.0, 0.5, -1.0])
def test_partial_information_of_two_actions(mean):
    """Mean over 40 sets of 2,000 draws; bias below 0.012, and its own error is honest."""
    found = []
    for seed in range(40):
        known, benefit = two_actions(mean, 2000, seed)
        found.append(worth_of("x", benefit, known, seed=seed))
    values = np.array([w.value for w in found])
    assert values.mean() == pytest.approx(exact_gain(mean), abs=0.012)
    spread = values.std(ddof=1)
    assert 0.5 * spread < np.mean([w.error for w in found]) < 2.5 * spread
    assert all(w.clear for w in found)


def test_what_is_unrelated_is_worth_nothing():
    """Of 40 unrelated quantities at most a few pass for known: 1 in 41 by chance each."""
    clear = 0
    for seed in range(40):
        _, benefit = two_actions(0.0, 400, seed)
        unrelated = np.random.default_rng([seed, 1]).normal(size=400)
        clear += worth_of("z", benefit, unrelated, seed=seed).clear
    assert clear <= 5  # probability of 6 or more by chance: below 0.001


def test_knowing_never_has_a_negative_worth():
    luck = np.random.default_rng(3)
    for _ in range(20):
        benefit = luck.normal(size=(60, 3))
        assert partial_information(benefit, luck.normal(size=60)) >= 0


def test_expected_given_follows_a_curve():
    luck = np.random.default_rng(5)
    x = luck.uniform(-1, 1, 3000)
    gains = np.column_stack([x**2, np.zeros(3000)]) + luck.normal(0, 0.3, (3000, 2))
    fitted = expected_given(x, gains)
    assert np.abs(fitted[:, 0] - x**2).max() < 0.15
    assert np.abs(fitted[:, 1]).max() < 0.05


def test_implied_worth_is_cost_over_gain_where_the_chance_is_reached():
    chances, costs = np.array([0.1, 0.5, 0.7, 0.9]), np.array([0.0, 100.0, 200.0, 300.0])
    assert implied_worth(chances, costs, 0.8) == pytest.approx(100 / 0.2)
    assert implied_worth(chances, costs, 0.4) == pytest.approx(100 / 0.4)
    assert implied_worth(np.full(4, 0.5), costs, 0.8) is None


def test_information_of_a_stocking_decision():
    """Only the survival of the released matters to the goal: knowing it is worth all there is."""
    written = copy.deepcopy(PLAN) | {
        "survival": {"adult": 1}, "recruitment": {"per_adult": 0}, "start": {"adult": 0},
        "sites": [{"name": "here"}, {"name": "there"}],
        "movement": [{"stage": "all", "from": "there", "to": "lost",
                      "share": {"value": 0.5, "se": 0.1}}],
        "releases": [{"name": "r", "site": "here", "stage": "adult", "number": 200, "first": 2000,
                      "first_year_survival": {"value": 0.5, "se": 0.1}, "cost_each": 3}],
        "goals": [{"name": "enough", "measure": "adults", "at_least": 90, "in": 2001}],
        "runs": {"draws": 400, "replicates": 1, "seed": 3}}
    written["start"] = {"adult": 0}
    found = information(Scenario.from_dict(written).resolved, seed=3)
    top, other = found.rates
    assert top.name == "releases/r/first_year_survival" and top.clear
    assert top.value == pytest.approx(found.everything, rel=0.25)
    assert other.name.startswith("movement") and not other.clear
    assert found.unit == "money of the scenario" and found.implied
    dearer = information(Scenario.from_dict(written).resolved, seed=3, worth=2e6)
    assert not dearer.implied and dearer.worth_of_success == 2e6

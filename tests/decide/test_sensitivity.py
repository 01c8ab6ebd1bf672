"""What the goal depends on, against models whose answer is known."""

from __future__ import annotations

import copy
import json
from dataclasses import replace

import numpy as np
import pytest

from pva.decide.flips import effect_of, followed_rates, rate_effect, stated_range
from pva.decide.goal_table import goal_table
from pva.decide.outcomes import chance_of_success, prepare
from pva.decide.sensitivity import sensitivity
from pva.decide.what_if import switches
from pva.lifehistory.laws import drawn_values
from pva.lifehistory.rates import PROBABILITY, Rate
from pva.results.run import run
from pva.results.uncertainty import ChanceDoubt
from pva.scenario.scenario import Scenario

# Adults that neither breed nor die: 300 are released in 2000 and live their first year with the
# release's own survival r (0.5 +- 0.05); a share m (0.2 +- 0.06) of the animals moves away.
# The goal of 100 adults in 2001 holds where 300 r (1 - m) >= 100.
SURVIVAL = {"value": 0.5, "se": 0.05}
MOVING = {"value": 0.2, "se": 0.06}
PLAN = {
    "title": "known by hand", "years": {"first": 2000, "last": 2001}, "census": "before breeding",
    "stages": [{"name": "adult", "breeds": True}],
    "survival": {"adult": 1}, "recruitment": {"per_adult": 0},
    "bad_years": {"none": "worked out by hand"}, "sites": [{"name": "here", "start": {"adult": 0}}],
    "movement": [{"stage": "all", "from": "here", "to": "lost", "share": MOVING}],
    "releases": [{"name": "adults", "stage": "adult", "number": 300, "first": 2000,
                  "first_year_survival": SURVIVAL}],
    "quasi_extinction": {"adults_below": 1, "from": 2001},
    "goals": [{"name": "hundred", "measure": "adults", "at_least": 100, "in": 2001}],
    "chance_wanted": 0.8, "chance": {"individuals": False},
    "runs": {"draws": 1000, "replicates": 1, "seed": 3},
}
KEY = "releases/adults/first_year_survival"


def rate_effects(resolved, *, seed, wanted):
    """Effects of every rate, the one with the largest reach first."""
    effects = [rate_effect(resolved, r, seed=seed, wanted=wanted) for r in followed_rates(resolved)]
    return sorted(effects, key=lambda e: -e.reach)


def plan(**changes):
    written = copy.deepcopy(PLAN)
    written.update(changes)
    return Scenario.from_dict(written)


def quantile(rate, u):
    law = Rate("x", PROBABILITY, rate["value"], se=rate["se"])
    return float(drawn_values(law, np.array([u]))[0])


def test_flip_by_hand():
    effects = {e.name: e for e in rate_effects(plan().resolved, seed=3, wanted=0.8)}
    found = effects[KEY]
    # held at r, the chance is that of m <= 1 - 1 / (3 r); it is 0.8 where that is the 0.8 quantile
    exact = 1 / (3 * (1 - quantile(MOVING, 0.8)))
    assert found.flip == pytest.approx(exact, abs=0.002)
    assert found.flip_low <= exact <= found.flip_high
    assert found.flip_high - found.flip_low < 0.02
    assert found.ruled_out is False and found.low < found.flip < found.high
    moving = effects["movement/all/here/lost"]
    assert moving.flip == pytest.approx(1 - 1 / (3 * quantile(SURVIVAL, 0.2)), abs=0.002)


def test_ends_and_steps_by_hand():
    found = {e.name: e for e in rate_effects(plan().resolved, seed=3, wanted=0.8)}[KEY]
    law = Rate("m", PROBABILITY, MOVING["value"], se=MOVING["se"])
    grid = drawn_values(law, (np.arange(1000) + 0.5) / 1000)

    def chance(survival):
        return float((grid <= 1 - 1 / (3 * survival)).mean())

    assert found.low == pytest.approx(quantile(SURVIVAL, 0.025))
    assert found.high == pytest.approx(quantile(SURVIVAL, 0.975))
    # Latin-hypercube draws of m fix its distribution to about 1 in 1,000
    assert found.chance == pytest.approx(chance(0.5), abs=0.005)
    assert found.chance_low == pytest.approx(chance(found.low), abs=0.005)
    assert found.chance_more == pytest.approx(chance(0.52), abs=0.005)
    assert found.chance_less == pytest.approx(chance(0.48), abs=0.005)


def test_a_flip_that_the_data_rule_out():
    sure = {"value": 0.7, "se": 0.01}
    releases = [PLAN["releases"][0] | {"first_year_survival": sure}]
    effects = rate_effects(plan(releases=releases).resolved, seed=3, wanted=0.8)
    found = {e.name: e for e in effects}[KEY]
    assert found.flip == pytest.approx(1 / (3 * (1 - quantile(MOVING, 0.8))), abs=0.002)
    assert found.flip < found.low and found.ruled_out is True


def test_no_flip_where_none_exists():
    effects = rate_effects(plan(goals=[PLAN["goals"][0] | {"at_least": 400}]).resolved, seed=3,
                           wanted=0.8)
    assert [(e.flip, e.ruled_out) for e in effects] == [(None, None)] * len(effects)


def test_the_nearer_of_two_flips_is_named():
    """A chance that is high only between 0.3 and 0.9: from 0.4 the lower end is nearer."""
    class Between:
        known: dict = {}

        def __call__(self, value):
            chance = 1.0 if 0.3 <= value <= 0.9 else 0.0
            self.known[value] = ChanceDoubt(chance, chance, chance, None, None)
            return self.known[value]

    look = Between()
    found = effect_of(Rate("x", PROBABILITY, 0.4, se=0.05), look, 0.8)
    assert found.flip == pytest.approx(0.3, abs=0.02)


def test_steps_are_two_points_or_a_tenth():
    river = plan(recruitment={"per_adult": 0.3}, survival={"adult": 0.99})
    steps = {e.name: (e.step, e.low) for e in rate_effects(river.resolved, seed=3, wanted=None)}
    assert steps["survival/adult"] == (0.02, None)
    assert steps["recruitment/per_adult"] == (pytest.approx(0.03), None)


def test_range_of_an_estimate_is_that_of_its_years():
    from pva.estimate.link_scale import Link
    rate = Rate("survival/adult", PROBABILITY, 0.9, link=Link(2.2, 0.2, 0.5))
    z = np.random.default_rng(7).standard_normal(400_000)
    low, high = stated_range(rate)
    for end, sign in ((low, -1), (high, 1)):
        years = 1 / (1 + np.exp(-(2.2 + sign * 1.96 * 0.2 + 0.5 * z)))
        assert end == pytest.approx(years.mean(), abs=4 * years.std() / 632)


def test_holding_a_rate_moves_it_in_every_draw():
    resolved = plan().resolved
    for value in (0.4, 0.6):
        held = prepare(resolved, seed=3, held={KEY: value})
        fixed = prepare(plan(releases=[PLAN["releases"][0] | {"first_year_survival": value}]
                             ).resolved, seed=3)
        assert (chance_of_success(held, replicates=1).chance
                == chance_of_success(fixed, replicates=1).chance)


RIVER = {
    "title": "Invented river", "years": {"first": 2026, "last": 2046}, "census": "before breeding",
    "stages": [{"name": "young", "years": 2}, {"name": "adult", "breeds": True}],
    "survival": {"young": {"value": 0.6, "se": 0.05},
                 "adult": {"value": 0.9, "se": 0.02, "year_sd": 0.03}},
    "recruitment": {"per_adult": {"value": 0.5, "se": 0.05}, "dispersion": 2},
    "bad_years": [{"name": "flood", "chance": 0.1, "survival": 0.7}],
    "sites": [{"name": "a", "start": {"adult": 30}, "limits": {"ceiling": {"adults": 120}}},
              {"name": "b", "start": {"adult": 30}}],
    "movement": [{"stage": "young", "from": "a", "to": "b", "share": 0.1}],
    "collections": [{"site": "b", "stage": "adult", "number": 2, "first": 2026, "last": 2030}],
    "releases": [{"name": "r", "site": "a", "stage": "young", "number": 20, "first": 2026,
                  "last": 2030, "first_year_survival": 0.4, "delivered": {"mean": 0.8, "sd": 0.1}}],
    "quasi_extinction": {"adults_below": 20},
    "goals": [{"name": "many", "measure": "adults", "at_least": 150, "in": 2046},
              {"name": "young", "measure": "recruits", "at_least": 5, "in_years": [2036, 2046],
               "of_years": 8}],
    "chance_wanted": 0.8, "runs": {"draws": 16, "replicates": 40, "seed": 5},
}


def test_switches_in_the_direction_theory_says():
    """16 draws x 40 replicates in the same luck; no direction is left to chance at this size."""
    found = {d.outcome: d.difference
             for d in sensitivity(Scenario.from_dict(RIVER)).switches}
    assert set(found) == set(switches(Scenario.from_dict(RIVER).resolved))
    for better in ("no bad years", "every order delivered in full", "unlimited space",
                   "released animals survive like residents",
                   "nothing is taken from donor sites"):
        assert found[better] > 0, better
    assert found["nothing is released"] < 0


def test_goal_table_is_what_runs_of_the_moved_goal_say():
    scenario = Scenario.from_dict(RIVER)
    resolved = scenario.resolved
    rows, risks = goal_table(prepare(resolved, seed=5), wanted=0.8)
    named = [r for r in rows if r.named]
    assert [r.goal for r in named] == ["many", "young"]
    moved = next(r for r in rows if r.goal == "many" and r.value == 112 and r.years == (2041, 2041))
    other = scenario.with_changes({"goals.many.at_least": 112, "goals.many.in": 2041})
    data = run(other)
    assert moved.chance == float(data.goal_chance[0])
    assert [moved.low, moved.high] == data.goal_interval[:, 0].values.tolist()
    higher = [r.chance for r in rows if r.goal == "many" and r.years == (2046, 2046)]
    assert sorted(higher, reverse=True) == higher and higher[0] > higher[-1]
    assert {v for r in rows for v in r.verdicts} == {0.5, 0.7, 0.8, 0.9, 0.95}
    written = next(r for r in risks if r.named)
    plain_run = run(scenario)
    assert written.chance == float(plain_run.quasi_extinction_chance[-1])
    assert written.threshold == 20 and written.year == 2046


def test_summary_holds_it_all_as_json():
    small = Scenario.from_dict(RIVER | {"runs": {"draws": 8, "replicates": 4, "seed": 5}})
    answer = sensitivity(small)
    document = json.loads(json.dumps(answer.summary(), allow_nan=False))
    assert document["outcome"] == "all goals"
    assert [r["name"] for r in document["rates"]] == [e.name for e in answer.rates]
    assert answer == replace(answer) and answer == sensitivity(small, threads=1)
    reaches = [e.reach for e in answer.rates]
    assert reaches == sorted(reaches, reverse=True)


def test_without_goals_the_risk_is_followed():
    river = copy.deepcopy(RIVER)
    del river["goals"]
    river["runs"] = {"draws": 8, "replicates": 4, "seed": 5}
    answer = sensitivity(Scenario.from_dict(river))
    assert answer.outcome == "no quasi-extinction" and answer.verdict is None
    assert all(e.flip is None for e in answer.rates) and answer.goals == ()

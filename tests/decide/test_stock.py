"""The number to stock against cases where it can be worked out by hand."""

from __future__ import annotations

import copy
import json
import math

import numpy as np
import pytest
from scipy.stats import binom

from pva.decide.compare import compare
from pva.decide.rows import StockedRows
from pva.decide.stock import stock
from pva.errors import CannotCompute
from pva.lifehistory.laws import drawn_values
from pva.lifehistory.rates import PROBABILITY, Rate
from pva.results.run import run
from pva.scenario.scenario import Scenario

# One release in 2000 of adults that neither breed nor die later; what is unknown is the share that
# survives the first year. The goal of 100 adults needs 100 / share animals, so the number for a
# chance p is 100 over the (1 - p) quantile of the share.
SHARE = {"value": 0.6, "se": 0.1}
PLAN = {
    "title": "one release", "years": {"first": 2000, "last": 2003}, "census": "before breeding",
    "stages": [{"name": "adult", "breeds": True}],
    "survival": {"adult": 1}, "recruitment": {"per_adult": 0},
    "bad_years": {"none": "worked out by hand"}, "start": {"adult": 0},
    "releases": [{"name": "adults", "stage": "adult", "number": 50, "first": 2000,
                  "first_year_survival": SHARE, "cost_each": 3, "mothers_per_1000": 5,
                  "order_lead": 2}],
    "quasi_extinction": {"adults_below": 1, "from": 2001},
    "goals": [{"name": "hundred", "measure": "adults", "at_least": 100, "in": 2003}],
    "chance_wanted": 0.8, "solve": {"vary": "number", "releases": ["adults"], "most": 1000},
    "chance": {"individuals": False}, "runs": {"draws": 2000, "replicates": 1, "seed": 3},
}


def plan(**changes):
    written = copy.deepcopy(PLAN)
    written.update(changes)
    return Scenario.from_dict(written)


def needed(chance):
    share = drawn_values(Rate("x", PROBABILITY, SHARE["value"], se=SHARE["se"]),
                         np.array([1 - chance]))[0]
    return 100 / share


def test_number_by_hand():
    answer = stock(plan())
    # 2,000 Latin-hypercube draws fix the quantile to about 1 in 2,000 of the range
    assert answer.number == pytest.approx(needed(0.8), rel=0.01)
    assert answer.low <= math.ceil(needed(0.8)) <= answer.high
    assert answer.low <= answer.number <= answer.high
    assert answer.chance_at_number >= 0.8
    assert answer.reachable is True
    assert answer.limit is None
    # between draws the number needed runs over the whole law of the share; steps of 5 %
    assert answer.draw_low == pytest.approx(needed(0.025), rel=0.08)
    assert answer.draw_high == pytest.approx(needed(0.975), rel=0.08)
    assert answer.total_animals == answer.number
    assert answer.cost == 3 * answer.number
    assert answer.mothers == pytest.approx(answer.number * 0.005)
    line, = answer.order_sheet
    assert (line["order_year"], line["release_year"], line["number"]) == (1998, 2000,
                                                                         answer.number)
    assert line["mothers"] == math.ceil(answer.number * 0.005)
    json.dumps(answer.summary(), allow_nan=False)


def test_the_number_found_meets_the_goal_when_run_and_one_tenth_less_does_not():
    answer = stock(plan())
    enough = run(plan().with_changes({"releases.adults.number": answer.number}))
    short = run(plan().with_changes({"releases.adults.number": 0.9 * answer.number}))
    assert float(enough.goal_chance[0]) == pytest.approx(0.8, abs=0.01)
    assert float(short.goal_chance[0]) < 0.75


def test_more_confidence_needs_more_animals():
    numbers = [stock(plan(), chance_wanted=p).number for p in (0.5, 0.8, 0.95)]
    assert numbers == sorted(numbers)
    assert numbers[2] == pytest.approx(needed(0.95), rel=0.02)


def test_total_and_mothers_are_the_same_plan_in_other_units():
    two_years = [dict(PLAN["releases"][0], last=2001)]
    rows = StockedRows.of(plan(
        releases=two_years, solve={"vary": "total", "releases": ["adults"], "most": 900}).resolved)
    assert rows.most_per_year == 450
    assert rows.total(450) == 900
    by_mothers = StockedRows.of(plan(
        releases=two_years, solve={"vary": "mothers", "releases": ["adults"], "most": 4}).resolved)
    assert by_mothers.mothers(by_mothers.most_per_year) == pytest.approx(4)


def test_rows_are_scaled_alike_and_others_left_alone():
    rows = [dict(PLAN["releases"][0], name=n, number=k)
            for n, k in (("a", 10), ("b", 30), ("c", 7))]
    varied = StockedRows.of(plan(releases=rows, solve={
        "vary": "number", "releases": ["a", "b"], "most": 1000}).resolved)
    assert varied.planned(80)[:, 0].tolist() == [20, 60, 7]
    assert varied.total(80) == 80


def test_a_plan_written_with_no_animals_is_searched_from_one_each_year():
    none = [dict(PLAN["releases"][0], number=0)]
    assert stock(plan(releases=none)).number == pytest.approx(needed(0.8), rel=0.01)


def test_already_met_without_stocking():
    answer = stock(plan(start={"adult": 200}))
    assert (answer.number, answer.chance_at_number) == (0, 1.0)


def test_not_reachable_names_what_binds():
    full = stock(plan(limits={"ceiling": {"adults": 80}}))
    assert (full.reachable, full.number, full.limit) == (False, None, "space")
    assert dict(full.limits_lifted)["space"] == 1.0
    assert full.curve.chances == [0.0] * len(full.curve.chances)
    few = stock(plan(solve={"vary": "number", "releases": ["adults"], "most": 90}))
    assert (few.reachable, few.limit) == (False, "number stocked")
    # half of the deaths avoided would be enough too, but so would more animals
    short = stock(plan(survival={"adult": 0.5},
                       solve={"vary": "number", "releases": ["adults"], "most": 700}))
    assert dict(short.limits_lifted)["survival"] == 1.0
    assert (short.reachable, short.limit) == (False, "number stocked")
    dying = stock(plan(survival={"adult": 0.001}))
    assert (dying.reachable, dying.limit) == (False, "survival")


def test_where_more_is_not_better_the_band_is_told():
    # a ceiling on all animals: stocked adults crowd out wild ones, so wild adults suffer from many
    answer = stock(plan(
        start={"adult": 120}, limits={"ceiling": {"animals": 200}},
        goals=[{"name": "wild", "measure": "wild_adults", "at_least": 100, "in": 2003},
               {"name": "some stocked", "measure": "stocked_adults", "at_least": 30, "in": 2003}],
        chance_wanted=0.5))
    assert answer.more_is_better is False
    low, high = answer.band
    assert low == answer.number
    # 30 stocked survivors are needed; beyond 80 survivors 120 wild ones keep fewer than 100 places
    median = drawn_values(Rate("x", PROBABILITY, 0.6, se=0.1), np.array([0.5]))[0]
    assert low == pytest.approx(30 / median, abs=2)
    assert high < 200


def test_what_cannot_be_asked_is_refused_in_words():
    with pytest.raises(CannotCompute) as nothing:
        stock(plan(goals=[]))
    assert str(nothing.value) == (
        "The scenario has no goals, so no number of animals can be enough or too few. Nothing was "
        "run. Write at least one goal (goals: - {name, measure, at_least, in}).")
    no_release = copy.deepcopy(PLAN)
    del no_release["releases"], no_release["solve"]
    with pytest.raises(CannotCompute) as no_rows:
        stock(Scenario.from_dict(no_release))
    assert str(no_rows.value).startswith(
        "The scenario has no releases, so there is nothing to vary.")


def test_a_scenario_against_its_copy_differs_by_exactly_nothing():
    same = compare([plan(), plan(title="its copy")])
    rows, = same.differences.values()
    assert {d.difference for d in rows} == {0.0}
    assert all(d.settled for d in rows)


def test_a_difference_has_the_right_size_and_doubt():
    # 140 animals against 180: the chance rises by the draws with a share of 100/180 to 100/140
    written = plan().with_changes({"releases.adults.number": 140})
    more = plan(title="more").with_changes({"releases.adults.number": 180})
    found = compare([written, more]).differences["more"][0]
    grid = drawn_values(Rate("x", PROBABILITY, 0.6, se=0.1), (np.arange(20000) + .5) / 20000)
    expected = np.mean(180 * grid >= 100) - np.mean(140 * grid >= 100)
    assert found.difference == pytest.approx(expected, abs=0.005)
    assert found.low <= found.difference <= found.high
    assert found.settled


@pytest.mark.parametrize(("target", "survival", "most"), [
    (100, 0.5, 1000), (2500, 0.5, 50_000), (100, 0.25, 5000), (30, 1, 100)])
def test_without_any_chance_the_number_is_exact(target, survival, most):
    release = dict(PLAN["releases"][0], first_year_survival=survival)
    answer = stock(plan(
        releases=[release], goals=[dict(PLAN["goals"][0], at_least=target)],
        solve={"vary": "number", "releases": ["adults"], "most": most},
        chance={"unknown": False, "years": False, "individuals": False},
        runs={"draws": 1, "replicates": 20, "seed": 1}))
    assert answer.number == math.ceil(target / survival)
    assert (answer.low, answer.high) == (answer.number, answer.number)
    assert (answer.draw_low, answer.draw_high) == (None, None)
    assert answer.chance_at_number == 1


def binomial_plan(seed, target=1000, wanted=0.9, most=20_000):
    release = dict(PLAN["releases"][0], first_year_survival=0.5)
    return plan(
        releases=[release], goals=[dict(PLAN["goals"][0], at_least=target)],
        chance_wanted=wanted, solve={"vary": "number", "releases": ["adults"], "most": most},
        chance={"unknown": False, "years": False},
        runs={"draws": 10, "replicates": 100, "seed": seed})


def binomial_number(target, wanted):
    number = 2 * target
    while binom.sf(target - 1, number, 0.5) < wanted:
        number += 1
    return number


def test_a_steep_curve_is_closed_in_on_and_its_interval_covers():
    exact = binomial_number(1000, 0.9)
    answers = [stock(binomial_plan(seed)) for seed in range(20)]
    hits = sum(a.low <= exact <= a.high for a in answers)
    # 95 % intervals: 16 or fewer of 20 would happen in about 1 of 60 such tests
    assert hits >= 17
    for answer in answers:
        assert answer.low <= answer.number <= answer.high
        assert abs(answer.number - exact) <= 15
        assert answer.chance_at_number >= 0.9


def test_a_plateau_below_the_chance_wanted_is_not_called_reachable():
    # a fixed chance of .0583 a year, twice, to lose everything: at best (1 - .0583)^3 = .835
    answer = stock(plan(
        bad_years=[{"name": "end", "chance": 0.0583, "survival": 0}],
        chance={"unknown": False, "individuals": False}, chance_wanted=0.9,
        runs={"draws": 10, "replicates": 100, "seed": 5}))
    assert answer.reachable is False
    assert answer.best_chance == pytest.approx(0.9417**3, abs=0.05)
    assert answer.limit == "bad years"
    assert max(answer.curve.numbers) <= answer.most


def test_a_ceiling_on_all_animals_makes_more_worse():
    # 12 young a year grow up under a ceiling of 100 animals; thousands of young crowd adults out
    crowded = plan(
        stages=[{"name": "young", "years": 2}, {"name": "adult", "breeds": True}],
        survival={"young": 0.9, "adult": 0.95}, start={"adult": 40},
        limits={"ceiling": {"animals": 100}}, years={"first": 2000, "last": 2010},
        releases=[{"name": "adults", "stage": "young", "number": 10, "first": 2000,
                   "last": 2009}],
        goals=[{"name": "many", "measure": "adults", "at_least": 55, "in": 2010}],
        solve={"vary": "number", "releases": ["adults"], "most": 3000},
        chance={"unknown": False, "years": False}, chance_wanted=0.6,
        runs={"draws": 1, "replicates": 400, "seed": 2})
    answer = stock(crowded)
    assert answer.more_is_better is False
    assert 2 <= answer.number <= 12
    low, high = answer.band
    assert low == answer.number
    assert high < 150
    assert answer.chance_at_number >= 0.6
    for number, enough in ((answer.number, True), (high, True), (2 * high, False)):
        data = run(crowded.with_changes({"releases.adults.number": number}))
        assert (float(data.goal_chance[0]) >= 0.6) is enough


def test_spread_between_draws_is_free_of_the_noise_of_replicates():
    # chances of single animals within a draw, a uniform law of survival between draws: the number
    # each draw needs for .8 is that of a binomial with the draw's own survival
    release = dict(PLAN["releases"][0], first_year_survival={
        "value": 0.5, "interval": [0.4, 0.6], "distribution": "uniform"})
    changes = dict(releases=[release], goals=[dict(PLAN["goals"][0], at_least=50)],
                   runs={"draws": 200, "replicates": 50, "seed": 4})

    def number(survival):
        return next(n for n in range(50, 400) if binom.sf(49, n, survival) >= 0.8)

    answer = stock(plan(chance={"unknown": True, "years": False}, **changes))
    assert answer.draw_low == pytest.approx(number(0.595), rel=0.1)
    assert answer.draw_high == pytest.approx(number(0.405), rel=0.1)
    # almost known: nearly no spread, although replicates of a draw scatter as much as before
    release["first_year_survival"] = {"value": 0.5, "se": 0.0005}
    known = stock(plan(chance={"unknown": True, "years": False}, **changes))
    assert known.draw_low == pytest.approx(known.number, rel=0.06)
    assert known.draw_high == pytest.approx(known.number, rel=0.06)

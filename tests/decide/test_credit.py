"""Animal-years above a baseline: closed forms, the run itself, the same luck, and its intervals."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.stats import t as student

from pva.decide.credit import credit
from pva.decide.credit_data import credit_dataset
from pva.decide.same_draws import joined
from pva.errors import MeaningError
from pva.model.draws import DrawTable
from pva.report.credit_words import answer_of_credit
from pva.results.run import run
from pva.scenario.resolved import JointCovariance
from pva.scenario.scenario import Scenario


def lasting(number, **more):
    """Animals that never die or breed: constant numbers, nothing left to chance."""
    return Scenario.from_dict({
        "title": f"Constant {number}", "years": {"first": 2026, "last": 2036},
        "census": "before breeding",
        "matrix": {"stages": ["adult"], "adults": ["adult"], "survival_and_growth": [[1.0]],
                   "recruitment": [[0.0]]},
        "start": {"adult": number}, "bad_years": {"none": "kept simple"},
        "chance": {"unknown": "off", "years": "off", "individuals": "off"},
        "quasi_extinction": {"adults_below": 1}, "runs": {"draws": 1, "replicates": 2, "seed": 0},
    } | more)


def dying(survival, replicates=40, **more):
    """100 animals that die one by one."""
    return lasting(100, title=f"Survival {survival:g}", chance={
        "unknown": "off", "years": "off", "individuals": "on"}, matrix={
            "stages": ["adult"], "adults": ["adult"], "survival_and_growth": [[survival]],
            "recruitment": [[0.0]]}, runs={"draws": 1, "replicates": replicates, "seed": 0}, **more)


def plan(**changes):
    """A plan with rates not known, varying years and releases that cost."""
    return Scenario.from_dict({
        "title": "Stocked", "years": {"first": 2026, "last": 2040}, "census": "before breeding",
        "stages": [{"name": "juvenile", "years": 2}, {"name": "adult", "breeds": True}],
        "survival": {"juvenile": {"value": 0.6, "se": 0.05, "source": {"assumed": "range"}},
                     "adult": {"value": 0.9, "se": 0.02, "year_sd": 0.03,
                               "source": {"assumed": "range"}}},
        "recruitment": {"per_adult": {"value": 0.3, "se": 0.1, "source": {"assumed": "range"}}},
        "bad_years": [{"name": "flood", "chance": 0.1, "survival": 0.7}],
        "start": {"adult": 60}, "quasi_extinction": {"adults_below": 5},
        "releases": [{"name": "young", "stage": "juvenile", "number": 40, "first": 2026,
                      "last": 2029, "cost_each": 10}],
        "runs": {"draws": 16, "replicates": 8, "seed": 5},
    } | changes)


UNSTOCKED = {"title": "Not stocked", "releases": []}


@pytest.mark.parametrize("rate", [0.0, 0.03, 0.5])
def test_constant_numbers_give_the_geometric_series(rate):
    """Eleven censuses, six animals more at each: 6 (1 - q^11) / (1 - q) with q = 1 / (1 + rate)."""
    found = credit(lasting(10), lasting(4), rate=rate)
    q = 1 / (1 + rate)
    exact = 6 * (11 if rate == 0 else (1 - q**11) / (1 - q))
    assert found.credit.mean == pytest.approx(exact, rel=1e-12)
    assert (found.credit.low, found.credit.high) == pytest.approx((exact, exact))
    assert found.undiscounted.mean == 66
    assert found.summary()["years"][-1]["so_far"] == pytest.approx(exact)
    # discounting from the wrong end, or the base year one off, is found out
    if rate:
        assert abs(found.credit.mean - exact / q) > 0.1 and abs(found.credit.mean - exact * q) > 0.1


def test_a_copy_gives_exactly_nothing():
    found = credit(plan(), plan(), rate=0.03, claimed=1)
    for amount in (found.credit, found.undiscounted, *found.by_year):
        assert {v for v in vars(amount).values() if not isinstance(v, bool)} == {0.0}
        assert amount.settled
    assert found.chance.chance == 0
    assert (found.price.plain, found.price.per_animal_year) == (0, None)


def test_years_that_are_worse_than_the_baseline_count_negative():
    ahead = credit(plan(), plan(**UNSTOCKED), rate=0.03)
    behind = credit(plan(**UNSTOCKED), plan(), rate=0.03)
    assert ahead.credit.mean > 0
    assert behind.credit.mean == pytest.approx(-ahead.credit.mean, rel=1e-12)
    assert behind.credit.run_low == pytest.approx(-ahead.credit.run_high, rel=1e-12)


@pytest.mark.parametrize("measure", ["adults", "animals", "wild_adults"])
def test_years_are_those_of_the_run_itself(measure):
    """The run folds its blocks by another way; the means of both plans must be the same."""
    found = credit(plan(), plan(**UNSTOCKED), rate=0.05, measure=measure, first=2028, last=2039)
    for k, scenario in enumerate((plan(), plan(**UNSTOCKED))):
        data = run(scenario, seed=5)[f"{measure}_mean"].sel(year=slice(2028, 2039))
        np.testing.assert_allclose(found.levels[k], data.values, rtol=1e-12)
    away = found.levels[0] - found.levels[1]
    by_hand = sum(a / 1.05 ** (2 + k) for k, a in enumerate(away))
    assert found.credit.mean == pytest.approx(by_hand, rel=1e-12)
    assert found.by_draw.mean(axis=0) == pytest.approx(away)


def test_another_base_year_multiplies_by_the_rate():
    first, later = (credit(plan(), plan(**UNSTOCKED), rate=0.03, base=b) for b in (None, 2036))
    assert first.period.base == 2026
    assert later.credit.mean == pytest.approx(first.credit.mean * 1.03**10)
    assert later.price.per_animal_year == pytest.approx(first.price.per_animal_year)


def test_cost_by_hand():
    """10 a year at 5 each in 2026 and 2027, none die: counted from the next census on."""
    release = {"stage": "adult", "number": 10, "first": 2026, "last": 2027, "cost_each": 5}
    found = credit(lasting(3, releases=[release]), lasting(3), rate=0.05)
    animals = sum((10 if y == 2027 else 20) / 1.05 ** (y - 2026) for y in range(2027, 2037))
    assert found.price.plain == 100
    assert found.price.discounted == pytest.approx(50 + 50 / 1.05)
    assert found.price.per_animal_year == pytest.approx((50 + 50 / 1.05) / animals)
    late = credit(lasting(3, releases=[release]), lasting(3), rate=0.05, first=2030)
    assert late.price.plain == 100  # money spent before the first census counted bought it too
    assert credit(lasting(3), lasting(2), rate=0.05).price is None


def test_the_same_luck_makes_the_difference_sharp():
    """The wrong way, each plan in a luck of its own, has a wider interval."""
    found = credit(plan(), plan(**UNSTOCKED), rate=0.03)
    alone = [credit(plan(), lasting(0, years={"first": 2026, "last": 2040}), rate=0.03, seed=s)
             for s in (5, 6)]
    width = found.credit.high - found.credit.low
    assert width < 0.5 * np.hypot(*(a.credit.high - a.credit.low for a in alone))


def test_the_chance_of_a_claim_is_the_share_of_runs_that_reach_it():
    claim = float(np.median(credit(plan(), plan(**UNSTOCKED), rate=0.03).runs))
    found = credit(plan(), plan(**UNSTOCKED), rate=0.03, claimed=claim)
    assert 0 < found.chance.chance < 1
    assert found.chance.chance == (found.runs >= claim).mean()
    assert found.chance.low < found.chance.chance < found.chance.high
    sure = {row["chance"]: row["animal_years"] for row in found.summary()["reached_with"]}
    for chance, number in sure.items():
        assert (found.runs >= number).mean() >= chance
    assert sure[0.5] > sure[0.8] > sure[0.95]


@pytest.mark.parametrize("rate", [0.0, 0.04])
def test_the_interval_of_the_simulation_holds_the_exact_mean(rate):
    """100 animals with survival 0.9 against 0.8: the exact mean is 100 sum (0.9^k - 0.8^k) w^k.

    95 % intervals in 100 seeds: fewer than 88 hits would happen by chance in 1 of 300 trials. An
    interval without pairing the plans would be too wide and hit 100 times; one half as wide must
    fail.
    """
    w = 1 / (1 + rate)
    exact = 100 * sum((0.9**k - 0.8**k) * w**k for k in range(11))
    hits = half = 0
    for seed in range(100):
        found = credit(dying(0.9), dying(0.8), rate=rate, seed=seed, threads=1).credit
        hits += found.low <= exact <= found.high
        half += abs(found.mean - exact) <= (found.high - found.low) / 4
    assert 88 <= hits <= 100
    assert half < 88


def test_what_cannot_be_set_against_is_refused_all_together():
    other = lasting(4, years={"first": 2025, "last": 2036}, census="after breeding")
    with pytest.raises(MeaningError) as refused:
        credit(lasting(10), other, rate=3, last=2050, measure="cost")
    assert str(refused.value).splitlines() == [
        "the scenario begins in 2026, the baseline in 2025. Both are run in the same luck, year by "
        "year, and counted alike. Write the same first year in both.",
        "the baseline counts at another time of the year (after breeding) than the scenario "
        "(before breeding). Both are run in the same luck, year by year, and counted alike. Write "
        "the same `census` in both.",
        "a discount rate of 3 a year cannot be meant. Write a share such as 0.03 for 3 %, or 0 for "
        "a plain sum.",
        "the last year counted, 2050, lies outside the years that both scenarios have (2026 to "
        "2036). Choose a year within them.",
        "a credit of `cost` cannot be told. Choose one of adults, animals, wild_adults."]


def test_a_head_start_at_the_first_census_is_told():
    assert ("the two begin with different numbers: +6 at the census of 2026, before the plan has "
            "done anything, count in the credit") in credit(
                lasting(10), lasting(4), rate=0.03).warnings
    assert not any("begin with" in w for w in credit(
        lasting(10), lasting(4), rate=0.03, first=2027).warnings)


def test_a_single_run_tells_no_doubt_and_no_price():
    found = credit(plan(runs={"draws": 1, "replicates": 1, "seed": 1}), plan(**UNSTOCKED),
                   rate=0.03)
    assert (found.credit.low, found.credit.draw_low, found.price.per_animal_year) == (None,) * 3
    assert "(one run, which tells nothing of its doubt)" in answer_of_credit(found.summary())


def test_numbers_do_not_depend_on_threads_and_the_data_set_holds_them():
    one, two = (credit(plan(), plan(**UNSTOCKED), rate=0.03, threads=t) for t in (1, 2))
    assert np.array_equal(one.runs, two.runs)
    data = credit_dataset(one)
    assert float(data.credit.mean()) == pytest.approx(one.credit.mean)
    total = (data.difference_by_draw.mean("draw") * data.weight).sum()
    assert float(total) == pytest.approx(one.credit.mean)
    assert all(v.attrs["long_name"] and v.attrs["units"] for v in data.data_vars.values())


JOINT = {"keys": ["s/juvenile", "s/adult", "release"],
         "matrix": [[0.09, 0.05, 0.06], [0.05, 0.08, 0.04], [0.06, 0.04, 0.12]]}


def joint_part(*keys):
    """A part of the joint covariance, as a scenario holds it that uses these estimates only."""
    place = [JOINT["keys"].index(k) for k in keys]
    return JointCovariance(keys, np.array(JOINT["matrix"])[np.ix_(place, place)])


def drawn(covariance, key):
    """Normal deviations of an estimate in 64 draws."""
    return DrawTable(draws=64, seed=3, unknown=True, covariance=covariance)._joint[key]


def test_a_baseline_that_uses_fewer_estimates_draws_those_it_shares_as_the_plan_does():
    """Alone it would draw them otherwise: the root of a part is no part of the root."""
    plan_uses, base_uses = joint_part(*JOINT["keys"]), joint_part("s/adult", "s/juvenile")
    for key in base_uses.keys:
        assert np.abs(drawn(plan_uses, key) - drawn(base_uses, key)).max() > 0.01
        for a, b in ((plan_uses, base_uses), (base_uses, plan_uses)):
            np.testing.assert_allclose(drawn(joined(a, b), key), drawn(plan_uses, key), atol=1e-12)


def test_each_keeps_its_own_covariance_where_both_use_some_that_the_other_does_not():
    one, other = joint_part("s/juvenile", "release"), joint_part("s/adult", "s/juvenile")
    both = joined(one, other)
    for part in (one, other):
        place = [both.keys.index(k) for k in part.keys]
        np.testing.assert_allclose(both.matrix[np.ix_(place, place)], part.matrix)
    assert np.linalg.eigvalsh(both.matrix).min() > 0
    unlike = JointCovariance(one.keys, one.matrix * 1.1)
    assert joined(unlike, other) is None


def test_few_draws_are_not_made_many_by_replicates():
    """The error comes from four draws, not from 400 runs that share their rates."""
    found = credit(plan(runs={"draws": 4, "replicates": 100, "seed": 5}), plan(**UNSTOCKED),
                   rate=0.03)
    means = found.runs.mean(axis=1)
    half = student.ppf(0.975, 3) * means.std(ddof=1) / 2
    assert found.credit.high - found.credit.mean == pytest.approx(half)
    assert found.credit.high - found.credit.mean > 3 * 1.96 * found.runs.std() / 20
    assert any("only 4 draws" in w for w in found.warnings)


def test_what_makes_the_number_smaller_than_it_seems_is_told():
    free = {"name": "gift", "stage": "juvenile", "number": 10, "first": 2026, "last": 2026}
    paid = {"name": "bought", "stage": "juvenile", "number": 10, "first": 2026, "last": 2026,
            "cost_each": 3}
    found = credit(plan(releases=[free, paid]),
                   plan(title="Short", releases=[], years={"first": 2026, "last": 2035}), rate=0.03)
    assert ("no cost stands at some releases (gift), so the money told is too little"
            in found.warnings)
    assert ("the scenario ends in 2040, the baseline in 2035: later years than 2035 are not "
            "counted") in found.warnings


@pytest.mark.parametrize(("asked", "said"), [
    ({"base": 99999}, "nobody discounts to 99999: it lies more than 100 years away from the years "
     "of the scenarios (2026 to 2036). Choose the year in which the money or the damage is "
     "reckoned."),
    ({"claimed": float("nan")}, "nan animal-years cannot be claimed. Write a number."),
])
def test_years_and_claims_out_of_all_reason_are_refused(asked, said):
    with pytest.raises(MeaningError) as refused:
        credit(lasting(10), lasting(4), rate=0.03, **asked)
    assert str(refused.value) == said


def test_females_alone_are_said_to_be_so():
    found = credit(lasting(10, numbers="females"), lasting(4, numbers="females"), rate=0)
    assert '" gives 66 animal-years (adults, females only, 2026 to 2036' in answer_of_credit(
        found.summary())

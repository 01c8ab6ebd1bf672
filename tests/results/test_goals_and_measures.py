"""Goals, measures, quantiles and doubt, each against a plain calculation."""

from __future__ import annotations

import numpy as np
import pytest
from success_twin import success_years

from pva.model import record as r
from pva.results.fold import Counts
from pva.results.goals import below_by, extinct_by, judge
from pva.results.measures import Places, measure
from pva.results.red_list import criterion_e
from pva.results.uncertainty import chance_with_doubt, rank_correlation, verdict, wilson
from pva.results.variance import variance_parts
from pva.results.wording import animals, animals_up, chance_ends, chance_words, in_ten, rough
from pva.scenario.resolved import Genetics, Goal, QuasiExtinction
from pva.scenario.scenario import Scenario

WRITTEN = {
    "title": "two sites", "years": {"first": 2000, "last": 2004}, "census": "before breeding",
    "matrix": {"stages": ["young", "grown"], "adults": ["grown"],
               "survival_and_growth": [[0.2, 0], [0.3, 0.9]], "recruitment": [[0, 1], [0, 0]]},
    "bad_years": {"none": "a test"},
    "sites": [{"name": "A", "area_m2": 100, "start": {"grown": 5}},
              {"name": "B", "area_m2": 300, "start": {"grown": 5}}],
    "quasi_extinction": {"adults_below": 3, "from": 2002},
    "runs": {"draws": 1, "replicates": 4, "seed": 1},
}
RESOLVED = Scenario.from_dict(WRITTEN).resolved
PLACES = Places(np.array([100.0, 300.0]))


def tallies(wild, stocked=None, **more):
    """Tallies of shape (replicate, census, site, tally) from adults of shape (..., site)."""
    wild = np.asarray(wild, float)
    stocked = np.zeros_like(wild) if stocked is None else np.asarray(stocked, float)
    result = np.zeros((*wild.shape, len(r.TALLIES)))
    result[..., r.T_WILD_ADULTS], result[..., r.T_STOCKED_ADULTS] = wild, stocked
    result[..., r.T_WILD_ANIMALS], result[..., r.T_STOCKED_ANIMALS] = wild, stocked
    result[..., r.T_BREEDERS] = wild + stocked
    for name, values in more.items():
        result[..., r.TALLIES.index(name)] = values
    return result


FALLING = tallies([[[6, 4], [5, 1], [2, 0], [0, 4], [0, 0]]])


def goal(**words):
    base = {"name": "g", "measure": "adults", "value": 4.0, "at_most": False,
            "years": (2000, 2004)}
    return Goal(**(base | words))


@pytest.mark.parametrize(("words", "met"), [
    ({"years": (2001, 2001)}, True),
    ({"years": (2000, 2003)}, False),
    ({"years": (2000, 2003), "of_years": 3}, True),
    ({"years": (2000, 2003), "of_years": 4}, False),
    ({"running": 2}, True),
    ({"running": 3}, False),
    ({"years": (2001, 2004), "at_most": True, "value": 6.0}, True),
    ({"years": (2000, 2000), "where": "each site"}, True),
    ({"years": (2001, 2001), "where": "each site"}, False),
    ({"years": (2001, 2001), "where": 1}, True),
    ({"years": (2001, 2001), "where": ("B",)}, False),
    ({"years": (2000, 2000), "where": ("A", "B"), "value": 10.0}, True),
    ({"years": (2003, 2003), "where": 1}, True),
])
def test_every_form_of_goal(words, met):
    assert judge(goal(**words), FALLING, PLACES, RESOLVED).tolist() == [met]


def test_a_goal_over_sites_is_judged_whole_at_each_of_them():
    # A holds 4 in the first two years, B only in the fourth: no single site holds two years
    apart = tallies([[[4, 0], [0, 4], [0, 0], [0, 0], [0, 0]]])
    both_years = goal(years=(2000, 2001), where=1)
    assert not judge(both_years, apart, PLACES, RESOLVED)[0]
    assert judge(goal(years=(2000, 2001)), apart, PLACES, RESOLVED)[0]


def test_a_null_meets_no_goal_in_either_direction():
    for at_most in (True, False):
        share = goal(measure="wild_share", value=0.5, years=(2004, 2004), at_most=at_most)
        assert not judge(share, FALLING, PLACES, RESOLVED)[0]


def test_first_and_lasting_success():
    back = tallies([[[6, 0], [1, 0], [6, 0], [6, 0], [6, 0]], [[0, 0]] * 5, [[5, 0]] * 5])
    first, lasting = success_years(goal(), back, PLACES, RESOLVED)
    assert first.tolist() == [0, 5, 0]
    assert lasting.tolist() == [2, 5, 0]


def test_the_clock_of_risk():
    # below 3 in 2001 does not count before 2002; a population still below in 2002 then counts
    adults = tallies([[[9, 0], [1, 0], [9, 0], [2, 0], [9, 0]],
                      [[9, 0], [1, 0], [1, 0], [9, 0], [9, 0]]])
    assert below_by(adults, RESOLVED).tolist() == [[False, False, False, True, True],
                                                   [False, False, True, True, True]]
    gone = tallies([[[9, 0], [0, 0], [0, 0], [0, 0], [9, 0]]])
    assert extinct_by(gone, RESOLVED).tolist() == [[False, False, True, True, True]]


def test_ratios_over_sites_are_ratios_of_sums_and_flows_start_null():
    values = tallies([[[3, 1], [3, 1], [0, 0], [1, 0], [1, 0]]],
                     [[[1, 0], [1, 3], [0, 0], [1, 0], [0, 0]]],
                     recruits=[[[9, 9], [1, 2], [0, 0], [0, 0], [0, 0]]],
                     reached_adult=[[[0, 0], [1, 1], [2, 0], [0, 0], [0, 0]]],
                     adult_deaths=[[[0, 0], [4, 1], [0, 0], [0, 1], [0, 0]]])
    share = measure("wild_share", values, PLACES)[0]
    assert share[:2].tolist() == [4 / 5, 4 / 8]
    assert np.isnan(share[2])
    assert np.isnan(measure("recruits", values, PLACES)[0, 0])
    assert measure("recruits", values, PLACES)[0, 1] == 3
    replacement = measure("replacement_ratio", values, PLACES)[0]
    assert replacement[1] == 2 / 5
    assert np.isnan(replacement[[0, 2, 4]]).all()
    assert replacement[3] == 0
    assert measure("adults_per_m2", values, PLACES)[0, 0] == 5 / 400
    assert measure("adults_per_m2", values, PLACES, np.array([1]))[0, 1] == 4 / 300
    assert measure("sites_occupied", values, PLACES)[0].tolist() == [2, 2, 0, 1, 1]


def test_heterozygosity_kept():
    # 40 adults, Ne/N 0.25, generation 5 years: Ne T = 50, and 1 - 1 / 100 a year after 10 founders
    steady = tallies(np.full((1, 5, 1), 40.0))
    places = Places(np.array([1.0]), Genetics(0.25, 10), 5.0)
    kept = measure("heterozygosity", steady, places)[0]
    assert kept == pytest.approx(0.95 * 0.99 ** np.arange(5))
    assert np.isnan(measure("heterozygosity", steady, Places(np.array([1.0])))).all()


def test_quantiles_equal_numpys_whatever_the_order_of_blocks():
    rng = np.random.default_rng(5)
    values = rng.poisson(7, size=(1234, 3)).astype(float)
    levels = (0.025, 0.05, 0.25, 0.5, 0.9, 0.975)
    counts, shuffled = Counts(3), Counts(3)
    counts._MERGE_AT = 300
    for part in np.array_split(values.T, 7, axis=1):
        counts.add(part)
    shuffled.add(rng.permutation(values, axis=0).T)
    expected = np.quantile(values, levels, axis=0)
    assert np.array_equal(counts.quantiles(levels), expected)
    assert np.array_equal(shuffled.quantiles(levels), expected)


def test_doubt_of_a_chance_never_and_always():
    scramble = np.arange(200) * 8 // 200
    never = chance_with_doubt(np.zeros(200, int), replicates=50, scramble=scramble, unknown=False)
    assert never.low == 0
    assert never.high == pytest.approx(3.0 / 10_000, rel=0.002)
    # replicates of one draw share its rates: 200 different draws allow what 200 runs allow
    over_draws = chance_with_doubt(np.zeros(200, int), replicates=50, scramble=scramble,
                                   unknown=True)
    assert over_draws.high == pytest.approx(1 - 0.05 ** (1 / 200))
    assert chance_words(never.chance, 10_000) == "below 0.03 %"
    always = chance_with_doubt(np.full(4, 25), replicates=25, scramble=np.zeros(4, int),
                               unknown=False)
    assert (always.low, always.high) == (pytest.approx(1 - 0.0295, abs=0.0005), 1.0)
    assert always.draw_low is None
    sure = chance_with_doubt(np.array([20]), replicates=20, scramble=np.zeros(1, int),
                             unknown=False, certain=True)
    assert (sure.low, sure.chance, sure.high) == (1, 1, 1)


def test_interval_of_a_chance_covers_the_truth_about_as_often_as_it_says():
    # 400 studies of 200 draws with beta chances: 95 % intervals between scrambles of independent
    # draws; fewer than 363 hits in 400 would happen by chance less than once in 5,000
    rng = np.random.default_rng(11)
    scramble = np.arange(200) * 8 // 200
    hits = narrow = 0
    for _ in range(400):
        by_draw = rng.binomial(50, rng.beta(2, 6, size=200))
        doubt = chance_with_doubt(by_draw, replicates=50, scramble=scramble, unknown=True)
        hits += doubt.low <= 0.25 <= doubt.high
        low, high = wilson(doubt.chance, 10_000)  # wrong: as if all replicates were independent
        narrow += low <= 0.25 <= high
    assert hits >= 363
    assert narrow < 363


def test_variance_shares_find_each_layer():
    rng = np.random.default_rng(3)
    draws, replicates = 400, 40
    unknown = rng.normal(0, 2, (draws, 1))
    years = rng.normal(0, 1, (draws, replicates))
    one, two = (unknown + years + rng.normal(0, 1.5, (draws, replicates)) for _ in range(2))
    parts = variance_parts(one, two)
    total = 4 + 1 + 2.25
    # standard error of each share is below 0.03; five of them
    assert parts["unknown"] == pytest.approx(4 / total, abs=0.1)
    assert parts["years"] == pytest.approx(1 / total, abs=0.05)
    assert parts["individuals"] == pytest.approx(2.25 / total, abs=0.05)
    assert sum(parts.values()) == pytest.approx(1)
    assert set(variance_parts(np.ones((3, 4)), np.ones((3, 4))).values()) == {None}
    assert set(variance_parts(np.ones((3, 1)), np.ones((3, 1))).values()) == {None}


def test_verdicts_and_words():
    assert [verdict(.8, .9, .8), verdict(.7, .79, .8), verdict(.7, .9, .8)] == [
        "met", "not met", "cannot tell yet"]
    assert [chance_words(x) for x in (.856, .0312, .00042, .9999)] == [
        "86 %", "3.1 %", "0.04 %", "99.99 %"]
    assert chance_words(1.0, 10_000) == "above 99.97 %"
    assert [animals_up(x) for x in (7.2, 330.9, 330.0, 1004, 12301)] == [
        "8", "340", "330", "1,010", "12,400"]
    assert [rough(x) for x in (432, 4321, 18000)] == ["430", "4,000", "20,000"]
    assert chance_words(0.0, 200) == "below 1.5 %"
    assert [in_ten(x) for x in (.65, .646, .55, .644)] == [
        "about 7 in 10", "about 7 in 10", "about 6 in 10", "about 6 in 10"]
    assert chance_ends(0.0, 0.0003) == ("0", "0.03")
    assert chance_ends(0.9997, 1.0) == ("99.97", "100")
    assert chance_ends(1e-17, 1 - 1e-16) == ("0", "100")
    assert [in_ten(x) for x in (.05, .07, .08, .92, .93, .95)] == [
        "about 1 in 20", "about 1 in 20", "about 1 in 10", "about 9 in 10", "about 19 in 20",
        "about 19 in 20"]
    assert [in_ten(x) for x in (.84, .01, .99)] == [
        "about 8 in 10", "fewer than 1 in 20", "more than 19 in 20"]
    assert [animals(x) for x in (7.4, 268, 5344, 12345)] == ["7", "270", "5,340", "12,300"]


def test_rank_correlation_and_criterion_e():
    assert rank_correlation(np.arange(9.0), np.arange(9.0) ** 3) == pytest.approx(1)
    assert np.isnan(rank_correlation(np.ones(9), np.arange(9.0)))
    curve = np.minimum(np.arange(60) * 0.02, 1)
    clock = {"first": 2000, "from_year": 2001}
    found = criterion_e(curve, 4.0, **clock)  # 12 years: .24; 20 years: .40, endangered
    assert (found["category"], found["years_from"]) == ("endangered", 2000)
    assert [rule["chance"] for rule in found["rules"]] == [pytest.approx(.24), pytest.approx(.4),
                                                           None]
    assert criterion_e(np.zeros(60), float("nan"), **clock)["category"] is None
    assert criterion_e(np.zeros(120), float("nan"), **clock)["category"] == "not met"


def test_the_years_of_criterion_e_run_on_the_clock_of_extinction():
    # nothing counts through the eight years of stocking; then 6 % more are gone every year
    curve = np.minimum(np.maximum(np.arange(140) - 7, 0) * 0.06, 1)
    found = criterion_e(curve, float("nan"), first=2026, from_year=2034)
    assert found["years_from"] == 2033
    assert found["rules"][0]["chance"] == pytest.approx(0.6)  # by 2043
    assert found["category"] == "critically endangered"
    # wrong: ten years from the first census hold three years of risk only
    wrong = criterion_e(curve, float("nan"), first=2026, from_year=2026)
    assert (wrong["years_from"], wrong["category"]) == (2026, "endangered")
    short = criterion_e(curve[:18], float("nan"), first=2026, from_year=2034)
    assert short["rules"][0]["chance"] == pytest.approx(0.6)  # census of 2043 is the last
    assert criterion_e(curve[:17], float("nan"), first=2026, from_year=2034)["category"] is None


def test_the_resolved_clock_is_the_written_one():
    assert RESOLVED.quasi_extinction == QuasiExtinction(3, 2002)

"""Branching processes, the ceiling chain and the yearly walk; sources in shared/checks/*.yaml."""

import numpy as np
import pytest
from scipy.stats import norm

from pva.files import read_table, read_yaml, shipped
from pva.model.closed_forms import (
    ceiling_chain,
    chain_mean_years,
    chain_reaches_by_year,
    extinction_by_year,
    extinction_ever_from_one,
    extinction_from_one,
    moments,
    walk_below_by_year,
)


def published(name):
    return read_yaml(shipped(f"shared/checks/{name}.yaml"))[0]


@pytest.fixture(scope="module")
def three():
    case = published("branching_three_stage")
    rule = case["rule"]
    return case, np.array(rule["survival_and_growth"]), np.array(rule["recruitment"]), rule["start"]


def test_three_stage_extinction_curve(three):
    # derived; every digit of 50 years and three kinds of first animal
    case, U, F, start = three
    table = read_table(shipped(f"shared/checks/{case['curve']}"))
    curve = np.array([[float(cell) for cell in row] for row in table.rows])
    found = extinction_by_year(U, F, start=start, years=50)
    assert found[0] == 0
    assert found[1:] == pytest.approx(curve[:, 4], rel=1e-11)
    by_first = extinction_from_one(U, F, years=50)[1:]
    assert by_first == pytest.approx(curve[:, 1:4], rel=1e-11)
    for year, chance in case["extinct_by"].items():
        assert found[int(year)] == pytest.approx(chance, rel=1e-11)


def test_three_stage_extinction_at_any_time(three):
    case, U, F, start = three
    ever = extinction_ever_from_one(U, F)
    assert ever == pytest.approx(case["extinct_ever_from_one"], abs=5e-9)
    assert np.prod(ever ** np.array(start)) == pytest.approx(case["extinct_ever"], abs=5e-10)


def test_three_stage_moments(three):
    case, U, F, start = three
    found = moments(U, F, start=start, years=50)
    for year, row in case["total"].items():
        assert found.total_mean[int(year)] == pytest.approx(row["mean"], rel=3e-8)
        assert found.total_variance[int(year)] == pytest.approx(row["variance"], rel=1e-7)


def test_luck_of_single_animals_is_not_luck_of_years(three):
    # wrong model: each year's adult survival shared by all adults, 0.9 on average
    case, U, F, start = three
    rng = np.random.default_rng(11)
    totals = []
    for _ in range(4000):
        state = np.array(start, float)
        for _ in range(10):
            adult = rng.choice([0.82, 0.98])
            state = (U + F) @ state + np.array([0, 0, (adult - 0.9) * state[2]])
        totals.append(state.sum())
    found = moments(U, F, start=start, years=10)
    assert np.mean(totals) == pytest.approx(found.total_mean[10], rel=0.02)
    assert np.var(totals) < 0.5 * found.total_variance[10]


def test_lotka_male_lines():
    case = published("branching_single_type")["lotka"]
    sons = np.arange(1, 400)
    chances = case["one_son"] * case["ratio"] ** (sons - 1)
    gone = 0.0
    for _ in range(500):
        gone = case["no_son"] + float(chances @ gone**sons)
    assert gone == pytest.approx(case["extinct_ever"], abs=5e-6)
    assert float(chances @ sons) == pytest.approx(case["mean"], abs=5e-5)


@pytest.mark.parametrize("mean", ["1.00", "1.01"])
def test_fisher_poisson_table(mean):
    # Fisher 1930; no survival, Poisson young
    case = published("branching_single_type")["poisson"]
    found = extinction_from_one(np.zeros((1, 1)), np.array([[float(mean)]]), years=127)[:, 0]
    assert found[case["generations"]] == pytest.approx(case[f"mean_{mean}"], abs=5.1e-5)


@pytest.mark.parametrize(
    ("mean", "digits"), [("1.01", 5e-5), ("1.5", 5e-8), ("2", 5e-8)]
)
def test_poisson_extinction_at_any_time(mean, digits):
    case = published("branching_single_type")["poisson"]
    found = extinction_ever_from_one(np.zeros((1, 1)), np.array([[float(mean)]]))
    assert found[0] == pytest.approx(case[f"mean_{mean}_ever"], abs=digits)


def test_ceiling_chain():
    case = published("ceiling_chain")
    rule = case["rule"]
    chain = ceiling_chain(
        rule["survival"], rule["recruits_per_animal"], ceiling=rule["ceiling"]
    )
    assert chain.sum(axis=0) == pytest.approx(np.ones(31), abs=1e-12)
    for at_or_below, key in ((0, "extinct_by"), (2, "two_or_fewer_by")):
        found = chain_reaches_by_year(
            chain, start=rule["start"], at_or_below=at_or_below, years=100
        )
        assert found[case["years"]] == pytest.approx(case[key], rel=1e-6)
    years = chain_mean_years(chain)
    assert years[10] == pytest.approx(case["mean_years_to_extinction"]["from_10"], abs=5e-5)
    assert years[30] == pytest.approx(case["mean_years_to_extinction"]["from_30"], abs=5e-5)


def test_grizzly_growth_and_the_risk_in_continuous_time():
    # Dennis et al. 1991; the walk looked at yearly must lie well below the continuous one
    case = published("grizzly")
    table = read_table(shipped(f"shared/checks/{case['data']}"))
    steps = np.diff(np.log([float(row[1]) for row in table.rows]))
    assert steps.mean() == pytest.approx(case["mean_log_growth"], abs=5e-6)
    assert steps.var(ddof=1) == pytest.approx(case["variance"], abs=5e-6)
    risk = case["risk_continuous_time"]
    mean, sd = steps.mean(), steps.std(ddof=1)
    continuous = [
        first_passage(y, np.log(risk["start"] / risk["threshold"]), mean, sd)
        for y in risk["years"]
    ]
    assert continuous == pytest.approx(risk["chance"], rel=1e-4)
    yearly = walk_below_by_year(
        mean, sd, start=risk["start"], threshold=risk["threshold"], years=100
    )
    ratio = np.array(continuous[:4]) / yearly[risk["years"][:4]]
    assert (ratio > 1.17).all()


def first_passage(years, distance, mean, sd):
    """Textbook first passage of a walk in continuous time, the wrong model here."""
    spread = sd * np.sqrt(years)
    rise = mean * years
    return norm.cdf((-distance - rise) / spread) + np.exp(
        -2 * mean * distance / sd**2
    ) * norm.cdf((-distance + rise) / spread)

"""Heterozygosity kept by the engine against closed forms of shared/checks/genetics.yaml."""

from __future__ import annotations

import numpy as np
import pytest

from pva.files import read_yaml, shipped
from pva.model import record as r
from pva.results.measures import Places, measure
from pva.results.run import run
from pva.scenario.resolved import Genetics
from pva.scenario.scenario import Scenario

MANY = 1e12  # founders: nothing lost at the start


@pytest.fixture(scope="module")
def case():
    return read_yaml(shipped("shared/checks/genetics.yaml"))[0]


def constant(adults, *, years, survival=0.0, ne_over_n=1.0, founders=MANY):
    """Run of a population that replaces itself exactly; everything else is switched off."""
    return run(Scenario.from_dict({
        "title": "constant", "years": {"first": 2000, "last": 2000 + years},
        "census": "before breeding",
        "matrix": {"stages": ["adult"], "survival_and_growth": [[survival]],
                   "recruitment": [[1 - survival]]},
        "start": {"adult": adults}, "bad_years": {"none": "a test"},
        "chance": {"unknown": "off", "years": "off", "individuals": "off"},
        "genetics": {"ne_over_n": ne_over_n, "founders": founders},
        "quasi_extinction": {"adults_below": 1}, "runs": {"draws": 1, "replicates": 1, "seed": 1},
    }), threads=1)


def kept(data):
    return data["heterozygosity_mean"].values


def test_a_constant_population_with_one_generation_a_year(case):
    for row in case["kept"]:
        data = constant(row["effective"], years=row["generations"])
        assert float(data.generation_time) == pytest.approx(1, abs=1e-12)
        found = kept(data)
        assert found[-1] == pytest.approx(row["kept"], abs=5e-7)
        assert found == pytest.approx((1 - 0.5 / row["effective"]) ** np.arange(len(found)),
                                      rel=1e-10)


def test_founders_come_first(case):
    founded, free = (kept(constant(50, years=10, founders=f)) for f in (8, MANY))
    assert founded == pytest.approx((1 - 1 / 16) * free, rel=1e-10)


def test_overlapping_generations(case):
    # 100 adults, survival 0.8: 20 newborn a year, mean age of parents 5 years
    rule = case["overlapping_generations"]
    effective = 4 * rule["newborn"] * rule["generation_years"] / (
        rule["variance_of_offspring"] + 2)
    assert effective == rule["effective"]
    years = 10 * rule["generation_years"]
    data = constant(100, years=years, survival=0.8, ne_over_n=effective / 100)
    assert float(data.recruits_mean[-1]) == pytest.approx(rule["newborn"])
    assert float(data.generation_time) == pytest.approx(rule["generation_years"])
    found = kept(data)
    yearly = 1 - 1 / (2 * effective * rule["generation_years"])
    assert found == pytest.approx(yearly ** np.arange(years + 1), rel=1e-10)
    # ten generations of the closed form by generations, to second order in 1 / (2 Ne)
    by_generations = (1 - 0.5 / effective) ** 10
    assert found[-1] == pytest.approx(by_generations, abs=10 * (0.5 / effective) ** 2)
    wrong = (1 - 0.5 / effective) ** years  # a generation's loss taken every year
    assert abs(wrong - by_generations) > 0.2


@pytest.mark.parametrize("kind", ["uneven_sexes", "uneven_families"])
def test_effective_numbers_enter_by_their_ratio_to_adults(case, kind):
    rows = case[kind] if isinstance(case[kind], list) else [case[kind]]
    for row in rows:
        if kind == "uneven_sexes":
            adults = row["males"] + row["females"]
            effective = 4 * row["males"] * row["females"] / adults
        else:
            adults = row["adults"]
            effective = (4 * adults - 2) / (row["variance_of_offspring"] + 2)
        assert effective == pytest.approx(row["effective"], abs=5e-5)
        found = kept(constant(adults, years=10, ne_over_n=effective / adults))
        assert found[-1] == pytest.approx((1 - 0.5 / row["effective"]) ** 10, abs=5e-7)


def test_changing_numbers_lose_what_their_harmonic_mean_loses(case):
    rule = case["numbers_that_change"]
    tallies = np.zeros((1, 5, 1, len(r.TALLIES)))
    tallies[0, :, 0, r.T_WILD_ADULTS] = [*rule["numbers"], 100]
    tallies[0, :, 0, r.T_WILD_ANIMALS] = tallies[0, :, 0, r.T_WILD_ADULTS]
    found = measure("heterozygosity", tallies, Places(np.array([1.0]), Genetics(1.0, MANY), 1.0))[0]
    losses = 1 - found[1:] / found[:-1]
    assert 1 / (2 * losses.mean()) == pytest.approx(rule["effective"], abs=5e-5)
    assert 1 / (2 * losses.mean()) < 0.12 * np.mean(rule["numbers"])  # not the arithmetic mean


def test_effective_number_under_stocking_is_as_stated(case):
    # held as arithmetic only: the measure takes one ratio and knows no captive parents
    for row in case["stocking"]:
        share = row["share"]
        if share == "best":
            share = row["captive"] / (row["captive"] + row["wild"])
        found = 1 / (share**2 / row["captive"] + (1 - share) ** 2 / row["wild"])
        assert found == pytest.approx(row["effective"], abs=5e-5)

"""Growth against published and derived numbers: dugongs by age, least squares on increments."""

import csv

import numpy as np
import pandas as pd
import pytest
from test_growth import measured

from pva.errors import CannotCompute
from pva.estimate.length_at_age import fit_length_at_age, lengths_at_age
from pva.files import read_yaml, shipped


def case(name):
    return read_yaml(shipped(f"shared/checks/{name}.yaml"))[0]


def dugongs():
    with shipped("shared/checks/dugongs.csv").open(newline="") as handle:
        rows = list(csv.DictReader(handle))
    return np.array([float(r["age"]) for r in rows]), np.array([float(r["length"]) for r in rows])


def test_dugongs_by_least_squares():
    """Ratkowsky 1983; the fit is derived, see shared/checks/dugongs.yaml; all its digits."""
    known = case("dugongs")["least_squares"]
    told = fit_length_at_age(*dugongs())
    assert told.asymptote_mm == pytest.approx(known["asymptote"], abs=1e-5)
    assert told.shortfall_mm == pytest.approx(known["shortfall_at_birth"], abs=1e-5)
    assert told.ratio == pytest.approx(known["ratio_per_year"], abs=1e-5)
    assert told.residual_sd_mm == pytest.approx(known["residual_sd"], abs=1e-5)
    assert told.rate == pytest.approx(known["rate_per_year"], abs=1e-5)
    assert told.se["asymptote_mm"] == pytest.approx(known["asymptote_se"], abs=1e-4)
    assert told.se["shortfall_mm"] == pytest.approx(known["shortfall_at_birth_se"], abs=1e-4)
    assert told.se["ratio"] == pytest.approx(known["ratio_per_year_se"], abs=1e-4)


def test_dugongs_against_the_published_posterior():
    """Carlin & Gelfand 1991: the posterior mean is no maximum; half a standard error apart."""
    known, told = case("dugongs")["posterior"], fit_length_at_age(*dugongs())
    assert abs(told.asymptote_mm - known["asymptote"]) < 0.5 * told.se["asymptote_mm"]
    assert abs(told.ratio - known["ratio_per_year"]) < 0.5 * told.se["ratio"]


def test_standard_errors_allow_for_animals_measured_again():
    """Eight lengths an animal, animals differing by 8 mm in asymptote, 60 studies: the standard
    error is within 25 % of the spread of the estimates, and 50 intervals or more hold 70; lengths
    taken as independent give one that is wrong by more than that."""
    found, told_se, alone_se = [], [], []
    for seed in range(60):
        rng = np.random.default_rng(seed)
        own, age = rng.normal(70, 8, 40), np.linspace(2, 16, 8)
        length = own[:, None] * -np.expm1(-0.15 * age) + rng.normal(0, 1, (40, 8))
        ages, who = np.tile(age, 40), np.repeat(np.arange(40), 8)
        told = fit_length_at_age(ages, length.ravel(), who)
        found.append(told.asymptote_mm)
        told_se.append(told.se["asymptote_mm"])
        alone_se.append(fit_length_at_age(ages, length.ravel()).se["asymptote_mm"])
    held = np.abs(np.array(found) - 70) < 1.96 * np.array(told_se)
    assert held.sum() >= 50
    assert np.mean(told_se) == pytest.approx(np.std(found), rel=0.25)
    assert np.mean(alone_se) != pytest.approx(np.std(found), rel=0.25)


def test_ages_of_released_animals_run_in_growing_time():
    """Released at the age of 2 on 1 April, met three calendar years later: aged 5."""
    table = pd.DataFrame({"animal": ["a", "a", "b"], "day": [737516.0, 737516.0 + 1096, 737516.0],
                          "length_mm": [20.0, 40.0, 21.0], "age": [2, 2, None],
                          "released_on": [737516.0, 737516.0, 737516.0]})
    told = lengths_at_age(table, (4, 10))
    assert list(told["animal"]) == ["a", "a"]
    assert told["age"].to_numpy() == pytest.approx([2, 5], abs=0.02)


def test_too_few_ages_give_no_curve():
    with pytest.raises(CannotCompute, match="length at age cannot be told from 4 lengths at 2 a"):
        fit_length_at_age([1, 1, 2, 2], [10, 11, 20, 21])


def test_growth_that_does_not_slow_down_gives_no_curve():
    age = np.arange(1.0, 13.0)
    with pytest.raises(CannotCompute, match="growth that does not slow down within these ages"):
        fit_length_at_age(age, 5 * age + 0.2 * age**2)


def least_squares(data):
    """Asymptote and rate from increments with the measured first length taken as true."""
    at = np.repeat(data.first[:-1], np.diff(data.first))
    use = data.elapsed > 0
    years, begun, later = data.elapsed[use], data.length[at][use], data.length[use]
    best = (np.inf, 0.0, 0.0)
    for rate in np.linspace(0.08, 0.25, 341):
        part = -np.expm1(-rate * years)
        top = (part @ (later - begun + begun * part)) / (part @ part)
        best = min(best, (float(((later - begun - (top - begun) * part) ** 2).sum()), top, rate))
    return best[1:]


def test_direction_of_the_bias_of_least_squares():
    """See shared/checks/increments.yaml: no error, no bias; error pulls the asymptote down and the
    rate up; own asymptotes the other way round. Directions only."""
    known = case("increments")["least_squares"]
    exact = least_squares(measured(np.random.default_rng(0), animals=300, kind="chosen sizes",
                                   asymptote_sd=0, error=0))
    assert exact == pytest.approx((known[0]["asymptote_mm"], known[0]["rate_per_year"]), abs=1e-6)
    error = least_squares(measured(np.random.default_rng(1), animals=4000, kind="chosen sizes",
                                   asymptote_sd=0))
    own = least_squares(measured(np.random.default_rng(2), animals=4000, error=0))
    for found, row in ((error, known[1]), (own, known[2])):
        assert (found[0] > 70) == (row["asymptote_mm"] > 70)
        assert (found[1] > 0.15) == (row["rate_per_year"] > 0.15)
        assert abs(found[0] - 70) > 0.8

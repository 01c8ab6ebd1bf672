"""Sampling designs against published surveys and against every outcome of small ones."""

from fractions import Fraction
from itertools import combinations

import numpy as np
import pytest

from pva.estimate.designs import (
    Stratum,
    allocation,
    double_ratio,
    double_regression,
    simple,
    stratified,
    systematic,
)
from pva.files import read_yaml, shipped


def case(name):
    return read_yaml(shipped(f"shared/checks/{name}.yaml"))[0]


def test_stratified_mean_and_total():
    """Scheaffer, Mendenhall & Ott (design read, data from memory and checked): 27.7, 1.97, 2.8."""
    known = case("strata_hours")
    told = stratified([Stratum(np.array(s["values"]), np.ones(len(s["values"])), s["units"])
                       for s in known["strata"]])
    units = sum(s["units"] for s in known["strata"])
    assert round(told.value, 1) == known["published"]["mean"]
    assert round(told.variance, 2) == known["published"]["variance"]
    assert round(2 * told.se, 1) == known["published"]["bound"]
    assert told.value == pytest.approx(known["mean"], abs=1e-9)
    assert told.variance == pytest.approx(known["variance"], abs=5e-6)
    assert 2 * told.se == pytest.approx(known["bound"], abs=5e-5)
    assert units * told.value == pytest.approx(known["total"], abs=1e-6)
    assert 2 * units * told.se == pytest.approx(known["total_bound"], abs=0.05)


def test_best_shares_of_units_at_unequal_cost():
    """The weights are read in an open class note, the shares follow from them."""
    known = case("allocation")
    shares = allocation(known["units"], known["units_in_stratum"], known["spread"],
                        costs=known["cost"])
    assert shares == pytest.approx(known["shares"], abs=5e-4)
    assert shares / shares.sum() * sum(known["weights"]) == pytest.approx(known["weights"],
                                                                          abs=5e-3)
    # at equal cost the last stratum would get more than the first
    even = allocation(known["units"], known["units_in_stratum"], known["spread"])
    assert even[2] > even[0] > shares[2]


def test_ratio_estimator_of_cities():
    """Cochran 1977 (from memory, checked): 28,397 by the ratio, 25,048 by mere expansion."""
    known = case("city_ratio")
    by_ratio = simple([known["counted"]], [known["size"]]).value * known["size_of_all"]
    assert by_ratio == pytest.approx(known["total_by_ratio"], abs=0.005)
    expanded = simple([known["counted"]], [known["sampled"]]).value * known["cities"]
    assert expanded == pytest.approx(known["total_by_expansion"], abs=1e-6)
    assert abs(by_ratio - known["true_total"]) < abs(expanded - known["true_total"])


def test_two_of_six_random_starts_every_outcome():
    """Exactly unbiased, as is its variance: total 25, variance 112.4."""
    known = case("systematic_starts")
    totals = known["totals_by_start"]
    made = [systematic([totals[i] for i in drawn], [1.0] * len(drawn), drawn,
                       possible=len(totals))
            for drawn in combinations(range(len(totals)), known["starts_drawn"])]
    whole = np.array([m.value for m in made]) * len(totals)
    assert len(made) == 15
    assert whole.mean() == pytest.approx(known["total"], abs=1e-9)
    assert whole.var() == pytest.approx(known["variance"], abs=1e-9)
    told = np.array([m.variance for m in made]) * len(totals) ** 2
    assert told.mean() == pytest.approx(known["variance"], abs=1e-9)
    # a wrong rule, variance as if all starts were there to be drawn without end, is found out
    endless = [systematic([totals[i] for i in drawn], [1.0] * len(drawn), drawn).variance
               for drawn in combinations(range(len(totals)), known["starts_drawn"])]
    assert np.mean(endless) * len(totals) ** 2 == pytest.approx(known["variance"] * 1.5)


def outcomes(known, method=double_ratio):
    surface, counts = np.array(known["surface"]), np.array(known["counts"])
    for seen in combinations(range(len(surface)), known["looked_over"]):
        for dug in combinations(range(len(seen)), known["dug"]):
            own = list(seen)
            yield method(surface[own], 1.0, np.isin(range(len(own)), dug), counts=counts[own],
                         whole_units=len(surface))


def exact(known):
    surface, counts = known["surface"], known["counts"]
    values = []
    for seen in combinations(range(len(surface)), known["looked_over"]):
        for dug in combinations(seen, known["dug"]):
            values.append(Fraction(sum(counts[i] for i in dug), sum(surface[i] for i in dug))
                          * Fraction(sum(surface[i] for i in seen), len(seen)))
    mean = sum(values) / len(values)
    return mean, sum((v - mean) ** 2 for v in values) / len(values)


def test_double_sampling_ratio_every_outcome():
    """90 outcomes, also in whole fractions: expectation 6.140196 where 6.166667 is true, variance
    0.941907. The counts of the six units were found by trying; see the case."""
    known = case("double_sampling")
    values = np.array([m.value for m in outcomes(known)])
    mean, variance = exact(known)
    assert values.size == 90
    assert values.mean() == pytest.approx(float(mean), abs=1e-12)
    assert values.var() == pytest.approx(float(variance), abs=1e-12)
    assert (float(mean), float(variance)) == pytest.approx(
        (known["expectation"], known["variance"]), abs=5e-7)
    assert np.mean(known["counts"]) == pytest.approx(known["true_mean"], abs=5e-7)
    # wrong rules: the units dug alone are exactly unbiased, but vary more
    alone = [np.mean([known["counts"][i] for i in dug])
             for seen in combinations(range(6), known["looked_over"])
             for dug in combinations(seen, known["dug"])]
    assert np.mean(alone) == pytest.approx(known["true_mean"], abs=5e-7)
    assert np.var(alone) > 2 * known["variance"]


def test_double_regression_is_exact_where_the_surface_misses_a_fixed_part():
    known = dict(case("double_sampling"), surface=[0, 1, 2, 3, 4, 5],
                 counts=[3, 5, 7, 9, 11, 13], dug=3)
    for told in outcomes(known, double_regression):
        assert told.relation == pytest.approx(0.0, abs=1e-12)
    assert np.mean([t.value for t in outcomes(known, double_regression)]) == pytest.approx(8.0)
    assert np.mean([t.value for t in outcomes(known)]) != pytest.approx(8.0, abs=0.05)


def test_nothing_at_the_surface_gives_no_ratio():
    with pytest.raises(ValueError, match="nothing was seen at the surface of the units dug"):
        double_ratio([0, 0, 1], 1.0, [True, True, False], counts=[2, 1, 0])


def test_units_of_unequal_size():
    told = simple([2, 4, 6], [1.0, 2.0, 3.0])
    assert (told.value, told.variance) == pytest.approx((2.0, 0.0))
    assert simple([3], [1.0]).variance is None

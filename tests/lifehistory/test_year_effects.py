"""Correlated years: the pair correlation is rate part x site part, whatever else is there."""

import numpy as np
import pytest

from pva.lifehistory.year_effects import factors, mix, rate_correlation, site_factors

EFFECTS = ["survival/adult", "survival/young", "recruitment/per_adult"]
SITES = ["Quillstone", "Tallow", "Osprey"]


def correlations(mixing, pairs):
    """Implied correlation matrix of pairs from cell weights."""
    weights = np.zeros((len(pairs), len(mixing.cells)))
    for i, pair in enumerate(pairs):
        for cell, weight in mixing.pairs[pair]:
            weights[i, cell] += weight
    return weights @ weights.T


@pytest.mark.parametrize("rates", [0.0, 0.3, 1.0, -0.2, "matrix"])
@pytest.mark.parametrize("sites", [0.0, 0.7, 1.0, "distance"])
def test_pair_correlation_is_the_product(rates, sites):
    between, by_km = rates, None
    if rates == "matrix":
        between = {(EFFECTS[0], EFFECTS[1]): 0.5, (EFFECTS[2], EFFECTS[0]): -0.3}
    if sites == "distance":
        sites, by_km = None, 12.0
    km = [3.0, 10.0, 31.0]
    mixing = mix(EFFECTS, rate_correlation(EFFECTS, between),
                 site_factors(SITES, river_km=km, between_sites=sites, distance_km=by_km))
    pairs = [(e, s) for e in EFFECTS for s in SITES]
    found = correlations(mixing, pairs)

    def rate_part(a, b):
        if a == b:
            return 1.0
        if rates == "matrix":
            return between.get((a, b), between.get((b, a), 0.0))
        return rates

    def site_part(a, b):
        if a == b:
            return 1.0
        if by_km:
            return np.exp(-abs(km[SITES.index(a)] - km[SITES.index(b)]) / by_km)
        return sites

    wanted = np.array([[rate_part(a, c) * site_part(b, d) for c, d in pairs] for a, b in pairs])
    assert found == pytest.approx(wanted, abs=1e-12)


def test_contradicting_correlations_are_refused():
    between = {(EFFECTS[0], EFFECTS[1]): 0.9, (EFFECTS[1], EFFECTS[2]): 0.9,
               (EFFECTS[0], EFFECTS[2]): -0.9}
    with pytest.raises(ValueError, match=r"survival/adult, survival/young, recruitment/per_adult "
                                         r"contradict each other: their matrix is not positive "
                                         r"definite"):
        factors(EFFECTS, rate_correlation(EFFECTS, between))
    with pytest.raises(ValueError, match="contradict each other"):
        factors(EFFECTS, -0.6)  # three cannot all go so much against each other


def test_a_new_name_keeps_the_factors_of_the_others():
    for correlation in (0.0, 0.4, 1.0):
        few, many = factors(SITES[:2], correlation), factors([SITES[2], *SITES[:2]], correlation)
        assert {n: many[n] for n in few} == few


def test_no_names_no_cells():
    places = site_factors(SITES, river_km=[None] * 3, between_sites=1.0, distance_km=None)
    assert mix([], rate_correlation([], {}), places).cells == ()


def along(scale, **km):
    return site_factors(list(km), river_km=list(km.values()), between_sites=None,
                        distance_km=scale)


@pytest.mark.parametrize("scale", [0.05, 3.0, 20.0, 700.0])
def test_correlation_along_the_river_is_exact_at_any_distance_and_scale(scale):
    km = {"a": -3.2, "b": 0.0, "c": 0.001, "d": 7.0, "e": 7.003, "f": 512.25, "g": 1024.0}
    weights = along(scale, **km)
    for one, x in km.items():
        for other, y in km.items():
            found = sum(w * weights[other].get(mark, 0.0) for mark, w in weights[one].items())
            assert found == pytest.approx(np.exp(-abs(x - y) / scale), abs=1e-11), (one, other)


def test_luck_along_the_river_depends_on_the_place_alone():
    few, many = along(10.0, a=3.0, b=9.5), along(10.0, new=5.0, b=9.5, mouth=0.0, a=3.0, up=80.0)
    assert {n: many[n] for n in few} == few
    same_place = along(10.0, left=4.0, right=4.0)
    assert same_place["left"] == same_place["right"]
    # wrong: mixing by the root of the whole matrix shifts the sites written after the new one
    km = np.array([5.0, 3.0, 9.5])
    root = np.linalg.cholesky(np.exp(-np.abs(km[:, None] - km) / 10.0))
    assert root[1:, 1:] != pytest.approx(np.linalg.cholesky(
        np.exp(-np.abs(km[1:, None] - km[1:]) / 10.0)))


def test_the_order_of_writing_rates_does_not_matter():
    between = {(EFFECTS[0], EFFECTS[1]): 0.5, (EFFECTS[2], EFFECTS[0]): -0.3}
    turned = [EFFECTS[2], EFFECTS[0], EFFECTS[1]]
    one, other = (factors(order, rate_correlation(order, between)) for order in (EFFECTS, turned))
    assert one == other
    more = [*turned, "another rate"]  # correlated with none, and last or first by name
    assert {n: w for n, w in factors(more, rate_correlation(more, between)).items()
            if n in one} == one


@pytest.mark.parametrize("name", ["shared", "shared by all"])
def test_any_name_will_do(name):
    weights = factors([name, "Tallow"], 0.5)
    assert sum(w**2 for w in weights[name].values()) == pytest.approx(1)
    assert weights[name].keys() & weights["Tallow"].keys() and len(weights[name]) == 2

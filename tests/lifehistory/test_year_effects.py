"""Correlated years: the pair correlation is rate part x site part, whatever else is there."""

import numpy as np
import pytest

from pva.lifehistory.year_effects import factors, mix, rate_correlation, site_correlation

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
    mixing = mix(EFFECTS, SITES, rate_correlation(EFFECTS, between),
                 site_correlation(km, sites, by_km))
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
    assert mix([], SITES, rate_correlation([], {}), 1.0).cells == ()


@pytest.mark.parametrize("name", ["shared", "shared by all"])
def test_any_name_will_do(name):
    weights = factors([name, "Tallow"], 0.5)
    assert sum(w**2 for w in weights[name].values()) == pytest.approx(1)
    assert weights[name].keys() & weights["Tallow"].keys() and len(weights[name]) == 2

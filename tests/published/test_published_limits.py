"""Closed forms of the limits against iteration; numbers in shared/checks/limits.yaml."""

import numpy as np
import pytest

from pva.files import read_yaml, shipped
from pva.model.analysis import net_reproductive_rate
from pva.model.equilibria import (
    adult_years_per_recruit,
    beverton_holt_adults,
    fertilisation_threshold,
    host_limited_adults,
    ricker_adults,
    stages_at_rest,
)


@pytest.fixture(scope="module")
def case():
    return read_yaml(shipped("shared/checks/limits.yaml"))[0]


def test_ricker(case):
    rule = case["ricker"]
    a, b = rule["recruits_per_adult"], rule["crowding"]
    rest = ricker_adults(a, crowding_adults=1 / b)
    assert rest == pytest.approx(rule["equilibrium"], abs=5e-5)
    assert a * rest * np.exp(-b * rest) == pytest.approx(rest, rel=1e-12)
    slope = a * np.exp(-b * rest) * (1 - b * rest)
    assert slope == pytest.approx(rule["slope"], abs=5e-6)
    peak = rule["peak_at"]
    assert a * peak * np.exp(-b * peak) == pytest.approx(rule["peak"], abs=5e-5)


def test_beverton_holt(case):
    rule = case["beverton_holt"]
    rest = beverton_holt_adults(rule["recruits_per_adult"], crowding_adults=1 / rule["crowding"])
    assert rest == pytest.approx(rule["equilibrium"], abs=1e-12)
    n = rule["start"]
    for _ in range(12):
        n = rule["recruits_per_adult"] * n / (1 + rule["crowding"] * n)
    assert n == pytest.approx(rule["after_12"], abs=5e-10)


def test_beverton_holt_in_three_stages(case):
    rule = case["beverton_holt_three_stage"]
    U = np.array(rule["survival_and_growth"])
    F = np.zeros((3, 3))
    F[0, 2] = rule["recruits_per_adult"]
    adults = np.array([False, False, True])
    replacement = net_reproductive_rate(U, F)
    at_rest = beverton_holt_adults(replacement, crowding_adults=1 / rule["crowding"])
    found = stages_at_rest(
        U, F, adults=adults, adults_at_rest=at_rest, net_reproductive_rate=replacement
    )
    assert found == pytest.approx(rule["equilibrium"], rel=1e-7)
    state = np.array([1.0, 1, 1])
    for _ in range(3000):
        state = U @ state + F @ state / (1 + rule["crowding"] * state[2])
    assert found == pytest.approx(state, rel=1e-9)


def test_hosts_saturated(case):
    rule = case["hosts_saturated"]
    years = adult_years_per_recruit(np.array([[rule["survival"]]]), adults=np.array([True]))
    for row in rule["contacts"]:
        rest = {
            "adult_years": years,
            "glochidia_per_adult": rule["glochidia_per_adult"],
            "attached_share": row["contact"] * rule["capacity"],
            "capacity": rule["capacity"],
            "settled_share": rule["settled"],
        }
        found = host_limited_adults(hosts=rule["hosts"], **rest)
        assert found == pytest.approx(row["equilibrium"], abs=5e-7)
        assert host_limited_adults(hosts=3 * rule["hosts"], **rest) == pytest.approx(3 * found)
    assert host_limited_adults(hosts=0, **rest) == 0


def test_hosts_saturated_is_where_iteration_ends_from_few_and_from_many(case):
    rule = case["hosts_saturated"]
    s, settled, c, hosts = (rule[k] for k in ("survival", "settled", "capacity", "hosts"))
    found = host_limited_adults(
        adult_years=1 / (1 - s), glochidia_per_adult=30_000, attached_share=1.2e-4, capacity=c,
        hosts=hosts, settled_share=settled,
    )
    for n in (5.0, 50_000.0):
        for _ in range(2000):
            n = s * n + settled * c * hosts * (1 - np.exp(-30_000 * n * 1.2e-4 / hosts / c))
        assert n == pytest.approx(found, rel=1e-9)


def test_fertilisation_threshold(case):
    rule = case["fertilisation_threshold"]
    replacement = rule["recruits_per_adult"] / (1 - rule["survival"])
    found = fertilisation_threshold(replacement, scale=rule["scale"])
    assert found == pytest.approx(rule["threshold"], abs=5e-7)
    for start, rises in ((found - 0.1, False), (found + 0.1, True)):
        share = 1 - np.exp(-start / rule["scale"])
        later = rule["survival"] * start + rule["recruits_per_adult"] * start * share
        assert bool(later > start) == rises
    shares = 1 - np.exp(-np.array(case["fertilised_share"]["crowd"]))
    assert shares == pytest.approx(case["fertilised_share"]["share"], abs=5e-7)


def test_fertilisation_threshold_by_half_density():
    assert fertilisation_threshold(3.0, half_density=0.4) == pytest.approx(0.2)
    assert fertilisation_threshold(0.9, half_density=0.4) is None
    with pytest.raises(ValueError, match="give either half_density or scale"):
        fertilisation_threshold(3.0)

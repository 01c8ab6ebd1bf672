"""Limits on recruitment with all chance off: closed-form rests and the limits of the host chain.

Closed forms: shared/checks/limits.yaml (derived; Beverton & Holt 1957, Ricker 1954 from memory).
"""

import numpy as np
import pytest
from questions import OFF, adults, mean_classes, resolve, tallies, total

from pva.files import read_yaml, shipped
from pva.model.equilibria import host_limited_adults

LIMITS = read_yaml(shipped("shared/checks/limits.yaml"))[0]


def one_stage(survival, young, *, years, start, **written):
    return resolve(years=years, start={"animal": start}, chance=OFF, matrix={
        "stages": ["animal"], "adults": ["animal"], "survival_and_growth": [[survival]],
        "recruitment": [[young]]}, **written)


def test_beverton_holt_by_year_and_at_rest():
    # N' = 3 N / (1 + .01 N) from 5: 200 at rest
    case = LIMITS["beverton_holt"]
    scenario = one_stage(0, 3, years=60, start=5, limits={"beverton_holt": {"adults": 100}})
    found = adults(tallies(scenario, 1))[0]
    assert found[12] == pytest.approx(case["after_12"], rel=1e-10)
    assert found[-1] == pytest.approx(case["equilibrium"], rel=1e-12)


def test_beverton_holt_in_three_stages():
    case = LIMITS["beverton_holt_three_stage"]
    scenario = resolve(
        years=800, start={"adult": 5}, chance=OFF, limits={"beverton_holt": {"adults": 50}},
        matrix={"stages": ["juvenile", "subadult", "adult"], "adults": ["adult"],
                "survival_and_growth": case["survival_and_growth"],
                "recruitment": [[0, 0, case["recruits_per_adult"]], [0, 0, 0], [0, 0, 0]]})
    assert mean_classes(scenario)[-1] == pytest.approx(case["equilibrium"], rel=1e-7)


def test_ricker_at_rest():
    case = LIMITS["ricker"]
    scenario = one_stage(0, 3, years=60, start=5, limits={"ricker": {"adults": 100}})
    assert adults(tallies(scenario, 1))[0, -1] == pytest.approx(case["equilibrium"], rel=1e-6)
    peak = one_stage(0, 3, years=1, start=100, limits={"ricker": {"adults": 100}})
    assert adults(tallies(peak, 1))[0, 1] == pytest.approx(case["peak"], rel=1e-6)


# the host chain


def chain(*, years=1, start=100.0, fish=10.0, site=None, bad_years=None, **parts):
    """One stage of adults; 1,000 m2; recruits enter as adults, so one number is the state."""
    host = {"name": "drum", "suitability": 1.0, "contact": 0.05} | parts.pop("host", {})
    recruitment = {
        "females": 1.0, "gravid": 1.0, "glochidia": 30000, "attachment": 1e-3, "settlement": 0.05,
        "hosts": [host],
    } | parts
    return resolve(
        years=years, chance=OFF, stages=[{"name": "adult", "breeds": True}],
        survival={"adult": 0.9}, recruitment=recruitment,
        bad_years=bad_years or {"none": "test"},
        sites=[{"name": "Quillstone", "area_m2": 1000, "start": {"adult": start},
                "hosts": {"drum": {"per_100m2": fish}}} | (site or {})])


def recruits(scenario):
    return total(tallies(scenario, 1), "recruits")[0, 1]


def test_few_glochidia_are_linear_in_adults():
    few, twice = (recruits(chain(start=n, host={"capacity": 500})) for n in (1e-6, 2e-6))
    assert twice / few == pytest.approx(2, rel=1e-6)
    crowded, more = (recruits(chain(start=n, host={"capacity": 500})) for n in (2e3, 4e3))
    assert more / crowded < 1.9  # where hosts fill up it is not


def test_many_glochidia_depend_on_fish_and_not_on_adults():
    many = {n: recruits(chain(start=n, host={"capacity": 8})) for n in (1e7, 1e8)}
    assert many[1e7] == pytest.approx(many[1e8], rel=1e-9)
    assert many[1e8] == pytest.approx(100 * 8 * 0.05, rel=1e-9)  # 100 fish at 10 per 100 m2
    assert recruits(chain(start=1e8, fish=25, host={"capacity": 8})) == pytest.approx(
        2.5 * many[1e8], rel=1e-9)


def test_no_fish_no_recruits():
    assert recruits(chain(fish=0)) == 0
    blocked = chain(site={"hosts": {"drum": {"until": 2000, "blocked": True,
                                            "then_per_100m2": 10}}}, years=3)
    found = total(tallies(blocked, 1), "recruits")[0]
    assert found[1] == 0 and found[2] > 0  # the year that begins at the census of 2000 is blocked
    dry = chain(bad_years=[{"name": "dry", "years": [2000], "hosts": 0}], years=2)
    found = total(tallies(dry, 1), "recruits")[0]
    assert found[1] == 0 and found[2] > 0


@pytest.mark.parametrize("attachment", [1e-4, 0.1, 1.0])
@pytest.mark.parametrize("fish", [0.1, 10, 1e4])
def test_never_more_attached_than_released(attachment, fish):
    for capacity in ({}, {"capacity": 1e7}):
        found = tallies(chain(attachment=attachment, fish=fish, host=capacity), 1)
        attached = total(found, "glochidia_attached")[0, 1]
        assert 0 < attached <= 100 * 30000 * attachment
    everything = 100 * 30000 * attachment * -np.expm1(-0.05 * fish)
    found = tallies(chain(attachment=attachment, fish=fish), 1)
    assert total(found, "glochidia_attached")[0, 1] == pytest.approx(everything, rel=1e-12)


def test_hosts_share_glochidia_by_contact_and_density():
    """Two hosts alike are one host of their joint density; an unsuitable one only takes away."""
    def two(first, second, suitability=1.0):
        hosts = [{"name": n, "suitability": s, "contact": 0.05, "capacity": 40}
                 for n, s in (("drum", 1.0), ("perch", suitability))]
        return recruits(chain(hosts=hosts, site={"hosts": {
            "drum": {"per_100m2": first}, "perch": {"per_100m2": second}}}))

    alone = recruits(chain(host={"capacity": 40}))
    assert two(4, 6) == pytest.approx(alone, rel=1e-12)
    assert two(10, 0) == pytest.approx(alone, rel=1e-12)
    assert two(4, 6, suitability=0) == pytest.approx(0.4 * alone, rel=1e-12)
    assert two(10, 6, suitability=0) < alone


@pytest.mark.parametrize("start", [3, 5000])
@pytest.mark.parametrize("fish", [20, 60])
def test_hosts_saturated_at_rest(start, fish):
    """The rest is that of the closed form: proportional to fish, whatever was stocked."""
    case = LIMITS["hosts_saturated"]
    met = -np.expm1(-0.05 * fish)
    scenario = chain(years=900, start=start, fish=fish, attachment=0.0016 / met,
                     glochidia=case["glochidia_per_adult"], settlement=case["settled"],
                     host={"capacity": case["capacity"]})
    exact = host_limited_adults(
        adult_years=10, glochidia_per_adult=case["glochidia_per_adult"], attached_share=0.0016,
        capacity=case["capacity"], hosts=10 * fish, settled_share=case["settled"])
    assert exact == pytest.approx(800 * fish / 20, rel=1e-8)  # kappa 24: derived in the case file
    assert adults(tallies(scenario, 1))[0, -1] == pytest.approx(exact, rel=1e-8)


def test_a_population_below_replacement_ends_with_hosts_to_spare():
    scenario = chain(years=900, start=800, fish=20, attachment=0.5 / 24 * 0.0016 / 0.632121,
                     host={"capacity": 8})
    assert adults(tallies(scenario, 1))[0, -1] < 1e-6


def test_immunity_follows_last_years_load():
    half = {"capacity": 1e9, "immunity": {"most": 0.8, "half_load": 1000.0}}
    primed = total(tallies(chain(years=2, host=half), 1), "recruits")[0]
    plain = total(tallies(chain(years=1, host={"capacity": 1e9}), 1), "recruits")[0]
    load = 100 * 30000 * 1e-3 * -np.expm1(-0.5) / 100
    assert primed[1] == pytest.approx(plain[1], rel=1e-6)  # nothing was offered before
    immune = 0.8 * (1 - 2 ** (-load / 1000))
    now = (0.9 * 100 + primed[1]) / 100 * plain[1]
    assert primed[2] == pytest.approx(now * (1 - immune), rel=1e-6)


def test_fertilisation_threshold():
    # N' = .9 N + .3 N (1 - exp(-.01 N)): 40.546511 divides decline from increase
    case = LIMITS["fertilisation_threshold"]
    young = case["recruits_per_adult"] / (30000 * 1e-3 * -np.expm1(-0.5))
    for start, grows in ((40.5, False), (40.6, True)):
        scenario = chain(years=5, start=start, settlement=young,
                         fertilised={"scale": case["scale"] / 1000})
        found = adults(tallies(scenario, 1))[0]
        assert (found[-1] > found[0]) == grows
    at_rest = chain(years=1, start=case["threshold"], settlement=young,
                    fertilised={"scale": case["scale"] / 1000})
    found = adults(tallies(at_rest, 1))[0]
    assert found[1] == pytest.approx(found[0], rel=1e-7)

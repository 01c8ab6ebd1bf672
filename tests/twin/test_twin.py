"""The engine against its plain-Python twin, and both against sums done by hand.

The twin (twin.py) is written from the design and reads the scenario itself; it shares with the
engine only the addressed random numbers, the parameter draws and the matching of link scales.
"""

from dataclasses import replace

import pytest
from comparing import differences, engine_runs
from hypothesis import HealthCheck, given, reject, seed, settings
from plain_random import INDIVIDUALS, Luck, replicate_key, stream
from random_scenarios import scenarios
from twin import Twin, simulate

from pva.errors import CannotCompute
from pva.lifehistory.rates import POSITIVE, PROBABILITY, Rate
from pva.scenario.resolved import (
    AFTER,
    BEFORE,
    LOST,
    BadYear,
    Chance,
    Collection,
    Host,
    HostDensity,
    Limits,
    Movement,
    QuasiExtinction,
    Recruitment,
    Release,
    Repeat,
    Resolved,
    Runs,
    Site,
    Stage,
    Start,
    Until,
)

SEED = 3
QUIET = {"deadline": None, "database": None,
         "suppress_health_check": [HealthCheck.too_slow, HealthCheck.filter_too_much,
                                   HealthCheck.data_too_large, HealthCheck.large_base_example]}


def check(resolved):
    try:
        found = differences(resolved, SEED, simulate)
    except CannotCompute:  # a calibration that no share can reach is refused, as it should be
        reject()
    assert not found, "\n".join(found[:5])


@seed(20260101)
@settings(max_examples=90, **QUIET)
@given(scenarios())
def test_engine_equals_twin(resolved):
    check(resolved)


@pytest.mark.slow
@seed(20260102)
@settings(max_examples=1200, **QUIET)
@given(scenarios())
def test_engine_equals_twin_many(resolved):
    check(resolved)


# by hand


def chance_of(key, value):
    return Rate(key, PROBABILITY, value, effect=key)


def number_of(key, value):
    return Rate(key, POSITIVE, value, effect=key)


def two_stages(**changes):
    """Young that grow up with chance .4 a year, adults with .6 young each."""
    site = Site(
        "Quillstone", Start({"young": number_of("start/young", 100),
                             "adult": number_of("start/adult", 50)}),
        {"young": chance_of("survival/young", 0.5), "adult": chance_of("survival/adult", 0.8)},
        {"young": {"adult": chance_of("growth/young/adult", 0.4)}},
        Recruitment("young", per_adult=number_of("per_adult", 0.6)), area_m2=100.0,
    )
    site = replace(site, **{k: changes.pop(k) for k in list(changes) if hasattr(site, k)})
    plain = {
        "title": "by hand", "first": 2026, "last": 2028, "census": BEFORE,
        "stages": (Stage("young"), Stage("adult", breeds=True, adult=True)), "sites": (site,),
        "quasi_extinction": QuasiExtinction(1, 2027), "chance": Chance(False, False, False),
        "runs": Runs(draws=1, replicates=1),
    }
    return Resolved(**(plain | changes))


def numbers(resolved, origin="wild", site="Quillstone"):
    """Per census the animals of an origin by class; engine and twin must agree first."""
    assert not differences(resolved, SEED, simulate)
    (years,) = engine_runs(resolved, SEED).values()
    return [list(stock[origin][site].values()) for stock, _ in years]


def tallies(resolved, name, site="Quillstone"):
    (years,) = engine_runs(resolved, SEED).values()
    return [flow[site][name] for _, flow in years]


def test_a_projection_a_calculator_reproduces():
    scenario = two_stages(
        collections=(Collection("taken", "Quillstone", "adult", {2026: 10}),),
        releases=(Release("put", "Quillstone", "young", {2026: 20}, delivered_mean=0.9,
                          delivered_sd=0.1, cost_each=2.0,
                          first_year_survival=chance_of("release", 0.7)),),
    )
    # 2026: 40 of 50 adults are left and breed: 24 recruits.
    #   100 young: 50 live, 20 of them grow up; 40 adults: 32 live. Wild in 2027: 30 + 24, 20 + 32.
    #   20 x .9 = 18 released, 12.6 live, 5.04 grow up.
    # 2027: 57.04 adults breed: 34.224 recruits. Wild: 54 x .5 x .6 + 34.224, 10.8 + 41.6.
    assert numbers(scenario) == [
        pytest.approx([100, 50]), pytest.approx([54, 52]), pytest.approx([50.424, 52.4])]
    assert numbers(scenario, "stocked") == [
        pytest.approx([0, 0]), pytest.approx([7.56, 5.04]), pytest.approx([2.268, 5.544])]
    assert tallies(scenario, "recruits") == pytest.approx([0, 24, 34.224])
    assert tallies(scenario, "adult_deaths") == pytest.approx([0, 8, 57.04 * 0.2])
    assert tallies(scenario, "reached_adult") == pytest.approx([0, 20, 10.8])  # wild ones only
    assert tallies(scenario, "cost") == pytest.approx([0, 36, 36])


def test_census_after_breeding_by_hand():
    # 50 young and 40 adults live, 20 young grow up: 60 adults breed, 36 recruits
    assert numbers(two_stages(census=AFTER))[1] == pytest.approx([66, 60])


def test_bad_year_limits_and_movement_by_hand():
    bad = BadYear("flood", years=(2026,), survival={"young": 0.5, "adult": 1.0}, recruitment=0.1)
    away = Movement("adult", "Quillstone", LOST, chance_of("away", 0.25))
    scenario = two_stages(
        bad_years=(bad,), movement=(away,),
        limits=Limits(beverton_holt=50, ceiling_adults=30, ceiling_animals=40),
    )
    # 50 adults: .6 x 50 x .1 / (1 + 50/50) = 1.5 recruits
    # young .25 x 100 = 25, 10 grow up: 15; adults 10 + 40 = 50, 12.5 leave: 37.5
    # ceiling on adults: 30; then all animals 16.5 + 30 = 46.5 down to 40, alike
    assert numbers(scenario)[1] == pytest.approx([16.5 * 40 / 46.5, 30 * 40 / 46.5])
    assert tallies(scenario, "recruits")[1] == pytest.approx(1.5)
    assert tallies(scenario, "adult_deaths")[1] == pytest.approx(10)  # movement is no death


def test_hosts_by_hand():
    drum = Host("drum", chance_of("suitability", 0.6), number_of("contact", 0.05),
                number_of("capacity", 4.0), immunity_most=0.5, immunity_half_load=2.0)
    chain = Recruitment(
        "young", females=chance_of("females", 0.5), gravid=chance_of("gravid", 0.8),
        glochidia=number_of("glochidia", 1000.0), attachment=chance_of("attachment", 0.01),
        settlement=chance_of("settlement", 0.1), hosts=(drum,),
    )
    scenario = two_stages(recruitment=chain,
                          hosts=(HostDensity("drum", number_of("density", 10.0)),))
    # 50 adults release 50 x .5 x .8 x 1000 = 20,000 glochidia; 10 fish on 100 m2;
    # met 1 - exp(-.05 x 10) = .3934693; load 20,000 x .01 x .3934693 / 10 = 7.869387 per fish;
    # carried 4 (1 - exp(-7.869387 / 4)) = 3.440691; recruits 10 x 3.440691 x .6 x .1 = 2.064414
    assert tallies(scenario, "recruits")[1] == pytest.approx(2.064414, rel=1e-6)
    assert tallies(scenario, "glochidia_attached")[1] == pytest.approx(34.40691, rel=1e-6)
    # next year 60 adults: load 9.443264, carried 3.622627; immunity of last year's load
    # .5 (1 - 2^(-7.869387 / 2)) = .4673029; recruits 10 x 3.622627 x .06 x .5326971
    assert tallies(scenario, "recruits")[2] == pytest.approx(1.157858, rel=1e-6)


def test_a_release_ends_when_its_rule_has_held_for_years_running():
    rule = Until("recruits", 10.0, running=2)
    scenario = two_stages(
        last=2032, bad_years=(BadYear("dry", years=(2027,), recruitment=0.0),),
        releases=(Release("put", "Quillstone", "young", dict.fromkeys(range(2026, 2032), 5.0),
                          until=rule),))
    assert not differences(scenario, SEED, simulate)
    # recruits at the censuses of 2027-2030: many, none, many, many: it holds from 2030 on, after
    # the release of 2029, and stays ended
    recruits = tallies(scenario, "recruits")
    assert [n >= 10 for n in recruits[1:5]] == [True, False, True, True]
    assert tallies(scenario, "released") == [0, 5, 5, 5, 5, 0, 0]


def test_a_release_is_repeated_when_few_are_left_and_arrives_after_its_lead():
    rule = Repeat("recruits", 9.0, last=2031)
    scenario = two_stages(
        last=2033, bad_years=(BadYear("dry", years=(2027, 2028, 2031), recruitment=0.0),),
        releases=(Release("put", "Quillstone", "young", {2026: 5.0}, order_lead=2, repeat=rule),))
    assert not differences(scenario, SEED, simulate)
    # no recruits at the censuses of 2028, 2029 and 2032, and none are known at the first; ordered
    # in 2028 and 2029, released in 2030 and 2031; the order of 2032 would come after 2031
    assert [n <= 9 for n in tallies(scenario, "recruits")[1:7]] == [
        False, True, True, False, False, True]
    assert tallies(scenario, "released") == [0, 5, 0, 0, 0, 5, 5, 0]


def test_one_animal_followed_by_hand():
    """One adult and one released young through the steps, with the luck read from its streams."""
    scenario = two_stages(
        start=Start({"adult": number_of("start/adult", 1)}),
        releases=(Release("put", "Quillstone", "young", {2026: 1}),),
        chance=Chance(False, False, True), last=2027,
    )
    own = Luck(replicate_key(SEED, INDIVIDUALS, 0, 0))

    def u(*words):
        return own.two_uniforms(stream(*words), 0)[0]

    # 1 environment: no bad years. 2 no collection; one young is released.
    # 3 the adult breeds; Poisson with mean .6: none up to exp(-.6) = .5488, one up to .8781
    assert u("recruitment", "Quillstone", "young") == pytest.approx(0.83926, abs=1e-5)
    recruits = 1
    # 4 the adult lives where u is above its chance of dying, .2
    assert u("survival", "wild", "Quillstone", "adult") == pytest.approx(0.52228, abs=1e-5)
    adults = 1
    # the released young has the ordinary survival of its stage: it lives where u is above .5
    assert u("release survival", "put", "young") == pytest.approx(0.70416, abs=1e-5)
    # 5 it would grow up where u is above .6; the recruit was not there to live or grow
    assert u("release growth", "put", "young to adult") == pytest.approx(0.29712, abs=1e-5)
    stocked_young = 1
    # 6 nobody moves; 7 no limits; 8 census
    assert numbers(scenario)[1] == [recruits, adults]
    assert numbers(scenario, "stocked")[1] == [stocked_young, 0]


def test_a_wrong_year_is_noticed():
    """The comparison can fail: a twin that lets this year's releases breed differs."""

    class Hasty(Twin):
        def release(self):
            found = super().release()
            for row in self.said.releases:
                for name, n in found.get(row.name, {}).items():
                    self.animals["stocked"][row.site][name] += n
            self.recruits = super().breed()
            for row in self.said.releases:
                for name, n in found.get(row.name, {}).items():
                    self.animals["stocked"][row.site][name] -= n
            return found

        def breed(self):
            return self.recruits

    scenario = two_stages(releases=(Release("put", "Quillstone", "adult", {2026: 5}),))
    assert not differences(scenario, SEED, simulate)
    found = differences(scenario, SEED, lambda *case: Hasty(*case).run())
    # 30 young stay, and .6 x 55 recruits instead of .6 x 50
    assert found[0].startswith("draw 0, replicate 0, census 2027: /wild/Quillstone/young: twin 63")

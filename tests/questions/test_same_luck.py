"""What is added shifts nobody's luck, and nothing that has not begun is called lost."""

from __future__ import annotations

import numpy as np
import pytest
from paired_futures import Futures, futures, written

from pva.decide.outcomes import outcomes, prepare
from pva.results.run import run
from pva.results.summary import run_summary
from pva.scenario.scenario import Scenario

EMPTY = {"name": "Empty Reach", "area_m2": 700, "river_km": 26,
         "start": {"project_from": "releases"}, "capacity_per_m2": 1,
         "hosts": {"main host": {"per_100m2": {"value": 10, "year_sd": 2}}}}
FAR = EMPTY | {"river_km": 90}
BETWEEN = {"one number": 0.7, "along the river": {"river_km": 12}, "alike": 1, "apart": 0}


def with_site(scenario: Scenario, site: dict, *, first: bool) -> Futures:
    data = scenario.written
    data["sites"] = [site, *data["sites"]] if first else [*data["sites"], site]
    return Futures(Scenario.from_dict(data), replicates=40)


@pytest.mark.parametrize("how", BETWEEN)
@pytest.mark.parametrize(("name", "individuals"), [("river", "on"), ("sites-moving", "off")])
def test_an_empty_site_shifts_nobody_wherever_it_is_written(name, individuals, how):
    data = written(name).written
    data["year_effects"]["between_sites"] = BETWEEN[how]
    data["chance"] = {"unknown": "off", "individuals": individuals}  # off: real numbers, all digits
    scenario = Scenario.from_dict(data)
    alone = Futures(scenario, replicates=40)
    for site in (EMPTY, FAR) if how == "along the river" else (EMPTY,):
        last, first = (with_site(scenario, site, first=f) for f in (False, True))
        assert np.array_equal(last.tallies[:, :, :2], alone.tallies)
        assert np.array_equal(first.tallies[:, :, 1:], alone.tallies)
        assert (first.of("animals", at="Empty Reach") == 0).all()
        assert (last.of("animals", at="Empty Reach") == 0).all()


def test_an_empty_site_with_other_hosts_written_first_moves_the_calibration_and_nothing_else():
    # a target with several hosts is split as at the first site of the base file (docs/equations.md)
    data = written("two-hosts").written
    other = EMPTY | {"hosts": {"main host": {"per_100m2": 3}, "poor host": {"per_100m2": 9}}}
    alone = Futures(Scenario.from_dict(data), replicates=10)
    last, first = (with_site(Scenario.from_dict(data), other, first=f) for f in (False, True))
    assert np.array_equal(last.tallies[:10, :, :2], alone.tallies)
    assert not np.array_equal(first.tallies[:10, :, 1:], alone.tallies)
    given = Futures(Scenario.from_dict(data | {"recruitment": settled(data)}), replicates=10)
    fixed = with_site(Scenario.from_dict(data | {"recruitment": settled(data)}), other, first=True)
    assert np.array_equal(fixed.tallies[:10, :, 1:], given.tallies)


def settled(data):
    return data["recruitment"] | {"settlement": 0.1}


def test_sites_may_be_written_in_any_order():
    data = written("river").written
    data["year_effects"]["between_sites"] = {"river_km": 12}
    usual = Futures(Scenario.from_dict(data), replicates=40)
    turned = Futures(Scenario.from_dict(data | {"sites": data["sites"][::-1]}), replicates=40)
    assert np.array_equal(usual.tallies, turned.tallies[:, :, ::-1])


@pytest.mark.parametrize("name", ["river", "host-returns-wait"])
def test_a_reintroduction_from_nothing_is_not_lost_before_its_clock(name):
    scenario = written(name).with_changes({"runs.replicates": 60})
    data = run(scenario, threads=1)
    clock = scenario.resolved.quasi_extinction.from_year
    assert float(data.adults_mean.sel(year=2026)) == 0
    for risk in ("extinction_chance", "quasi_extinction_chance"):
        assert (data[risk].sel(year=slice(None, clock - 1)) == 0).all(), risk
    summary = run_summary(data)
    assert summary["red_list_e"]["years_from"] == clock - 1
    assert summary["least_adults"] > 0
    later = prepare(scenario.with_changes({"quasi_extinction.from": clock + 5}).resolved,
                    seed=data.attrs["seed"], threads=1)
    found = outcomes(later)
    assert [g["chance"] for g in summary["goals"]] == [
        found[g["name"]].mean() for g in summary["goals"]], "goals have their own years"


def test_a_reintroduction_counted_from_its_first_day_is_called_lost():
    # the wrong clock: every future is below the threshold in the first year, and nothing is said
    # of what became of it
    wrong = run_summary(run(written("river").with_changes(
        {"quasi_extinction.from": 2026, "runs.replicates": 20})))
    assert wrong["extinction"]["chance"][0] == 1
    assert wrong["quasi_extinction"]["chance"][0] == 1


def test_nothing_released_is_lost_once_the_clock_runs():
    none = written("river").with_changes(
        {"releases.to Alder.number": 0, "releases.to Mill.number": 0, "runs.replicates": 4})
    summary = run_summary(run(none))
    clock = none.resolved.quasi_extinction.from_year
    assert clock == 2034, "the clock does not move with the number"
    chance = dict(zip(summary["years"], summary["extinction"]["chance"], strict=True))
    assert (chance[clock - 1], chance[clock]) == (0, 1)


def test_generations_of_criterion_e_run_from_the_last_release():
    # a river that dies out in one blow in the year after the last release
    blow = written("river").with_changes({
        "bad_years": [{"name": "spill", "years": [2040], "survival": 0,
                       "recruitment": 0}], "years.last": 2140,
        "runs.replicates": 4})
    found = run_summary(run(blow))
    rules = {r["category"]: r for r in found["red_list_e"]["rules"]}
    generation = found["generation_time_years"]
    assert rules["critically endangered"]["within_years"] == int(np.ceil(3 * generation))
    assert found["red_list_e"]["category"] == "critically endangered"
    assert futures("river").resolved.quasi_extinction.from_year == 2034

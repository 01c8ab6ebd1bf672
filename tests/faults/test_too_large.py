"""Runs and grids beyond any machine are refused before anything is made, with what they need."""

from __future__ import annotations

import tracemalloc
from dataclasses import replace
from pathlib import Path

import pytest

from pva.decide.grid import read_vary
from pva.errors import CannotCompute, FormError, PvaError
from pva.model.assemble import assemble
from pva.scenario import size
from pva.scenario.scenario import Scenario, read_scenario

TOP = Path(__file__).parents[2]
PLAIN = {
    "title": "A scenario for tests", "years": {"first": 2026, "last": 2056},
    "census": "before breeding",
    "stages": [{"name": "juvenile", "years": 2}, {"name": "adult", "breeds": True}],
    "survival": {"juvenile": 0.6, "adult": {"value": 0.93, "se": 0.02, "year_sd": 0.03}},
    "recruitment": {"per_adult": 0.4}, "start": {"adult": 100}, "bad_years": {"none": "a test"},
    "quasi_extinction": {"adults_below": 20}, "runs": {"draws": 10, "replicates": 10, "seed": 1},
}


@pytest.fixture(autouse=True)
def a_machine_of_16_gb(monkeypatch):
    monkeypatch.setattr(size, "memory_of_machine", lambda: 16e9)


def refused(**changed) -> str:
    tracemalloc.start()
    with pytest.raises(PvaError) as caught:
        Scenario.from_dict(PLAIN | changed)
    most = tracemalloc.get_traced_memory()[1]
    tracemalloc.stop()
    assert most < 50e6  # nothing of it was made
    return str(caught.value)


@pytest.mark.parametrize("runs, needs", [
    ({"draws": 1000, "replicates": 10**6}, "about 0.1 GB of memory and 3 hours of one core"),
    ({"draws": 10**9, "replicates": 1}, "about 5,500 GB of memory and 3 hours of one core"),
    ({"draws": 10**12, "replicates": 10**12}, "GB of memory and 3.1e+15 hours of one core"),
    ({"keep_trajectories": 10**9, "draws": 10**4, "replicates": 10**4},
     "about 25 GB of memory and 0.3 hours of one core"),
])
def test_runs_say_what_they_would_need(runs, needs):
    said = refused(runs=runs | {"seed": 1})
    assert needs in said
    assert "100,000,000 runs, 48 hours and the 16 GB of this machine are the most" in said
    assert said.startswith("`runs`: ") and "Lower `draws` or `replicates` under `runs`" in said


def test_sites_that_share_luck_are_refused_for_their_memory(monkeypatch):
    monkeypatch.setattr(size, "memory_of_machine", lambda: 5e8)
    sites = [{"name": f"site {i}", "start": {"adult": 5}} for i in range(2_500)]
    without = {key: value for key, value in PLAIN.items() if key != "start"}
    with pytest.raises(PvaError, match="at 2,500 sites over 31 years would need about 1 GB"):
        Scenario.from_dict(without | {"sites": sites, "year_effects": {"between_sites": 0.5}})


@pytest.mark.parametrize("changed, said", [
    ({"years": {"first": 2026, "last": 10**6}},
     "`years.last` is 1e+06, outside its range. Write a number from -100,000 to 100,000."),
    ({"start": {"adult": 1e12}}, "`start.adult` is 1e+12 animals."),
    ({"stages": [{"name": "juvenile", "years": 10**9}, {"name": "adult", "breeds": True}]},
     "`stages.juvenile.years` is 1000000000. Write at most 200 years."),
    ({"recruitment": {"per_adult": 1e308}},
     "`recruitment.per_adult`: value is 1e+308, outside its range. Write a number of at most "
     "1e+12."),
])
def test_numbers_beyond_any_river(changed, said):
    assert said in refused(**changed)


def test_numbers_of_runs_asked_for_in_python_are_looked_at_too():
    question = Scenario.from_dict(PLAIN).resolved
    many = replace(question, runs=replace(question.runs, draws=10**9))
    with pytest.raises(CannotCompute, match="1,000,000,000 draws x 10 replicates at one site"):
        assemble(many, seed=1)


def test_a_grid_of_a_hundred_million_points_is_not_even_listed():
    with pytest.raises(FormError) as caught:
        read_vary("number=0 to 100000000 by 1")
    assert str(caught.value) == ("`number=0 to 100000000 by 1` means 100,000,001 values. Take "
                                 "larger steps.")


def test_the_estimate_of_memory_is_honest():
    """What assembling a large run takes lies below the estimate, and within ten times of it."""
    question = Scenario.from_dict(PLAIN | {"runs": {"draws": 40_000, "replicates": 1, "seed": 1}})
    tracemalloc.start()
    from pva.results.fold import Fold
    from pva.results.run import places_of

    model = assemble(question.resolved, seed=1)
    fold = Fold(question.resolved, places_of(question.resolved, 5.0))
    most = tracemalloc.get_traced_memory()[1]
    tracemalloc.stop()
    told = size.size_of(question.resolved).bytes
    assert model.draws.value.shape[0] == len(fold.extinct) == 40_000
    assert told / 10 < most < told


@pytest.mark.parametrize("name", ["hesperwell", "questions"])
def test_no_shipped_scenario_is_near_the_limits(name):
    read = 0
    for path in sorted((TOP / "scenarios" / name).rglob("*.yaml")):
        try:
            question = read_scenario(path)
        except PvaError:
            continue  # a study, or estimates that were not made yet
        needs = size.size_of(question.resolved)
        assert needs.bytes < 2e9 and needs.core_seconds < 3600
        read += 1
    assert read or name == "hesperwell"


def test_growth_without_limits_comes_to_an_end():
    """A thousand young an adult overflow every number in 100 years: capped, and it is plain."""
    from pva.results.run import run

    wild = PLAIN | {"recruitment": {"per_adult": 1000}, "years": {"first": 2000, "last": 2100}}
    data = run(Scenario.from_dict(wild | {"runs": {"draws": 2, "replicates": 4, "seed": 1}}))
    assert 1e12 < float(data["adults_quantile"][-1, -1]) < 1e14


def test_a_full_memory_is_said_in_words(monkeypatch):
    from click.testing import CliRunner

    from pva.cli import main
    from pva.scenario import scenario

    def full(*_):
        raise MemoryError

    monkeypatch.setattr(scenario, "read_scenario", full)
    ended = CliRunner().invoke(main, ["show", "any.yaml"])
    assert ended.exit_code == 1
    assert ended.stderr == (
        "the memory of this machine is full. Files written earlier are unchanged. Close other "
        "programs, or lower `draws`, `replicates` or the number of sites.\n")

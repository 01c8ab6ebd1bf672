"""Every shipped scenario runs, says what it asks, and says where each number comes from."""

from __future__ import annotations

import re
import shutil
from pathlib import Path

import numpy as np
import pytest

from pva.decide.compare import compare
from pva.decide.outcomes import outcomes, prepare
from pva.decide.stock import stock
from pva.files import read_yaml
from pva.lifehistory.catalogue import lookup
from pva.results.run import run, with_runs
from pva.results.summary import run_summary
from pva.scenario.scenario import read_scenario

TOP = Path(__file__).parents[2]
QUESTIONS = sorted((TOP / "scenarios" / "questions").glob("*.yaml"))
ALONE = sorted((TOP / "scenarios").glob("*.yaml"))
DEMO = sorted((TOP / "scenarios" / "hesperwell" / "scenarios").glob("*.yaml"))


def stem(path):
    return path.stem


@pytest.fixture(scope="module")
def demo_folder(tmp_path_factory):
    study = tmp_path_factory.mktemp("study")
    shutil.copytree(TOP / "scenarios" / "hesperwell" / "scenarios", study / "scenarios")
    (study / "estimates").mkdir()
    shutil.copy(TOP / "tests" / "demo" / "true_estimates.yaml", study / "estimates/estimates.yaml")
    return study / "scenarios"


def test_the_scenarios_are_there():
    assert (len(QUESTIONS), len(ALONE), len(DEMO)) >= (30, 6, 6)


@pytest.mark.parametrize("path", [*QUESTIONS, *ALONE, *DEMO], ids=stem)
def test_scenario_is_answered(path, demo_folder):
    scenario = read_scenario(demo_folder / path.name if path in DEMO else path)
    resolved = with_runs(scenario.resolved, draws=2 if scenario.resolved.chance.unknown else 1,
                         replicates=2)
    found = outcomes(prepare(resolved, seed=1, threads=1))
    names = [g.name for g in resolved.goals]
    assert list(found) == [*names, *(["all goals"] if names else []), "extinction",
                           "quasi-extinction", "adults in the last year"]
    assert all(np.isfinite(values).all() for values in found.values())


@pytest.mark.slow
@pytest.mark.parametrize("path", [*QUESTIONS, *ALONE, *DEMO], ids=stem)
def test_scenario_runs_as_shipped(path, demo_folder):
    scenario = read_scenario(demo_folder / path.name if path in DEMO else path)
    many = scenario.resolved.runs
    summary = run_summary(run(scenario, draws=min(many.draws, 40),
                              replicates=min(many.replicates, 2000)))
    assert summary["scenario"] == scenario.resolved.title
    assert summary["years"] == list(scenario.resolved.years)
    assert all(x is not None for x in summary["adults"]["mean"])
    assert [g["name"] for g in summary["goals"]] == [g.name for g in scenario.resolved.goals]
    assert np.isfinite(summary["growth_rate"])


@pytest.mark.parametrize("path", QUESTIONS, ids=stem)
def test_question_is_asked_in_words_and_is_quick(path):
    scenario = read_scenario(path)
    text = path.read_text(encoding="utf-8")
    own, _ = read_yaml(path)
    assert own["description"].endswith((".", "?")) and own["title"]
    assert "invented" in own["title"] or "assumed" in own["title"]
    assert text.startswith(("# Invented", "# Everything here is invented"))
    runs = scenario.resolved.runs
    assert runs.draws * runs.replicates <= 2000 and runs.seed is not None
    assert not scenario.warnings
    if path.stem != "river":
        assert "extends" in own, "a variant holds only what differs"
        assert len([x for x in text.splitlines() if not x.startswith("#")]) <= 30


@pytest.mark.parametrize("path", QUESTIONS, ids=stem)
def test_no_rate_of_a_question_is_without_its_source(path):
    rows = [r for r in read_scenario(path).parameters() if r.get("kind") != "calibrated"]
    silent = [r for r in rows if r["source"] in ("given", "", None)]
    assert not silent
    for word in re.findall(r"published: ([\w/]+)", path.read_text(encoding="utf-8")):
        lookup(word)  # refuses unknown keys and those of low confidence


@pytest.mark.parametrize("name", ["loggerhead", "killer-whale", "desert-tortoise", "teasel"])
def test_published_matrix_is_the_one_of_the_check_case(name):
    case, _ = read_yaml(TOP / "shared" / "checks" / f"{name.replace('-', '_')}.yaml")
    written, _ = read_yaml(TOP / "scenarios" / f"{name}.yaml")
    young = np.array(written["matrix"]["recruitment"], float)
    whole = np.array(written["matrix"]["survival_and_growth"], float) + young
    assert np.array_equal(whole, np.array(case["matrix"], float))
    entries = {tuple(int(i) for i in np.array(x)) for x in case["recruitment_entries"]}
    assert {tuple(map(int, x)) for x in np.argwhere(young > 0)} == entries
    summary = run_summary(run(read_scenario(TOP / "scenarios" / f"{name}.yaml"),
                              draws=1, replicates=2))
    assert summary["growth_rate"] == pytest.approx(case["growth_rate"], abs=1e-6)


@pytest.mark.parametrize("name", ["river", "host-returns", "sources-mixed", "sites-moving"])
def test_a_scenario_against_its_copy_differs_by_exactly_nothing(name, tmp_path):
    path = TOP / "scenarios" / "questions" / f"{name}.yaml"
    small = {"runs.draws": 8, "runs.replicates": 4}
    first = read_scenario(path).with_changes(small)
    copy = tmp_path / "copy.yaml"
    copy.write_text(first.twin_yaml(), encoding="utf-8")
    found = compare([first, read_scenario(copy), first.with_changes({"title": "another name"})])
    for rows in found.differences.values():
        assert [(d.difference, d.low, d.high, d.settled) for d in rows] == [
            (0.0, 0.0, 0.0, True)] * len(rows)
    other = compare([first, first.with_changes({"survival.adult.value": 0.92})])
    assert any(d.difference != 0 for d in other.differences[other.titles[1]])


def question(name):
    return read_scenario(TOP / "scenarios" / "questions" / f"{name}.yaml").resolved


def test_the_numbers_that_pages_name_are_those_of_the_files():
    for row in question("river").releases:  # "eighty a year for eight years"
        assert row.numbers == dict.fromkeys(range(2026, 2034), 80)
    taken, = question("donor").collections  # "forty adults a year for four years"
    assert taken.numbers == dict.fromkeys(range(2026, 2030), 40)
    lower, best = (question(n).site("Osier Bed").start.numbers["adult"].value
                   for n in ("donor", "sources-mixed"))
    assert lower < best
    for site in question("host-returns").sites:  # "ten years after ... over four years"
        assert (site.hosts[0].blocked_until, site.hosts[0].ramp_years) == (2026 + 9, 4)


def test_no_number_is_enough_without_fish_and_the_answer_says_why():
    scenario = read_scenario(TOP / "scenarios" / "questions" / "host-none.yaml")
    answer = stock(scenario.with_changes({"runs.draws": 8, "runs.replicates": 4}), threads=1)
    assert (answer.reachable, answer.limit) == (False, "hosts")

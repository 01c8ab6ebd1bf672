"""Commands from outside: files, JSON, words, exit codes."""

import csv
import json

import pytest

from pva.scenario.scenario import read_scenario
from tests.cli.conftest import write_small

RUN_KEYS = {
    "scenario", "digest", "seed", "draws", "replicates", "years", "extinction", "quasi_extinction",
    "goals", "all_goals", "adults", "growth_rate", "stochastic_growth_rate",
    "generation_time_years", "red_list_e", "variance_share", "warnings"}
STOCK_KEYS = {
    "reachable", "number", "low", "high", "draw_low", "draw_high", "chance_wanted",
    "chance_at_number", "best_chance", "total_animals", "cost", "mothers", "limit", "curve"}


def no_nan(text):
    raise AssertionError(f"{text} in JSON")


def only_json(result):
    """The one JSON object on standard output."""
    assert result.exit_code == 0, result.stderr
    return json.loads(result.stdout, parse_constant=no_nan)


def test_run_writes_beside_the_study_and_prints_the_same_json(call, small):
    result = call("run", small, "--json")
    summary = only_json(result)
    folder = small.parents[1] / "results"
    assert summary.keys() >= RUN_KEYS
    assert summary == json.loads((folder / "small.summary.json").read_text(encoding="utf-8"))
    assert len(summary["adults"]["mean"]) == len(summary["years"]) == 11
    assert summary["seed"] == 5
    assert sorted(f.name for f in folder.iterdir()) == ["small.nc", "small.summary.json"]
    assert str(folder / "small.nc") in result.stderr


def test_run_into_a_folder_of_choice(call, small, tmp_path):
    result = call("run", small, "--out", tmp_path / "there", "--seed", 0, "--threads", 1, "--quiet")
    assert result.exit_code == 0
    assert sorted(f.name for f in (tmp_path / "there").iterdir()) == [
        "small.nc", "small.summary.json", "summary.json"]
    assert json.loads((tmp_path / "there" / "summary.json").read_text())["seed"] == 0
    assert result.stdout.count("\n") == 1 and result.stderr == ""
    assert result.stdout.startswith("The chance of meeting the goal \"adults in 2036\" is ")
    assert not (small.parents[1] / "results").exists()


def test_a_seed_that_was_drawn_is_printed_and_repeats_the_numbers(call, tmp_path):
    path = write_small(tmp_path / "s" / "scenarios" / "x.yaml", runs="{draws: 8, replicates: 2}")
    first = call("run", path, "--json")
    summary = only_json(first)
    seed = summary["seed"]
    assert f"Give --seed {seed} for the same numbers." not in first.stderr.replace(
        f"Seed drawn: {seed}. Give --seed {seed} for the same numbers.\n", "")
    assert f"Seed drawn: {seed}. " in first.stderr
    again = call("run", path, "--json", "--seed", seed)
    assert "Seed drawn" not in again.stderr
    assert {k: v for k, v in only_json(again).items() if k != "date"} == {
        k: v for k, v in summary.items() if k != "date"}


@pytest.mark.parametrize("words", [["run"], ["stock"], ["matrix"], ["compare", "other"]],
                         ids=lambda words: words[0])
def test_every_answer_from_random_numbers_tells_a_seed_that_nobody_named(call, tmp_path, words):
    command, *others = words
    path = write_small(tmp_path / "s" / "scenarios" / "x.yaml", runs="{draws: 8, replicates: 2}")
    more = [write_small(path.with_name(f"{name}.yaml"), title="Other") for name in others]
    said = call(command, path, *more)
    assert said.exit_code == 0 and "Seed drawn: " in said.stderr, said.stderr
    named = call(command, path, *more, "--seed", 3)
    assert named.exit_code == 0 and "Seed drawn" not in named.stderr


def test_cost_and_mothers_that_nobody_wrote_are_null_and_blank(call, small):
    text = small.read_text(encoding="utf-8")
    small.write_text(text.replace("cost_each: 10,", "").replace(", mothers_per_1000: 50", ""),
                     encoding="utf-8")
    summary = only_json(call("stock", small, "--json"))
    assert (summary["cost"], summary["mothers"]) == (None, None)
    assert {(x["cost"], x["mothers"]) for x in summary["order_sheet"]} == {(None, None)}
    with (small.parents[1] / "results" / "order_sheet.csv").open(newline="") as handle:
        assert {(x["cost"], x["mothers"]) for x in csv.DictReader(handle)} == {("", "")}
    said = call("stock", small)
    assert "; mothers not stated; cost not stated. Numbers are planned ones" in said.stdout
    assert ("2 of 4 orders must have been placed before 2026, the first year of the plan (from "
            "2024 on).") in " ".join((said.stdout + said.stderr).split())


def test_an_order_sheet_of_another_scenario_is_said_to_be_replaced(call, small):
    other = small.with_name("other.yaml")
    other.write_text("extends: small.yaml\ntitle: Another plan\n", encoding="utf-8")
    said = "order_sheet.csv held the orders of small; now it holds those of other"
    assert said not in call("stock", small).stderr
    assert said in call("stock", other).stderr
    assert said not in call("stock", other).stderr


def test_stock_writes_an_order_sheet_that_adds_up(call, small):
    summary = only_json(call("stock", small, "--json"))
    assert summary.keys() >= STOCK_KEYS
    folder = small.parents[1] / "results"
    assert summary == json.loads((folder / "small.stock.json").read_text(encoding="utf-8"))
    with (folder / "order_sheet.csv").open(newline="", encoding="utf-8") as handle:
        lines = list(csv.DictReader(handle))
    assert list(lines[0])[:5] == ["order_year", "release_year", "age", "number", "mothers"]
    assert [(int(x["order_year"]), int(x["release_year"])) for x in lines] == [
        (2024, 2026), (2025, 2027), (2026, 2028), (2027, 2029)]
    assert sum(int(x["number"]) for x in lines) == pytest.approx(summary["total_animals"], abs=4)
    assert {x["scenario"] for x in lines} == {"small"}


def test_an_answer_of_not_reachable_is_an_answer_and_leaves_no_stale_sheet(call, small, tmp_path):
    folder = small.parents[1] / "results"
    assert call("stock", small).exit_code == 0
    hopeless = write_small(small, goals=None, chance_wanted=None)
    text = hopeless.read_text(encoding="utf-8").replace("at_least: 120", "at_least: 90000").replace(
        "  - {name: adults", "goals:\n  - {name: adults")
    hopeless.write_text(text, encoding="utf-8")
    other = hopeless.with_name("other.yaml")
    other.write_text(text, encoding="utf-8")
    before = (folder / "order_sheet.csv").read_text()
    result = call("stock", other)
    assert result.exit_code == 0
    assert result.stdout.startswith("Not reachable: the chance stays below ")
    assert (folder / "order_sheet.csv").read_text() == before, "another scenario's sheet stays"
    result = call("stock", hopeless, "--json")
    assert only_json(result)["number"] is None
    assert (folder / "order_sheet.csv").read_text().splitlines()[1:] == [
        ",,,,,,nothing to order,,,,small"], "its own sheet is emptied"


def test_a_scenario_differs_from_its_copy_by_nothing(call, small):
    result = call("compare", small, small)
    assert result.exit_code == 0
    assert result.stdout.splitlines()[0] == (
        '"Small invented plan (2)": the chance of meeting all goals is the same as in '
        '"Small invented plan".')
    summary = only_json(call("compare", small, small, "--json"))
    assert all(d["difference"] == 0 for d in summary["against_first"][0]["differences"])
    assert (small.parents[1] / "results" / "small.compare.json").is_file()


def test_the_twin_that_is_shown_is_the_same_scenario(call, small, tmp_path):
    result = call("show", small, "--twin")
    assert result.exit_code == 0 and result.stderr == ""
    twin = tmp_path / "twin.yaml"
    twin.write_text(result.stdout, encoding="utf-8")
    assert read_scenario(twin).digest == read_scenario(small).digest


def test_show_prints_parameters_sources_and_numbered_assumptions(call, small, tmp_path):
    document = only_json(call("show", small, "--json", "--out", tmp_path / "o"))
    names = [p["name"] for p in document["parameters"]]
    assert "survival/adult" in names and document["twin"]["title"] == "Small invented plan"
    assert sorted(f.name for f in (tmp_path / "o").iterdir()) == [
        "small.resolved.yaml", "small.show.json"]
    said = call("show", small).stdout
    assert f"\n  1. {document['assumptions'][0]}\n" in said
    assert "assumed: expert range" in said
    assert said.splitlines()[-1].startswith(f"Small invented plan: {len(names)} parameters, ")


def test_show_names_calibrated_values_with_target_and_place(call):
    from pathlib import Path

    hosts = Path(__file__).parents[1] / "scenario" / "files" / "hosts.yaml"
    found = only_json(call("show", hosts, "--json"))["calibrated"]
    assert found and found[0]["name"] in ("attachment", "settlement")
    assert 0 < found[0]["value"] < 1 and " at " in found[0]["target"]


def test_a_projection_is_announced_only_where_the_engine_must_be_compiled(call, small, monkeypatch):
    sentence = ("First run: compiling the engine, about 9 s; later runs start at once.\n")
    assert call("run", small).exit_code == 0  # compiles, where nothing is compiled yet
    assert sentence not in call("run", small, "--json").stderr
    monkeypatch.setattr("pva.cli.first_run.compiled", lambda part: False)
    assert sentence in call("matrix", small).stderr
    assert call("matrix", small, "--quiet").stderr == ""

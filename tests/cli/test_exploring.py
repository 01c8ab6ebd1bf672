"""`pva explore` from the command line."""

import csv
import json

from pva.results.store import read_dataset


def test_explore_writes_and_says_the_same(call, small):
    done = call("explore", small, "--vary", "number=0,40", "--vary",
                "survival.adult.value=0.85,0.93", "--json")
    assert done.exit_code == 0, done.stderr
    summary = json.loads(done.stdout)
    folder = small.parents[1] / "results"
    assert json.loads((folder / "small.explore.json").read_text("utf-8")) == summary
    data = read_dataset(folder / "small.explore.nc")
    with (folder / "small.explore.csv").open(encoding="utf-8", newline="") as handle:
        lines = list(csv.DictReader(handle))
    assert len(lines) == len(summary["points"]) == 4
    for line, point in zip(lines, summary["points"], strict=True):
        chance = data.all_goals_chance.sel(
            {"number": float(line["number"]),
             "survival.adult.value": float(line["survival.adult.value"])})
        assert float(line["all_goals chance"]) == float(chance) == point["all_goals"]["chance"]
    assert (folder / "small.explore.svg").read_text("utf-8").startswith("<svg xmlns=")


def test_explore_in_words(call, small):
    done = call("explore", small, "--vary", "number=0,40,400")
    assert done.exit_code == 0, done.stderr
    first, second, third = done.stdout.splitlines()[:3]
    assert first.startswith("The chance of meeting all goals runs from ")
    assert "(animals a year 0) to " in first and "of the grid reach" in first
    assert second == "Smallest value of animals a year tried that gives the 80 % wanted:"
    assert third.strip().split()[0] in ("40", "400", "none")


def test_without_goals_the_risk_is_mapped(call, small):
    text = small.read_text(encoding="utf-8")
    start, end = text.index("goals:"), text.index("chance_wanted:")
    small.write_text(text[:start] + text[end:], encoding="utf-8")
    done = call("explore", small, "--vary", "number=0,40")
    assert done.exit_code == 0, done.stderr
    assert done.stdout.startswith("The chance of falling below the threshold runs from ")


def test_a_key_given_twice_is_refused(call, small):
    done = call("explore", small, "--vary", "number=0,40", "--vary", "number=1")
    assert done.exit_code == 1
    assert done.stderr == ("`number` is varied twice. Give each key once, with all its values.\n")


def test_nothing_to_vary_is_wrong_usage(call, small):
    done = call("explore", small)
    assert done.exit_code == 2
    assert "Missing option '--vary'" in done.stderr

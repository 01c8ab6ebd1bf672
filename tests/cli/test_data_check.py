"""`pva check-data` from the command line, on the demo study."""

import json
import shutil
from pathlib import Path

import pytest

TOP = Path(__file__).resolve().parents[2]
PAST = """\
extends: base.yaml
title: The restoration so far (invented)
years: {first: 2017, last: 2025}
quasi_extinction: {adults_below: 1, from: 2025}
goals: []
survey_goals: []
releases:
  - {name: subadults to Quillstone, first: 2017, last: 2017}
  - {name: subadults to Tallow, first: 2017, last: 2017}
sites:
  - name: Quillstone Riffle
    start: {adult: 0}
    hosts: {drum: {until: 2022, blocked: true, then_per_100m2: 10, ramp_years: 2}}
  - name: Tallow Bend
    start: {adult: 0}
    hosts: {drum: {until: 2022, blocked: true, then_per_100m2: 10, ramp_years: 2}}
runs: {draws: 8, replicates: 25, seed: 41}
"""
DETECTION = """\
detection/antenna: {value: 0.71, se: 0.013, source: {assumed: near what the records say}}
detection/hand search: {value: 0.44, se: 0.013, source: {assumed: near what the records say}}
tag_retention/tag: {value: 0.99, se: 0.005, source: {assumed: near what the records say}}
"""


@pytest.fixture
def past(tmp_path):
    """A copy of the demo study with the hidden truth as estimates, and its past as a scenario."""
    study = tmp_path / "hesperwell"
    shutil.copytree(TOP / "scenarios/hesperwell", study, ignore=shutil.ignore_patterns("made_by"))
    (study / "estimates").mkdir()
    truth = (TOP / "tests/demo/true_estimates.yaml").read_text("utf-8")
    (study / "estimates/estimates.yaml").write_text(truth + DETECTION, encoding="utf-8")
    path = study / "scenarios/past.yaml"
    path.write_text(PAST, encoding="utf-8")
    return path


def test_known_estimates_are_no_test(call, past):
    """With the truth as estimates most counts lie inside (detection differs between visits)."""
    done = call("check-data", "--known", past.parents[1], past)
    assert done.exit_code == 0, done.stderr
    first = done.stdout.splitlines()[0]
    assert first.endswith("the estimates may know all of them, so this is no test.")
    results = past.parents[1] / "results"
    summary = json.loads((results / "past.check-data.json").read_text("utf-8"))
    inside = [r["verdict"] == "inside" for r in summary["rows"]]
    assert first.startswith(f"{sum(inside)} of {len(inside)} counts lie inside")
    assert len(inside) == 17 and sum(inside) >= 11
    assert summary["held_out"] == 0 and summary["held_out_from"] is None
    assert "Tallow Bend 2025-09, marked seen" in done.stdout
    svg = (results / "past.check-data.svg").read_text("utf-8")
    assert svg.startswith("<svg xmlns=") and "Tallow Bend 2025-09, marked seen" in svg


def test_a_seed_that_nobody_named_is_told(call, past):
    for file in (past, past.with_name("base.yaml")):
        file.write_text(file.read_text("utf-8").replace(", seed: 41", ""), encoding="utf-8")
    done = call("check-data", "--known", past.parents[1], past)
    seed = json.loads((past.parents[1] / "results/past.check-data.json").read_text("utf-8"))["seed"]
    assert f"Seed drawn: {seed}. Give --seed {seed} for the same numbers.\n" in done.stderr


def test_survival_wrong_by_a_twentieth_is_seen(call, past):
    """Adults and subadults 0.05 off, either way: fewer counts of marked animals lie inside."""
    def inside(shift):
        survival = {"subadult": 0.84 + shift, "adult": 0.94 + shift}
        lines = "\n".join(f"  {k}: {{value: {v:.2f}, se: 0.005, source: {{assumed: wrong}}}}"
                          for k, v in survival.items())
        past.write_text(f"{PAST}survival:\n{lines}\n", encoding="utf-8")
        done = call("check-data", "--known", past.parents[1], past, "--json")
        assert done.exit_code == 0, done.stderr
        rows = [r for r in json.loads(done.stdout)["rows"]
                if r["what"] == "marked animals seen alive"]
        return sum(r["verdict"] == "inside" for r in rows), len(rows)

    right, of = inside(0.0)
    assert right > of / 2
    for shift in (-0.05, 0.05):
        assert inside(shift)[0] <= right - 4, shift


def test_both_ways_at_once_is_wrong_usage(call, past):
    done = call("check-data", "--known", "--hold-out", "2025", past.parents[1], past)
    assert done.exit_code == 2
    assert "--known and --hold-out exclude each other." in done.stderr


def test_a_bad_year_without_a_kind_is_refused(call, past):
    past.write_text(PAST + "bad_years: {none: forgotten}\n", encoding="utf-8")
    done = call("check-data", "--known", past.parents[1], past)
    assert done.exit_code == 1
    assert done.stderr.startswith("the scenario has no kind of bad year for `2019 flood` of the "
                                  "study.")


@pytest.mark.slow
def test_last_year_held_out(call, past):
    """Estimates made without 2025 predict at least three of its four counts, none of which they
    know; the file of estimates in the study is left as it was."""
    kept = (past.parents[1] / "estimates/estimates.yaml").read_bytes()
    done = call("check-data", past.parents[1], past, "--json")
    assert done.exit_code == 0, done.stderr
    summary = json.loads(done.stdout)
    assert (summary["held_out_from"], summary["held_out"]) == (2025, 4)
    assert summary["held_out_inside"] >= 3
    assert all(r["held_out"] == (r["year"] == 2025) for r in summary["rows"])
    assert (past.parents[1] / "estimates/estimates.yaml").read_bytes() == kept

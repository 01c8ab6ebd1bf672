"""`pva estimate`, `pva report` and the whole chain of `pva demo`."""

import json

import pytest

from pva.estimate import read_estimates
from tests.cli.conftest import SMALL
from tests.field.conftest import write_study

ESTIMATE_KEYS = {"rows", "survival", "detection", "tag_retention", "growth", "models", "fit",
                 "density", "recruits", "level"}


@pytest.fixture
def study(tmp_path):
    """A small study whose page answers the small scenario."""
    folder = write_study(tmp_path / "river", report={"main": "scenarios/base.yaml",
                                                     "compare": ["scenarios/none.yaml"]})
    scenarios = folder / "scenarios"
    scenarios.mkdir()
    (scenarios / "base.yaml").write_text(SMALL, encoding="utf-8")
    (scenarios / "none.yaml").write_text(
        "extends: base.yaml\ntitle: Nothing released\nreleases:\n  - {name: young, number: 0}\n",
        encoding="utf-8")
    return folder


def test_estimate_writes_the_folder_and_prints_its_summary(call, study):
    result = call("estimate", study, "--json")
    assert result.exit_code == 0, result.stderr
    summary = json.loads(result.stdout)
    assert summary.keys() >= ESTIMATE_KEYS
    rows = summary["rows"]
    assert rows["in"] == rows["used"] + rows["flagged"] + rows["set_aside"] == 16
    folder = study / "estimates"
    assert summary == json.loads((folder / "summary.json").read_text(encoding="utf-8"))
    assert {"estimates.yaml", "set_aside.csv", "figures"} <= {f.name for f in folder.iterdir()}
    assert read_estimates(folder / "estimates.yaml").title == "Small invented study"
    for picture in (folder / "figures").glob("*.svg"):
        assert 'xmlns="http://www.w3.org/2000/svg"' in picture.read_text(encoding="utf-8")


def test_estimate_prints_an_account_that_adds_up_and_the_answer(call, study):
    said = call("estimate", study / "study.yaml", "--out", study / "elsewhere")
    assert said.exit_code == 0, said.stderr
    assert said.stdout.startswith("16 rows in = 16 used + 0 flagged + 0 set aside\n")
    assert "\nThe records reach level " in said.stdout
    assert (study / "elsewhere" / "estimates.yaml").is_file()
    assert not (study / "estimates").exists()


def test_estimates_changed_by_hand_are_kept_beside_the_new_ones(call, study):
    assert call("estimate", study).exit_code == 0
    file = study / "estimates" / "estimates.yaml"
    as_written = file.read_text(encoding="utf-8")
    assert "is kept as" not in call("estimate", study).stderr
    file.write_text(as_written + "# 0.93 is too low, see my notes\n", encoding="utf-8")
    kept = study / "estimates" / "estimates.edited.yaml"
    assert (f"{file} was not as `pva estimate` wrote it; it is kept as {kept}.\n"
            in call("estimate", study).stderr)
    assert kept.read_text(encoding="utf-8").endswith("see my notes\n")
    assert file.read_text(encoding="utf-8") == as_written


def test_report_computes_what_is_missing_once(call, study):
    result = call("report", study)
    assert result.exit_code == 0, result.stderr
    assert result.stdout == f"Report: {study / 'report.html'}\n"
    for file, doing in (("base.nc", "running"), ("base.stock.json", "searching"),
                        ("base.compare.json", "comparing")):
        assert f"{file} is missing or out of date: {doing}\n" in result.stderr
    page = (study / "report.html").read_text(encoding="utf-8")
    assert page.lstrip().lower().startswith("<!doctype html>") and "Small invented plan" in page
    before = {f: f.read_bytes() for f in (study / "results").iterdir()}
    again = call("report", study, "--json")
    assert "missing or out of date" not in again.stderr
    assert json.loads(again.stdout)["report"] == str(study / "report.html")
    assert {f: f.read_bytes() for f in (study / "results").iterdir()} == before


def test_report_does_not_use_results_of_another_question(call, study):
    assert call("run", study / "scenarios" / "base.yaml").exit_code == 0
    (study / "scenarios" / "base.yaml").write_text(SMALL.replace("0.9,", "0.88,"), "utf-8")
    assert "base.nc is missing or out of date: running" in call("report", study).stderr


@pytest.mark.slow
def test_the_demo_from_field_tables_to_the_page(call, tmp_path):
    folder = tmp_path / "demo"
    result = call("demo", folder, "--json")
    assert result.exit_code == 0, result.stderr
    document = json.loads(result.stdout)
    assert document["invented"] is True and document["report"] == str(folder / "report.html")
    rows = document["rows"]
    assert rows["in"] == rows["used"] + rows["flagged"] + rows["set_aside"]
    assert document["stock"]["reachable"] and document["stock"]["number"] > 0
    assert document["stock_blocked"]["reachable"] is False
    assert document["stock_blocked"]["limit"] == "hosts"
    assert {f.name for f in (folder / "results").iterdir()} >= {
        "base.nc", "base.summary.json", "base.stock.json", "order_sheet.csv"}
    said = call("demo", folder)
    assert said.exit_code == 0, "an untouched demo is run again"
    lines = said.stdout.splitlines()
    assert lines[0].startswith("Everything in this study is invented")
    assert lines[-1] == f"Report: {folder / 'report.html'} (an invented study)"
    assert lines[-3].startswith("Stock ")

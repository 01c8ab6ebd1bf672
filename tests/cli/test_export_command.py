"""`pva export`: what it takes, what it leaves out, what it refuses."""

import csv
import json

import pytest

from tests.cli.conftest import write_small
from tests.field.conftest import write_study


@pytest.fixture
def made(call, small):
    """The small scenario, run and searched."""
    assert call("run", small).exit_code == 0
    assert call("stock", small).exit_code == 0
    return small


def yearly(folder):
    with (folder / "yearly.csv").open(encoding="utf-8", newline="") as handle:
        return list(csv.DictReader(handle))


def test_a_study_a_scenario_a_folder_and_a_file_give_the_same_tables(call, made, tmp_path):
    results = made.parents[1] / "results"
    answers = []
    for i, place in enumerate((made.parents[1], made, results, results / "small.nc")):
        result = call("export", place, "--as", "csv", "--out", tmp_path / str(i))
        assert result.exit_code == 0, result.output
        answers.append({f.name: f.read_bytes() for f in (tmp_path / str(i) / "csv").iterdir()})
    assert answers[0] == answers[1] == answers[2] == answers[3]
    assert {"readme.csv", "yearly.csv", "order_sheet.csv", "number_to_stock_curve.csv"} <= set(
        answers[0])
    rows = yearly(tmp_path / "0" / "csv")
    summary = json.loads((results / "small.summary.json").read_text(encoding="utf-8"))
    assert [float(r["adults, mean (animals)"]) for r in rows] == summary["adults"]["mean"]


def test_every_kind_at_once_and_json_lists_the_files(call, made):
    result = call("export", made.parents[1], "--as", "xlsx", "--as", "docx", "--json")
    assert result.exit_code == 0, result.output
    said = json.loads(result.stdout)
    folder = made.parents[1] / "export"
    assert {p.name for p in folder.iterdir()} == {"tables.xlsx", "one-page.docx", "tables.docx"}
    assert len(said["files"]) == 3 and said["exact_places"] is False
    assert "name the sites" in result.stderr


def test_an_answer_that_is_out_of_date_is_left_out_and_named(call, made, tmp_path):
    write_small(made, start="{adult: 21}")
    result = call("export", made.parents[1], "--as", "csv", "--out", tmp_path / "x")
    assert result.exit_code == 1
    assert "small.nc was made before" in result.stderr
    assert result.stderr.rstrip().endswith(
        "there are no answers to export yet. Run `pva run SCENARIO`, `pva stock SCENARIO` or "
        "`pva report STUDY` first.")
    assert not (tmp_path / "x").exists()


@pytest.mark.parametrize("more, code, words", [
    (["--as", "csv", "--exact-places"], 2, "tables and documents hold no coordinates"),
    (["--as", "geojson", "--corners"], 2, "give --exact-places as well"),
    (["--as", "pdf"], 2, "'pdf' is not one of"),
    ([], 2, "Missing option '--as'"),
])
def test_wrong_usage(call, small, more, code, words):
    result = call("export", small.parents[1], *more)
    assert result.exit_code == code
    assert words in " ".join(result.stderr.split())


def test_places_need_a_study(call, made):
    result = call("export", made.parents[1] / "results", "--as", "geojson")
    assert result.exit_code == 1
    assert result.stderr.rstrip().endswith("sites and records stand in a study, not in a scenario "
                                           "or in results. Name the folder of the study.")
    assert not (made.parents[1] / "results" / "export").exists()


NO_RECORDS = ("{0}/study.yaml: the study holds neither units nor visits. Every record of Darwin "
              "Core belongs to a survey or a visit. Add tables of units or encounters under "
              "`tables`.")


def test_what_can_be_written_is_written_and_the_rest_is_named_with_its_reason(call, made):
    study = made.parents[1]  # a scenario and its run, and no field tables
    result = call("export", study, "--as", "darwin-core", "--as", "xlsx")
    assert result.exit_code == 0, result.output
    assert result.stdout == f"Exported as xlsx into {study / 'export'}, not as darwin-core.\n"
    assert result.stderr.startswith(f"Not written: darwin-core. {NO_RECORDS.format(study)}\n")
    assert "Coordinates" not in result.stderr  # none are written
    assert {p.name for p in (study / "export").iterdir()} == {"tables.xlsx"}

    told = json.loads(call("export", study, "--as", "darwin-core", "--as", "csv", "--as", "geojson",
                           "--json").stdout)
    assert list(told["not_written"]) == ["darwin-core"]
    assert told["not_written"]["darwin-core"][0]["code"] == "export-nothing"
    assert {p.name for p in (study / "export").iterdir()} == {"tables.xlsx", "csv", "sites.geojson"}


def test_kinds_with_the_same_reason_are_named_together(call, made, tmp_path):
    results = made.parents[1] / "results"
    result = call("export", results, "--as", "geojson", "--as", "csv", "--as", "darwin-core",
                  "--out", tmp_path)
    assert result.exit_code == 0, result.output
    assert result.stdout == f"Exported as csv into {tmp_path}, not as geojson, darwin-core.\n"
    assert result.stderr.startswith(
        f"Not written: geojson, darwin-core. {results}: sites and records stand in a study, not in "
        "a scenario or in results. Name the folder of the study.\n")
    assert (tmp_path / "csv" / "readme.csv").is_file()


def test_records_are_written_where_there_are_no_answers_yet(call, tmp_path):
    study = write_study(tmp_path / "study")
    result = call("export", study, "--as", "csv", "--as", "docx", "--as", "darwin-core")
    assert result.exit_code == 0, result.output
    assert result.stdout == f"Exported as darwin-core into {study / 'export'}, not as csv, docx.\n"
    assert result.stderr.startswith(
        f"Not written: csv, docx. {study}: there are no answers to export yet.")
    assert {p.name for p in (study / "export").iterdir()} == {"darwin-core"}


def test_where_nothing_can_be_written_every_reason_is_told_once(call, small):
    study = small.parents[1]  # neither answers nor records
    result = call("export", study, "--as", "xlsx", "--as", "csv", "--as", "darwin-core")
    assert result.exit_code == 1 and result.stdout == ""
    assert result.stderr == (
        f"{study}: there are no answers to export yet. Run `pva run SCENARIO`, `pva stock "
        f"SCENARIO` or `pva report STUDY` first.\n{NO_RECORDS.format(study)}\n")
    assert not (study / "export").exists()


def test_places_say_aloud_what_they_do(call, tmp_path):
    study = write_study(tmp_path / "study")
    quiet = call("export", study, "--as", "geojson", "--as", "darwin-core")
    assert quiet.exit_code == 0, quiet.output
    assert "Coordinates are rounded to the nearest 0.1 degree" in quiet.stderr
    loud = call("export", study, "--as", "geojson", "--exact-places", "--corners",
                "--title", "Named River")
    assert loud.stderr.startswith("EXACT PLACES of the sites are in this file, as asked for.")
    found = json.loads((study / "export" / "sites.geojson").read_text(encoding="utf-8"))
    assert found["title"] == "Named River"
    assert found["features"][0]["geometry"]["coordinates"] == pytest.approx([-3.2675, 0.4535])


def test_answers_of_scenarios_without_a_run_of_their_own_are_exported(call, made, tmp_path):
    """The report runs the main scenario alone, and compares and searches for others as well."""
    other = write_small(made.with_name("other.yaml"), title="Other", start="{adult: 30}")
    for done in (call("compare", made, other), call("stock", other)):
        assert done.exit_code == 0, done.output
    result = call("export", made.parents[1], "--as", "csv", "--out", tmp_path)
    assert result.exit_code == 0, result.output
    with (tmp_path / "csv" / "compared.csv").open(encoding="utf-8", newline="") as handle:
        assert {row["scenario"] for row in csv.DictReader(handle)} == {"Other"}
    with (tmp_path / "csv" / "number_to_stock.csv").open(encoding="utf-8", newline="") as handle:
        assert [row["scenario"] for row in csv.DictReader(handle)] == [
            "Small invented plan", "Other"]
    write_small(other, title="Other", start="{adult: 31}")
    result = call("export", made.parents[1], "--as", "csv", "--out", tmp_path / "later")
    assert not (tmp_path / "later" / "csv" / "compared.csv").exists()
    for words in ("small.compare.json compares scenarios that were changed since",
                  "other.stock.json was made before its scenario was changed"):
        assert words in result.stderr

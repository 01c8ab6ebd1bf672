"""A number followed back: exact rows of a small invented study, and every rate of shipped ones."""

from __future__ import annotations

import json
import shutil
from pathlib import Path

import pandas as pd
import pytest
from click.testing import CliRunner

from pva.cli import main
from pva.errors import MeaningError
from pva.estimate import estimate, write_estimates
from pva.estimate.rows_used import rows_used, write_rows_used
from pva.files.number_runs import as_runs, from_runs
from pva.scenario.scenario import read_scenario
from pva.scenario.trace import trace

TOP = Path(__file__).resolve().parents[2]
SHIPPED = sorted(f for f in (TOP / "scenarios").rglob("*.yaml")
                 if f.name != "study.yaml" and "made_by" not in f.parts and "hesperwell" not in
                 f.parts)

STUDY = """\
title: Small beds (invented)
species: [Lampsilis ficta]
sites: [{name: Alder, area_m2: 100}, {name: Mill, area_m2: 200}]
tables:
  - {file: units.csv, is: units}
  - {file: animals.csv, is: animals}
  - {file: hosts.csv, is: hosts}
stages: [{name: age 1, length_mm: [0, 50]}, {name: adult, length_mm: [50, 90]}]
hosts: {effort_m2: 100}
"""
SCENARIO = """\
title: Small beds (invented)
estimates: ../estimates/estimates.yaml
years: {first: 2026, last: 2030}
census: before breeding
stages: [{name: age 1, years: 1}, {name: adult, breeds: true}]
survival:
  age 1: {value: 0.6, interval: [0.5, 0.7], source: {assumed: expert range}}
  adult:
    published: adult_survival/long_lived
    value: 0.9
    interval: [0.85, 0.95]
    source: {published: adult_survival/long_lived}
recruitment: {per_adult: {value: 0.3, source: {assumed: expert range}}}
bad_years: {none: kept simple}
sites:
  - {name: Alder, area_m2: 100, start: {estimate: abundance/Alder}}
  - name: Mill
    area_m2: 200
    start: {adult: 7}
    survival: {adult: {value: 0.8, interval: [0.7, 0.9]}}
quasi_extinction: {adults_below: 1}
runs: {draws: 1, replicates: 1, seed: 1}
"""


@pytest.fixture(scope="module")
def study(tmp_path_factory):
    """Ten units at each of two sites in two surveys, one listed twice; fish in two years."""
    folder = tmp_path_factory.mktemp("small beds")
    units = [(survey, site, f"{survey}-05-01", f"{site}{i}", 1, "yes")
             for survey in (2024, 2025) for site in ("Alder", "Mill") for i in range(10)]
    units.append(units[-1])
    columns = ["survey", "site", "date", "unit", "area_m2", "excavated"]
    pd.DataFrame(units, columns=columns).to_csv(folder / "units.csv", index=False)
    animals = [(2024, "Alder0", 60.0, "alive"), (2025, "Alder3", 61.0, "alive"),
               (2025, "Alder3", 62.0, "alive"), (2025, "Mill1", 63.0, "alive"),
               (2025, "Mill9", 64.0, "shell")]
    pd.DataFrame(animals, columns=["survey", "unit", "length_mm", "status"]).to_csv(
        folder / "animals.csv", index=False)
    hosts = [("2024-06-01", "Alder", "drum", 3, 1, 5), ("2025-06-01", "Alder", "drum", 4, 1, None)]
    pd.DataFrame(hosts, columns=["date", "site", "host", "count", "effort",
                                 "glochidia_per_fish"]).to_csv(folder / "hosts.csv", index=False)
    (folder / "study.yaml").write_text(STUDY, encoding="utf-8")
    found = estimate(folder)
    write_estimates(found, folder / "estimates" / "estimates.yaml")
    write_rows_used(found, folder / "estimates")
    (folder / "scenarios").mkdir()
    (folder / "scenarios" / "plan.yaml").write_text(SCENARIO, encoding="utf-8")
    return folder


def test_rows_behind_each_estimate_by_hand(study):
    found = rows_used(estimate(study)).set_index(["key", "file"])
    told = {key: (row["used"], row["flagged"], row["rows"]) for key, row in found.iterrows()}
    # header in row 1: Alder 2025 fills rows 22 to 31, Mill 2025 rows 32 to 41; row 42 is a repeat
    assert told["density/Alder", "units.csv"] == (10, 0, "22-31")
    assert told["density/Alder", "animals.csv"] == (2, 0, "3-4")
    assert told["abundance/Mill", "units.csv"] == (10, 0, "32-41")
    assert told["abundance/Mill", "animals.csv"] == (1, 0, "5")  # the shell is none
    assert told["hosts/drum/Alder", "hosts.csv"] == (1, 0, "3")
    assert told["glochidia_per_host/drum/Alder", "hosts.csv"] == (1, 0, "2")
    assert (found["in"].groupby("file").first().to_dict()
            == {"animals.csv": 5, "hosts.csv": 2, "units.csv": 41})
    assert found.loc[("density/Alder", "units.csv"), "set_aside"] == 1


def test_runs_of_rows_go_there_and_back():
    for numbers in ([], [7], [2, 3, 4], [2, 4, 5, 6, 9, 11, 12], list(range(5, 500))):
        assert from_runs(as_runs(numbers)) == numbers
    assert as_runs([5, 3, 4, 3]) == "3-5"


def test_a_number_is_followed_to_its_rows(study):
    scenario = read_scenario(study / "scenarios" / "plan.yaml")
    found = trace(scenario, "start/adult @ Alder")
    assert found.value["value"] == pytest.approx(20)  # 2 in 10 m2, 100 m2
    assert found.written["line"] == 16 and found.written["key"] == "sites.Alder.start"
    assert found.estimate["key"] == "abundance/Alder" and found.estimate["n"] == 2
    assert [(t.file, t.used, t.table_rows, t.set_aside, t.rows) for t in found.tables] == [
        ("units.csv", 10, 41, 1, tuple(range(22, 32))), ("animals.csv", 2, 5, 0, (3, 4))]


def lines_of(study, name, *more):
    said = CliRunner().invoke(main, ["show", str(study / "scenarios" / "plan.yaml"), "--trace",
                                     name, *more])
    assert said.exit_code == 0, said.output
    return said.stdout.splitlines()


def test_the_chain_in_words(study):
    told = estimate(study).abundance["Alder"]["adult"]
    low, high = (f"{float(f'{x:.3g}'):.4g}" for x in told.interval)
    assert lines_of(study, "start/adult @ Alder") == [
        f"start/adult @ Alder: 20; what is not known: se {told.se:.3g}",
        "  <- plan.yaml, line 16, `sites.Alder.start`: {\"estimate\": \"abundance/Alder\"}",
        "  <- estimate `abundance/Alder` of estimates.yaml: 20, 95 % interval "
        f"{low} to {high}, n = 2",
        "  <- measured: 10 units dug, survey 2025",
        "  <- model: survey 2025, units excavated",
        "  <- units.csv (units): 10 of 41 rows; 1 of the table set aside; rows 22, 23, 24, 25, 26 "
        "and 5 more",
        "  <- animals.csv (animals): 2 of 5 rows; 0 of the table set aside; rows 3, 4",
        "--out DIR writes every row's file and number."]
    assert lines_of(study, "survival/age 1") == [
        "survival/age 1: 0.6; what is not known: 0.5 to 0.7",
        "  <- plan.yaml, line 7, `survival.age 1`: {\"value\": 0.6, \"interval\": [0.5, 0.7], "
        "\"source\": {\"assumed\": \"expert range\"}}",
        "  <- assumed: expert range"]
    assert lines_of(study, "survival/adult @ Mill") == [
        "survival/adult @ Mill: 0.8; what is not known: 0.7 to 0.9, triangular",
        "  <- plan.yaml, line 20, `sites.Mill.survival.adult`: {\"value\": 0.8, \"interval\": "
        "[0.7, 0.9]}",
        "  <- given without a source: value written in place of published "
        "adult_survival/long_lived, which gives the rest"]
    assert lines_of(study, "recruitment/females") == [
        "recruitment/females: 0.5; no doubt stated",
        "  <- written nowhere; a default of the package: half of the animals"]


def test_a_published_value_is_followed_to_its_citation(study):
    lines = lines_of(study, "survival/adult")
    assert lines[0] == "survival/adult: 0.9; what is not known: 0.85 to 0.95, triangular"
    assert lines[2].startswith("  <- catalogue of published values, `adult_survival/long_lived`: ")
    document = json.loads("\n".join(lines_of(study, "survival/adult", "--json")))
    assert document["published"]["key"] == "adult_survival/long_lived"
    assert document["published"]["citation"] and document["published"]["references"]
    assert document["estimate"] is None and document["tables"] == []


def test_a_value_written_beside_a_published_one_is_not_passed_off_as_published(study, tmp_path):
    study = shutil.copytree(study, tmp_path / "changed")
    path = study / "scenarios/plan.yaml"
    text = path.read_text(encoding="utf-8")
    path.write_text(text.replace("    source: {published: adult_survival/long_lived}\n", ""),
                    encoding="utf-8")
    lines = lines_of(study, "survival/adult")
    assert lines[2] == ("  <- value written in place of published adult_survival/long_lived, which "
                        "gives the rest")
    assert lines[3].startswith("  <- catalogue of published values")


def test_releases_that_share_an_estimate_are_found_by_their_own_name(tmp_path):
    (tmp_path / "estimates.yaml").write_text(
        "release/hatchery: {value: 0.7, interval: [0.6, 0.8], n: 40, source: {measured: tags}}\n",
        encoding="utf-8")
    releases = "".join(
        f"  - {{name: to {site}, site: {site}, stage: adult, number: 5, first: 2026, "
        "first_year_survival: {estimate: release/hatchery}}\n" for site in ("Alder", "Mill"))
    text = SCENARIO.replace("../estimates/estimates.yaml", "estimates.yaml").replace(
        "start: {estimate: abundance/Alder}", "start: {adult: 3}")
    (tmp_path / "plan.yaml").write_text(f"{text}releases:\n{releases}", encoding="utf-8")
    scenario = read_scenario(tmp_path / "plan.yaml")
    found = trace(scenario, "releases/to Mill/first_year_survival")
    assert found.name == "release/hatchery" and found.value["value"] == 0.7
    with pytest.raises(MeaningError, match="has no rate called `releases/to Mil/first"):
        trace(scenario, "releases/to Mil/first_year_survival")


def test_species_and_water_of_a_single_figure_are_told(tmp_path):
    path = tmp_path / "plan.yaml"
    text = SCENARIO.replace("estimates: ../estimates/estimates.yaml\n", "").replace(
        "start: {estimate: abundance/Alder}", "start: {adult: 3}").replace(
        "adult_survival/long_lived", "adult_survival/pleurobema_riddellii")
    path.write_text(text, encoding="utf-8")
    found = trace(read_scenario(path), "survival/adult").published
    assert found["species"] == "Pleurobema riddellii"
    assert found["water"].startswith("Neches River") and found["status"] == "read"


def test_every_row_is_written_where_asked(study, tmp_path):
    lines_of(study, "start/adult @ Alder", "--out", str(tmp_path))
    rows = pd.read_csv(tmp_path / "plan.trace.csv")
    assert rows["file"].tolist() == ["units.csv"] * 10 + ["animals.csv"] * 2
    assert rows["row"].tolist() == [*range(22, 32), 3, 4]
    document = json.loads((tmp_path / "plan.trace.json").read_text(encoding="utf-8"))
    assert document["tables"][0]["first_rows"] == [22, 23, 24, 25, 26]


def test_without_the_list_of_rows_the_chain_says_so(study, tmp_path):
    shutil.copytree(study, tmp_path / "copy")
    (tmp_path / "copy/estimates/rows_used.csv").unlink()
    assert lines_of(tmp_path / "copy", "start/adult @ Alder")[-1] == (
        "  <- Which rows stand behind it is not known: rows_used.csv is missing beside the "
        "estimates file, or does not name it. Run `pva estimate` on the study.")


def test_an_unknown_name_gets_the_nearest(study):
    scenario = read_scenario(study / "scenarios" / "plan.yaml")
    with pytest.raises(MeaningError) as refused:
        trace(scenario, "survival/adlt")
    assert str(refused.value) == ("the scenario has no rate called `survival/adlt`. Nothing was "
                                  "traced. Did you mean `survival/adult`?")
    with pytest.raises(MeaningError) as refused:
        trace(scenario, "xyzzy")
    assert "Its rates are survival/age 1, survival/adult, survival/adult @ Mill" in str(
        refused.value)


def test_dots_may_stand_for_strokes(study):
    assert trace(read_scenario(study / "scenarios/plan.yaml"), "survival.adult").name == (
        "survival/adult")


DIFFERENT = ("no-field-data", "teasel", "river", "host-returns", "two-hosts", "sites-moving",
             "donor", "sources-mixed", "plan", "host-common")


@pytest.mark.parametrize("path", [pytest.param(
    p, id=p.relative_to(TOP).as_posix(), marks=[] if p.stem in DIFFERENT else pytest.mark.slow)
    for p in SHIPPED])
def test_every_rate_of_every_shipped_scenario_has_a_chain(path):
    scenario = read_scenario(path)
    for row in scenario.parameters():
        found = trace(scenario, row["name"])
        assert found.missing == "" and found.value["value"] == row["value"]
        assert (found.written is None) == (row["source_kind"] == "default"), row["name"]
        if row["source_kind"] == "published":
            assert found.published is not None, row["name"]
        if row["source_kind"] == "calibrated":
            assert found.follows is not None, row["name"]
        if found.written and found.written["text"].startswith("{\"value\""):
            assert json.loads(found.written["text"])["value"] == row["value"], row["name"]


@pytest.mark.slow
def test_rows_of_the_demo_agree_with_the_animals_followed(tmp_path):
    folder = tmp_path / "demo"
    shutil.copytree(TOP / "scenarios" / "hesperwell", folder)
    found = estimate(folder)
    told = rows_used(found)
    releases = told[told["is"].eq("releases")].groupby("key")["used"].sum()
    for key in ("survival/adult", "survival/subadult", "survival/adult @ Osprey Shoal",
                "release/hatchery"):
        assert releases[key] == found.rates[key].n  # one release a marked animal
    units = told[told["is"].eq("units")].set_index("key")["used"]
    for key in ("density/Fennel Bar", "density/Osprey Shoal", "density/Tallow Bend"):
        assert units[key] == found.rates[key].n
    assert set(told["key"]) == {*found.rates, *(f"abundance/{s}" for s in found.abundance)}
    assert ((told["used"] + told["flagged"]) <= told["in"] - told["set_aside"]).all()

"""Exact places leave only when asked for: every output of a study is searched for them.

Allowed to hold them are two working files of the technician, which stay with the study and are said
to in the docs: set_aside.csv and flagged.csv keep rows whole, so that they can be corrected.
"""

from __future__ import annotations

import json
import re
import shutil
from pathlib import Path

import numpy as np
import openpyxl
import pytest
import xarray as xr
from click.testing import CliRunner

from pva.cli import main
from pva.field import read_records, read_study
from tests.cli.conftest import SMALL
from tests.field.conftest import TABLES, write_study
from tests.safety.known_places import holds_place, places_of_study, text_holds_place

TOP = Path(__file__).parents[2]
STAYS = {"estimates/set_aside.csv", "estimates/flagged.csv"}
FEW = SMALL.replace("draws: 8, replicates: 10", "draws: 2, replicates: 3")
# a position in a row set aside, one far off, one with its ends swapped, one of a second site
SLIPS = TABLES["encounters.csv"] + """\
Quillstone Riffle,2021-08-18,982000987654312,,alive,45,0.45312,-3.26841,
Quillstone Riffle,2021-08-18,982000987654321,Lampsilis ficta,alive,46,-3.26812,0.45333,
Tallow Bend,2019-09-14,A123,Elliptio ficta,dead 0.52217 -3.31175,56,,,
Tallow Bend,2019-09-13,A123,Elliptio ficta,alive,50,0.52217,-3.31175,dead at 0.52217 -3.31175
"""


def call(*arguments):
    done = CliRunner().invoke(main, [str(a) for a in arguments])
    assert done.exit_code == 0, f"{arguments}: {done.output}"
    return done.stdout + done.stderr


def telling(folder, places, before=()):
    """Files of a folder that tell a place, but those that were there before."""
    return {str(f.relative_to(folder)) for f in folder.rglob("*")
            if f.is_file() and f not in before and holds_place(f, places)}


def exported(study):
    return [call("export", study, *(x for kind in kinds for x in ("--as", kind)))
            for kinds in (("csv", "xlsx", "docx"), ("geojson", "darwin-core"))]


@pytest.fixture(scope="module")
def small(tmp_path_factory):
    """A small study with positions in good rows and bad, a scenario, and all that is made of it."""
    folder = write_study(tmp_path_factory.mktemp("places") / "study",
                         {"encounters.csv": SLIPS}, report={"main": "scenarios/plan.yaml"})
    (folder / "scenarios").mkdir()
    (folder / "scenarios" / "plan.yaml").write_text(FEW, encoding="utf-8")
    before = set(folder.rglob("*"))
    plan = folder / "scenarios" / "plan.yaml"
    said = [call("check", folder, "--json"), call("estimate", folder), call("report", folder),
            call("show", plan), call("check", folder, "--out", folder / "checked"),
            call("credit", plan, "--baseline", plan, "--rate", 0.03), *exported(folder)]
    study = read_study(folder)
    found = places_of_study(study, read_records(study))
    found += [(0.45312, -3.26841), (0.45333, -3.26812), (0.52217, -3.31175)]
    return folder, before, said, found


def test_no_output_of_a_small_study_tells_a_place(small):
    folder, before, said, places = small
    assert telling(folder, places, before) == STAYS
    assert len([f for f in folder.rglob("*") if f.is_file() and f not in before]) > 30
    assert not [text for text in said if text_holds_place(text, places)]


def test_exact_places_are_told_when_asked_for(small, tmp_path):
    folder, _, _, places = small
    call("export", folder, "--as", "geojson", "--as", "darwin-core", "--exact-places", "--out",
         tmp_path)
    assert telling(tmp_path, places) >= {
        "sites.geojson", "darwin-core/event.csv", "darwin-core/occurrence.csv",
        "darwin-core/darwin-core.zip"}


PLACE = (0.45312, -3.26841)


@pytest.mark.parametrize("text", [
    "0.45312,-3.26841", "[-3.26841, 0.45312]", "<td>0.4531</td><td>3.2684 W</td>",
    '{"lat": 0.453, "lon": -3.268}', "0.45 / -3.27", "0\u00b027.19' 3\u00b016.1'"])
def test_the_search_finds_a_place_however_it_is_written(text, tmp_path):
    assert text_holds_place(re.sub("<[^>]*>", " ", text), [PLACE])
    file = tmp_path / "a.html"
    file.write_text(f"<p>before</p>{text}<p>after</p>", encoding="utf-8")
    assert holds_place(file, [PLACE])


@pytest.mark.parametrize("text", ["0.5,-3.3", "0.45312 and much later, after many other words "
                                  "that say nothing, -3.26841", "10.45312,-3.26841", "0.47,-3.29"])
def test_coarse_or_other_numbers_are_no_place(text):
    assert not text_holds_place(text, [PLACE])


def test_the_search_looks_into_workbooks_and_data_sets(tmp_path):
    book = openpyxl.Workbook()
    book.active.append(["here", *PLACE])
    book.save(tmp_path / "a.xlsx")
    assert holds_place(tmp_path / "a.xlsx", [PLACE])
    for name, data, found in (
            ("values", xr.Dataset({"p": ("n", np.array(PLACE))}), True),
            ("attributes", xr.Dataset(attrs={"note": json.dumps(PLACE)}), True),
            ("nothing", xr.Dataset({"p": ("n", np.array([PLACE[0], 1.0]))}), False)):
        data.to_netcdf(tmp_path / f"{name}.nc", engine="h5netcdf")
        assert holds_place(tmp_path / f"{name}.nc", [PLACE]) is found


@pytest.mark.slow
def test_no_output_of_the_demo_tells_a_place(tmp_path):
    """The whole chain on the demo, with few runs; every corner and every position looked for."""
    folder = tmp_path / "hesperwell"
    shutil.copytree(TOP / "scenarios" / "hesperwell", folder)
    for file in (folder / "scenarios").glob("*.yaml"):
        text = re.sub(r"^runs: {draws: \d+, replicates: \d+", "runs: {draws: 8, replicates: 4",
                      file.read_text(encoding="utf-8"), flags=re.M)
        file.write_text(text, encoding="utf-8")
    spec = (folder / "study.yaml").read_text(encoding="utf-8")
    spec = re.sub(r"draws: \d+", "draws: 4", re.sub(r"replicates: \d+", "replicates: 2", spec))
    (folder / "study.yaml").write_text(spec, encoding="utf-8")
    before = set(folder.rglob("*"))
    said = [call("report", folder), call("check", folder), *exported(folder)]
    study = read_study(folder)
    places = places_of_study(study, read_records(study))
    assert len(places) > 1000
    assert telling(folder, places, before) == STAYS
    assert not [text for text in said if text_holds_place(text, places)]

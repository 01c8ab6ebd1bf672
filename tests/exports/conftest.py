"""Material for exports: two quick runs, hand-written answers, a small study with its records."""

from __future__ import annotations

import pytest

from pva.field import read_records, read_study
from pva.report.exports.table_files import sheets_of
from pva.report.material import gather
from pva.results.run import run
from pva.scenario.scenario import Scenario
from tests.field.conftest import TABLES, write_study
from tests.report.conftest import ANSWER, COMPARISON, ESTIMATES, PLAN, invented_records

FORMULA = '=HYPERLINK("x")'


@pytest.fixture(scope="session")
def runs():
    """A scenario whose names would run in a spreadsheet, and one that differs."""
    plan = Scenario.from_dict(PLAN | {"title": FORMULA})
    lower = plan.with_changes({"title": "@Lower", "survival.adult.value": 0.9})
    return [(s, run(s, threads=1)) for s in (plan, lower)]


@pytest.fixture(scope="session")
def material(runs):
    """All that tables and documents may hold."""
    answer = ANSWER | {"digest": runs[0][0].digest}
    return gather(runs=runs, stock=[(runs[0][0], answer)], comparison=COMPARISON,
                  estimates=ESTIMATES, records=invented_records())


@pytest.fixture(scope="session")
def sheets(material):
    return {one.name: one for one in sheets_of(material)}


UNITS = """\
survey,site,date,transect,unit,area_m2,excavated,depth_cm,sieve_mm
2019,Quillstone Riffle,2019-09-11,1,Q1,0.25,yes,15,6
2019,Quillstone Riffle,2019-09-12,1,Q2,0.25,yes,15,6
2019,Quillstone Riffle,2019-09-12,2,Q 3,0.25,no,,
2019,Tallow Bend,2019-09-13,,Q1,0.5,yes,15,6
"""
ANIMALS = """\
survey,site,unit,species,length_mm,status,batch_mark,number
2019,Quillstone Riffle,Q1,Lampsilis ficta,47.0,alive,white,1
2019,Quillstone Riffle,Q1,Lampsilis ficta,52.0,alive,,2
2019,Quillstone Riffle,Q2,Lampsilis ficta,60.0,shell,,1
"""
ENCOUNTERS = TABLES["encounters.csv"] + (
    "Quillstone Riffle,2019-09-10,982000411223344,Lampsilis ficta,alive,44.9,0.4535,-3.2675,\n"
    "Quillstone Riffle,2021-08-18,982000987654321,Lampsilis ficta,shell,50.0,,,=BAD()\n")


@pytest.fixture(scope="session")
def small(tmp_path_factory):
    """A small study and its records."""
    folder = write_study(tmp_path_factory.mktemp("small") / "study", {
        "units.csv": UNITS, "animals.csv": ANIMALS, "encounters.csv": ENCOUNTERS},
        title="Secret River")
    study = read_study(folder)
    return study, read_records(study)

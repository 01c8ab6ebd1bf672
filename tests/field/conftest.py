"""A small invented study whose tables hold no fault; tests replace one table at a time."""

import copy

import pytest
from ruamel.yaml import YAML

STUDY = {
    "title": "Small invented study",
    "species": ["Lampsilis ficta", "Elliptio ficta"],
    "sites": [
        {"name": "Quillstone Riffle", "also_called": ["QR"],
         "corners": [[0.453, -3.268], [0.454, -3.267]]},
        {"name": "Tallow Bend"},
    ],
    "visits": {"from": "visits.csv"},
    "tables": [
        {"file": "releases.csv", "is": "releases"},
        {"file": "encounters.csv", "is": "encounters"},
        {"file": "units.csv", "is": "units"},
        {"file": "animals.csv", "is": "animals"},
        {"file": "hosts.csv", "is": "hosts"},
    ],
}
TABLES = {
    "releases.csv": """\
tag,species,site,date,length_mm,source,second_mark
982000411223344,Lampsilis ficta,Quillstone Riffle,2018-09-18,36.0,hatchery,G001
982000987654321,Lampsilis ficta,Quillstone Riffle,2018-09-18,38.0,hatchery,G002
A123,Elliptio ficta,Tallow Bend,2018-09-18,52.0,donor bed,
""",
    "visits.csv": """\
visit,site,first_date,last_date,method
2019-09,Quillstone Riffle,2019-09-10,2019-09-12,hand search
2019-09,Tallow Bend,2019-09-13,2019-09-14,hand search
2021-08,Quillstone Riffle,2021-08-16,2021-08-18,hand search
""",
    "encounters.csv": """\
site,date,tag,species,status,length_mm,latitude,longitude,remarks
Quillstone Riffle,2019-09-10,982000411223344,Lampsilis ficta,alive,44.5,0.4535,-3.2675,
Quillstone Riffle,2019-09-11,982000987654321,,heard,,,,
Tallow Bend,2019-09-13,A123,Elliptio ficta,alive,55.0,,,in shade
Quillstone Riffle,2021-08-17,982000411223344,Lampsilis ficta,alive,43.9,,,
Quillstone Riffle,2021-08-17,,Lampsilis ficta,alive,18.0,,,
""",
    "units.csv": """\
survey,site,date,unit,area_m2,excavated
2019,Quillstone Riffle,2019-09-11,Q1,0.25,yes
2019,Quillstone Riffle,2019-09-11,Q2,0.25,yes
2019,Tallow Bend,2019-09-13,Q1,0.25,no
""",
    "animals.csv": """\
survey,site,unit,species,length_mm,status
2019,Quillstone Riffle,Q1,Lampsilis ficta,47.0,alive
""",
    "hosts.csv": """\
date,site,host,count,effort,glochidia_per_fish
2019-09-12,Quillstone Riffle,drum,14,2.5,3.1
""",
}


def write_study(folder, texts=None, **keys):
    """Write the small study with some tables and keys replaced; returns its folder."""
    folder.mkdir(parents=True, exist_ok=True)
    written = copy.deepcopy(STUDY)
    for name, reading in (keys.pop("reading", None) or {}).items():
        for table in written["tables"]:
            if table["file"] == name:
                table.update(reading)
    written.update(keys)
    for name, text in {**TABLES, **(texts or {})}.items():
        (folder / name).write_text(text, encoding="utf-8")
    with (folder / "study.yaml").open("w", encoding="utf-8") as handle:
        YAML().dump(written, handle)
    return folder


@pytest.fixture
def small_study(tmp_path):
    """A function that writes the small study into a fresh folder."""
    def make(texts=None, **keys):
        return write_study(tmp_path / "study", texts, **keys)
    return make

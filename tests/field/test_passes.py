"""Searches of one visit told apart: the first pass that met an animal and how many did."""

from pva.field import read_records, read_study

STUDY = """title: Hesperwell (invented)
sites: [{name: Quillstone}]
tables:
  - {file: releases.csv, is: releases, fill: {site: Quillstone, date: 2018-06-01}}
  - {file: visits.csv, is: visits, fill: {site: Quillstone}}
  - {file: met.csv, is: encounters, fill: {site: Quillstone}}
"""
MET = """visit,tag,status,pass,length_mm
v0,A1,alive,2,41
v0,A1,alive,3,
v0,A2,alive,1,
v0,A2,alive,1,
v0,A3,heard,1,
"""


def test_passes_of_a_visit_are_kept_when_its_records_are_joined(tmp_path):
    (tmp_path / "study.yaml").write_text(STUDY, encoding="utf-8")
    (tmp_path / "releases.csv").write_text("tag\nA1\nA2\nA3\n", encoding="utf-8")
    (tmp_path / "visits.csv").write_text("visit,first_date,passes\nv0,2019-06-01,3\n",
                                         encoding="utf-8")
    (tmp_path / "met.csv").write_text(MET, encoding="utf-8")
    met = read_records(read_study(tmp_path)).encounters.set_index("tag")
    assert met.loc["A1", ["pass", "passes_met", "length_mm"]].tolist() == [2, 2, 41]
    assert met.loc["A2", ["pass", "passes_met"]].tolist() == [1, 1]
    assert met.loc["A3", "passes_met"] != met.loc["A3", "passes_met"]

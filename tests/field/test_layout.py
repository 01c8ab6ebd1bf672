"""What a study says about units and hosts: refused where it cannot be meant, read where it can."""

import re
import shutil
from pathlib import Path

import pytest

import pva
from pva.errors import FormError, MeaningError
from pva.field import read_records, read_study
from pva.files import shipped

SITES = [{"name": "Quillstone Riffle", "area_m2": 1000}, {"name": "Tallow Bend"}]


def problems(small_study, **keys):
    with pytest.raises(MeaningError) as raised:
        read_study(small_study(**keys))
    return [f"{p.what}. {p.todo}" for p in raised.value.problems]


def test_strata_need_their_design_a_site_and_the_whole_area(small_study):
    strata = [{"name": "edge", "site": "Quillstone Riffle", "area_m2": 300},
              {"name": "edge", "site": "Quillstone Riffle", "area_m2": 300},
              {"name": "pool", "site": "Tallow Bent", "area_m2": 50}]
    assert problems(small_study, sites=SITES, density={"strata": strata}) == [
        "strata and the design `stratified` belong together. Write `design: stratified` and the "
        "strata with their areas, or neither.",
        "`edge` of Quillstone Riffle stands twice. Keep one of the two.",
        "`Tallow Bent` is no site of the study. Did you mean `Tallow Bend`?",
        "the strata of `Quillstone Riffle` have 600 m2, the site 1000 m2. Name all strata, or "
        "correct an area."]
    assert problems(small_study, density={"design": "stratified"}) == [
        "strata and the design `stratified` belong together. Write `design: stratified` and the "
        "strata with their areas, or neither."]


def test_shares_hold_their_value_and_name_a_source(small_study):
    told = problems(small_study, density={"efficiency": {"value": 0.9, "interval": [0.91, 0.95]}},
                    hosts={"efficiency": {"drum": {"value": 0.5, "interval": [0.4, 0.6]}}})
    source = "a share with an interval names no source. Write where it comes from: `source: ...`."
    assert told == [
        "the interval 0.91 to 0.95 does not hold the share 0.9 within 0 to 1. Correct the value or "
        "the interval.", source, source]


def test_a_share_above_one_is_no_share(small_study):
    with pytest.raises(FormError):
        read_study(small_study(density={"efficiency": 1.2}))


def test_a_share_for_no_stage_is_refused(small_study):
    folder = small_study(stages=[{"name": "adult", "length_mm": [50, 90]}],
                         density={"surface_finds": {"adlt": 0.5}})
    with pytest.raises(MeaningError) as raised:
        pva.estimate(folder)
    assert [p.what for p in raised.value.problems] == ["`adlt` is no stage of the study"]


UNITS = "survey,site,date,unit,area_m2,excavated,stratum,start\n" + "".join(
    f"2019,Quillstone Riffle,2019-09-11,Q{k},0.25,{'yes' if k % 2 else 'no'},"
    f"{'edge' if k < 15 else 'pool'},{'A' if k % 3 else 'B'}\n" for k in range(30))
ANIMALS = """\
survey,site,unit,species,length_mm,status,number,excavated
2019,Quillstone Riffle,Q1,Lampsilis ficta,60,alive,2,no
2019,Quillstone Riffle,Q1,Lampsilis ficta,61,alive,2,yes
2019,Quillstone Riffle,Q2,Lampsilis ficta,60,alive,3,
2019,Quillstone Riffle,Q3,Lampsilis ficta,20,alive,0,
2019,Quillstone Riffle,Q17,Lampsilis ficta,62,alive,,no
"""
HOSTS = """\
date,site,host,count,effort,area_m2,pass
2019-09-12,Quillstone Riffle,drum,60,2.5,400,1
2019-09-12,Quillstone Riffle,drum,24,2.5,400,2
2019-09-12,Quillstone Riffle,bass,7,2.5,,
"""


def bed(small_study, **density):
    folder = small_study({"units.csv": UNITS, "animals.csv": ANIMALS, "hosts.csv": HOSTS},
                         sites=SITES, density=density, hosts={"effort_m2": 40})
    return pva.estimate(folder)


def test_columns_of_units_animals_and_hosts_are_read(small_study):
    folder = small_study({"units.csv": UNITS, "animals.csv": ANIMALS, "hosts.csv": HOSTS})
    read = read_records(read_study(folder))
    assert read.animals["number"].tolist() == [2, 2, 3, 0, 1]
    assert read.animals["excavated"].tolist() == [False, True, None, None, False]
    assert read.units["stratum"].value_counts().to_dict() == {"edge": 15, "pool": 15}
    assert read.units["start"].tolist()[:3] == ["B", "A", "A"]
    assert read.hosts["pass"].tolist()[:2] == [1, 2]
    assert read.hosts["area_m2"].tolist()[:2] == [400, 400]


def test_from_study_yaml_to_a_density_by_strata(small_study):
    """Dug: 4 animals in 7 units of the edge (300 m2), 1 in 8 of the pool (700 m2)."""
    strata = [{"name": n, "site": "Quillstone Riffle", "area_m2": a}
              for n, a in (("edge", 300), ("pool", 700))]
    told = bed(small_study, design="stratified", strata=strata)
    value = told.rates["density/Quillstone Riffle"].value
    assert value == pytest.approx(0.3 * 4 / (7 * 0.25) + 0.7 * 1 / (8 * 0.25))
    assert {r["stratum"] for r in told.summary()["next_units"]} == {"edge", "pool"}


def test_from_study_yaml_to_double_sampling(small_study):
    """Seen at the surface: 3 in the 15 units dug, 3 in the others; digging found 2 more."""
    told = bed(small_study, design="double")
    assert told.rates["density/Quillstone Riffle"].value == pytest.approx(5 / 3 * 6 / 7.5)


def test_from_study_yaml_to_host_densities(small_study):
    told = bed(small_study)
    assert told.rates["hosts/drum/Quillstone Riffle"].value == pytest.approx(97.4 / 4, abs=0.1)
    assert told.rates["hosts/bass/Quillstone Riffle"].value == pytest.approx(7.0)
    assert {r["host"] for r in told.summary()["hosts"]} == {"bass", "drum"}


def test_the_example_of_the_docs_is_a_study(tmp_path):
    """The block of docs/estimation.md put into the demo study in place of its own design."""
    page = (Path(__file__).parents[2] / "docs" / "estimation.md").read_text(encoding="utf-8")
    block = re.search(r"```yaml\n(density:.*?)```", page, flags=re.S)[1]
    folder = tmp_path / "study"
    shutil.copytree(shipped("scenarios/hesperwell"), folder)
    written = (folder / "study.yaml").read_text(encoding="utf-8")
    assert "density: {design: systematic}\n" in written
    (folder / "study.yaml").write_text(
        written.replace("density: {design: systematic}\n", block), encoding="utf-8")
    density = read_study(folder).spec.density
    assert [s.transects for s in density.strata] == [["1", "2", "3"], ["4", "5", "6", "7"]]
    assert (density.efficiency.value, density.units_dug[0].number) == (0.9, 96)

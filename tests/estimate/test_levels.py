"""Each of the five entry levels, from files to the sentence: small invented studies."""

import json

import pytest
from click.testing import CliRunner

from pva.cli import main
from pva.estimate.run import estimate as estimate_study

HEAD = """title: Hesperwell at level {level} (invented)
species: [Lampsilis ficta]
sites: [{{name: Quillstone, area_m2: 6800}}]
tables:
"""
VISITS = "visit,site,first_date,last_date,method,area_m2,passes\n"


def rows(lines):
    return "\n".join(lines) + "\n"


def tagged(days, *, lengths=False, second=False, shells=False):
    """40 animals released in 2018; animal i is met at visit k unless (i + k) % 4 is 0."""
    released = ["tag,species,site,date,length_mm,source,second_mark"]
    met = ["visit,site,date,tag,second_mark,status,length_mm"]
    for i in range(40):
        mark = f"red {i}" if second else ""
        size = f"{30 + i % 7}" if lengths else ""
        released.append(f"A{i:03d},Lampsilis ficta,Quillstone,2018-06-01,{size},hatchery,{mark}")
        for k, day in enumerate(days):
            dead = i % 10 == k + 1
            if (i % 10) in range(1, k + 1) or (not dead and (i + k) % 4 == 0):
                continue
            if dead and not shells:
                continue
            tag = "" if second and (i, k) in ((17, 1), (24, 2)) else f"A{i:03d}"
            long = f"{30 + i % 7 + 6 * (k + 1) - k * k + (i * 7 + k) % 3 - 1}" if lengths else ""
            status = "shell" if dead else "alive"
            met.append(f"v{k},Quillstone,{day},{tag},{mark},{status},{long}")
    visits = [f"v{k},Quillstone,{d},{d},hand search,6800,1" for k, d in enumerate(days)]
    return {"releases.csv": rows(released), "encounters.csv": rows(met),
            "visits.csv": VISITS + rows(visits)}


BATCHES = {
    "releases.csv": "species,site,date,source,batch,batch_mark,number\n"
                    "Lampsilis ficta,Quillstone,2018-06-01,hatchery,B1,yellow,300\n",
    "visits.csv": VISITS + "v0,Quillstone,2019-06-01,2019-06-01,hand search,3400,1\n",
    "encounters.csv": "visit,site,date,status,batch_mark\n" + "v0,Quillstone,2019-06-01,alive,"
                      "yellow\n" * 1 + "v0,Quillstone,2019-06-01,alive,yellow\n" * 89,
    "units.csv": "survey,site,date,unit,area_m2\n" + rows(
        f"2019,Quillstone,2019-06-02,U{i},0.25" for i in range(40)),
    "animals.csv": "survey,site,unit,species,length_mm\n"
                   "2019,Quillstone,U3,Lampsilis ficta,61\n2019,Quillstone,U9,Lampsilis ficta,58\n",
}
DAYS = ("2019-06-05", "2020-06-01", "2021-06-10", "2022-06-01")
STUDIES = {
    0: {},
    1: BATCHES,
    2: tagged(DAYS[:1]),
    3: tagged(DAYS, lengths=True),
    4: tagged(DAYS, lengths=True, second=True, shells=True),
}


def write(folder, level):
    text = HEAD.format(level=level)
    files = STUDIES[level]
    (folder / "field").mkdir()
    for name, content in files.items():
        (folder / "field" / name).write_text(content, encoding="utf-8")
        text += f"  - {{file: field/{name}, is: {name.removesuffix('.csv')}}}\n"
    text = text if files else text.replace("tables:\n", "")
    (folder / "study.yaml").write_text(text, encoding="utf-8")
    return folder


@pytest.mark.parametrize("level", STUDIES)
def test_every_level_answers(tmp_path, level):
    told = estimate_study(write(tmp_path, level))
    assert told.level == level
    rates, summary = told.rates, told.summary()
    point = any(k.startswith("survival/") and e.value is not None for k, e in rates.items())
    assert point == (level >= 3)
    assert (summary["growth"] is not None) == (level >= 3)
    assert bool(summary["density"]) == (level == 1)
    if level == 1:
        bounds = rates["survival/marked yellow @ Quillstone"]
        assert bounds.value is None and 0.2 < bounds.interval[0] < 0.3
    if level == 3:  # hardly any died soon after the release: near 1, not anywhere
        release = rates["release/hatchery"]
        assert release.value > 0.9 and release.interval[0] > 0.5
    if level == 2:
        assert rates["survival/all"].note.startswith("bounds: with two visits")
    if level == 4:
        assert summary["tag_retention"]["lost"] == 2
        assert None not in (summary["survival"][0]["corrected"], summary["survival"][0]["apparent"])


@pytest.mark.parametrize("level", [0, 1, 2])
def test_the_command_names_the_level_and_exits_well(tmp_path, level):
    study = write(tmp_path, level)
    run = CliRunner().invoke(main, ["estimate", str(study), "--json"])
    assert run.exit_code == 0, run.output
    summary = json.loads(run.stdout)
    assert summary["level"] == level
    said = CliRunner().invoke(main, ["estimate", str(study)])
    assert f"The records reach level {level} of 4" in said.output
    assert ("they bound survival" in said.output) == (level > 0)
    if level == 2:
        assert "bounds: with two visits survival cannot be told apart from detection" in said.output
        row = next(r for r in summary["refused"] if r["what"] == "survival/all")
        assert row["low"] < 0.9 < row["high"] <= 1


@pytest.mark.parametrize("measured", ["none", "half"])
def test_animals_never_measured_have_no_stage(tmp_path, measured):
    """Without a length nobody knows whether an animal is adult."""
    files = tagged(DAYS, lengths=measured == "half")
    if measured == "half":
        wild = tagged(DAYS)
        for name in ("releases.csv", "encounters.csv"):
            lines = wild[name].replace("hatchery", "wild bed").replace("A0", "W0").split("\n")
            files[name] += rows(lines[1:-1])
    (tmp_path / "field").mkdir()
    text = HEAD.format(level=3)
    for name, content in files.items():
        (tmp_path / "field" / name).write_text(content, encoding="utf-8")
        text += f"  - {{file: field/{name}, is: {name.removesuffix('.csv')}}}\n"
    text += "stages: [{name: young, length_mm: [10, 40]}, {name: adult, length_mm: [40, 90]}]\n"
    (tmp_path / "study.yaml").write_text(text, encoding="utf-8")
    told = estimate_study(tmp_path)
    assert told.level == 3
    steps = told.by_species["Lampsilis ficta"].steps
    stages = steps.groupby("source")["stage"].unique().map(set)
    if measured == "none":
        assert [k for k in told.rates if k.startswith("survival/")] == ["survival/all"]
        assert "no animal was measured: survival is not told by stage" in told.notes
        assert told.summary()["level_words"].endswith("no animal was measured twice")
    else:
        assert stages["wild bed"] == {"not measured"}
        assert stages["hatchery"] == {"young", "adult"}
        assert ("40 animals were never measured, nor any of their source: their survival stands "
                "apart as `survival/not measured`") in told.notes

"""The invented demo study: made again byte for byte, and true to its written truth."""

from __future__ import annotations

import csv
import importlib
import subprocess
import sys
from pathlib import Path

import numpy as np
import openpyxl
import pandas as pd
import pytest
from ruamel.yaml import YAML

from pva.field.tags import one_slip_away, read_tag

STUDY = Path(__file__).parents[2] / "scenarios" / "hesperwell"
MADE_BY = STUDY / "made_by"


def read(name: str) -> pd.DataFrame:
    return pd.read_csv(STUDY / name, dtype=str, keep_default_na=False)


@pytest.fixture(scope="module")
def truth():
    return YAML(typ="safe").load((MADE_BY / "truth.yaml").read_text(encoding="utf-8"))


@pytest.fixture(scope="module")
def again(tmp_path_factory):
    """The whole study made anew in an empty folder."""
    out = tmp_path_factory.mktemp("again")
    script = [sys.executable, "-B", str(MADE_BY / "generate.py"), "--out", str(out)]
    subprocess.run(script, check=True, timeout=120)
    return out


@pytest.fixture(scope="module")
def lives(truth):
    """The hidden lives of all animals, and the survival drawn for each year."""
    sys.path.insert(0, str(MADE_BY))
    kept = sys.dont_write_bytecode
    sys.dont_write_bytecode = True
    try:
        life = importlib.import_module("life")
        animals, survival = life.live(truth, np.random.default_rng([truth["seed"], 0]))
        yield life, animals, survival
    finally:
        sys.dont_write_bytecode = kept
        sys.path.remove(str(MADE_BY))
        for name in ("life", "crew", "faults"):
            sys.modules.pop(name, None)


def lines(name: str) -> list[list[str]]:
    with (STUDY / name).open(encoding="utf-8", newline="") as table:
        return list(csv.reader(table))


def cells(path: Path) -> dict:
    book = openpyxl.load_workbook(path)
    return {s.title: [list(r) for r in s.iter_rows(values_only=True)] for s in book.worksheets}


def test_making_it_again_gives_the_same_files(again):
    made = sorted(p.relative_to(again) for p in again.rglob("*") if p.is_file())
    kept = {p.relative_to(STUDY) for p in (STUDY / "field").iterdir()}
    kept |= {p.relative_to(STUDY) for p in MADE_BY.glob("*.csv")}
    assert set(made) == kept
    for name in made:
        if name.suffix == ".xlsx":
            assert cells(again / name) == cells(STUDY / name), name
        else:
            assert (again / name).read_bytes() == (STUDY / name).read_bytes(), name


def test_size_and_dates_of_the_study():
    early, late = read("field/releases_2017_2019.csv"), read("field/releases_2020_2022.csv")
    tagged = (early["tag"] != "").sum() + (late["PIT"] != "").sum()
    assert 1200 <= tagged <= 2500
    years = {d[:4] for d in early["date"]} | {d[-4:] for d in late["Released"]}
    assert years == {"2017", "2018", "2019", "2020", "2021", "2022"}
    visits = read("field/visits.csv")
    assert sorted(set(visits["visit"])) == [
        "2018-07", "2019-09", "2021-08", "2022-10", "2024-07", "2025-09"]  # fmt: skip
    assert set(visits["method"]) == {"antenna", "hand search"}
    for survey in (2019, 2022, 2025):
        units, found = read(f"field/units_{survey}.csv"), read(f"field/animals_{survey}.csv")
        blank = ~units["unit"].isin(found["unit"])
        assert blank.mean() > 0.7
        assert units.groupby("site").size().between(100, 150).all()
        assert set(units["excavated"]) == {"yes", "no"}


def test_tags_are_far_apart_and_legal(truth):
    early, late = read("field/releases_2017_2019.csv")["tag"], read("field/releases_2020_2022.csv")
    tags = [t for t in [*early, *late["PIT"]] if t]
    known = set(tags)
    assert len(tags) - len(known) == 2, "only the two planted double releases repeat a tag"
    assert all(read_tag(t).kind == "iso" and t.startswith("994") for t in tags)
    assert not any(one_slip_away(t, known) for t in tags[::12])


def test_other_forms_of_a_tag_are_the_same_animals():
    pages = pd.read_excel(STUDY / "field/recaptures.xlsx", sheet_name=None, header=2, dtype=str)
    released = set(read("field/releases_2017_2019.csv")["tag"])
    released |= set(read("field/releases_2020_2022.csv")["PIT"])
    written = pd.concat(pages.values())["PIT no."].dropna()
    written = pd.concat([written, read("field/encounters_2018_2019.csv")["tag"]])
    other = [t for t in written if t and (not t.isdigit()) and "E+" not in t]
    assert len(other) > 100
    assert {t[3] for t in other} >= {".", " "}
    assert all(read_tag(t).name in released for t in other)


def test_every_fault_is_listed_once_with_the_row_it_stands_in():
    faults = read("made_by/planted_faults.csv")
    assert 55 <= len(faults) <= 65
    assert not faults.duplicated(["file", "sheet", "row"]).any()
    assert set(faults["expected"]) == {"set aside", "flagged", "collapsed"}
    book = cells(STUDY / "field/recaptures.xlsx")
    for fault in faults.to_dict("records"):
        row = int(fault["row"]) - 1
        if fault["sheet"]:
            there = [str(v) for v in book[fault["sheet"]][row]]
        else:
            there = lines(fault["file"])[row]
        if " written as " in fault["planted"] and fault["kind"] != "date outside visits":
            wrong = fault["planted"].split(" written as ")[1]
            assert wrong in there, (fault, there)


def survived(life, animals, truth, year: int, stage: int) -> tuple[int, int]:
    """Animals of a stage alive on 1 January, and those of them alive a year later."""
    start, end = life.day(f"{year}-01-01"), life.day(f"{year + 1}-01-01")
    here = animals[(animals["entered"] + 60 < start) & (animals["died"] > start)]
    limits = truth["stage_limits_mm"]
    at = np.searchsorted(limits, life.length_on(here, start, truth), side="right")
    later = np.searchsorted(limits, life.length_on(here, end, truth), side="right")
    here = here[(at == stage) & (later == stage)]
    return len(here), int((here["died"] > end).sum())


def deviance(counts, expected) -> float:
    """Likelihood-ratio distance of counts (n, alive) from expected chances."""
    total = 0.0
    for (n, k), p in zip(counts, expected, strict=True):
        for seen, chance in ((k, p), (n - k, 1 - p)):
            total += 2 * seen * np.log(seen / (n * chance)) if seen else 0.0
    return total


def test_animals_live_as_the_truth_says(lives, truth):
    """Adults of 2018-2024 against the survival written down; chi-squared with 7 degrees of freedom.

    False-alarm rate 0.001 (limit 24.3) were the seed free. Survival without the flood must fail.
    """
    life, animals, survival = lives
    animals = animals[animals["site"] != "Osprey Shoal"]  # some of those were moved, not dead
    years = range(2018, 2025)
    counts = [survived(life, animals, truth, y, 2) for y in years]
    flood = truth["flood"]["survival"]
    right = [survival.loc[y, "adult"] * (flood if y == 2019 else 1) for y in years]
    wrong = [survival.loc[y, "adult"] for y in years]
    assert deviance(counts, right) < 24.3
    assert deviance(counts, wrong) > 100


def test_years_have_exactly_the_mean_and_spread_written_down(lives, truth):
    _, _, survival = lives
    for stage in ("juvenile", "subadult", "adult"):
        scored = survival.loc[2018:2025, stage]
        assert scored.mean() == pytest.approx(truth["survival"][stage]["value"], abs=1e-6)
        assert scored.std(ddof=0) == pytest.approx(truth["survival"][stage]["year_sd"], abs=1e-6)


def test_release_and_marks_last_as_the_truth_says(lives, truth):
    """Two-sided binomial limits at 0.001 each, seed fixed."""
    life, animals, _ = lives
    tagged = animals[animals["tagged"].astype(bool)]
    hatchery = tagged[tagged["source"] == "hatchery"]
    # the part of 60 days of ordinary deaths is small and known: subadults and juveniles
    lived = (hatchery["died"] > hatchery["entered"] + 60).mean()
    expected = truth["release"]["hatchery"] * 0.81 ** (60 / 365.25)
    assert lived == pytest.approx(expected, abs=3.3 * np.sqrt(0.25 / len(hatchery)))
    year = (tagged["tag_lost"] > tagged["entered"] + 365.25).mean()
    assert year == pytest.approx(0.98, abs=3.3 * np.sqrt(0.98 * 0.02 / len(tagged)))


def test_no_wild_young_above_the_dam_before_the_passage(lives, truth):
    life, animals, _ = lives
    wild = animals[animals["source"] == "wild"]
    above = wild[wild["site"].isin(["Quillstone Riffle", "Tallow Bend"])]
    assert len(above) > 100
    assert above["born"].min() >= life.day("2022-01-01")
    below = wild[wild["site"] == "Fennel Bar"]
    assert (below["born"] < life.day("2018-01-01")).any()


def test_everything_says_that_it_is_invented():
    for path in [STUDY / "README.md", STUDY / "study.yaml", *STUDY.glob("scenarios/*.yaml"),
                 MADE_BY / "truth.yaml"]:  # fmt: skip
        assert "invented" in path.read_text(encoding="utf-8").lower(), path.name

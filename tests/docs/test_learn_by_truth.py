"""The river of which everything is known: good records hold the truth, spoilt ones miss it as told.

Both directions can fail: the true values lie inside the intervals of the good study (seed 3 of the
page, fixed), and every mistake must move its number to the side that the page names, by more than
the interval of the spoilt study.
"""

from __future__ import annotations

import shutil

import pytest
from page_blocks import DOCS, TOP, code_blocks
from page_runner import run_line, terminal_lines

PAGE = DOCS / "learn-by-truth.md"
KNOWN = TOP / "scenarios" / "known-river"


@pytest.fixture(scope="module")
def make():
    import importlib.util

    spec = importlib.util.spec_from_file_location("known_river", KNOWN / "make.py")
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    return module


@pytest.fixture(scope="module")
def project(tmp_path_factory):
    """A folder that holds the scenarios, as the project's own does."""
    folder = tmp_path_factory.mktemp("learn") / "a project"
    shutil.copytree(KNOWN, folder / "scenarios" / "known-river")
    return folder


@pytest.fixture(scope="module")
def compared(project, make):
    """The page run from top to bottom, then every study beside the truth: study -> name -> row."""
    with pytest.MonkeyPatch.context() as patch:
        patch.chdir(project)
        for block in code_blocks(PAGE):
            for line in terminal_lines(block):
                run_line(line, f"{PAGE.name}, line {block.line}")
    return {study: {row[0]: row[1:] for row in make.beside_truth(project / study)}
            for study in ("good", *make.MISTAKES)}


def test_two_makings_are_alike_and_the_tables_hold_the_truth(make, tmp_path):
    first, again = make.tables(), make.tables()
    assert all(first[name].equals(again[name]) for name in first)
    assert not first["encounters"].equals(make.tables(4)["encounters"])
    assert len(first["releases"]) == first["releases"]["tag"].nunique() == 600
    assert first["units"]["unit"].nunique() == make.UNITS
    # 600 animals, 0.70 alive after release: the first autumn's hand search finds 0.6 of those there
    met = first["encounters"]
    autumn = met[(met["visit"] == 2018) & (met["status"] == "alive")]["tag"]
    young = first["releases"][first["releases"]["batch"] == "spring 2018"]["tag"]
    found = autumn.isin(young).sum() / make.EACH_YEAR
    assert found == pytest.approx(0.7 * 0.6 * (0.9 * 0.93) ** 0.3, abs=0.12)  # three SD of 150


def test_a_folder_that_is_there_is_left_alone(make, tmp_path, monkeypatch, capsys):
    monkeypatch.setattr("sys.argv", ["make.py", str(tmp_path)])
    with pytest.raises(SystemExit):
        make.main()
    assert "is there already. Nothing was written." in capsys.readouterr().err


def test_the_page_makes_every_mistake(make):
    text = PAGE.read_text(encoding="utf-8")
    assert all(f"--spoil {mistake}\n" in text for mistake in make.MISTAKES)


@pytest.mark.slow
def test_good_records_hold_the_truth(compared):
    for name, (truth, value, low, high) in compared["good"].items():
        assert low < truth < high, name
        assert abs(value - truth) < high - low, name


WRONG = [("pooled", "survival, a year", "low"), ("pooled", "found at a visit", "low"),
         ("no-blanks", "density, per m2", "high"),
         ("heard-alive", "release survival", "high"), ("heard-alive", "survival, a year", "low"),
         ("no-shells", "survival, a year", "low")]


@pytest.mark.slow
@pytest.mark.parametrize(("mistake", "name", "side"), WRONG)
def test_a_mistake_moves_its_number_as_the_page_says(compared, mistake, name, side):
    truth, value, low, high = compared[mistake][name]
    assert value < high < truth if side == "low" else truth < low < value
    good = compared["good"][name][1]
    assert value < good if side == "low" else value > good


@pytest.mark.slow
def test_what_a_mistake_does_not_touch_stays(compared):
    """Density knows nothing of tags, and survival nothing of units."""
    for mistake in ("pooled", "heard-alive", "no-shells"):
        assert compared[mistake]["density, per m2"] == compared["good"]["density, per m2"]
    assert compared["no-blanks"]["survival, a year"] == compared["good"]["survival, a year"]
    assert compared["no-blanks"]["density, per m2"][1] > 3 * compared["good"]["density, per m2"][1]


@pytest.mark.slow
def test_two_visits_give_bounds_and_no_number(compared):
    for name in ("largest size, mm", "growth rate, a year"):
        assert compared["two-visits"][name][1:] == (None, None, None)
    truth, value, low, high = compared["two-visits"]["survival, a year"]
    assert value is None and low < truth < high and high - low > 0.3
    good = compared["good"]["survival, a year"]
    assert high - low > 3 * (good[3] - good[2])


@pytest.mark.slow
def test_the_three_readings_of_heard_tags_span_the_truth(compared, project):
    import json

    told = json.loads((project / "good/estimates/summary.json").read_text(encoding="utf-8"))
    survival = told["survival"][0]
    assert survival["heard_low"] < 0.9 < survival["heard_high"]

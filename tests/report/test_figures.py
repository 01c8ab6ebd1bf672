"""Figures of the records and the scenario: they show what is there, and say it in numbers."""

from __future__ import annotations

from types import SimpleNamespace
from xml.etree import ElementTree

import pandas as pd
import pytest

from pva.field.records import COLUMNS
from pva.report.figure_files import write_figure
from pva.report.figures.encounters import _grid, encounters_figure
from pva.report.figures.fates import fates_figure
from pva.report.figures.lengths import lengths_figure
from pva.report.figures.life import calendar_figure, life_figure
from pva.report.figures.quadrats import quadrats_figure
from pva.report.figures.river import river_figure
from pva.scenario.scenario import Scenario
from tests.report.conftest import PLAN


def records(**tables):
    """Records with only what is named."""
    made = {name: pd.DataFrame({c: pd.Series(dtype=object) for c in columns})
            for name, columns in COLUMNS.items()}
    return SimpleNamespace(**{**made, **{k: pd.DataFrame(v) for k, v in tables.items()}})


@pytest.fixture
def followed():
    """A is met alive, then a shell; B only heard; C is released after the first visit."""
    released = [{"animal": a, "site": "Bar", "date": d, "length_mm": 20.0, "number": 1,
                 "source": "hatchery", "batch": "x", "tag": a, "second_mark": None,
                 "batch_mark": None, "age": None, "stage": None, "species": None}
                for a, d in (("A", "2020-01-01"), ("B", "2020-01-01"), ("C", "2021-06-01"))]
    met = [{"animal": a, "site": "Bar", "visit": v, "date": d, "status": s, "length_mm": mm}
           for a, v, d, s, mm in (("A", "1", "2021-01-01", "alive", 31.0),
                                  ("A", "2", "2022-01-01", "shell", None),
                                  ("B", "1", "2021-01-01", "heard", None),
                                  ("B", "1", "2021-01-01", "alive", 30.0),
                                  ("B", "2", "2022-01-01", "heard", None))]
    return records(releases=released, encounters=met)


def test_animals_at_visits(followed):
    """0 not released, 1 not met, 2 heard, 3 alive, 5 shell; in hand beats heard at one visit."""
    grid, visits = _grid(followed)
    assert visits == ["1", "2"]
    assert sorted(map(tuple, grid.tolist())) == [(0, 1), (3, 2), (3, 5)]
    figure = encounters_figure("met", followed)
    assert figure.data.rows == (("1", "0", "0", "2", "0"), ("2", "1", "1", "0", "1"))
    assert "3 marked animals over 2 visits." in figure.alternative
    assert "1: 2 met alive, 0 only heard, 0 shells. 2: 0 met alive, 1 only heard, 1 shells." in \
        figure.alternative
    assert encounters_figure("none", records()) is None


def test_blank_quadrats_are_counted():
    units = [{"survey": "2025", "site": "Bar", "unit": f"Q{i}"} for i in range(10)]
    animals = [{"survey": "2025", "site": "Bar", "unit": u, "status": None, "length_mm": 30.0}
               for u in ("Q1", "Q2", "Q2", "Q3", "Q3", "Q3", "Q3")]
    animals.append({"survey": "2025", "site": "Bar", "unit": "Q4", "status": "shell",
                    "length_mm": 30.0})
    density = {"density": [{"name": "density/Bar", "survey": "2025", "value": 2.8}]}
    figure = quadrats_figure("dug", records(units=units, animals=animals), density)
    assert figure.data.rows == (("Bar, 2025", "10", "7", "1", "1", "1", "2.8"),)
    assert "Bar, 2025: 7 of 10 quadrats blank, 2.8 per m\u00b2." in figure.alternative
    assert quadrats_figure("none", records(), density) is None


def test_cohorts_grow_by_the_curve(followed):
    """From 20 mm towards 80 mm at 0.2 a year, all year round: 80 - 60 exp(-0.4) after 2 years."""
    followed.releases = followed.releases.iloc[:2]
    growth = {"asymptote_mm": 80.0, "rate": 0.2}
    figure = lengths_figure("mm", followed, growth, (1, 12))
    site, release, year, animals, first, now = figure.data.rows[0]
    assert (site, release, year, animals, first) == ("Bar", "x", "2020.0", "2", "20")
    assert float(now) == pytest.approx(80 - 60 * 2.718281828 ** -0.2, abs=3)
    assert "Bar: 2 lengths of marked animals, 0 of unmarked ones" in figure.alternative


def test_distances_are_coarse():
    sites = [SimpleNamespace(name=n, river_km=km, area_m2=900, role=r)
             for n, km, r in (("Upper", 43.7, ""), ("Lower", 8.2, "donor"))]
    figure = river_figure("river", sites)
    assert [row[2] for row in figure.data.rows] == ["45", "10"]
    assert "43" not in figure.svg.split("</desc>")[0] and "8.2" not in figure.svg
    assert river_figure("one", sites[:1]) is None


def test_the_scenario_is_drawn_as_it_is():
    resolved = Scenario.from_dict(PLAN).resolved
    life = life_figure("life", resolved)
    assert [row[:2] for row in life.data.rows] == [("juvenile", "0.700"), ("adult", "0.920")]
    assert "0.3 recruits per adult and year" in life.alternative
    steps = calendar_figure("year", resolved).data.rows
    assert [s[1] for s in steps] == [
        "The year is drawn", "Collections, then releases", "Breeding", "Survival", "Growth",
        "Movement", "Limits of space", "Census"]
    assert steps[0][2] == "bad years: flood (5 % a year)" and steps[5][2] == "none"
    assert steps[1][2] == "80 a year, 2026 to 2029"


def test_readings_of_heard_tags_are_told():
    row = {"name": "adult", "value": 0.93, "if_all_dead": 0.88, "if_all_alive": 0.92}
    figure = fates_figure("heard", [row, {**row, "name": "x", "if_all_alive": None}])
    assert ("adult: all dead by then 0.880, not counted (used) 0.930, all alive 0.920."
            in figure.alternative)


def test_a_figure_as_files(tmp_path):
    figure = calendar_figure("year", Scenario.from_dict(PLAN).resolved)
    written = write_figure(tmp_path, "year", figure)
    assert [p.name for p in written] == ["year.svg", "year.png", "year.csv"]
    assert ElementTree.parse(written[0]).getroot().tag.endswith("svg")
    assert written[1].read_bytes() == figure.svg.png()
    assert written[2].read_text("utf-8").splitlines()[:2] == [
        "Step,What happens,In this scenario", "1,The year is drawn,bad years: flood (5 % a year)"]

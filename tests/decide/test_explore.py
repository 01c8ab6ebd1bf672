"""A grid holds at every point what a run of that point would say."""

from __future__ import annotations

import copy
import json

import numpy as np
import pytest
import xarray as xr

from pva.decide.explore import explore, explore_summary
from pva.decide.grid import key_words, read_vary
from pva.errors import FormError, MeaningError
from pva.report.figures.grid_map import grid_figure
from pva.results.run import run
from pva.results.store import read_dataset, write_dataset
from pva.scenario.scenario import Scenario

RIVER = {
    "title": "Two invented sites", "years": {"first": 2026, "last": 2036},
    "census": "before breeding",
    "stages": [{"name": "young", "years": 2}, {"name": "adult", "breeds": True}],
    "survival": {"young": {"value": 0.6, "se": 0.05},
                 "adult": {"value": 0.9, "se": 0.02, "year_sd": 0.03}},
    "recruitment": {"per_adult": {"value": 0.3, "se": 0.05}},
    "bad_years": [{"name": "flood", "chance": 0.1, "survival": 0.7}],
    "sites": [{"name": "Quillstone", "start": {"adult": 20}},
              {"name": "Tallow", "start": {"adult": 0}}],
    "releases": [
        {"name": "a", "site": "Quillstone", "stage": "young", "number": 30, "first": 2026,
         "last": 2029},
        {"name": "b", "site": "Tallow", "stage": "young", "number": 10, "first": 2026}],
    "quasi_extinction": {"adults_below": 5},
    "goals": [{"name": "many", "measure": "adults", "at_least": 60, "in": 2036},
              {"name": "both", "measure": "sites_occupied", "at_least": 2, "in": 2036}],
    "chance_wanted": 0.8, "runs": {"draws": 10, "replicates": 12, "seed": 5},
}


def river(**changes):
    return Scenario.from_dict(copy.deepcopy(RIVER) | changes)


def equal_to_run(found, scenario):
    """Chances and adults of a grid's point are those of a run, number for number."""
    data = run(scenario)
    assert found.all_goals_chance == float(data.all_goals_chance)
    assert (found.all_goals_interval.values == data.all_goals_interval.values).all()
    assert (found.goal_chance.values == data.goal_chance.values).all()
    for risk in ("extinction", "quasi_extinction"):
        assert found[f"{risk}_chance"] == float(data[f"{risk}_chance"][-1])
        assert (found[f"{risk}_interval"].values == data[f"{risk}_interval"][:, -1].values).all()
    assert float(found.adults_last_year) == pytest.approx(float(data.adults_mean[-1]), rel=1e-12)


def test_every_point_is_a_run():
    scenario = river()
    grid = explore(scenario, {"survival.adult.value": [0.85, 0.93],
                              "releases.a.number": [0, 30, 60]})
    assert grid.all_goals_chance.dims == ("survival.adult.value", "releases.a.number")
    for survival in (0.85, 0.93):
        for number in (0, 60):
            point = {"survival.adult.value": survival, "releases.a.number": number}
            equal_to_run(grid.sel(point), scenario.with_changes(point))
    assert np.ptp(grid.all_goals_chance.values) > 0.3  # a grid whose points are all alike says so


def test_a_star_changes_every_row():
    scenario = river()
    grid = explore(scenario, {"releases.*.number": [5, 40]})
    both = {"releases.a.number": 40, "releases.b.number": 40}
    equal_to_run(grid.sel({"releases.*.number": 40}), scenario.with_changes(both))


def test_number_scales_the_rows_that_stock_varies():
    scenario = river(solve={"vary": "number", "releases": ["a"], "most": 100})
    grid = explore(scenario, {"number": [15, 60]})
    equal_to_run(grid.sel(number=60), scenario.with_changes({"releases.a.number": 60}))


def test_order_of_keys_changes_no_number():
    a = {"survival.adult.value": [0.85, 0.93]}
    b = {"number": [0, 30]}
    one, other = explore(river(), a | b), explore(river(), b | a)
    xr.testing.assert_equal(one.transpose(*other.all_goals_chance.dims, ...).all_goals_chance,
                            other.all_goals_chance)


def test_more_threads_change_no_number():
    vary = {"number": [0, 30]}
    xr.testing.assert_equal(explore(river(), vary, threads=1), explore(river(), vary, threads=2))


def test_smallest_that_is_enough():
    certain = river(
        survival={"young": 1, "adult": 1}, recruitment={"per_adult": 0}, bad_years={"none": "hand"},
        chance={"unknown": False, "years": False, "individuals": False}, goals=[
            {"name": "many", "measure": "adults", "at_least": 100, "in": 2036}])
    # nobody dies or is born: 20 adults and four releases of a at site one, one of b
    summary = explore_summary(explore(certain, {"releases.a.number": [30, 5, 20, 10],
                                                "releases.b.number": [0, 40]}))
    assert summary["enough"] == [
        {"at": {"releases.b.number": 0}, "least": 20, "least_beyond_doubt": 20},
        {"at": {"releases.b.number": 40}, "least": 10, "least_beyond_doubt": 10}]
    assert [p["verdict"] for p in summary["points"]] == [
        "met", "met", "not met", "not met", "met", "met", "not met", "met"]
    json.dumps(summary, allow_nan=False)


def test_words_and_blocks_may_be_values(tmp_path):
    grid = explore(river(), {"census": ["before breeding", "after breeding"],
                             "bad_years": [{"none": "left out"}, RIVER["bad_years"]]})
    assert grid.census.values.tolist() == ["before breeding", "after breeding"]
    back = read_dataset(write_dataset(tmp_path / "grid.nc", grid))
    assert (back.all_goals_chance.values == grid.all_goals_chance.values).all()
    assert explore_summary(back) == explore_summary(grid)


@pytest.mark.parametrize("text, key, values", [
    ("number=0,100, 250", "number", [0, 100, 250]),
    ("number=0 to 600 by 200", "number", [0, 200, 400, 600]),
    ("survival.adult=0.9 to 0.93 by 0.01", "survival.adult", [0.9, 0.91, 0.92, 0.93]),
    ("a.b=1e-5,{value: 2, se: 1},[1, 2]", "a.b", [1e-5, {"value": 2, "se": 1}, [1, 2]]),
    ("number=600 to 0 by -300", "number", [600, 300, 0]),
    ("census=before breeding", "census", ["before breeding"]),
])
def test_values_as_written(text, key, values):
    assert read_vary(text) == (key, values)


@pytest.mark.parametrize("text, message", [
    ("number", "`number` does not say what is varied over what. Write KEY=VALUES, such as "
     'number=0,100,200 or "survival.adult.value=0.90 to 0.96 by 0.01".'),
    ("number=0 to 10 by 0", "`number=0 to 10 by 0`: the steps lead nowhere. Write three numbers, "
     "such as 0 to 600 by 100."),
    ("number=a to 10 by 1", "`number=a to 10 by 1`: the steps lead nowhere. Write three numbers, "
     "such as 0 to 600 by 100."),
    ("number=0 to 1 by 1e-9", "`number=0 to 1 by 1e-9` means 1,000,000,001 values. Take larger "
     "steps."),
])
def test_values_that_cannot_be_read(text, message):
    with pytest.raises(FormError) as caught:
        read_vary(text)
    assert str(caught.value) == message


@pytest.mark.parametrize("vary, kind, message", [
    ({}, FormError, "nothing is varied. Name at least one key and its values, such as --vary "
     "number=0,100,200."),
    ({"number": []}, FormError, "no values are given for `number`. Write at least one, such as 1, "
     "2, 5."),
    ({"number": [1, 1]}, FormError, "a value of `number` is given twice. Write every value once."),
    ({"number": range(200), "survival.adult": range(200)}, FormError, "the grid has 40,000 points, "
     "more than 10,000. Take fewer values; a coarse grid shows where a fine one is worth it."),
    ({"number": [-1, "many"]}, MeaningError, "`number` is animals per release year; not every one "
     "of -1, many is a number of 0 or more. Write numbers."),
    ({"survval.adult": [0.9]}, MeaningError, "with `survval.adult` = 0.9: `survval` is not a key "
     "of a scenario. Nothing was run. Did you mean `survival`?"),
    ({"survival.adult.value": [0.9, 1.2]}, MeaningError, "with `survival.adult.value` = 1.2: "
     "`survival.adult`: value is 1.2, outside its range. Nothing was run. Write a number from 0 "
     "to 1."),
    ({"titles.*": [1]}, FormError, "`titles.*`: there is nothing under `titles` that `*` could "
     "stand for. Name a list of rows or a block of names before the `*`."),
])
def test_a_grid_that_cannot_be(vary, kind, message):
    with pytest.raises(kind) as caught:
        explore(river(), vary)
    assert str(caught.value) == message


def test_a_best_value_that_no_draw_looks_at_is_not_varied():
    """Draws come from an interval; a grid over the best value beside it would be flat."""
    wide = {"value": 0.9, "interval": [0.85, 0.94], "year_sd": 0.03}
    scenario = river(survival=RIVER["survival"] | {"adult": wide})
    with pytest.raises(MeaningError) as caught:
        explore(scenario, {"survival.adult.value": [0.88, 0.9, 0.93]})
    assert str(caught.value) == (
        "`survival.adult.value` would change nothing: what is not known of survival/adult is "
        "written as an interval, and runs draw from the interval, whatever the best value. Nothing "
        "was run. Vary `survival.adult` over whole rates, such as {value: 0.88, se: 0.01}, or over "
        "bare numbers, which are then known exactly and alike in every year.")
    whole = explore(scenario, {"survival.adult": [{"value": 0.88, "se": 0.01},
                                                  {"value": 0.93, "se": 0.01}]})
    assert float(np.ptp(whole.all_goals_chance.values)) > 0.1
    labels = whole["survival.adult"].values.tolist()
    assert labels == ["{value: 0.88, se: 0.01}", "{value: 0.93, se: 0.01}"]
    assert read_vary(f"survival.adult={','.join(labels)}")[1][1] == {"value": 0.93, "se": 0.01}
    best = river(survival=RIVER["survival"] | {"adult": wide}, chance={"unknown": False})
    held = explore(best, {"survival.adult.value": [0.88, 0.93]})
    assert float(np.ptp(held.all_goals_chance.values)) > 0.1


def test_keys_in_words():
    assert key_words("number") == "animals a year"
    assert key_words("survival.adult.value") == "survival of adult"
    assert key_words("sites.*.hosts.drum.per_100m2") == "drum per 100 m2, every site"
    assert key_words("sites.Tallow Bend.area_m2") == "area m2, Tallow Bend"
    assert key_words("releases.a.number") == "number, a"


@pytest.mark.parametrize("vary", [
    {"number": [0, 40]},
    {"number": [0, 20, 40], "survival.adult.value": [0.85, 0.93]},
    {"number": [0, 40], "survival.adult.value": [0.85, 0.93],
     "census": ["before breeding", "after breeding"]},
], ids=["line", "map", "panels"])
def test_figure_holds_the_grid(vary):
    grid = explore(river(), vary)
    figure = grid_figure("grid", grid)
    assert len(figure.data.rows) == grid.all_goals_chance.size
    assert not {"0 %", "100 %"} & {row[-2] for row in figure.data.rows}  # never seen: a limit
    assert "lowest" in figure.alternative and "highest" in figure.alternative
    assert figure.svg.startswith("<svg") and "animals a year" in figure.svg

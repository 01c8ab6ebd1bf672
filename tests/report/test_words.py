"""Numbers and phrases of the page."""

from __future__ import annotations

import ast
from pathlib import Path

import pytest

import pva.report
from pva.report import words
from pva.report.estimate_rows import columns_of, rows_of, years_unclear
from pva.report.figures.canvas import spread_labels
from pva.report.material import gather
from pva.report.sections.field_records import _shown
from pva.report.sections.goals import goal_words
from pva.report.sections.projection import needed, red_list_words
from pva.report.sections.rate_tables import years_cell
from pva.results.run import run
from pva.results.wording import rate_prose, rate_words
from pva.scenario.resolved import Goal
from pva.scenario.scenario import Scenario
from tests.report.conftest import PLAN


@pytest.mark.parametrize(("value", "said"), [
    (None, "\u2013"), (float("nan"), "\u2013"), (0, "0"), (3.24, "3.2"), (715, "720"),
    (2392, "2,390")])
def test_animals_are_rounded(value, said):
    assert words.count(value) == said


@pytest.mark.parametrize(("value", "said"), [
    (0.853, "85 %"), (0.0231, "2.3 %"), (0.0, "0 %"),
    (float("nan"), "\u2013")])
def test_chances(value, said):
    assert words.percent(value) == said


def test_never_seen_is_not_never():
    assert words.percent(0.0, 10_000) == "below 0.03 %"


@pytest.mark.parametrize(("value", "said"), [
    (4e-4, "4 \u00d7 10\u207b\u2074"), (56000, "56,000"), (0.946, "0.946"),
    (2.5e-5, "2.5 \u00d7 10\u207b\u2075")])
def test_rates(value, said):
    assert words.rate(value) == said


@pytest.mark.parametrize(("value", "said"), [
    (-85.2, "\u221285"), (-0.61, "\u22120.61"), (100.0, "+100"), (0.0, "0")])
def test_differences_carry_their_sign(value, said):
    assert words.signed(value) == said


def test_positions_lose_their_detail_and_counts_do_not():
    text = "Latitude 45.67891 and longitude -93.12345, length 75.92 mm, row 1234"
    assert words.coarse(text) == "Latitude 45.7 and longitude -93.1, length 75.92 mm, row 1234"


def test_number_read_off_the_curve():
    """Straight line between 100 (0.75) and 150 (0.85): 0.8 is at 125."""
    numbers, chances = [0, 50, 100, 150], [0.1, 0.5, 0.75, 0.85]
    assert needed(numbers, chances, 0.8) == pytest.approx(125)
    assert needed(numbers, chances, 0.05) == 0
    assert needed(numbers, chances, 0.86) is None


def test_goals_in_words():
    goal = Goal("g", "wild_adults", 1500, False, (2050, 2050), where=("A", "B"))
    assert goal_words(goal) == "at least 1,500 wild-born adults in 2050 at A and B"
    share = Goal("s", "wild_share", 0.5, False, (2040, 2050), of_years=6)
    assert goal_words(share) == \
        "wild-born share of adults at least 0.5 in 6 of the years 2040 to 2050"


def test_rates_in_words():
    assert rate_words("survival/adult @ Tallow Bend") == "survival: adult at Tallow Bend"
    assert rate_prose("survival/adult") == "the yearly survival of the stage adult"
    assert rate_prose("recruitment/settlement/recruits_per_adult") == \
        "the recruits per adult that settlement is solved for"


def test_labels_keep_their_distance():
    placed = spread_labels([0.5, 0.0, 0.01], 0.1)
    assert placed == pytest.approx([0.5, 0.0, 0.1])


def test_estimate_rows_from_any_form():
    one = rows_of({"tag_retention": {"tag": 0.98, "low": 0.97, "high": 0.99}}, "tag_retention")
    assert one[0]["value"] == 0.98 and one[0]["name"] == "tag retention"
    named = rows_of({"detection": {"antenna": {"value": 0.7, "interval": [0.6, 0.8]}}},
                    "detection")
    assert (named[0]["name"], named[0]["low"]) == ("antenna", 0.6)
    by_survey = rows_of({"density": [{"name": "density/Bar/adult", "survey": "2025",
                                      "value": 1.0}]}, "density")
    assert by_survey[0]["name"] == "Bar, adult, 2025"
    assert columns_of({"t": [{"a": 1}, {"a": 2}]}, "t") == {"a": [1, 2]}


def test_only_the_canvas_imports_matplotlib():
    found = []
    for file in Path(pva.report.__file__).parent.rglob("*.py"):
        for node in ast.walk(ast.parse(file.read_text(encoding="utf-8"))):
            names = [node.module or ""] if isinstance(node, ast.ImportFrom) else [
                a.name for a in node.names] if isinstance(node, ast.Import) else []
            if any(n.split(".")[0] == "matplotlib" for n in names):
                found.append(file.name)
    assert set(found) == {"canvas.py"}


@pytest.mark.parametrize(("low", "high", "said"), [
    (0.0, 0.0003, "0 to 0.03 %"), (0.9997, 1.0, "99.97 to 100 %"), (0.664, 0.701, "66 to 70 %"),
    (0.0, 0.0149, "0 to 1.5 %"), (0.664, 0.663, "66 %"), (None, 0.2, "\u2013")])
def test_ends_of_an_interval_never_say_0_or_100_where_they_are_not(low, high, said):
    assert words.percent_range(low, high) == said


def test_criterion_e_is_said_as_far_as_the_horizon_goes():
    rules = [{"category": "critically endangered", "within_years": 46, "threshold": 0.5,
              "chance": 0.01, "met": False},
             {"category": "endangered", "within_years": 77, "threshold": 0.2, "chance": None,
              "met": None}]
    found = {"category": None, "years_from": 2033, "rules": rules}
    assert red_list_words(found) == [
        "Red List criterion E, read from the chance of extinction, with years counted from 2033: "
        "critically endangered (at least 50 % within 46 years): not met; the horizon is too short "
        "to judge endangered. This is no listing; that is for the assessors."]
    assert red_list_words(found | {"rules": rules[1:]}) == []


def test_an_sd_between_years_of_0_says_what_it_cannot_tell():
    row = {"name": "survival/adult", "value": 0.93, "year_sd": 0.0, "per": "year",
           "note": "x; SD between years 0.000 to 0.051 (95 %)"}
    note = "5 intervals cannot tell whether years differ at all, nor that they are alike: ..."
    assert years_unclear({"survival": [row], "notes": [note]}) == {
        "survival/adult": "0 (5 intervals cannot tell: 0 to 0.051)"}
    assert years_unclear({"survival": [row | {"note": None}]}) == {
        "survival/adult": "0 (few intervals cannot tell)"}
    assert years_unclear({"survival": [row | {"year_sd": 0.02}]}) == {}
    assert years_unclear(None) == {}
    assert years_cell({"year_sd": 0.0, "note": row["note"]}) == "0 (to 0.051)"
    assert years_cell({"year_sd": 0.0213, "note": row["note"]}) == "0.021"


@pytest.mark.parametrize(("code", "sentence", "said"), [
    ("position-swapped", "Latitude and longitude (-3.26, 0.4) seem to be swapped.",
     "Latitude and longitude seem to be swapped."),
    ("position-far", "The position 45 12.5 N, 93 7.1 W lies 12 km from Tallow Bend.",
     "The position lies 12 km from Tallow Bend."),
    ("position-unreadable", "The position `45d12m` cannot be read or lies nowhere on earth.",
     "The position cannot be read or lies nowhere on earth."),
    ("other", "The tag 900.226000123 is a test tag.", "The tag 900.226000123 is a test tag.")])
def test_positions_are_left_out_of_the_page(code, sentence, said):
    assert _shown({"code": code, "sentence": sentence}) == said


def test_the_fan_follows_the_goal_on_wild_born_adults():
    from pva.report.sections.projection import projection

    changed = Scenario.from_dict(PLAN | {"goals": [
        {"name": "w", "measure": "wild_adults", "at_least": 90, "in": 2040}]})
    blocks = projection(gather(runs=[(changed, run(changed, threads=1))])).blocks
    fan = next(b for b in blocks if getattr(b, "kind", "") == "figure")
    assert fan.caption.startswith("Wild-born adults at each yearly census.")
    assert not any("Read the goal" in str(b) for b in blocks)


def test_every_limit_has_its_words():
    from pva.report.sections.answer import LIMITS
    from pva.results.wording import BIND_WORDS, LIFT_WORDS

    assert LIMITS.keys() == BIND_WORDS.keys() == LIFT_WORDS.keys()

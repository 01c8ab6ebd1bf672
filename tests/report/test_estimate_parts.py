"""The part of the page on estimates says what there is, and no more."""

import pytest

from pva.report.estimate_rows import named, rows_of, without_doubles
from pva.report.material import gather
from pva.report.sections.estimates import section
from pva.report.sections.survival import apparent_words, corrected_words
from tests.report.conftest import ESTIMATES


def texts(summary):
    return [b.text for b in section(gather(estimates=summary)).blocks if b.kind == "text"]


def test_the_level_promises_nothing_that_is_not_there():
    bounds = {"level": 3, "survival": [
        {"name": "survival/adult", "value": None, "low": 0.2, "high": 0.9}]}
    assert texts(bounds)[0] == ("The records reach level 3 of 4: tags and three or more visits. No "
                                "rate could be estimated from them.")
    assert texts(ESTIMATES)[0] == (
        "The records reach level 4 of 4: tags, three or more visits and double marks, shells, "
        "repeat passes or host fish. They give survival, survival after release, detection, tag "
        "loss, growth and density.")
    without = {k: v for k, v in ESTIMATES.items() if k != "growth"}
    assert "growth" not in texts(without)[0]


@pytest.mark.parametrize("causes, corrected, apparent", [
    (["lost tags"], "lost tags", "lost tags counted as deaths"),
    (["leaving the site"], "leaving the site", "animals that left counted as deaths"),
    (["lost tags", "leaving the site"], "lost tags and leaving the site",
     "lost tags and animals that left counted as deaths")])
def test_what_was_corrected_is_named(causes, corrected, apparent):
    given = {"survival": [{"name": "survival/adult", "apparent": 0.9, "corrected": 0.93,
                           "low": 0.9, "high": 0.95, "corrected_for": causes}]}
    rows = rows_of(given, "survival")
    assert (corrected_words(rows), apparent_words(rows)) == (corrected, apparent)
    drawn = next(b for b in section(gather(estimates=given)).blocks if b.kind == "figure")
    assert f"corrected for {corrected}" in drawn.data.columns
    assert f"apparent: {apparent}" in drawn.data.columns


def test_the_same_number_is_shown_once():
    same = {"value": 0.64, "low": 0.5, "high": 0.7, "n": 9}
    rows = [{"name": "juvenile", **same}, {"name": "juvenile, hatchery", **same},
            {"name": "adult", **same}, {"name": "adult, hatchery", **same, "value": 0.65}]
    assert [r["name"] for r in without_doubles(rows)] == ["juvenile, hatchery", "adult",
                                                          "adult, hatchery"]


def test_what_it_would_take_is_never_empty():
    why = "bounds from a batch mark: animals that left cannot be told from dead ones"
    refused = [{"what": "survival/marked blue @ Fennel Bar", "why": why, "needed": ""},
               {"what": "survival/adult", "why": "too few", "needed": "ten seen again"},
               {"what": "growth", "why": "no lengths", "needed": ""}]
    shown = next(b for b in section(gather(estimates={"refused": refused})).blocks
                 if b.kind == "table")
    assert [row[0] for row in shown.rows] == ["survival: marked blue, Fennel Bar",
                                              "survival: adult", "growth"]
    assert [row[2] for row in shown.rows] == [
        "tags that tell single animals; without them bounds are all there is", "ten seen again",
        "nothing that these records could give"]
    assert named("release/hatchery") == "survival after release: hatchery"

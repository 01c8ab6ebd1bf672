"""Scenarios compared: every scenario named once, and true words where a cell would be empty."""

import pytest

from pva.report.material import gather
from pva.report.sections.compared import change_words, compared, settled_words
from tests.report.conftest import ANSWER, COMPARISON, UNREACHABLE


def test_every_scenario_has_one_row(plan):
    blocks = compared(gather(stock=[(plan, ANSWER), (plan, UNREACHABLE)],
                             comparison=COMPARISON)).blocks
    overview = next(b for b in blocks if b.kind == "table")
    assert [r[0] for r in overview.rows] == ["A plan (the main one)", "Passage blocked"]
    assert overview.rows[1][1:3] == ("10 %", "\N{MINUS SIGN}60 points (\N{MINUS SIGN}70 to "
                                             "\N{MINUS SIGN}50)")
    each = next(b for b in blocks if b.kind == "folded").blocks
    assert [t.caption for t in each] == ["Passage blocked"]
    assert all(cell for t in each for row in t.rows for cell in row)
    numbers = blocks[-1]
    assert [row[1] for row in numbers.rows] == ["120", "not reachable"]
    assert [row[3] for row in numbers.rows] == ["nothing: reached", "host fish"]
    assert next(b for b in blocks if b.kind == "figure").data.rows[1][1] == "10 %"


@pytest.mark.parametrize("difference, said", [
    ({"difference": 0.0, "settled": True, "more_runs": None}, ("the same in every run",
                                                               "no difference")),
    ({"difference": 0.1, "low": 0.05, "high": 0.15, "settled": True, "more_runs": None},
     ("+10 points (+5 to +15)", "yes")),
    ({"difference": 0.1, "low": 0.0, "high": 0.2, "settled": False, "more_runs": 1.4,
      "more_of": "draws"}, ("+10 points (0 to +20)", "no; about 1.4 times the draws would"))])
def test_differences_in_words(difference, said):
    row = {"outcome": "all goals", "low": 0.0, "high": 0.0, **difference}
    assert (change_words(row), settled_words(row)) == said

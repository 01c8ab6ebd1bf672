"""What the report says of options and of the year the duty can end."""

from __future__ import annotations

from types import SimpleNamespace

from pva.report.sections.answer import changes_of
from tests.report.conftest import ANSWER

DUTY = {"number": 140.0, "last_year": [2025, 2026, 2029], "chance": [.1, .82, .9],
        "low": [.05, .75, .85], "high": [.2, .88, .95], "ends": 2026, "ends_surely": 2029,
        "shorter": []}
OPTION = {"name": "young", "number": 123, "cost": 4500.0, "best_chance": .9}


def changes(**more):
    return changes_of(SimpleNamespace(answer=ANSWER | more, stock=(), comparison=None,
                                      sensitivity=None, scenario=SimpleNamespace(digest="")))


def test_the_end_of_the_duty():
    assert changes(duty=DUTY) == ["With 140 a year the last release needed for 80 % is that of "
                                  "2026; beyond simulation error 2029."]
    assert changes(duty=DUTY | {"ends": None}) == [
        "With 140 a year the duty cannot end before 2029: stopping earlier leaves less than 80 %."]
    assert changes() == []


def test_options_and_the_cheapest_plan():
    none = OPTION | {"name": "old", "number": None, "best_chance": .4}
    plan = {"parts": [{"option": "young", "number": 123}], "cost": 4500.0, "tried": "each alone"}
    assert changes(options=[OPTION, none], cheapest=plan) == [
        "young alone: about 120 a year, cost 4,500.",
        "old alone: no number is enough (best chance 40 %).",
        "Cheapest plan found: 120 a year (young), cost 4,500; tried: each alone."]

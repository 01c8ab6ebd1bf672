"""What the report says of options and of the year the duty can end."""

from __future__ import annotations

from types import SimpleNamespace

from pva.report.material import gather
from pva.report.page import sections_of
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
    for ends in (None, 2029):  # the last year planned
        assert changes(duty=DUTY | {"ends": ends, "ends_surely": None}) == [
            "With 140 a year the duty cannot end before 2029: stopping earlier leaves less than "
            "80 %."]
    assert changes(duty=DUTY | {"ends_surely": None}) == [
        "With 140 a year the last release needed for 80 % is that of 2026; simulation error leaves "
        "it open whether any year is late enough."]
    assert changes(duty=DUTY | {"ends": 2025}) == ["With 140 a year no release is needed for 80 %."]
    assert changes() == []


def test_orders_on_the_page_are_those_of_the_cheapest_plan(plan):
    line = dict(ANSWER["order_sheet"][0], number=77)
    mixed = {"parts": [], "cost": 1.0, "tried": "all", "order_sheet": [line]}
    for answer, number in ((ANSWER, "123"), (ANSWER | {"cheapest": mixed}, "77")):
        page = {s.name: s for s in sections_of(gather(stock=[(plan, answer)]))}
        orders = next(b for b in page["number"].blocks if b.kind == "folded").blocks[0]
        assert [row[6] for row in orders.rows] == [number]


def test_other_scenarios_beside_the_answer():
    def other(number):
        scenario = SimpleNamespace(digest="other")
        return SimpleNamespace(title="T", scenario=scenario, answer=ANSWER | {"number": number})

    rows = [{"outcome": "all goals", "first": .61, "other": chance, "settled": settled}
            for chance, settled in ((.614, True), (.5, False))]
    found = changes_of(SimpleNamespace(
        answer=ANSWER | {"number": 123}, stock=[other(n) for n in (124, 0, 200)],
        comparison={"independent_runs": 200, "against_first": [
            {"scenario": "AB"[i], "differences": [row]} for i, row in enumerate(rows)]},
        sensitivity=None, scenario=SimpleNamespace(digest="")))
    assert found == [
        "T: about 120 a year as well.", "T: no stocking is needed.",
        "T: about 200 a year instead of 120.",
        "A: with the plan as written the chance stays 61 %.",
        "B: with the plan as written the chance becomes 50 % instead of 61 % (not settled by these "
        "runs)."]


def test_options_and_the_cheapest_plan():
    none = OPTION | {"name": "old", "number": None, "best_chance": .4}
    plan = {"parts": [{"option": "young", "number": 123}], "cost": 4500.0, "tried": "each alone"}
    assert changes(options=[OPTION, none], cheapest=plan) == [
        "young alone: about 120 a year, cost 4,500.",
        "old alone: no number is enough (best chance 40 %).",
        "Cheapest plan found: 123 a year (young), cost 4,500; tried: each alone."]

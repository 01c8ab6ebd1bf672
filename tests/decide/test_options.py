"""Several ways to stock, when stocking may stop, and what was delivered already: by hand."""

from __future__ import annotations

import copy
import csv
import json

import pytest

from pva.decide.stock import stock
from pva.errors import DataError
from pva.scenario.deliveries import with_deliveries
from pva.scenario.scenario import Scenario

# Nothing is left to chance: adults never die once their first year is over. Of hatchery adults half
# survive it, of moved ones all; a site holds so many and no more.
CERTAIN = {
    "title": "two ways", "years": {"first": 2000, "last": 2010}, "census": "before breeding",
    "stages": [{"name": "adult", "breeds": True}], "survival": {"adult": 1},
    "recruitment": {"per_adult": 0}, "bad_years": {"none": "worked out by hand"},
    "sites": [{"name": n, "start": {"adult": 0}} for n in ("Upper", "Lower")],
    "quasi_extinction": {"adults_below": 1, "from": 2001},
    "releases": [
        {"name": "reared", "site": "Upper", "stage": "adult", "number": 1, "first": 2000,
         "last": 2003, "first_year_survival": 0.5, "cost_each": 3, "mothers_per_1000": 5},
        {"name": "moved", "site": "Lower", "stage": "adult", "number": 1, "first": 2000,
         "last": 2001, "cost_each": 10}],
    "goals": [{"name": "hundred", "measure": "adults", "at_least": 100, "in": 2010}],
    "solve": {"options": [{"name": "rear them", "releases": ["reared"]},
                          {"name": "move them", "releases": ["moved"]}], "most": 200},
    "chance": {"unknown": False, "years": False, "individuals": False},
    "chance_wanted": 0.8, "runs": {"draws": 1, "replicates": 2, "seed": 1},
}


def certain(**changes):
    written = copy.deepcopy(CERTAIN)
    written.update(changes)
    return Scenario.from_dict(written)


def test_each_option_alone_and_the_cheapest():
    answer = stock(certain())
    reared, moved = answer.options
    # 200 reared over four years for 100 adults, 100 moved over two
    assert (reared.number, reared.total_animals, reared.cost, reared.mothers) == (50, 200, 600, 1)
    assert (moved.number, moved.total_animals, moved.cost, moved.mothers) == (50, 100, 1000, None)
    assert (answer.releases, answer.number, answer.cost) == (("reared",), 50, 600)
    plan = answer.cheapest
    # numbers add up in straight lines, so no mixture is cheaper
    assert [(p.option, p.number) for p in plan.parts] == [("rear them", 50)]
    assert (plan.cost, plan.chance, plan.mixtures_tried) == (600, 1, 3)
    assert {line["release"] for line in plan.order_sheet} == {"reared"}
    written = json.loads(json.dumps(answer.summary(), allow_nan=False))
    assert [o["name"] for o in written["options"]] == ["rear them", "move them"]
    assert written["cheapest"]["parts"][0]["cost"] == 600


def test_a_mixture_is_cheaper_where_every_option_fills_its_site():
    # the cheap site holds 60: reared animals alone never reach 100, moved ones alone do for 1,000;
    # 60 reared survivors cost 360, the 40 others 400
    sites = copy.deepcopy(CERTAIN["sites"])
    sites[0]["limits"] = {"ceiling": {"adults": 60}}
    answer = stock(certain(sites=sites))
    reared, moved = answer.options
    assert (reared.number, reared.reachable) == (None, False)
    assert (moved.number, answer.cost, answer.releases) == (50, 1000, ("moved",))
    plan = answer.cheapest
    assert [p.option for p in plan.parts] == ["rear them", "move them"]
    assert plan.chance == 1
    assert 760 <= plan.cost <= 0.98 * 1000
    assert sum(line["cost"] for line in plan.order_sheet) == plan.cost
    by_hand = sum(p.number * {"rear them": 4 * 0.5, "move them": 2}[p.option] for p in plan.parts)
    assert by_hand >= 100


def test_a_mixture_is_found_where_no_option_is_enough_alone():
    sites = copy.deepcopy(CERTAIN["sites"])
    for site in sites:
        site["limits"] = {"ceiling": {"adults": 60}}
    answer = stock(certain(sites=sites))
    assert [o.number for o in answer.options] == [None, None]
    assert answer.reachable is False
    assert [p.option for p in answer.cheapest.parts] == ["rear them", "move them"]
    assert answer.cheapest.chance == 1


def test_rows_in_no_option_are_released_as_written_and_without_costs_nothing_is_the_cheapest():
    rows = copy.deepcopy(CERTAIN["releases"])
    rows.append({"name": "always", "site": "Upper", "stage": "adult", "number": 20, "first": 2000})
    rows[1].pop("cost_each")
    answer = stock(certain(releases=rows))
    assert [o.number for o in answer.options] == [40, 40]
    assert answer.cheapest is None
    assert {line["release"] for line in answer.order_sheet} == {"always", *answer.releases}


# one row, 25 survivors of 50 a year


def one_way(**row):
    return certain(
        releases=[dict(CERTAIN["releases"][0], **row)],
        solve={"vary": "number", "releases": ["reared"], "most": 1000})


def test_the_year_the_duty_can_end_by_hand():
    answer = stock(one_way(number=80), shorter_duty=True)
    assert answer.number == 50
    duty = answer.duty
    # 80 a year as written: 40 survivors a year, so three years are enough
    assert (duty.number, duty.ends, duty.ends_surely) == (80, 2002, 2002)
    assert dict(zip(duty.last_year, duty.chance, strict=True)) == {
        1999: 0, 2000: 0, 2001: 0, 2002: 1, 2003: 1}
    # shorter duties need 200 animals in all, however many years they take
    needed = {s.last_year: s.number for s in duty.shorter}
    assert needed[2000] == pytest.approx(200, rel=0.02)
    assert needed[2001] == pytest.approx(100, rel=0.02)
    assert needed[2002] == pytest.approx(200 / 3, rel=0.03)
    assert all(s.cost == 3 * s.total_animals for s in duty.shorter)
    # at the number found nothing can be saved
    assert stock(one_way(number=10)).duty.ends == 2003


def test_the_number_of_the_years_left_makes_up_for_short_deliveries(tmp_path):
    # 50 a year were planned; 30 and 10 came. 160 in two years are left
    plan = one_way(number=50, order_lead=2)
    said = plan.with_changes({"releases.reared.delivered_so_far": {2000: 30, 2001: 10}})
    answer = stock(said)
    assert (answer.number, answer.release_years, answer.total_animals) == (80, (2002, 2003), 160)
    assert [line["order_year"] for line in answer.order_sheet] == [2000, 2001]
    assert answer.made == ({"release": "reared", "year": 2000, "number": 30},
                           {"release": "reared", "year": 2001, "number": 10})
    with (tmp_path / "came.csv").open("w", newline="") as handle:
        csv.writer(handle).writerows([("Year", "release", "number"), (2000, "reared", 30),
                                      (2001, "reared", 4), (2001, "reared", 6)])
    assert with_deliveries(plan, tmp_path / "came.csv").digest == said.digest
    # more than planned came early: nothing is left to do
    plenty = plan.with_changes({"releases.reared.delivered_so_far": {2000: 200}})
    assert stock(plenty).number == 0


def test_a_table_of_deliveries_that_cannot_be_read_is_told_row_by_row(tmp_path):
    path = tmp_path / "came.csv"
    path.write_text("year,release,number\nlast,reared,3\n2001,raered,4\n2001,reared,few\n")
    two = certain()
    with pytest.raises(DataError) as caught:
        with_deliveries(two, path)
    assert str(caught.value).splitlines() == [
        "came.csv, line 2: the year reads `last`. Write a year, such as 2026.",
        "came.csv, line 3: there is no release `raered` to plan. Did you mean `reared`?",
        "came.csv, line 4: the number reads `few`. Write the animals released, 0 or more."]
    path.write_text("when,number\n2001,3\n")
    with pytest.raises(DataError) as missing:
        with_deliveries(two, path)
    assert str(missing.value) == (
        "came.csv: the table of deliveries has no column year and no column release. Its columns "
        "are year, release and number.")


def test_total_and_mothers_are_searched_in_their_own_unit():
    def asked(vary, **row):
        return stock(certain(releases=[dict(CERTAIN["releases"][0], last=2002, **row)],
                             solve={"vary": vary, "releases": ["reared"], "most": 1000}))

    # 200 in all over three years: 66 2/3 a year are enough, whole yearly numbers would be 67
    total = asked("total")
    assert (total.asked.unit, total.asked.number, total.total_animals) == ("total", 200, 200)
    assert total.number == pytest.approx(200 / 3)
    assert (asked("number").number, asked("number").total_animals) == (67, 201)
    # a mother has 30 young: 6.67 mothers are needed, so 7, and 210 young
    mothers = asked("mothers", mothers_per_1000=1000 / 30)
    assert (mothers.asked.number, mothers.mothers) == (7, pytest.approx(7))
    assert mothers.total_animals == pytest.approx(210)
    assert mothers.number == pytest.approx(70)

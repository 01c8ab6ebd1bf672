"""Pages far from the demo: nothing released, a goal out of reach, no goal, many sites."""

import copy

import pytest

from pva.report.data_words import data_words
from pva.report.figures.projection import fan_figure
from pva.report.figures.stocking import stock_figure
from pva.report.material import gather
from pva.report.page import sections_of
from pva.results.run import run
from pva.scenario.scenario import Scenario
from tests.report.conftest import ANSWER, PLAN, UNREACHABLE


def page_of(changes, **more):
    plan = Scenario.from_dict({**copy.deepcopy(PLAN), **changes})
    material = gather(runs=[(plan, run(plan, threads=1))], **more)
    return {s.name: s for s in sections_of(material)}


def texts(section):
    return " ".join(b.text for b in section.blocks if b.kind in ("text", "answer"))


def test_nothing_released():
    page = page_of({"releases": [], "solve": None})
    assert "releases nothing, so there is no number to search for" in texts(page["number"])
    figure = next(b for b in page["projection"].blocks if b.kind == "figure")
    assert "planned for release" not in figure.caption


def test_no_goal():
    page = page_of({"goals": [], "solve": None})
    assert "sets no goal, so no number can be judged enough" in texts(page["number"])
    assert "the scenario sets no goal to judge them by" in page["answer"].blocks[0].text


def test_a_chance_that_no_run_showed_is_said_as_its_limit_alone(plan):
    never = UNREACHABLE | {"best_chance": 0.0, "best_number": 0.0, "limits_lifted": []}
    answer = sections_of(gather(stock=[(plan, never)]))[0]
    said = answer.blocks[0].text
    assert "not one run met every goal (below" in said and "in 20" not in said
    facts = next(b for b in answer.blocks if b.kind == "facts")
    assert facts.pairs[0][1] == "chance of meeting every goal, whatever the number"


def test_numbers_without_what_is_not_known_say_so(plan):
    one = Scenario.from_dict(copy.deepcopy(PLAN) | {"runs": PLAN["runs"] | {"draws": 1}})
    alone = sections_of(gather(runs=[(one, run(one, threads=1))]))[0]
    said = "Nothing of what is not known about the rates is in these numbers."
    assert said in texts(alone)
    sure = ANSWER | {"draw_low": None, "draw_high": None}
    assert said in texts(sections_of(gather(stock=[(plan, sure)]))[0])
    assert said not in texts(sections_of(gather(stock=[(plan, ANSWER | {"draw_low": 0.0})]))[0])


def test_a_flat_curve_is_shown_over_all_numbers_tried():
    flat = UNREACHABLE | {"curve": UNREACHABLE["curve"] | {"chance": [0.0, 0.0, 0.0]}}
    figure, place = stock_figure("flat", flat, unit="animals a year")
    assert place["high"] == pytest.approx(1600)
    assert {row[1].split()[0] for row in figure.data.rows} == {"below"}  # never "0 %"
    assert figure.alternative.startswith("The chance rises from below ")


@pytest.mark.parametrize("number, beyond", [(400.0, False), (50000.0, True)])
def test_a_goal_far_above_leaves_the_runs_their_room(data, number, beyond):
    drawn = fan_figure("fan", data, target=(number, 2040, 2040, "the goal"))
    most = float(data["adults_quantile"].max())
    assert ("beyond this axis" in drawn.svg) is beyond
    assert drawn.values["place"]["top"] < 3.5 * most


def test_known_counts_outside_are_told_beside_the_test():
    """A check whose held out counts fit must not hide that known ones do not."""
    row = {"verdict": "inside", "held_out": True}
    rows = [row, row, {"verdict": "outside", "held_out": False},
            {"verdict": "inside", "held_out": False}]
    lines = data_words({"rows": rows, "held_out": 2, "clumping": None, "notes": []})
    assert ("Of the 2 known counts 1 lie outside; about 0.2 would by chance alone.") in lines


def test_thirty_sites_and_sixty_years():
    sites = [{**PLAN["sites"][0], "name": f"Riffle {i}"} for i in range(1, 31)]
    rows = [{**PLAN["releases"][0], "name": f"young {i}", "site": f"Riffle {i}"}
            for i in range(1, 31)]
    page = page_of({"sites": sites, "releases": rows, "solve": None,
                    "years": {"first": 2026, "last": 2086},
                    "runs": {"draws": 4, "replicates": 2, "seed": 3}})
    points = next(b for b in page["assumptions"].blocks if b.kind == "points")
    assert len(points.items) < 40 and any("and 24 more" in p for p in points.items)
    ends = next(b for b in page["projection"].blocks if b.kind == "table")
    assert [row[0] for row in ends.rows][-2:] == ["2080", "2086"]

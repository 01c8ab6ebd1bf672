"""The tutorials run as written, from an empty folder, and show what they say is there to see."""

from __future__ import annotations

import csv
import json
import re

import pytest
from page_blocks import DOCS, code_blocks, without_blocks
from page_runner import run_line, terminal_lines

TUTORIALS = sorted(DOCS.glob("tutorial-*.md"))
pytestmark = pytest.mark.slow


def follow(page, folder) -> dict[str, str]:
    """Save and type all blocks of a page in a folder; what each line printed."""
    said = {}
    for block in code_blocks(page):
        if block.language == "yaml":
            name = re.match(r"# (\S+\.yaml)\n", block.text)[1]
            (folder / name).write_text(block.text + "\n", encoding="utf-8")
        for line in terminal_lines(block):
            said[line] = run_line(line, f"{page.name}, line {block.line}")
    return said


@pytest.fixture(scope="module")
def followed(tmp_path_factory):
    """Each tutorial in an empty folder with a space in its name: page -> (folder, said)."""
    done = {}
    with pytest.MonkeyPatch.context() as patch:
        for page in TUTORIALS:
            folder = tmp_path_factory.mktemp("begin") / "an empty folder"
            folder.mkdir()
            patch.chdir(folder)
            done[page.stem.removeprefix("tutorial-")] = (folder, follow(page, folder))
    return done


def answer(folder, name) -> dict:
    return json.loads((folder / name).read_text(encoding="utf-8"))


@pytest.mark.parametrize("page", TUTORIALS, ids=lambda p: p.stem)
def test_a_tutorial_begins_with_nothing_and_says_what_to_look_at(page):
    blocks = [b for b in code_blocks(page) if b.language == "sh"]
    assert blocks[0].text.startswith("pva new ") and all(
        len(terminal_lines(b)) == 1 for b in blocks)  # one command at a time
    text = without_blocks(page)
    steps = re.split(r"^## \d", text, flags=re.M)[1:]
    assert len(steps) >= 6 and all("*Look at*" in step for step in steps)
    assert "It means" in text and "does not mean" in text and "invented" in text


def test_the_planner_comes_to_a_number_a_sheet_and_a_page(followed):
    folder, said = followed["planner"]
    stock = answer(folder, "marrowby/results/plan.stock.json")
    assert stock["reachable"] and stock["low"] <= stock["number"] <= stock["high"]
    assert stock["chance_wanted"] == 0.8
    assert stock["draw_high"] is None or stock["draw_high"] > 2 * stock["high"]  # the wider range
    surer = next(text for line, text in said.items() if line.endswith("--chance 0.9"))
    number = int(re.search(r"^Stock ([\d,]+) animals a year", surer, re.M)[1].replace(",", ""))
    assert number > stock["number"]
    with (folder / "marrowby/results/order_sheet.csv").open(encoding="utf-8") as handle:
        orders = list(csv.DictReader(handle))
    assert orders and all(int(row["release_year"]) - int(row["order_year"]) == 3 for row in orders)
    assert all(int(row["mothers"]) >= 1 for row in orders)
    assert min(int(row["order_year"]) for row in orders) < 2027
    assert any("must have been placed before 2027" in text for text in said.values())
    page = (folder / "marrowby/report.html").read_text(encoding="utf-8")
    assert "Marrowby" in page and "80 %" in page


def test_halving_costs_more_than_doubling_adds(followed):
    folder, _ = followed["planner"]
    compared = answer(folder, "marrowby/results/plan.compare.json")
    half, double, none = (row["difference"] for row in outcome(compared, "all goals"))
    assert half < 0 < double < -half and none < half
    adults = outcome(compared, "adults in the last year")[1]
    assert adults["first"] < adults["other"] < 2 * adults["first"]  # the reach fills up


def outcome(compared, name) -> list[dict]:
    """One outcome of a comparison, for each file after the first."""
    return [row for part in compared["against_first"] for row in part["differences"]
            if row["outcome"] == name]


def test_the_reviewer_sees_the_verdict_flip_and_an_empty_goal_met(followed):
    folder, said = followed["reviewer"]
    goal = answer(folder, "dunmere/results/goal.summary.json")
    empty = answer(folder, "dunmere/results/numbers-alone.summary.json")
    assert goal["all_goals"]["verdict"] == "met"
    assert empty["all_goals"]["verdict"] == "met" and empty["all_goals"]["chance"] > 0.95
    assert empty["adults"]["q50"][-1] < empty["adults"]["q50"][9] / 3
    assert max(x for x in empty["measures"]["replacement_ratio"] if x is not None) == 0
    shown = next(text for line, text in said.items() if line.endswith("goal.yaml")
                 and line.startswith("pva show"))
    assert "assumed" in shown and "published" in shown
    traced = next(text for line, text in said.items() if "--trace" in line)
    assert "expert range (invented)" in traced and "0.93" in traced
    lower = next(text for line, text in said.items() if "survival-lower" in line
                 and line.startswith("pva compare"))
    now = int(re.search(r"\((\d+) %\s+against", lower)[1])
    assert now < 80 <= 100 * goal["all_goals"]["chance"]


def test_the_researcher_sees_fish_limit(followed):
    folder, said = followed["researcher"]
    blocked = answer(folder, "fennick/results/host-blocked.stock.json")
    assert not blocked["reachable"] and blocked["number"] is None
    assert "host" in blocked["limit"]
    back = answer(folder, "fennick/results/host-returns.stock.json")
    assert back["reachable"] and back["number"] > 100
    compared = next(text for line, text in said.items() if line.startswith("pva compare"))
    scarce, none, late = (int(n) for n in re.findall(r"is (\d+) points lower", compared))
    assert none >= scarce > late > 0
    with (folder / "fennick/results/host-common.explore.csv").open(encoding="utf-8") as handle:
        rows = list(csv.DictReader(handle))
    assert len(rows) == 9


def test_ten_times_the_adults_give_fewer_than_ten_times_the_young(followed, monkeypatch):
    folder, _ = followed["researcher"]
    monkeypatch.chdir(folder)
    file = folder / "fennick/scenarios/bare.yaml"
    text, young = file.read_text(encoding="utf-8"), []
    for adults in (120, 1200):
        file.write_text(text.replace("adult: 120}", f"adult: {adults}}}"), encoding="utf-8")
        run_line("pva run fennick/scenarios/bare.yaml", "bare")
        told = answer(folder, "fennick/results/bare.summary.json")
        young.append(told["measures"]["recruits"][1])
    assert 2 * young[0] < young[1] < 9 * young[0]

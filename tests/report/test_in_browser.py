"""The page as a browser shows it: quiet, closed in itself, worked by keyboard, read aloud, printed.

Needs Chromium (Debian: ``apt-get install chromium``); skipped where there is none.
"""

from __future__ import annotations

import io
import json
import re
from importlib.resources import files

import pytest

from pva.report.material import gather
from pva.report.page import render_report
from pva.report.sections.projection import needed
from pva.report.words import percent, percent_range
from pva.scenario.scenario import Scenario
from tests.report.browser import PROGRAM, Browser
from tests.report.conftest import ANSWER, EVIL, PLAN

pytestmark = pytest.mark.skipif(PROGRAM is None, reason="no Chromium on this machine "
                                                        "(Debian: apt-get install chromium)")
READER = "chance-against-number"
LONG = 'Bend "of" the \'long\' <script>window.hit = 1</script> ' + "x" * 200


@pytest.fixture(scope="module")
def browser(tmp_path_factory):
    pytest.importorskip("websocket", reason="websocket-client is not installed")
    opened = Browser(tmp_path_factory.mktemp("profile"))
    yield opened
    opened.close()


@pytest.fixture(scope="module")
def file(whole_page, tmp_path_factory):
    path = tmp_path_factory.mktemp("page") / "report.html"
    path.write_text(whole_page, encoding="utf-8")
    return path


def told(browser):
    return browser.run("document.getElementById('chance-against-number-answer').textContent")


def move(browser, name, value):
    browser.run(f"(e => {{ e.value = '{value}'; e.dispatchEvent(new Event(e.type === 'range' ? "
                f"'input' : 'change')); }})(document.getElementById('{READER}-{name}'))")


def test_quiet_and_closed_in_itself(browser, file):
    browser.open(file)
    loud = [e for e in browser.events if e["method"] in (
        "Runtime.exceptionThrown", "Runtime.consoleAPICalled", "Log.entryAdded")]
    asked = {e["params"]["request"]["url"] for e in browser.events
             if e["method"] == "Network.requestWillBeSent"}
    assert loud == []
    assert {u for u in asked if not u.startswith("data:")} == {file.resolve().as_uri()}


def test_wanted_chance_reads_the_number_off(browser, file):
    """What the control says is the straight line through the answer's own curve."""
    browser.open(file)
    assert told(browser) == "About 120 juveniles a year (simulation alone: 110 to 140)."
    curve = ANSWER["curve"]
    for wanted in (50, 60, 90):
        move(browser, "wanted", wanted)
        low, at, high = (needed(curve["number"], curve[k], wanted / 100)
                         for k in ("high", "chance", "low"))
        said = [int(n.replace(",", "")) for n in re.findall(r"[\d,]+\d|\d", told(browser))]
        assert said == [pytest.approx(n, rel=0.06, abs=1) for n in (at, low, high)]
        shown = browser.run(f"document.getElementById('{READER}-chance').textContent")
        assert shown == f"{wanted} %"
    move(browser, "wanted", 99)
    assert told(browser) == "Not reached with up to 1,600 juveniles a year."


def test_target_moves_the_number(browser, file, everything):
    browser.open(file)
    curves = everything.targets["curves"]
    higher = next(i for i, c in enumerate(curves) if c["value"] > everything.targets["written"])
    before = told(browser)
    move(browser, "wanted", 30)
    move(browser, "target", higher)
    at = needed(everything.targets["numbers"], curves[higher]["chance"], 0.3)
    if at is None:
        assert told(browser).startswith("Not reached")
    else:
        number = int(re.search(r"About ([\d,]+)", told(browser))[1].replace(",", ""))
        assert number == pytest.approx(at, rel=0.06, abs=1)
    written = next(i for i, c in enumerate(curves) if c["value"] == everything.targets["written"])
    move(browser, "target", written)
    move(browser, "wanted", 80)
    assert told(browser) == before


def test_keyboard_moves_the_control(browser, file):
    browser.open(file)
    browser.run("document.getElementById('chance-against-number-wanted').focus()")
    browser.press("ArrowRight")
    assert browser.run("document.getElementById('chance-against-number-wanted').value") == "81"
    assert told(browser) != "About 120 juveniles a year (simulation alone: 110 to 140)."
    browser.run("document.querySelector('[data-values=\"projection-fan\"] button').focus()")
    browser.press("ArrowRight")
    first = browser.run("document.getElementById('projection-fan-value').textContent")
    browser.press("ArrowRight")
    second = browser.run("document.getElementById('projection-fan-value').textContent")
    assert first.startswith("2026: ") and second.startswith("2027: ")


def test_pointer_says_values(browser, file):
    browser.open(file)
    box = json.loads(browser.run(
        "(() => { const p = document.querySelector('[data-picture=\"projection-fan\"]');"
        "p.scrollIntoView({behavior: 'instant'}); const b = p.getBoundingClientRect();"
        "return JSON.stringify([b.left + b.width * 0.9, b.top + 60]); })()"))
    browser.ask("Input.dispatchMouseEvent", type="mouseMoved", x=box[0], y=box[1])
    said = browser.run("document.getElementById('projection-fan-value').textContent")
    assert re.match(r"20(4[0-6]|3\d): adults, middle run [\d,]+; 80 of 100 runs", said)


def test_everything_has_a_name(browser, file, whole_page):
    browser.open(file)
    named = browser.named()
    for role in ("slider", "combobox", "button", "link", "image", "table", "heading"):
        assert all(name.strip() for r, name in named if r == role), role
    pictures = [name for role, name in named if role in ("image", "img")]
    titles = re.findall(r"<title id=\"[^\"]+-title\">(.*?)</title>", whole_page)
    assert len(pictures) == len(titles) >= 8
    assert any(role == "slider" and name.startswith("Chance wanted") for role, name in named)
    assert ("combobox", "Target") in named


@pytest.mark.parametrize("wide", [1280, 400])
def test_accessibility_rules(browser, file, wide):
    """The open rules of axe-core find nothing serious, wide and narrow."""
    pytest.importorskip("axe_core_python", reason="axe-core-python is not installed")
    browser.open(file, wide=wide)
    browser.run(files("axe_core_python").joinpath("axe.min.js").read_text(encoding="utf-8"))
    found = browser.run("axe.run().then(r => JSON.stringify(r.violations.map(v => "
                        "[v.id, v.impact, v.nodes.slice(0, 3).map(n => n.html.slice(0, 150))])))")
    assert [v for v in json.loads(found) if v[1] in ("serious", "critical")] == []


def test_verdicts_are_in_sight_on_a_telephone(browser, file):
    """The table of the answer fits a narrow screen: nobody must push it aside to see a verdict."""
    browser.open(file, wide=390)
    hidden = browser.run("JSON.stringify([...document.querySelectorAll('#answer > .scroll')].map("
                         "e => e.scrollWidth - e.clientWidth))")
    assert json.loads(hidden) and max(json.loads(hidden)) <= 0


def test_first_printed_page_holds_the_answer(browser, file):
    pypdf = pytest.importorskip("pypdf")
    browser.open(file)
    pages = pypdf.PdfReader(io.BytesIO(browser.printed())).pages
    assert [round(float(v)) for v in pages[0].mediabox[2:]] == [595, 842]
    first, second = (re.sub(r"\s+", " ", p.extract_text()) for p in pages[:2])
    for said in ("About 120 juveniles a year", "What would change the answer", "Risk: no animal",
                 "Permits, donor beds, disease, safety on the water"):
        assert said in first, said
    assert "What the data are" in second and "What the data are" not in first


def test_no_printed_page_ends_with_a_heading(browser, file):
    """Headings, captions and words that lead in stand with what they lead to, folded parts open."""
    pypdf = pytest.importorskip("pypdf")
    browser.open(file)
    heads = json.loads(browser.run(
        "JSON.stringify([...document.querySelectorAll('h2, h3, caption, summary, .lead-in')]"
        ".map(e => e.textContent))"))
    heads = {re.sub(r"\s+", " ", h).strip() for h in heads}
    assert len(heads) > 30
    pages = pypdf.PdfReader(io.BytesIO(browser.printed())).pages
    lines = [[re.sub(r"\s+", " ", x).strip() for x in p.extract_text().splitlines() if x.strip()]
             for p in pages]
    assert [page[-1] for page in lines if page[-1] in heads] == []
    printed = " ".join(" ".join(page) for page in lines)
    for folded in ("Order in", "Each goal and risk, scenario by scenario"):
        assert folded in printed, folded


def test_names_stay_text(browser, tmp_path, data):
    """Marks, quotes and 200 letters: shown as written, run as nothing, and they break no layout."""
    plan = {**PLAN, "title": LONG,
            "sites": [{**PLAN["sites"][0], "name": LONG}],
            "releases": [{**PLAN["releases"][0], "site": LONG}]}
    page = tmp_path / "report.html"
    page.write_text(render_report(gather(stock=[(Scenario.from_dict(plan), ANSWER)])),
                    encoding="utf-8")
    for wide in (1280, 400):
        browser.open(page, wide=wide)
        assert browser.run("window.hit === undefined")
        assert LONG in browser.run("document.querySelector('h1').textContent")
        assert browser.run("document.documentElement.scrollWidth <= window.innerWidth + 1")
    assert EVIL not in LONG


def test_the_page_says_the_numbers_of_the_summary(browser, file, everything):
    browser.open(file)
    run = everything.main
    shown = json.loads(browser.run(
        "JSON.stringify([...document.querySelectorAll('#answer tbody tr')].map(r => "
        "[...r.cells].map(c => c.textContent.replace(/\\u00a0/g, ' '))))"))
    said = {row[0]: row[1:] for row in shown}
    for goal in run.summary["goals"]:
        row = next(v for k, v in said.items() if k.startswith(goal["name"].split()[0]) or
                   goal["name"] in k or "adults" in k)
        assert row[0] in {percent(g["chance"], run.independent) for g in run.summary["goals"]}
    joint = run.summary["all_goals"]
    assert said["Every goal in the same run"] == [
        percent(joint["chance"], run.independent), percent_range(joint["low"], joint["high"]),
        joint["verdict"]]
    risk = run.summary["quasi_extinction"]
    assert said["Risk: below 20 adults by 2046"][0] == percent(risk["chance"][-1],
                                                               run.independent)

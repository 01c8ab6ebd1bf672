"""The page: whole, closed in itself, safe with any text, and true to its numbers."""

from __future__ import annotations

import dataclasses
import json
import re
from html.parser import HTMLParser
from xml.etree import ElementTree

import pytest

from pva.report.figures.canvas import alone
from pva.report.material import gather
from pva.report.page import embedded, render_report, write_report
from tests.report.conftest import ANSWER, ESTIMATES, EVIL, UNREACHABLE

VOID = {"meta", "input", "br", "hr", "img", "col", "link"}
SVG_ALONE = re.compile(r"<(path|use|rect|circle|image|line|stop|polygon|ellipse)\b[^>]*/>")


class Outline(HTMLParser):
    """Walks a page and notes what a checker needs."""

    def __init__(self):
        super().__init__()
        self.open, self.faults, self.ids, self.tags, self.text = [], [], [], [], []
        self.attributes = []

    def handle_starttag(self, tag, attrs):
        given = dict(attrs)
        self.tags.append(tag)
        self.attributes.append((tag, given))
        if "id" in given:
            self.ids.append(given["id"])
        if tag not in VOID:
            self.open.append(tag)

    def handle_startendtag(self, tag, attrs):
        self.handle_starttag(tag, attrs)
        if tag not in VOID:
            self.open.pop()

    def handle_endtag(self, tag):
        if not self.open or self.open[-1] != tag:
            self.faults.append(f"</{tag}> closes {self.open[-1:]}")
            return
        self.open.pop()

    def handle_data(self, data):
        if not self.open or self.open[-1] not in ("style", "script"):
            self.text.append(data)


def outline(page: str) -> Outline:
    walked = Outline()
    walked.feed(page)
    return walked


@pytest.fixture(params=["bare_page", "whole_page"])
def page(request):
    return request.getfixturevalue(request.param)


def test_words_that_readers_ask_for_stand_in_the_glossary_in_order():
    from pva.report.sections.closing import GLOSSARY

    words = [w for w, _ in GLOSSARY]
    assert words == sorted(words, key=str.lower)
    assert {"Rank correlation", "Overdispersion", "AICc", "Asymptote", "Elasticity",
            "Logit"} <= set(words)


def test_models_stand_best_first():
    models = [{"name": n, "parameters": 3, "aicc": a, "weight": w} for n, a, w in (
        ("worse", 12.0, 0.1), ("unfitted", None, None), ("best", 10.0, 0.9))]
    page = render_report(gather(estimates=ESTIMATES | {"models": models}))
    text = " ".join(" ".join(outline(page).text).split())
    assert "best 3 0.0 90 % worse 3 2.0 10 % unfitted 3" in text


def test_only_a_start_with_few_adults_is_called_one(everything, plan):
    from pva.report.sections.projection import risk

    said = "A reintroduction starts with few adults."
    assert not any(said in getattr(b, "text", "") for b in risk(everything).blocks)
    few = plan.with_changes({"quasi_extinction.adults_below": 500})
    from pva.results.run import run
    page = risk(gather(runs=[(few, run(few, threads=1))]))
    assert page.blocks[0].text.startswith(said)


def test_readings_of_heard_tags_are_no_bounds(whole_page):
    text = " ".join(" ".join(outline(whole_page).text).split())
    assert ("Survival under other readings of tags that were only heard What If all heard-only "
            "animals were dead by then If all were alive Not counted (used) Lowest to highest "
            "survival/adult 0.900 0.950 0.946 0.900 to 0.950 "
            "All three are corrected for tag loss. These are readings, not bounds: they may "
            "cross, because each also moves deaths between the first months after release and "
            "later.").replace("survival/adult", "adult") in text


def test_tags_are_balanced_and_ids_unique(page):
    walked = outline(page)
    assert walked.faults == []
    assert walked.open == []
    assert sorted(walked.ids) == sorted(set(walked.ids))


def test_every_reference_stays_inside_the_page(page):
    """No address of the outside world; links, labels and drawings point to ids that exist."""
    assert not re.search(r"(?:https?:)?//[a-z0-9]", page, re.I)
    walked = outline(page)
    ids = set(walked.ids)
    for tag, given in walked.attributes:
        assert "src" not in given and tag not in ("link", "iframe", "object", "base")
        for name in ("href", "xlink:href"):
            if given.get(name) and not given[name].startswith("data:image/png;base64,"):
                assert given[name].startswith("#") and given[name][1:] in ids
        for name in ("for", "aria-labelledby", "aria-describedby"):
            assert all(part in ids for part in (given.get(name) or "").split())
    assert all(name in ids for name in re.findall(r"url\(#([^)]+)\)", page))


def test_text_of_users_never_becomes_markup(page):
    assert EVIL not in page
    assert "alert(" not in re.sub(r"&lt;script&gt;alert\(.*?\)&lt;/script&gt;", "", page)
    assert "<b>Now</b>" not in page
    own = page.count("<script>") + page.count('<script type="application/json"')
    assert page.count("<script") == page.count("</script>") == own


def test_nothing_that_is_not_a_number_is_printed(page):
    words = " ".join(outline(page).text)
    assert not re.search(r"\b(nan|NaN|None|inf|Infinity|null)\b", words)


def test_landmarks_headings_and_language(page):
    walked = outline(page)
    assert page.startswith("<!DOCTYPE html>") and '<html lang="en">' in page
    for tag in ("header", "nav", "main", "footer", "h1", "title"):
        assert tag in walked.tags
    assert ("a", {"class": "skip", "href": "#answer"}) in walked.attributes
    levels = [int(t[1]) for t in walked.tags if re.fullmatch(r"h[1-6]", t)]
    assert levels[0] == 1 and levels.count(1) == 1
    assert all(b <= a + 1 for a, b in zip(levels, levels[1:], strict=False))


def test_figures_say_what_they_show_and_give_their_numbers(page):
    figures = re.findall(r"<figure.*?</figure>", page, re.S)
    assert len(figures) >= 3
    for figure in figures:
        name = re.search(r'<figure id="([^"]+)"', figure).group(1)
        label = f'role="img" aria-labelledby="{name}-title {name}-desc"'
        assert label in figure
        described = re.search(rf'<desc id="{name}-desc">(.*?)</desc>', figure, re.S).group(1)
        assert re.search(r"\d", described) and len(described) > 30
        assert "<figcaption>" in figure and "<details>" in figure and "<table" in figure


def test_tables_have_captions_and_scopes(page):
    for table in re.findall(r"<table.*?</table>", page, re.S):
        assert "<caption>" in table and '<th scope="col"' in table and '<th scope="row"' in table
        heads = table.split("</thead>")[0].count("<th ")
        for row in re.findall(r"<tr>.*?</tr>", table.split("</thead>")[1], re.S):
            assert row.count("<th ") + row.count("<td") == heads


def test_text_in_pictures_stays_text(page):
    assert len(re.findall(r"<svg.*?<text\b", page, re.S)) >= 3
    assert "<metadata" not in page and "dc:date" not in page
    for text in re.findall(r"<text\b[^>]*>", page):
        assert "var(--picture, sans-serif)" in text and "DejaVu" not in text


def test_a_picture_can_stand_alone(whole_page):
    svg = alone(re.search(r"<svg.*?</svg>", whole_page, re.S).group())
    assert ElementTree.fromstring(svg).tag == "{http://www.w3.org/2000/svg}svg"
    assert "var(" not in svg


def test_the_same_material_gives_the_same_page(level_0, bare_page):
    assert render_report(level_0) == bare_page


def test_answer_comes_first_with_its_doubt(whole_page):
    page = whole_page
    first = page.index("About 120 juveniles a year, released 2026 to 2029 (490 in all)")
    assert first < page.index("What the data are")
    words = re.sub(r"\s+", " ", " ".join(outline(page).text))
    assert "give a chance of about 8 in 10 of meeting every goal." in words
    assert "places the number at 110 to 140 a year (95 % interval)" in words
    assert "runs from roughly 30 to more than 1,600 (95 of 100 sets)" in words
    assert ("The number is the best single estimate; 140, the upper end, is the safe choice."
            in words)
    curve = json.loads(re.search(r'class="curve"[^>]*>(.*?)</script>', page, re.S)[1])
    assert curve["answer"] == "About 120 juveniles a year (simulation alone: 110 to 140)."
    assert "The assumption that matters most." in words
    assert "no number is enough (best chance 12 %); the host fish bind." in words


def test_unreachable_and_undecided_are_answers(plan):
    page = render_report(gather(stock=[(plan, UNREACHABLE)]))
    assert "Not reachable: no number up to 1,600 juveniles a year" in page
    assert "With host fish in plenty the best chance becomes 85\u00a0%." in page
    undecided = UNREACHABLE | {"reachable": None, "limit": None, "limits_lifted": []}
    assert "Cannot tell yet whether any number is enough" in render_report(
        gather(stock=[(plan, undecided)]))


def test_without_stock_the_plan_itself_is_judged(level_0, bare_page):
    page = bare_page
    joint = level_0.main.summary["all_goals"]
    assert "With the plan as written the chance of meeting every goal is" in page
    assert f"the verdict is: {joint['verdict']}." in page
    assert "The search for the number to stock has not been run" in page
    assert "There are no field records behind this page." in page


def test_goals_and_risks_are_those_of_the_summary_file(level_0, bare_page, tmp_path):
    """Every row, read back from the JSON that a run writes: chance, interval and verdict."""
    from pva.report.sections.answer import _goal_named
    from pva.report.sections.goals import goal_words
    from pva.report.words import percent, percent_range
    from pva.results.store import write_json
    from pva.results.summary import run_summary

    written = write_json(tmp_path / "summary.json", run_summary(level_0.main.data))
    summary = json.loads(written.read_text(encoding="utf-8"))
    text = " ".join(" ".join(outline(bare_page).text).replace("\u00a0", " ").split())
    size = summary["independent_runs"]

    def row(name, one, verdict):
        return (f"{name} {percent(one['chance'], size)} {percent_range(one['low'], one['high'])} "
                f"{verdict}").strip()

    goals = level_0.main.scenario.resolved.goals
    for goal, one in zip(goals, summary["goals"], strict=True):
        assert row(_goal_named(one["name"], goal_words(goal)), one, one["verdict"]) in text
    assert row("Every goal in the same run", summary["all_goals"],
               summary["all_goals"]["verdict"]) in text
    for key, name in (("quasi_extinction", "Risk: below 20 adults by 2046"),
                      ("extinction", "Risk: no animal left by 2046")):
        last = {k: summary[key][k][-1] for k in ("chance", "low", "high")}
        assert row(name, last, "") in text


def test_estimates_alone_make_a_page():
    page = render_report(gather(estimates=ESTIMATES))
    assert "no scenario has been run yet" in page
    words = " ".join(outline(page).text)
    assert "0.931" in words and "0.946" in words
    assert "The interval of antenna spans most of 0 to 1." in words
    assert "Fennel Bar, 2025: the digging still allows 0.12 per m\u00b2 (95\u00a0%)." in words
    assert "too few" in words and "ten seen again" in words


def test_row_account_adds_up_and_positions_are_left_out(whole_page):
    page = whole_page
    assert "Of 2 rows read, 1 were used as they stand, 0 were used with a flag and 1 were set " \
           "aside, and these add up." in re.sub(r"\s+", " ", page)
    assert "Latitude and longitude seem to be swapped." in page
    assert "-3.3" not in page and "3.26775" not in page and "0.45319" not in page


def test_rows_that_do_not_add_up_are_said(everything):
    account = everything.records.account
    wrong = dataclasses.replace(account, tables=account.tables.assign(used=0))
    records = dataclasses.replace(everything.records, account=wrong)
    assert "DO NOT ADD UP" in render_report(gather(records=records))


def test_data_for_the_reader_cannot_end_their_script(whole_page):
    assert str(embedded({"unit": "</script><b>&"})) == \
        '{"unit": "\\u003c/script\\u003e\\u003cb\\u003e\\u0026"}'
    page = whole_page
    held = re.search(r'<script type="application/json" class="curve">(.*?)</script>', page,
                     re.S).group(1)
    data = json.loads(held)
    assert data["number"] == ANSWER["curve"]["number"] and data["wanted"] == 0.8
    assert data["place"]["x1"] > data["place"]["x0"] and data["place"]["y1"] < data["place"]["y0"]


def test_cautions_and_record_are_there(everything, whole_page):
    words = re.sub(r"\s+", " ", " ".join(outline(whole_page).text))
    for said in ("permits", "donor bed", "invasive species", "never alone", "genetics",
                 "no legal advice", "local codes and licensed practice decide"):
        assert said in words
    assert everything.main.scenario.digest in words
    assert "pva report study --seed 3" in words


def test_a_page_of_nothing_is_written_whole(tmp_path):
    written = write_report(tmp_path / "report.html")
    text = written.read_text(encoding="utf-8")
    assert text.rstrip().endswith("</html>")
    assert "Nothing has been run yet, so there is no answer." in text
    assert [p.name for p in tmp_path.iterdir()] == ["report.html"]

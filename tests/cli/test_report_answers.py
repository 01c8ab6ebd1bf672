"""`pva report` shows finished answers that fit the scenario as it is, and leaves out others."""

import html
import json
import re
import shlex

from pva.cli.second_process import meanwhile
from tests.cli.conftest import write_small

MAP = """title: Small study
report:
  main: scenarios/small.yaml
  map: {vary: {number: [0, 40], survival.adult.value: [0.85, 0.93]}, draws: 4, replicates: 2}
"""
PLAIN = "title: Small study\nreport: {main: scenarios/small.yaml}\n"


def words(page):
    text = re.sub(r"<(style|script)\b.*?</\1>", " ", page.read_text("utf-8"), flags=re.S)
    return re.sub(r"\s+", " ", re.sub(r"<[^>]+>", " ", text)).replace("\u00a0", " ")


def test_a_map_that_is_asked_for_is_made_with_the_runs_named(call, small):
    folder = small.parents[1]
    (folder / "study.yaml").write_text(MAP, encoding="utf-8")
    done = call("report", folder)
    assert done.exit_code == 0, done.stderr
    assert "small.explore.nc is missing or out of date: exploring" in done.stderr
    made = json.loads((folder / "results" / "small.explore.json").read_text("utf-8"))
    assert (made["draws"], made["replicates"], len(made["points"])) == (4, 2, 4)
    assert "Every point: 4 draws \u00d7 2 replicates" in words(folder / "report.html")
    assert "missing or out of date" not in call("report", folder).stderr


def test_finished_answers_are_shown_and_stale_ones_said(call, small):
    folder = small.parents[1]
    (folder / "study.yaml").write_text(PLAIN, encoding="utf-8")
    assert call("report", folder).exit_code == 0
    assert "was not asked for this page" in words(folder / "report.html")
    for command in (("sensitivity", small),
                    ("explore", small, "--vary", "number=0,40")):
        assert call(*command).exit_code == 0
    assert call("report", folder).exit_code == 0
    shown = words(folder / "report.html")
    assert "Mechanisms switched off in turn, in the same luck" in shown
    assert "Chance of meeting every goal, point by point" in shown
    write_small(small, chance_wanted="0.7")
    (folder / "study.yaml").write_text(PLAIN, encoding="utf-8")
    assert call("report", folder).exit_code == 0
    after = words(folder / "report.html")
    for kind in ("sensitivity", "explore"):
        assert (f"An answer of `pva {kind}` is at hand, but it was made before small.yaml or what "
                "it rests on was changed, so it is left out.") in after
    assert "Mechanisms switched off in turn" not in after


def test_the_record_names_one_command(call, small):
    folder = small.parents[1]
    (folder / "study.yaml").write_text(PLAIN, encoding="utf-8")
    assert call("report", folder, "--seed", "9").exit_code == 0
    shown = words(folder / "report.html")
    assert ("This command makes the page again, number for number: pva report study --seed 9"
            in shown)


def test_answers_to_another_chance_or_of_another_seed_are_made_anew(call, small):
    folder = small.parents[1]
    (folder / "study.yaml").write_text(PLAIN, encoding="utf-8")
    results = folder / "results"

    def kept(name):
        return json.loads((results / name).read_text("utf-8"))

    assert call("report", folder).exit_code == 0
    wanted, seed = kept("small.stock.json")["chance_wanted"], kept("small.stock.json")["seed"]
    assert "missing or out of date" not in call("report", folder).stderr
    assert call("stock", small, "--chance", "0.35").exit_code == 0
    done = call("report", folder)
    assert "small.stock.json is missing or out of date: searching" in done.stderr
    assert kept("small.stock.json")["chance_wanted"] == wanted != 0.35
    assert call("run", small, "--seed", str(seed + 1)).exit_code == 0
    done = call("report", folder)
    assert done.stderr.startswith("small.nc is missing or out of date: running")
    assert "stock.json is missing" not in done.stderr
    done = call("report", folder, "--seed", str(seed + 1))
    assert all(f"small.{name} is missing or out of date" in done.stderr
               for name in ("nc", "stock.json", "targets.json"))
    assert {kept(f"small.{n}.json")["seed"] for n in ("summary", "stock", "targets")} == {seed + 1}


def test_a_map_asked_for_anew_is_made_anew(call, small):
    folder = small.parents[1]
    (folder / "study.yaml").write_text(MAP, encoding="utf-8")
    assert call("report", folder).exit_code == 0
    (folder / "study.yaml").write_text(MAP.replace("[0, 40]", "[40]"), encoding="utf-8")
    assert "exploring" not in call("report", folder).stderr  # the finer map holds it
    (folder / "study.yaml").write_text(MAP.replace("[0, 40]", "[0, 40, 60]"), encoding="utf-8")
    assert "small.explore.nc is missing or out of date: exploring" in call("report", folder).stderr
    assert len(json.loads((folder / "results" / "small.explore.json").read_text("utf-8"))[
        "points"]) == 6


def test_commands_on_the_page_work_as_they_stand(call, small, monkeypatch):
    folder = small.parents[1].rename(small.parents[1].with_name("my study"))
    (folder / "study.yaml").write_text(PLAIN, encoding="utf-8")
    assert call("report", folder).exit_code == 0
    found = re.findall(r'<pre class="command"><code>(.*?)</code>',
                       (folder / "report.html").read_text("utf-8"))
    commands = [shlex.split(html.unescape(c)) for c in found]
    ready = [c[1:] for c in commands if "SCENARIO" not in " ".join(c)]
    assert [c[0] for c in ready] == ["sensitivity", "explore", "report"]
    monkeypatch.chdir(folder.parent)
    for command in ready:
        done = call(*command)
        assert done.exit_code == 0, done.stderr
    assert "Mechanisms switched off in turn, in the same luck" in words(folder / "report.html")


def test_figures_stand_as_svg_png_and_numbers(call, small):
    folder = small.parents[1] / "results"
    assert call("sensitivity", small).exit_code == 0
    assert (folder / "small.sensitivity.svg").read_text("utf-8").startswith("<svg xmlns=")
    assert (folder / "small.sensitivity.png").read_bytes().startswith(b"\x89PNG")
    assert (folder / "small.sensitivity.csv").read_text("utf-8").startswith("Rate,Best value,")


def test_work_beside_the_page_ends_with_it():
    """A second process answers while the block goes on, and never outlives it."""
    with meanwhile(["--version"]) as running:
        assert running.wait(60) == 0
    with meanwhile(["demo", "--help"]) as running:
        pass
    assert running.poll() is not None
    with meanwhile(None) as nothing:
        assert nothing is None


def test_a_past_that_cannot_be_checked_is_refused_in_words(call, small):
    """The second process says nothing; the page's own says what is wrong."""
    folder = small.parents[1]
    past = PLAIN.replace("small.yaml}", "small.yaml, check_data: scenarios/small.yaml}")
    (folder / "study.yaml").write_text(past, encoding="utf-8")
    done = call("report", folder)
    assert done.exit_code == 1
    assert "the chance of being seen is not known. Nothing was run." in done.stderr

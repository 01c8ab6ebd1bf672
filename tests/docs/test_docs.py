"""The documentation runs: its commands, its Python, its links; and it is true to the code."""

from __future__ import annotations

import re
import shutil
import tomllib
from pathlib import Path

import pytest
from page_blocks import DOCS, PAGES, TOP, anchors, code_blocks, links, script, without_blocks
from page_runner import NEVER_RUN, run_line, terminal_lines

from pva.cli import main

SLOW = ("pva demo", "pva estimate", "pva report", "pva check-data hesperwell")
OWN_TEST = {  # run whole, from an empty folder
    "learn-by-truth.md": "test_learn_by_truth.py", "own-tables.md": "test_own_tables.py",
    "tutorial-planner.md": "test_tutorials.py",
    "tutorial-reviewer.md": "test_tutorials.py", "tutorial-researcher.md": "test_tutorials.py"}
RUNNING = [p for p in PAGES if any(b.language in ("sh", "python") for b in code_blocks(p))
           and p.name not in OWN_TEST]
SMALL = r"runs: {draws: 8, replicates: 4, seed: \1}"


def name_of(page):
    return page.name


@pytest.fixture
def demo(tmp_path, monkeypatch):
    """The demo study with small runs, in a folder with a space; the current folder holds it."""
    folder = tmp_path / "a folder with a space"
    study = folder / "hesperwell"
    shutil.copytree(TOP / "scenarios" / "hesperwell", study)
    shutil.copytree(TOP / "scenarios", folder / "scenarios",
                    ignore=shutil.ignore_patterns("hesperwell"))
    (study / "estimates").mkdir()
    shutil.copy(TOP / "tests" / "demo" / "true_estimates.yaml", study / "estimates/estimates.yaml")
    for scenario in folder.rglob("*.yaml"):
        text = scenario.read_text(encoding="utf-8")
        scenario.write_text(re.sub(r"^runs: {draws: (?:200|40), .*seed: (\d+)}", SMALL, text,
                                   flags=re.M), encoding="utf-8")
    monkeypatch.chdir(folder)
    return folder


def run_page(page, folder, *, slow):
    """Save, run and execute the blocks of a page in their order; returns how many were run."""
    names: dict = {}
    ran = 0
    for block in code_blocks(page):
        where = f"{page.name}, line {block.line}"
        saved = re.match(r"# (hesperwell/\S+\.yaml)\n", block.text)
        if block.language == "yaml" and saved:
            (folder / saved[1]).write_text(block.text + "\n", encoding="utf-8")
        elif block.language == "python" and not slow:
            exec(compile(block.text, where, "exec"), names)
            ran += 1
        for line in terminal_lines(block):
            begun = slow and line.startswith("pva new ") and not Path(line.split()[2]).exists()
            if (line.startswith(SLOW) == slow or begun) and not line.startswith(tuple(NEVER_RUN)):
                run_line(line, where)
                ran += 1
    return ran


@pytest.mark.parametrize("page", RUNNING, ids=name_of)
def test_page_runs(page, demo):
    run_page(page, demo, slow=False)


@pytest.mark.slow
def test_slow_commands_of_the_pages_run(demo):
    assert sum(run_page(page, demo, slow=True) for page in RUNNING) >= 1


def test_a_page_with_a_wrong_command_is_found_out(demo):
    page = demo / "wrong.md"
    page.write_text("```sh\npva run hesperwell/scenarios/no-such.yaml\n```\n", encoding="utf-8")
    with pytest.raises(AssertionError, match=r"wrong\.md, line 1: pva run"):
        run_page(page, demo, slow=False)


def test_every_line_of_the_pages_runs_or_says_why_not():
    """A line that no test can run is named with its reason; a page run elsewhere names its test."""
    lines = [line for page in PAGES for b in code_blocks(page) for line in terminal_lines(b)]
    kept = [line for line in lines if line.startswith(tuple(NEVER_RUN))]
    assert {line.split()[0] for line in lines} - {"pva", "python"} == {x.split()[0] for x in kept}
    assert len(kept) >= 2  # those of the README that install
    windows = [line for page in PAGES for b in code_blocks(page) if b.language == "powershell"
               for line in b.text.splitlines()]
    assert windows and not [line for line in windows
                            if not line.startswith(("py -3", ".venv\\Scripts\\"))]
    for page, test in OWN_TEST.items():
        said = (TOP / "tests" / "docs" / test).read_text(encoding="utf-8")
        assert page in said or 'glob("tutorial-*.md")' in said


@pytest.mark.parametrize("page", PAGES, ids=name_of)
def test_links_resolve(page):
    for link in links(page):
        file, _, anchor = link.partition("#")
        target = (page.parent / file).resolve() if file else page
        assert target.is_file(), f"{page.name}: {link}"
        assert target.is_relative_to(TOP), f"{page.name}: {link}"
        if anchor:
            assert anchor in anchors(target), f"{page.name}: {link}"


def test_every_page_is_linked_from_another():
    linked = {(p.parent / link.partition("#")[0]).resolve() for p in PAGES for link in links(p)
              if not link.startswith("#")}
    assert not [p.name for p in PAGES if p.resolve() not in linked and p.name != "README.md"]


@pytest.mark.parametrize("page", PAGES, ids=name_of)
def test_pages_name_only_commands_that_exist(page):
    spans = re.findall(r"`(pva [^`]+)`", without_blocks(page))
    lines = [x for b in code_blocks(page) for x in b.text.splitlines() if x.startswith("pva ")]
    for said in [*spans, *lines]:
        word = said.split()[1]
        assert word in main.commands or word.startswith(("-", "...")), f"{page.name}: {said}"


@pytest.mark.parametrize("page", PAGES, ids=name_of)
def test_pages_hold_no_paths_of_a_machine_and_no_outside_links(page):
    text = page.read_text(encoding="utf-8")
    assert not re.search(r"(?<![\w.~])/(work|tmp|home|root|usr|var|mnt|Users)/|\b[A-Z]:\\", text)
    assert not re.search(r"https?://", text)


@pytest.mark.parametrize("page", PAGES, ids=name_of)
def test_no_output_is_pasted(page):
    allowed = {"sh", "powershell", "yaml", "python"} | ({"text"} if page.stem == "equations"
                                                        else set())
    assert {b.language for b in code_blocks(page)} <= allowed


def test_readme_shows_commands_that_it_explains():
    readme = TOP / "README.md"
    shown = {x.split()[1] for b in code_blocks(readme) if b.language == "sh"
             for x in b.text.splitlines() if x.startswith("pva ")}
    table = re.findall(r"^\| `pva ([\w-]+)", readme.read_text(encoding="utf-8"), flags=re.M)
    assert len(table) == len(set(table)) >= 5 and set(table) <= set(main.commands)
    assert shown <= set(table)


def test_readme_blocks_that_ci_runs():
    text = (TOP / "README.md").read_text(encoding="utf-8")
    for heading, command in (
        ("Run the main job", "python3 -m venv .venv && .venv/bin/pip install -c "
         ".ci/constraints.txt . && .venv/bin/pva demo"),
        ("Run the tests", "python3 -m venv .venv && .venv/bin/pip install -c "
         '.ci/constraints.txt -e ".[test]" && .venv/bin/python -m pytest -n 2'),
    ):
        after = text.split(f"## {heading}\n")[1]
        assert after.split("```sh\n")[1].split("\n```")[0] == command


def test_readme_blocks_of_an_installation_without_network():
    text = (TOP / "README.md").read_text(encoding="utf-8")
    after = text.split("## Install without a network\n")[1].split("\n## ")[0]
    gather, install = [b.split("\n```")[0] for b in after.split("```sh\n")[1:]]
    assert gather == "python3 -m pip wheel -c .ci/constraints.txt --wheel-dir wheels ."
    assert "--no-index --find-links wheels pva && .venv/bin/pva demo" in install


def test_references_equal_their_generator():
    for name, make in script("make_reference").PAGES.items():
        written = (DOCS / name).read_text(encoding="utf-8")
        assert written == make(), f"{name} is out of date: run docs/make_reference.py"


def test_published_checks_equal_their_generator():
    page = (DOCS / "published-checks.md").read_text(encoding="utf-8")
    assert page == script("make_checks").published_checks(), "run docs/make_checks.py"


@pytest.mark.parametrize("name", list(script("make_checks").CASES))
def test_the_package_gives_what_was_published(name):
    made = script("make_checks")
    for what, published, found in made.CASES[name]():
        slack = made.SLACK.get(name, 1.001 * 10.0 ** -made._digits(published))
        assert found == pytest.approx(published, abs=slack), what


def test_pictures_are_those_of_the_script(tmp_path):
    for made in script("make_pictures").write_pictures(tmp_path):
        kept = DOCS / "pictures" / made.name
        assert words_of(kept) == words_of(made), "run docs/make_pictures.py"
        assert set(re.findall(r"#[0-9a-f]{6}", kept.read_text(encoding="utf-8"))) <= {
            "#ffffff", "#000000", "#d9d9d9"}


def words_of(svg):
    return re.findall(r"<text[^>]*>([^<]*)</text>", svg.read_text(encoding="utf-8"))


def test_the_year_is_drawn_in_the_order_of_the_engine():
    kernel = (TOP / "pva" / "engine" / "kernel.py").read_text(encoding="utf-8")
    year = kernel.split("def simulate_block")[1].split("@inner")[0]
    order = ["year_rates(", "year_disasters(", "collect(", "release(", "breed(",
             "residents_live(", "releases_live(", "move(", "recruits_arrive(", "crowd("]
    places = [year.index(call) for call in order]
    assert places == sorted(places)
    titles = [title for _, title, _ in script("make_pictures").STEPS]
    assert titles == ["The year is drawn", "Collections, then releases", "Breeding", "Survival",
                      "Growth", "Movement", "Limits of space", "Census"]


def test_contributors_guide_is_true():
    guide = (TOP / "DEVELOPERS.md").read_text(encoding="utf-8")
    layers = tomllib.loads((TOP / "pyproject.toml").read_text(encoding="utf-8"))[
        "tool"]["importlinter"]["contracts"][0]["layers"]
    table = guide.split("## Layers")[1].split("## Where")[0]
    named = re.findall(r"^\| `(\w+)[/.]", table, flags=re.M)
    assert named == layers[::-1] or named == ["errors", "sources", *layers[::-1][2:]]
    for path in re.findall(r"`((?:pva|tests|docs|shared|scenarios|\.ci)/[\w./-]+)`", guide):
        if not any(word in path for word in ("NAME", "CODE", "__pycache__")):
            assert (TOP / path).exists(), path


def test_limits_told_in_words_are_those_of_the_code():
    from pva.estimate import density, growth, recruits, species, tag_loss, to_estimates, transitions

    page = (DOCS / "estimation.md").read_text(encoding="utf-8")
    assert f"fewer than {to_estimates.FEWEST_FOR_STAGE} animals of it seen again" in page
    assert f"an interval wider than {to_estimates.WIDEST}" in page
    assert f"fewer than {growth.FEWEST} animals measured twice" in page
    assert f"fewer than {tag_loss.FEWEST_MEETINGS} meetings" in page
    assert species.FEWEST_SEEN == to_estimates.FEWEST_FOR_STAGE
    page = " ".join((DOCS / "equations.md").read_text(encoding="utf-8").split())
    assert f"below {recruits.CERTAIN}, *probable* below {recruits.LIKELY}" in page
    assert f"even scatter below {density.CLUMPED:.0%}".replace("%", " %") in page
    assert f"through by {transitions.DRAWS} draws" in page

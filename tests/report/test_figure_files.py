"""Figures of a page as files beside it."""

import csv
import re
from pathlib import Path

import pytest

from pva.report.figure_files import figures_of, write_page_figures
from pva.report.page import sections_of, write_page_and_figures

PLAIN = set("abcdefghijklmnopqrstuvwxyz-")


@pytest.fixture(scope="module")
def sections(everything):
    return sections_of(everything)


def test_every_figure_of_the_page_stands_in_three_forms(everything, sections, tmp_path):
    page, *files = write_page_and_figures(tmp_path / "report.html", everything)
    names = [f.name for s in sections for f in figures_of(s.blocks)]
    assert len(names) == len(set(names)) >= 15
    assert all(set(name) <= PLAIN for name in names)
    folder = tmp_path / "figures"
    assert {f.name for f in folder.iterdir()} == {"list.csv"} | {
        f"{n}.{e}" for n in names for e in ("svg", "png", "csv")} == {f.name for f in files}
    text = page.read_text(encoding="utf-8")
    assert all(f'<figure id="{n}">' in text for n in names)
    for name in names:
        assert (folder / f"{name}.png").read_bytes().startswith(b"\x89PNG")
        assert (folder / f"{name}.svg").read_text("utf-8").startswith("<svg xmlns=")
        rows = list(csv.reader((folder / f"{name}.csv").read_text("utf-8").splitlines()))
        assert len(rows) > 1 and len({len(r) for r in rows}) == 1, name
    listed = list(csv.reader((folder / "list.csv").read_text("utf-8").splitlines()))
    assert [row[0] for row in listed[1:]] == names


def test_the_list_of_figures_in_the_docs_is_whole(sections):
    """Every figure of a full page stands in the list with what it must let a reader see."""
    page = (Path(__file__).parents[2] / "docs/figures.md").read_text("utf-8")
    rows = [line.split("|")[1:-1] for line in page.splitlines() if line.startswith("| ")]
    said = {name for row in rows for name in re.findall(r"`([a-z-]+)`", row[1])}
    assert {f.name for s in sections for f in figures_of(s.blocks)} <= said
    assert all(len(row) == 3 and row[2].strip() for row in rows)


def test_a_figure_that_is_no_more_is_taken_away_and_nothing_else(sections, tmp_path):
    few = [s for s in sections if s.name in ("answer", "number")]
    write_page_figures(tmp_path, few)
    mine = tmp_path / "mine.png"
    mine.write_bytes(b"kept")
    (tmp_path.parent / "outside.svg").write_text("kept")
    text = (tmp_path / "list.csv").read_text("utf-8")
    (tmp_path / "list.csv").write_text(text + "../outside,x,y\n", encoding="utf-8")
    write_page_figures(tmp_path, few[:1])
    assert {f.name for f in tmp_path.iterdir()} == {
        "mine.png", "list.csv", "answer-number.svg", "answer-number.png", "answer-number.csv"}
    assert (tmp_path.parent / "outside.svg").read_text() == "kept"


def test_a_page_without_figures_makes_no_folder(tmp_path):
    assert write_page_figures(tmp_path / "figures", []) == []
    assert list(tmp_path.iterdir()) == []

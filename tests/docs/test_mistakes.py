"""Every mistake of docs/mistakes.yaml is made, and the whole of what is said is compared."""

from __future__ import annotations

import csv
import shlex
from pathlib import Path

import pytest
from click.testing import CliRunner
from openpyxl import Workbook
from page_blocks import DOCS, script

from pva.cli import main

WRITTEN = script("mistakes_page").written()
MISTAKES = WRITTEN["mistakes"]


def small_study(folder: Path) -> None:
    """The study of the page, before any mistake."""
    for name, text in WRITTEN["study"].items():
        file = folder / name
        file.parent.mkdir(parents=True, exist_ok=True)
        file.write_text(text, encoding="utf-8")


def as_workbook(table: Path) -> None:
    """The table as a workbook of one sheet, and the mark that a spreadsheet lays beside it."""
    book = Workbook()
    book.active.title = "2021"
    with table.open(encoding="utf-8", newline="") as file:
        for row in csv.reader(file):
            book.active.append(row)
    book.save(table.with_suffix(".xlsx"))
    table.with_name(f"~${table.stem}.xlsx").write_bytes(b"\x05user" + b" " * 160)


def make(mistake: dict, folder: Path) -> None:
    """Change the study as the mistake does; what is changed must stand there."""
    if "workbook" in mistake:
        as_workbook(folder / mistake["workbook"])
    for name, change in mistake.get("change", {}).items():
        file = folder / name.split("#")[0]
        if change == "whole":
            file.write_text("", encoding="utf-8")
            continue
        old, new = change
        text = file.read_text(encoding="utf-8")
        assert old in text
        file.write_text(text.replace(old, new), encoding="utf-8")


def typed(command: str):
    return CliRunner().invoke(main, shlex.split(command)[1:])


@pytest.fixture
def river(tmp_path, monkeypatch):
    small_study(tmp_path)
    monkeypatch.chdir(tmp_path)
    return tmp_path


@pytest.mark.parametrize("mistake", MISTAKES, ids=lambda one: one["title"])
def test_what_is_said(mistake, river):
    make(mistake, river)
    before = {file: file.read_bytes() for file in river.rglob("*") if file.is_file()}
    done = typed(mistake["command"])
    assert done.output.rstrip() == mistake["says"].rstrip()
    # a mistake of a whole file is refused; a slip in a row is told, and the rest is used
    row = "set aside" in mistake["says"] and "rows in =" in mistake["says"]
    assert done.exit_code == (0 if row else 1)
    assert {file: file.read_bytes() for file in river.rglob("*") if file.is_file()} == before


def test_without_a_mistake_nothing_is_said(river):
    done = typed("pva check river")
    assert done.exit_code == 0 and "No problem in 2 files." in done.output
    assert typed("pva show river/scenarios/plan.yaml --twin").exit_code == 0


def test_there_are_thirty_and_each_says_what_to_do():
    assert len(MISTAKES) >= 30
    assert len({one["title"] for one in MISTAKES}) == len(MISTAKES)
    verbs = ("Write", "Did you mean", "Put ", "Replace", "Let ", "Lower", "Move", "Run", "Name",
             "Map", "Add", "Copy", "Correct", "Compare", "Check", "Close", "write")
    for one in MISTAKES:
        assert any(verb in one["says"] for verb in verbs), one["title"]
        assert "Traceback" not in one["says"] and "Error" not in one["says"], one["title"]


def test_no_message_holds_the_words_of_a_parser():
    for one in MISTAKES:
        for word in ("mapping values", "block end", "token", "scalar", "NoneType", "None", "dict"):
            assert word not in one["says"], one["title"]


def test_the_page_is_written_from_the_same_file():
    page = (DOCS / "mistakes.md").read_text(encoding="utf-8")
    for one in MISTAKES:
        assert one["title"] in page and one["says"].splitlines()[0].strip() in page

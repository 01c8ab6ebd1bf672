"""SIGKILL at any moment leaves a study as before or as after, every file of it whole.

A child of this process runs the command and kills itself at its n-th step on disk (opening a file
to write, making a folder, renaming, removing), or after so many seconds; n and the seconds come
from a fixed seed.
"""

from __future__ import annotations

import csv
import importlib.util
import json
import multiprocessing
import os
import random
import shutil
import signal
import sys
import threading
from collections import Counter
from pathlib import Path
from xml.etree import ElementTree

import pytest

from pva.files import digest, read_yaml, together, write_text_atomic
from pva.files.unfinished import MARK, tidy

pytest.importorskip("resource", reason="kills and forks are of Unix")
TESTS = Path(__file__).parents[1]
STEPS = {"os.rename", "os.remove", "os.mkdir"}
CONTEXT = multiprocessing.get_context("fork")


def module_of(path: Path):
    spec = importlib.util.spec_from_file_location(f"parts_{path.parent.name}", path)
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    return module


def is_step(event: str, given: tuple) -> bool:
    if event == "open":
        return isinstance(given[2], int) and bool(given[2] & (os.O_WRONLY | os.O_RDWR))
    return event in STEPS


def die() -> None:
    os.kill(os.getpid(), signal.SIGKILL)


def command(*arguments) -> None:
    from pva.cli import main

    try:
        main([str(a) for a in (*arguments, "--quiet", "--threads", "1")])
    except SystemExit as ended:
        assert not ended.code


def child(work, steps: int | None, seconds: float | None, made) -> None:
    sys.stdout = sys.stderr = Path(os.devnull).open("w")
    done = [0]

    def count(event, given):
        if is_step(event, given):
            done[0] += 1
            made.value = done[0]
            if steps is not None and done[0] >= steps:
                die()

    sys.addaudithook(count)
    if seconds is not None:
        threading.Timer(seconds, die).start()
    work()
    os._exit(0)


def in_child(work, *, steps: int | None = None, seconds: float | None = None) -> tuple[int, int]:
    """Exit code of the child (-9 if killed), and the steps it took."""
    made = CONTEXT.Value("i", 0, lock=False)
    process = CONTEXT.Process(target=child, args=(work, steps, seconds, made))
    process.start()
    process.join()
    return process.exitcode, made.value


def assert_whole(folder: Path) -> int:
    """Every file that a command may have written can be read to its end; how many there are."""
    from pva.results.store import read_dataset

    files = [p for p in folder.rglob("*") if p.is_file() and MARK not in str(p)]
    for path in files:
        ending = path.suffix
        if ending == ".json":
            json.loads(path.read_text("utf-8"))
        elif ending == ".yaml":
            read_yaml(path)
        elif ending == ".nc":
            assert read_dataset(path).attrs
        elif ending == ".svg":
            ElementTree.fromstring(path.read_text("utf-8"))
        elif ending == ".png":
            assert path.read_bytes().endswith(b"IEND\xaeB`\x82")
        elif ending == ".html":
            assert path.read_text("utf-8").rstrip().endswith("</html>")
        elif ending == ".csv":
            text = path.read_text("utf-8-sig")
            assert text.endswith("\n") and len({len(r) for r in csv.reader(text.splitlines())}) < 4
    return len(files)


def go_on(folder: Path) -> None:
    """What the next command does first, in every folder it writes into."""
    for one in [folder, *(p for p in folder.rglob("*") if p.is_dir())]:
        if one.is_dir():
            tidy(one)
    assert not list(folder.rglob(f"{MARK}*")), "nothing unfinished is left"


def moments(steps: int, number: int, seed: int) -> list[int]:
    return sorted(random.Random(seed).sample(range(1, steps + 1), min(number, steps)))


@pytest.fixture(scope="module")
def study(tmp_path_factory):
    """A small study with tables and a scenario, all of whose answers are made."""
    folder = tmp_path_factory.mktemp("killed") / "study"
    module_of(TESTS / "field" / "conftest.py").write_study(folder)
    scenario = folder / "scenarios" / "small.yaml"
    scenario.parent.mkdir()
    scenario.write_text(module_of(TESTS / "cli" / "conftest.py").SMALL)
    study = folder / "study.yaml"
    study.write_text(study.read_text() + "report: {main: scenarios/small.yaml}\n")
    command("estimate", folder)
    command("run", scenario, "--seed", "1")
    command("report", folder, "--seed", "1")  # else it would run the scenario in its own luck
    return folder


def every_kill(study, folder, work, number, seed, check, *, seconds=()) -> Counter:
    """Kill `work` at many moments, each time on a copy of the study; what was left, counted."""
    shutil.copytree(study, folder)
    code, steps = in_child(work)
    assert code == 0 and steps > 4
    left = Counter()
    tries = [{"steps": n} for n in moments(steps, number, seed)]
    for how in [*tries, *({"seconds": s} for s in seconds)]:
        shutil.rmtree(folder)
        shutil.copytree(study, folder)
        code, _ = in_child(work, **how)
        assert code == -signal.SIGKILL or "seconds" in how
        assert assert_whole(folder)
        go_on(folder)
        assert assert_whole(folder)
        left[check(folder)] += 1
    command_again = in_child(work)
    assert command_again[0] == 0 and check(folder) == "after"
    assert not list(folder.rglob(f"{MARK}*"))
    return left


@pytest.mark.slow
def test_run_killed_at_eighteen_moments(study, tmp_path):
    from pva.results.store import read_dataset

    folder = tmp_path / "study"

    def check(folder):
        seed = int(read_dataset(folder / "results" / "small.nc").attrs["seed"])
        assert json.loads((folder / "results" / "small.summary.json").read_text())["seed"] == seed
        return {1: "before", 2: "after"}[seed]

    left = every_kill(study, folder, lambda: command("run", folder / "scenarios" / "small.yaml",
                                                     "--seed", "2"),
                      14, 1, check, seconds=(0.05, 0.15, 0.25, 0.35))
    assert left["before"] >= 5 and left["after"] >= 2 and sum(left.values()) >= 17


@pytest.mark.slow
def test_estimate_killed_at_sixteen_moments(study, tmp_path):
    folder = tmp_path / "study"

    def work():
        table = folder / "encounters.csv"
        before = table.read_text()
        if "55.5" not in before:
            table.write_text(f"{before}Tallow Bend,2019-09-14,A123,Elliptio ficta,alive,55.5,,,\n")
        command("estimate", folder)

    def check(folder):
        made = folder / "estimates"
        summary = json.loads((made / "summary.json").read_text())
        assert summary["estimates_digest"] == digest(made / "estimates.yaml")
        assert not (made / "estimates.edited.yaml").exists()
        return {16: "before", 17: "after"}[summary["rows"]["in"]]

    left = every_kill(study, folder, work, 13, 2, check, seconds=(0.1, 0.3, 0.5))
    assert left["before"] >= 5 and left["after"] >= 1 and sum(left.values()) == 16


@pytest.mark.slow
def test_report_killed_at_five_moments(study, tmp_path):
    folder = tmp_path / "study"

    def work():
        one = folder / "study.yaml"
        one.write_text(one.read_text().replace("Small invented study", "Another invented study"))
        command("report", folder)

    def check(folder):
        page = (folder / "report.html").read_text("utf-8")
        return "after" if "Another invented study" in page else "before"

    left = every_kill(study, folder, work, 4, 3, check, seconds=(1.5,))
    assert left["before"] >= 1 and sum(left.values()) == 5


@pytest.mark.slow
def test_copy_of_the_demo_killed_at_twelve_moments(tmp_path):
    from pva.cli.demo_files import copy_demo, digests

    place = tmp_path / "place"
    folder = place / "hesperwell"
    place.mkdir()
    _, steps = in_child(lambda: copy_demo(folder))
    whole, left = digests(folder), Counter()
    for n in moments(steps, 12, 4):
        shutil.rmtree(place)
        place.mkdir()
        code, _ = in_child(lambda: copy_demo(folder), steps=n)
        assert code == -signal.SIGKILL
        left[folder.exists()] += 1
        assert not folder.exists() or digests(folder) == whole
        copy_demo(folder)
        assert digests(folder) == whole and [p.name for p in place.iterdir()] == ["hesperwell"]
    assert left[False] >= 6 and sum(left.values()) == 12


def write_three(folder: Path, word: str) -> None:
    with together():
        for name in ("a.txt", "b.txt", "in/c.txt"):
            write_text_atomic(folder / name, word)


def test_every_single_step_of_writing_three_files(tmp_path):
    """Killed at each step in turn: all old or all new, once the next command has been there."""
    folder = tmp_path / "place"
    write_three(folder, "old")
    _, steps = in_child(lambda: write_three(folder, "new"))
    left = []
    for n in range(1, steps + 1):
        write_three(folder, "old")
        assert in_child(lambda: write_three(folder, "new"), steps=n)[0] == -signal.SIGKILL
        texts = {p.read_text() for p in folder.rglob("*.txt")}
        assert texts <= {"old", "new"}
        go_on(folder)
        texts = {p.read_text() for p in folder.rglob("*.txt")}
        assert len(texts) == 1
        left += texts
    assert left == sorted(left, reverse=True) and 3 <= left.count("new") < steps - 5

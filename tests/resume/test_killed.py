"""Commands stopped or killed at any moment go on; files are those of an undisturbed run."""

from __future__ import annotations

import json
import re
import shlex
import signal
import subprocess
import sys
import time
from pathlib import Path

import numpy as np
import pytest
from rivers import RIVER, plain

from pva.cli import main
from pva.results.store import read_dataset

ASKED = ["--vary", "number=0 to 95 by 5", "--vary", "survival.adult.value=0.85,0.9,0.93"]
COMMAND = "import sys; from pva.results import chunks; chunks.SITE_YEARS = {}; " \
          "from pva.cli import main; main()"
SMALL = 40 * 22  # site-years of a chunk
MOST_SECONDS = 600  # the first of them may have to compile


@pytest.fixture
def scenario(tmp_path):
    """The river with twice as many replicates, as a file of a study."""
    written = RIVER | {"runs": {"draws": 20, "replicates": 100, "seed": 5}}
    path = tmp_path / "scenarios" / "river.yaml"
    path.parent.mkdir()
    path.write_text(json.dumps(written))  # JSON is YAML
    (tmp_path / "study.yaml").write_text("title: Small study\n")
    return path


def begin(arguments, folder: Path, chunk: int = SMALL) -> subprocess.Popen:
    return subprocess.Popen(
        [sys.executable, "-c", COMMAND.format(chunk), *arguments], cwd=folder, text=True,
        stdin=subprocess.DEVNULL, stdout=subprocess.PIPE, stderr=subprocess.PIPE,
        preexec_fn=lambda: signal.signal(signal.SIGINT, signal.default_int_handler))


def kept(folder: Path) -> int:
    return len(list((folder / "results" / "kept").glob("[!.]*.part")))


def stop_at(how: int, parts: int, process: subprocess.Popen, folder: Path, luck) -> str:
    """Send a signal once so many parts are kept and a moment of chance has passed."""
    until = time.monotonic() + MOST_SECONDS
    while kept(folder) < parts and process.poll() is None and time.monotonic() < until:
        time.sleep(0.002)
    time.sleep(float(luck.uniform(0, 0.05)))
    assert process.poll() is None, process.communicate()
    process.send_signal(how)
    error = process.communicate(timeout=MOST_SECONDS)[1]
    assert process.returncode == (130 if how == signal.SIGINT else -how), error
    return error


def whole(arguments, folder: Path, chunk: int = SMALL) -> str:
    process = begin(arguments, folder, chunk)
    _, error = process.communicate(timeout=MOST_SECONDS)
    assert process.returncode == 0, error
    return error


def stopped_killed_and_finished(arguments, folder, luck, firsts) -> None:
    error = stop_at(signal.SIGINT, firsts[0], begin(arguments, folder), folder, luck)
    said = re.search(r"\nStopped\. Finished parts are kept in results/kept: (\d+)(?: of (\d+))?\.\n"
                     r"To go on from there, type the same again: pva (.*)\n$", error)
    assert said, error
    # a part may have been kept and not yet counted
    assert firsts[0] - 1 <= int(said[1]) <= kept(folder) <= int(said[1]) + 1
    assert shlex.split(said[3]) == arguments
    for first in firsts[1:]:
        many = kept(folder)
        stop_at(signal.SIGKILL, max(first, many + 1), begin(arguments, folder), folder, luck)
        assert kept(folder) > many
    assert not list((folder / "results").glob("*.json")), "nothing unfinished is written"
    many = kept(folder)
    error = whole(arguments, folder)
    used = re.search(r"(\d+) of (\d+) parts were finished before and are used again", error)
    if arguments[0] == "stock":  # a search asks as it goes, and may ask again for the same
        assert int(used[1]) >= many and said[2] is None
    else:
        assert int(used[1]) == many and said[2] == used[2]


def test_explore_stopped_and_killed_and_typed_again(scenario, call_in, tmp_path):
    arguments = ["explore", "scenarios/river.yaml", *ASKED]
    stopped_killed_and_finished(arguments, tmp_path, np.random.default_rng(3), (3, 20))
    found = files_of(tmp_path / "results")
    undisturbed = tmp_path / "undisturbed"
    assert call_in(tmp_path, [*arguments, "--out", str(undisturbed)]).exit_code == 0
    assert found == files_of(undisturbed) and len(found) == 4
    assert plain(read_dataset(tmp_path / "results/river.explore.nc")) == plain(
        read_dataset(undisturbed / "river.explore.nc"))


@pytest.mark.slow
def test_run_stopped_and_killed_and_typed_again(scenario, tmp_path):
    arguments = ["run", "scenarios/river.yaml"]
    scenario.write_text(scenario.read_text().replace('"replicates": 100', '"replicates": 600'))
    stopped_killed_and_finished(arguments, tmp_path, np.random.default_rng(4), (5, 60, 130))
    found = read_dataset(tmp_path / "results/river.nc")
    whole([*arguments, "--out", "undisturbed", "--threads", "2"], tmp_path)
    assert plain(found) == plain(read_dataset(tmp_path / "undisturbed/river.nc"))


@pytest.mark.slow
def test_sensitivity_stopped_and_killed_and_typed_again(scenario, tmp_path):
    arguments = ["sensitivity", "scenarios/river.yaml"]
    stopped_killed_and_finished(arguments, tmp_path, np.random.default_rng(5), (1, 3, 5))
    found = files_of(tmp_path / "results")
    whole([*arguments, "--out", "undisturbed", "--threads", "2"], tmp_path)
    assert found == files_of(tmp_path / "undisturbed")


@pytest.mark.slow
def test_stock_stopped_and_killed_and_typed_again(scenario, tmp_path):
    arguments = ["stock", "scenarios/river.yaml", "--duty"]
    scenario.write_text(scenario.read_text().replace('"replicates": 100', '"replicates": 2000'))
    stopped_killed_and_finished(arguments, tmp_path, np.random.default_rng(7), (2, 4, 6))
    found = files_of(tmp_path / "results")
    whole([*arguments, "--out", "undisturbed", "--threads", "2"], tmp_path)
    assert found | {"stock.json": found["river.stock.json"]} == files_of(tmp_path / "undisturbed")


def test_a_seed_that_was_drawn_is_part_of_what_to_type(scenario, tmp_path):
    scenario.write_text(scenario.read_text().replace(', "seed": 5', ""))
    process = begin(["explore", "scenarios/river.yaml", "--start-over", *ASKED], tmp_path)
    error = stop_at(signal.SIGINT, 2, process, tmp_path, np.random.default_rng(6))
    typed = shlex.split(error.splitlines()[-1].partition(": pva ")[2])
    assert typed[:-2] == ["explore", "scenarios/river.yaml", *ASKED]
    assert typed[-2] == "--seed" and 0 <= int(typed[-1]) < 2**32


def files_of(folder: Path) -> dict[str, bytes]:
    """Every file but data sets, which hold a date."""
    return {f.name: f.read_bytes() for f in sorted(folder.iterdir())
            if f.is_file() and f.suffix != ".nc"}


@pytest.fixture
def call_in(monkeypatch):
    """Call the command line in a folder."""
    from click.testing import CliRunner

    def call(folder, arguments):
        monkeypatch.chdir(folder)
        return CliRunner().invoke(main, arguments)
    return call


def test_start_over_throws_kept_parts_away(scenario, call_in, tmp_path):
    arguments = ["explore", "scenarios/river.yaml", "--vary", "number=0,50"]
    assert "finished before" not in call_in(tmp_path, arguments).stderr
    assert kept(tmp_path) == 2
    again = call_in(tmp_path, arguments)
    assert ("2 of 2 parts were finished before and are used again (results/kept; --start-over "
            "computes them anew).\n") in again.stderr
    anew = call_in(tmp_path, [*arguments, "--start-over"])
    assert "Thrown away: 2 finished parts in results/kept.\n" in anew.stderr
    assert "finished before" not in anew.stderr and kept(tmp_path) == 2
    assert anew.stdout == again.stdout


def test_a_damaged_part_is_told(scenario, call_in, tmp_path):
    arguments = ["explore", "scenarios/river.yaml", "--vary", "number=0,50"]
    first = call_in(tmp_path, arguments)
    next((tmp_path / "results/kept").iterdir()).write_bytes(b"pva part 1\n")
    again = call_in(tmp_path, arguments)
    assert "1 of 2 parts were finished before" in again.stderr
    assert "Kept parts that were damaged and computed again: 1.\n" in again.stderr
    assert again.stdout == first.stdout


def test_nothing_is_kept_of_a_small_run(scenario, call_in, tmp_path):
    assert call_in(tmp_path, ["run", "scenarios/river.yaml"]).exit_code == 0
    assert not (tmp_path / "results/kept").exists()



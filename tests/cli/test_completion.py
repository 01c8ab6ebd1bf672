"""Completion, asked as a shell asks: by the variable that the printed script sets."""

from __future__ import annotations

import os
import shutil
import subprocess
import sys

import pytest

from pva.cli import main
from pva.cli.completing import SHELLS, VARIABLE, nearby

PVA = [sys.executable, "-c", "from pva.cli import main; main(prog_name='pva')"]


@pytest.fixture
def place(tmp_path):
    """A folder with a study, a scenario of its own and things that are neither."""
    for name in ("mine/study.yaml", "mine/scenarios/base.yaml", "mine/scenarios/late.yaml",
                 "mine/estimates/estimates.yaml", "mine/notes.txt", "alone.yaml", ".old/x.yaml"):
        (tmp_path / name).parent.mkdir(parents=True, exist_ok=True)
        (tmp_path / name).write_text("title: x\n", encoding="utf-8")
    return tmp_path


def asked(place, shell, words, typed):
    """What the command answers a shell; fish sends the word being typed itself."""
    at = typed if shell == "fish" else str(len(words.split()))
    said = subprocess.run(PVA, cwd=place, capture_output=True, text=True, check=True, env={
        **os.environ, VARIABLE: f"{shell}_complete", "COMP_CWORD": at,
        "COMP_WORDS": f"{words} {typed}".strip()})
    lines = said.stdout.splitlines()
    if shell == "zsh":  # kind, word and help in turn
        return [line for kind, line in zip(lines[::3], lines[1::3], strict=True)
                if kind == "plain"]
    return [line.split(",", 1)[1].split("\t")[0] for line in lines if line.startswith("plain,")]


@pytest.mark.parametrize("shell", SHELLS)
def test_commands_are_completed(place, shell):
    assert asked(place, shell, "pva", "sto") == ["stock"]
    assert asked(place, shell, "pva", "") == list(main.commands)


def test_options_and_choices_are_completed(place):
    assert asked(place, "bash", "pva stock", "--thr") == ["--threads"]
    assert asked(place, "bash", "pva new x --for", "re") == ["reviewer", "researcher"]


@pytest.mark.parametrize("shell", SHELLS)
def test_scenarios_are_completed_and_nothing_else(place, shell):
    assert asked(place, shell, "pva stock", "mine/sc") == [
        "mine/scenarios/base.yaml", "mine/scenarios/late.yaml"]
    assert asked(place, shell, "pva run", "a") == ["alone.yaml"]


def test_studies_are_completed(place):
    assert asked(place, "bash", "pva report", "mi") == ["mine"]


def test_what_is_nearby(place, monkeypatch):
    monkeypatch.chdir(place)
    assert nearby("", "scenario") == ["alone.yaml", "mine/scenarios/base.yaml",
                                      "mine/scenarios/late.yaml"]
    assert nearby("nothing/", "scenario") == [] == nearby("x", "study")


@pytest.mark.parametrize("shell", SHELLS)
def test_the_script_is_printed(call, shell):
    said = call("completion", shell)
    assert said.exit_code == 0 and f"{VARIABLE}={shell}_complete" in said.stdout


@pytest.mark.skipif(shutil.which("bash") is None, reason="no bash here")
def test_bash_reads_the_script_and_completes(place, call):
    script = place / "pva.bash"
    script.write_text(call("completion", "bash").stdout, encoding="utf-8")
    command = place / "bin" / "pva"
    command.parent.mkdir()
    command.write_text(f'#!/bin/sh\nexec "{sys.executable}" -c "from pva.cli import main; '
                       "main(prog_name='pva')\" \"$@\"\n", encoding="utf-8")
    command.chmod(0o755)
    asks = (f". '{script}'; COMP_WORDS=(pva run alo); COMP_CWORD=2; _pva_completion pva; "
            'echo "${COMPREPLY[@]}"')
    said = subprocess.run(["bash", "-c", asks], cwd=place, capture_output=True, text=True,
                          env={**os.environ, "PATH": f"{command.parent}:{os.environ['PATH']}"})
    assert said.stdout.strip() == "alone.yaml", said.stderr


def test_another_shell_is_refused(call):
    said = call("completion", "tcsh")
    assert said.exit_code == 2 and "'tcsh' is not one of 'bash', 'zsh', 'fish'" in said.stderr

"""Runs the lines of a page's `sh` blocks as a reader types them, and says which never run."""

from __future__ import annotations

import contextlib
import io
import runpy
import shlex
import sys
from pathlib import Path

from click.testing import CliRunner
from page_blocks import CodeBlock

from pva.cli import main

# lines that no test of the pages runs, with the reason; every other line runs somewhere
NEVER_RUN = {
    "python3 -m venv": "installs; .ci/run runs the two that use a network, word for word",
    "python3 -m pip wheel": "gathers packages from a network; test_docs compares the words only",
}
# blocks of `powershell` never run: no test has Windows, and the README says so


def terminal_lines(block: CodeBlock) -> list[str]:
    """Lines of a block that a reader types."""
    if block.language != "sh":
        return []
    return [line for line in block.text.splitlines() if line.strip() and line[0] != "#"]


def run_line(line: str, where: str) -> str:
    """Run a line in the current folder; it must end well and say something.

    Returns
    -------
    str
        What it printed.
    """
    words = shlex.split(line)
    if words[0] == "pva":
        done = CliRunner().invoke(main, words[1:])
        code, said = done.exit_code, done.output
    elif words[0] == "python" and words[1].endswith(".py"):
        code, said = _script(words[1:])
    else:
        raise AssertionError(f"{where}: nobody runs `{line}`")
    assert code == 0, f"{where}: {line}\n{said}"
    assert said.strip(), f"{where}: {line} says nothing"
    return said


def _script(words: list[str]) -> tuple[int, str]:
    said, old, code = io.StringIO(), (sys.argv, sys.path, set(sys.modules)), 0
    beside = str(Path(words[0]).resolve().parent)
    sys.argv, sys.path = words, [beside, *sys.path]
    try:
        with contextlib.redirect_stdout(said), contextlib.redirect_stderr(said):
            runpy.run_path(str(Path(words[0])), run_name="__main__")
    except SystemExit as end:
        code = end.code or 0
    finally:
        sys.argv, sys.path = old[:2]
        for name in set(sys.modules) - old[2]:  # the script's neighbours, not what they import
            if str(getattr(sys.modules[name], "__file__", None)).startswith(beside):
                del sys.modules[name]
    return code, said.getvalue()

"""Bytes of any kind, guided by the code they reach, at every reader: 6 seconds each, 30 in all."""

from __future__ import annotations

import re
import subprocess
import sys
from pathlib import Path

import pytest

TOP = Path(__file__).parents[2]
SECONDS = 6
BEGUN_WITH = {  # what the search begins with, and the fewest inputs that must be tried
    "scenario": (["scenarios/three-stage-branching.yaml", "scenarios/questions/river.yaml"], 50),
    "document": (["scenarios/three-stage-branching.yaml", "scenarios/hesperwell/study.yaml"], 100),
    "table": (["scenarios/hesperwell/field/visits.csv"], 500),
    "log": (["scenarios/hesperwell/field/hosts.csv"], 500),
    "tag": ([], 2000),
}


@pytest.mark.slow
@pytest.mark.parametrize("reader", BEGUN_WITH)
def test_readers_take_any_bytes(reader, tmp_path):
    pytest.importorskip("atheris", reason="no atheris for this system: pip install .[test]")
    files, fewest = BEGUN_WITH[reader]
    for name in files:
        (tmp_path / Path(name).name).write_bytes((TOP / name).read_bytes()[:4000])
    for i, text in enumerate((b"982000411223344", b"982.000411223344", b"3D6.00184B1D2A\n",
                              b"a;b\r\n\"1,5\";2\r\n", b"{a: [1, .nan, *b]}")):
        (tmp_path / f"{i}.txt").write_bytes(text)
    ended = subprocess.run(
        [sys.executable, str(Path(__file__).with_name("readers.py")), reader, str(SECONDS),
         str(tmp_path)], cwd=TOP, capture_output=True, text=True, timeout=300, check=False)
    told = re.findall(r"tried (\d+)", ended.stdout)
    assert ended.returncode == 0, ended.stderr[-3000:]
    assert told and int(told[-1]) >= fewest, ended.stderr[-3000:]

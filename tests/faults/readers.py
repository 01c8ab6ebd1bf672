"""Bytes of any kind to every reader, guided by what they reach; run by test_readers.py.

Usage: python readers.py READER SECONDS FOLDER. Prints how many inputs were tried.
"""

from __future__ import annotations

import atexit
import os
import sys
import tempfile
import time
from pathlib import Path

import atheris

with atheris.instrument_imports(include=["pva.files", "pva.field", "pva.scenario"]):
    from pva.errors import PvaError
    from pva.field.tags import read_tag
    from pva.files.tables import read_table
    from pva.files.yaml_reading import read_yaml
    from pva.scenario.scenario import read_scenario

_FOLDER = Path(tempfile.mkdtemp())
_TRIED = [0]


def _file(name: str, content: bytes) -> Path:
    path = _FOLDER / name
    path.write_bytes(content)
    return path


def scenario(content: bytes) -> None:
    read_scenario(_file("a.yaml", content))


def document(content: bytes) -> None:
    read_yaml(_file("a.yaml", content))


def table(content: bytes) -> None:
    read_table(_file("a.csv", content), wanted=["tag", "date", "site"])


def log(content: bytes) -> None:
    read_table(_file("a.txt", content), delimiter=("space", None, "tab")[len(content) % 3],
               header_row=0)


def tag(content: bytes) -> None:
    read_tag(content.decode("utf-8", "replace"))


READERS = {one.__name__: one for one in (scenario, document, table, log, tag)}


def main() -> None:
    reader, ends = READERS[sys.argv[1]], time.monotonic() + float(sys.argv[2])

    def one(content: bytes) -> None:
        _TRIED[0] += 1
        try:
            reader(content)
        except PvaError as error:
            assert error.problems and all(p.what and p.todo for p in error.problems)
        if time.monotonic() > ends:
            print(f"tried {_TRIED[0]}", flush=True)
            os._exit(0)

    atexit.register(lambda: print(f"tried {_TRIED[0]}", flush=True))
    atheris.Setup([sys.argv[0], sys.argv[3], "-max_len=4000", "-timeout=20", "-seed=1",
                   "-rss_limit_mb=4000", f"-artifact_prefix={sys.argv[3]}/"], one)
    atheris.Fuzz()


if __name__ == "__main__":
    main()

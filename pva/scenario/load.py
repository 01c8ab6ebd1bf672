"""Read a scenario file and the files it extends, down to one written document."""

from __future__ import annotations

import os
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from pva.errors import FormError, Problem
from pva.files import read_yaml
from pva.files.yaml_kinds import SCENARIO, refuse_another_kind
from pva.scenario.merging import merge
from pva.scenario.places import Problems, WrittenMap, with_places

MOST_FILES = 20


@dataclass(frozen=True)
class Written:
    """A scenario as written, `extends` followed.

    Parameters
    ----------
    data : WrittenMap
        The merged document, without `extends`; `estimates` as a path that can be opened.
    chain : tuple of WrittenMap
        Merged documents from the root file of the chain on; the last is `data`.
    files : tuple of Path
        Every file read, root first.
    """

    data: WrittenMap
    chain: tuple[WrittenMap, ...]
    files: tuple[Path, ...] = field(default=())


def read_written(path: str | os.PathLike) -> Written:
    """Read a scenario file with everything it extends.

    Parameters
    ----------
    path : path
        A YAML file.

    Returns
    -------
    Written

    Raises
    ------
    FormError
        If a file is missing, is no YAML, or `extends` runs in a circle.
    """
    documents, files = _read_chain(Path(path))
    return _merged(documents, files)


def take_written(document: dict, *, base_folder: str | os.PathLike = ".") -> Written:
    """Take a scenario from plain data; paths in it are looked up from `base_folder`."""
    if not isinstance(document, dict):
        raise FormError(
            Problem("a scenario must be a mapping of keys", "Pass a dict.", code="not-a-mapping")
        )
    try:
        data = with_places(document)
    except RecursionError:
        raise FormError(Problem("the scenario is nested too deeply", "Write it with fewer levels.",
                                code="too-deep")) from None
    folder = Path(base_folder)
    documents, files = [], []
    parent = data.pop("extends", None)
    if parent is not None:
        documents, files = _read_chain(_parent_path(parent, folder, data))
    _open_paths(data, folder)
    return _merged([*documents, data], files)


def _merged(documents: list[WrittenMap], files: list[Path]) -> Written:
    chain = [documents[0]]
    for document in documents[1:]:
        chain.append(merge(chain[-1], document))
    return Written(chain[-1], tuple(chain), tuple(files))


def _read_chain(path: Path) -> tuple[list[WrittenMap], list[Path]]:
    """Documents from the root of the `extends` chain to the file itself."""
    documents: list[WrittenMap] = []
    files: list[Path] = []
    following: Path | None = path
    asked_by: tuple[WrittenMap, Any] | None = None
    while following is not None:
        _refuse_circle(following, files, asked_by)
        data = _read_one(following, asked_by)
        files.insert(0, following)
        documents.insert(0, data)
        parent = data.get("extends")
        asked_by = (data, parent)
        following = None
        if parent is not None:
            following = _parent_path(parent, files[0].parent, data)
        _open_paths(data, files[0].parent)
    for data in documents:
        data.pop("extends", None)
    return documents, files


def _read_one(path: Path, asked_by: tuple | None) -> WrittenMap:
    if asked_by is not None and not path.is_file():
        problems = Problems(asked_by[0])
        problems.add(
            ("extends",), f"{{key}} names `{asked_by[1]}`, and there is no such file",
            "Write the path from the folder of this file.", code="extends-missing",
        )
        raise FormError(problems.found)
    data, positions = read_yaml(path)
    refuse_another_kind(path, data, SCENARIO)
    return with_places(data, positions)


def _parent_path(parent: Any, folder: Path, data: WrittenMap) -> Path:
    if isinstance(parent, str) and parent.strip() and "\0" not in parent:
        return folder / parent.strip()
    problems = Problems(data)
    problems.add(("extends",), "{key} must be the path of a scenario file",
                 "Write it as text, such as base.yaml.", code="wrong-form")
    raise FormError(problems.found)


def _refuse_circle(path: Path, files: list[Path], asked_by: tuple | None) -> None:
    seen = [f.resolve() for f in files]
    if path.resolve() not in seen and len(files) < MOST_FILES:
        return
    names = " -> ".join(f.name for f in [*reversed(files), path])
    problems = Problems(asked_by[0] if asked_by else {})
    problems.add(
        ("extends",), f"`extends` runs in a circle: {names}" if path.resolve() in seen
        else f"`extends` runs through more than {MOST_FILES} files",
        "Let one of the files stand alone.", code="extends-circle",
    )
    raise FormError(problems.found)


def _open_paths(data: WrittenMap, folder: Path) -> None:
    """Turn paths written from the folder of their own file into paths that can be opened."""
    written = data.get("estimates")
    if isinstance(written, str) and written.strip():
        data["estimates"] = str(folder / written.strip())

"""The demo study on disk: copied once, and never over anything that a person has changed."""

from __future__ import annotations

import json
from pathlib import Path

from pva.errors import FormError, Problem
from pva.files import digest, shipped, whole_folder, write_bytes_atomic, write_text_atomic

MANIFEST = ".pva-demo.json"
WATCHED = ("estimates/estimates.yaml",)  # made by the demo, but meant to be edited by hand
_MADE = ("estimates", "results", "report.html", "figures", "__pycache__", MANIFEST)
_MOST_NAMED = 8


def copy_demo(folder: Path) -> None:
    """Copy the demo study into a folder that is missing, empty, or holds it unchanged.

    Raises
    ------
    FormError
        The folder holds something else, or a study that was changed since it was copied.
    """
    source = shipped("scenarios/hesperwell")
    fresh = digests(source)
    if not folder.exists() or not any(folder.iterdir()):
        _copy(source, folder, fresh)
        return
    known = _manifest(folder)
    if known is None:
        known = fresh
        if not (folder / "study.yaml").is_file():
            raise FormError(_refused(folder, ["it holds other files and no demo study"]))
    new = {n: d for n, d in fresh.items() if n not in known and (folder / n).exists()}
    differing = differences(folder, known | new)
    if differing:
        raise FormError(_refused(folder, differing))
    for name, expected in fresh.items():
        if known.get(name) != expected:  # another version of the package
            _copy_one(source / name, folder / name)
    remember(folder)


def remember(folder: Path) -> None:
    """Write down what the untouched study holds now, so that a change is seen next time."""
    names = [*digests(shipped("scenarios/hesperwell")), *WATCHED]
    known = {n: digest(folder / n) for n in names if (folder / n).is_file()}
    write_text_atomic(folder / MANIFEST, json.dumps({"files": known}, indent=1) + "\n")


def digests(folder: Path) -> dict[str, str]:
    """SHA-256 of every file of the study that the demo did not make itself, by relative name."""
    names = (f.relative_to(folder) for f in sorted(folder.rglob("*")) if f.is_file())
    return {n.as_posix(): digest(folder / n) for n in names
            if not any(part in _MADE for part in n.parts)}


def differences(folder: Path, known: dict[str, str]) -> list[str]:
    """What differs from the digests known, in words."""
    found = []
    for name, expected in known.items():
        path = folder / name
        if not path.is_file():
            found.append(f"{name} is missing")
        elif digest(path) != expected:
            found.append(f"{name} was changed")
    return found


def _refused(folder: Path, differing: list[str]) -> Problem:
    named = "; ".join(differing[:_MOST_NAMED])
    if len(differing) > _MOST_NAMED:
        named += f"; and {len(differing) - _MOST_NAMED} more"
    return Problem(f"the folder is no untouched demo study: {named}",
                   "Name another folder (pva demo DIR), or move this one away.",
                   done="Nothing was overwritten.", file=str(folder), code="demo-changed")


def _manifest(folder: Path) -> dict[str, str] | None:
    try:
        written = json.loads((folder / MANIFEST).read_text(encoding="utf-8"))
        return {str(k): str(v) for k, v in written["files"].items()}
    except (OSError, ValueError, KeyError, AttributeError, TypeError):
        return None


def _copy(source: Path, folder: Path, fresh: dict[str, str]) -> None:
    """Copy beside the folder first, so that an interrupted copy leaves no half study."""
    with whole_folder(folder) as beside:
        for name in fresh:
            _copy_one(source / name, beside / name)
        remember(beside)


def _copy_one(source: Path, target: Path) -> None:
    write_bytes_atomic(target, source.read_bytes())

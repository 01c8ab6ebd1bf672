"""Where the files of an answer go."""

from __future__ import annotations

import os
from pathlib import Path

import pva

STUDY_FILE = "study.yaml"
_PACKAGE = Path(pva.__file__).resolve().parent


def study_of(scenario: Path) -> Path | None:
    """Folder of the study that a scenario belongs to, if any."""
    folder = Path(os.path.abspath(scenario)).parent
    for one in (folder, folder.parent):
        if (one / STUDY_FILE).is_file():
            return one
    return None


def results_folder(scenario: Path, out: Path | None) -> Path:
    """Folder for the answers of a scenario.

    --out if given; else ``results`` of its study; else ``results`` beside it. What travels with the
    package is left as it is: then ``results`` in the current folder.
    """
    if out is not None:
        return out
    folder = study_of(scenario) or Path(os.path.abspath(scenario)).parent
    if travels_with_package(folder):
        return Path("results")
    return _short(folder / "results")


def estimates_folder(study: Path, out: Path | None) -> Path:
    """Folder for the estimates of a study: --out, else ``estimates`` in it."""
    if out is not None:
        return out
    return Path("estimates") if _inside(study, _PACKAGE) else study / "estimates"


def travels_with_package(folder: Path) -> bool:
    """Whether a folder is part of the installed package, or of ``scenarios`` in a checkout.

    A study copied out of the package, or worked on in a checkout, is not.
    """
    if _inside(folder, _PACKAGE):
        return True
    alone = not (folder / STUDY_FILE).is_file()
    return alone and _inside(folder, _PACKAGE.parent / "scenarios")


def _inside(folder: Path, top: Path) -> bool:
    return Path(folder).resolve().is_relative_to(top)


def _short(path: Path) -> Path:
    """The path from the current folder where that is shorter."""
    try:
        near = path.relative_to(Path.cwd())
    except ValueError:
        return path
    return near

"""Files as a reader types them behind a command, in the folder that holds the study."""

from __future__ import annotations

import os
from pathlib import Path

from pva.report.material import Material


def study_folder(study) -> str:
    """The folder of a study; STUDY where there is none."""
    return "STUDY" if study is None else _quoted(study.folder.resolve().name)


def scenario_file(material: Material) -> str:
    """The main scenario's file; SCENARIO where it was made from data or no study is known."""
    scenario, study = material.scenario, material.study
    if scenario is None or scenario.path is None or study is None:
        return "SCENARIO"
    return file_of(study, scenario.path)


def file_of(study, path: Path) -> str:
    """A file of a study."""
    file = os.path.relpath(path.resolve(), study.folder.resolve().parent)
    return _quoted(file.replace(os.sep, "/"))


def _quoted(text: str) -> str:
    """A name that a shell takes as one word."""
    return f'"{text}"' if any(c.isspace() or c in "&;()'" for c in text) else text

"""Files as a reader types them behind a command, in the folder that holds the study."""

from __future__ import annotations

import os

from pva.report.material import Material


def study_folder(study) -> str:
    """The folder of a study; STUDY where there is none."""
    return "STUDY" if study is None else quoted(study.folder.resolve().name)


def scenario_file(material: Material) -> str:
    """The main scenario's file; SCENARIO where it was made from data or no study is known."""
    scenario, study = material.scenario, material.study
    if scenario is None or scenario.path is None or study is None:
        return "SCENARIO"
    file = os.path.relpath(scenario.path.resolve(), study.folder.resolve().parent)
    return quoted(file.replace(os.sep, "/"))


def quoted(text: str) -> str:
    """A name that a shell takes as one word."""
    return f'"{text}"' if any(c.isspace() or c in "&;()'" for c in text) else text

"""A scenario read from a form, as the YAML that a person would write."""

from __future__ import annotations

import os
from pathlib import Path

from pva.scenario.scenario import Scenario
from pva.scenario.spec import ScenarioSpec
from pva.scenario.twin_yaml import yaml_text
from pva.scenario.workbook_parts import as_written


def scenario_text(scenario: Scenario, folder: Path, head: str = "") -> str:
    """YAML of what is written in a scenario, keys in the order of the reference.

    Parameters
    ----------
    scenario : Scenario
    folder : Path
        Folder that the file is meant for; `estimates` is written as seen from there.
    head : str
        Comment for the first line.
    """
    data = as_written(scenario.written)
    if data.get("estimates"):
        data["estimates"] = Path(os.path.relpath(data["estimates"], folder)).as_posix()
    order = [info.alias or name for name, info in ScenarioSpec.model_fields.items()]
    ordered = {key: data[key] for key in order if key in data}
    return yaml_text(ordered, ordered, head=head)

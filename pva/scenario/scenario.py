"""A scenario as people hold it in their hands: read, changed, shown."""

from __future__ import annotations

import os
from dataclasses import dataclass
from pathlib import Path

from pva.scenario.load import read_written, take_written
from pva.scenario.resolve import resolve
from pva.scenario.resolved import Resolved


@dataclass(frozen=True)
class Scenario:
    """A scenario, read and resolved."""

    resolved: Resolved
    path: Path | None = None

    @classmethod
    def from_dict(cls, written: dict, *, base_folder: str | os.PathLike = ".") -> Scenario:
        """A scenario from plain data; paths in it are looked up from `base_folder`."""
        return cls(resolve(take_written(written, base_folder=base_folder)))


def read_scenario(path: str | os.PathLike) -> Scenario:
    """Read and resolve a scenario file."""
    return Scenario(resolve(read_written(path)), Path(path))

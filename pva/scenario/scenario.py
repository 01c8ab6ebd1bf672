"""A scenario as people hold it in their hands: read, changed, shown."""

from __future__ import annotations

import hashlib
import json
import os
from collections.abc import Mapping
from functools import cached_property
from pathlib import Path
from typing import Any

from pva.files import digest as file_digest
from pva.files import read_yaml
from pva.scenario.changes import KeyPath, changed
from pva.scenario.load import Written, read_written, take_written
from pva.scenario.places import WrittenMap, plain
from pva.scenario.resolve import resolve
from pva.scenario.resolved import CalibrationBase, Resolved
from pva.scenario.tables import assumptions_of, parameters_of
from pva.scenario.twin import twin_of
from pva.scenario.twin_yaml import yaml_text


class Scenario:
    """A scenario, read and resolved; never changed, only copied with changes.

    Parameters
    ----------
    written : Written
        The document with `extends` followed.
    path : Path or None
        File it was read from.
    base : CalibrationBase or None
        Where calibrations are solved; None = the root of the `extends` chain.
    """

    def __init__(
        self, written: Written, *, path: Path | None = None, base: CalibrationBase | None = None
    ):
        self._written = written
        self._path = path
        self._resolved = resolve(written, base=base)

    def __repr__(self) -> str:
        return f"Scenario({self.resolved.title!r}, digest {self.digest[:12]})"

    @classmethod
    def from_dict(cls, written: dict, *, base_folder: str | os.PathLike = ".") -> Scenario:
        """A scenario from plain data.

        Parameters
        ----------
        written : dict
            The keys of a scenario file.
        base_folder : path
            Where `extends` and `estimates` are looked up from.

        Raises
        ------
        FormError, MeaningError
            With all problems of the pass.
        """
        return cls(take_written(written, base_folder=base_folder))

    @property
    def path(self) -> Path | None:
        """The file it was read from; None if it was made from data."""
        return self._path

    @property
    def resolved(self) -> Resolved:
        """The scenario with nothing implied."""
        return self._resolved

    @property
    def written(self) -> dict[str, Any]:
        """The written document as plain data, `extends` followed; a copy."""
        return plain(self._written.data)

    @property
    def extends(self) -> bool:
        """Whether the file extends another one."""
        return len(self._written.chain) > 1

    @property
    def written_places(self) -> WrittenMap:
        """The written document with file and line of every key; not to be changed."""
        return self._written.data

    @property
    def warnings(self) -> tuple[str, ...]:
        """What is allowed but likely to mislead."""
        return self._resolved.warnings

    @cached_property
    def digest(self) -> str:
        """SHA-256 of the resolved twin without warnings; file names and comments do not count."""
        twin = {k: v for k, v in self.twin().items() if k != "warnings"}
        text = json.dumps(twin, sort_keys=True, ensure_ascii=False)
        return hashlib.sha256(text.encode("utf-8")).hexdigest()

    @cached_property
    def input_digests(self) -> dict[str, str]:
        """SHA-256 of every file read, by file name."""
        files = list(self._written.files)
        estimates = self._written.data.get("estimates")
        if estimates is not None:
            joint = read_yaml(estimates)[0].get("covariance")
            files += [Path(estimates)] + ([Path(estimates).parent / str(joint)] if joint else [])
        return {f.name: file_digest(f) for f in files if f.is_file()}

    def with_changes(self, changes: Mapping[KeyPath, Any]) -> Scenario:
        """A copy with some keys changed, as an extending file would change them.

        Calibrations stay where they were solved, so that a changed survival or host shows its
        effect.

        Parameters
        ----------
        changes : mapping of path to value
            ``{"releases.subadults.number": 500, "survival.adult.value": 0.93}``; paths as dotted
            text or as sequences of keys, rows of lists by name.

        Returns
        -------
        Scenario

        Raises
        ------
        FormError, MeaningError
            If the changed scenario is not one.
        """
        data = changed(self._written.data, changes)
        chain = (*self._written.chain[:-1], data)
        written = Written(data, chain, self._written.files)
        return Scenario(written, path=self._path, base=self._resolved.base)

    def twin(self) -> dict[str, Any]:
        """The resolved scenario in the written form; reading it gives the same scenario."""
        return twin_of(self._resolved)

    def twin_yaml(self) -> str:
        """The twin as YAML, with every default marked."""
        head = "Resolved scenario: every default and every source. `# default` = nobody wrote it."
        return yaml_text(self.twin(), self._written.data, head=head)

    def parameters(self) -> list[dict[str, Any]]:
        """Table of rates: name, value, doubt, years, source; see `pva.scenario.tables`."""
        return parameters_of(self._resolved)

    def assumptions(self) -> list[str]:
        """What the scenario assumes, one sentence each, in the order of the life cycle."""
        return assumptions_of(self._resolved)


def read_scenario(path: str | os.PathLike) -> Scenario:
    """Read and resolve a scenario file.

    Parameters
    ----------
    path : path
        A YAML file; files named by `extends` and `estimates` are read from its folder.

    Returns
    -------
    Scenario

    Raises
    ------
    FormError
        With every problem of form: syntax, unknown keys, types, missing keys.
    MeaningError
        With every problem of meaning: names, ranges, contradictions.
    """
    return Scenario(read_written(path), path=Path(path))

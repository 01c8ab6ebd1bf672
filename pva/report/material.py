"""What a page is made from: whatever is at hand of records, estimates, runs and decisions."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from functools import cached_property
from typing import Any

import xarray as xr

from pva.report.estimate_rows import summary_of_file
from pva.results.growth import LongRun, long_run
from pva.results.summary import run_summary
from pva.results.weights import rate_weights
from pva.scenario.scenario import Scenario


@dataclass(frozen=True)
class RunOf:
    """A scenario with the data set of its run."""

    scenario: Scenario
    data: xr.Dataset

    @cached_property
    def summary(self) -> dict:
        """As `pva.results.summary.run_summary` gives it."""
        return run_summary(self.data)

    @property
    def title(self) -> str:
        return self.scenario.resolved.title

    @property
    def replicates(self) -> int:
        """Replicates in all."""
        return int(self.data.attrs["draws"]) * int(self.data.attrs["replicates"])

    @property
    def independent(self) -> int:
        """Independent runs: replicates in all, or draws where they differ."""
        return int(self.data.attrs["independent_runs"])


@dataclass(frozen=True)
class StockOf:
    """A scenario with its answer to how many to stock, as plain data."""

    scenario: Scenario
    answer: Mapping[str, Any]

    @property
    def title(self) -> str:
        return self.scenario.resolved.title


@dataclass(frozen=True)
class Material:
    """Everything a page may draw on; what is missing is said on the page, never guessed.

    Parameters
    ----------
    study : pva.field.study.Study or None
    records : pva.field.records.FieldRecords or None
    estimates : Mapping or None
        Summary of the estimates as plain data (keys of the design's estimate summary).
    pictures : Mapping
        Tables behind the estimate figures, by name.
    runs : tuple of RunOf
        The main scenario first.
    stock : tuple of StockOf
    comparison : Mapping or None
        As `Comparison.summary()` gives it.
    sensitivity : Mapping or None
        As `SensitivityAnswer.summary()` gives it, for the main scenario.
    grid : xarray.Dataset or None
        From `pva.decide.explore.explore`, over the main scenario.
    donor : Mapping or None
        As `DonorAnswer.summary()` gives it.
    targets : Mapping or None
        As `TargetCurves.summary()` gives it, for the main scenario.
    data_check : Mapping or None
        As `DataCheck.summary()` gives it, for a scenario that tells the past.
    left_out : Mapping
        Why an answer that is at hand is not shown, by the command that
        gave it.
    commands : tuple of str
        Command lines that make the page again.
    """

    study: Any = None
    records: Any = None
    estimates: Mapping[str, Any] | None = None
    pictures: Mapping[str, Any] | None = None
    runs: tuple[RunOf, ...] = ()
    stock: tuple[StockOf, ...] = ()
    comparison: Mapping[str, Any] | None = None
    sensitivity: Mapping[str, Any] | None = None
    grid: xr.Dataset | None = None
    donor: Mapping[str, Any] | None = None
    targets: Mapping[str, Any] | None = None
    data_check: Mapping[str, Any] | None = None
    left_out: Mapping[str, str] = field(default_factory=dict)
    commands: tuple[str, ...] = ()

    @property
    def main(self) -> RunOf | None:
        """Run of the main scenario."""
        return self.runs[0] if self.runs else None

    @property
    def scenario(self) -> Scenario | None:
        """The main scenario."""
        if self.runs:
            return self.runs[0].scenario
        return self.stock[0].scenario if self.stock else None

    @property
    def answer(self) -> Mapping[str, Any] | None:
        """Stocking answer of the main scenario."""
        if self.scenario is None:
            return None
        return next((s.answer for s in self.stock if s.scenario is self.scenario
                     or s.scenario.digest == self.scenario.digest), None)

    @cached_property
    def companion(self) -> LongRun | None:
        """Long-run analysis of the main scenario."""
        return None if self.scenario is None else long_run(self.scenario.resolved)

    @cached_property
    def leading(self) -> list[dict]:
        """Uncertain numbers by how strongly the outcome follows them over draws.

        Returns
        -------
        list of dict
            ``name`` (key), ``pull`` (rank correlation with the chance of every goal, or with
            adults where no goal varies), ``clear`` (told from chance), ``source_kind``;
            strongest first.
        """
        if self.main is None or "parameter" not in self.main.data.dims:
            return []
        kinds = {r["name"]: r["source_kind"] for r in self.scenario.parameters()}
        rows = []
        for row in self.main.summary["depends_on"]:
            pull = row["goals"] if row["goals"] is not None else row["adults"]
            if pull is not None:
                rows.append({"name": row["parameter"], "pull": pull, "clear": row["clear"],
                             "source_kind": kinds.get(row["parameter"], "")})
        return rows

    @cached_property
    def weights(self) -> list[dict]:
        """Rates by how much what we do not know about them moves the long-run growth rate.

        Returns
        -------
        list of dict
            ``name``, ``value``, ``elasticity``, ``spread`` (SD over value, or None where nothing
            is said about it) and ``weight`` = size of elasticity times spread; heaviest first.
        """
        return rate_weights(self.scenario.resolved, self.companion) if self.scenario else []


def as_plain(thing) -> Mapping[str, Any] | None:
    """Plain data of an answer: itself, or what its `summary` gives."""
    if thing is None or isinstance(thing, Mapping):
        return thing
    summary = getattr(thing, "summary", None)
    if summary is None and hasattr(thing, "rates"):
        return summary_of_file(thing)
    return summary() if callable(summary) else summary


def gather(*, study=None, records=None, estimates=None, pictures=None,
           runs: Sequence = (), stock: Sequence = (), comparison=None, sensitivity=None,
           grid: xr.Dataset | None = None, donor=None, targets=None, data_check=None,
           left_out: Mapping[str, str] | None = None,
           commands: Sequence[str] = ()) -> Material:
    """Material from what a caller has: pairs of scenario and data set or answer.

    Parameters
    ----------
    estimates, comparison, sensitivity, donor, targets, data_check : object or None
        Plain data, or anything with a `summary()`.
    runs : sequence of (Scenario, xarray.Dataset)
        The main scenario first.
    stock : sequence of (Scenario, StockAnswer or dict)
    """
    return Material(
        study=study, records=records, estimates=as_plain(estimates),
        pictures=pictures or getattr(estimates, "tables", None) or {},
        runs=tuple(RunOf(s, d) for s, d in runs),
        stock=tuple(StockOf(s, as_plain(a)) for s, a in stock),
        comparison=as_plain(comparison), sensitivity=as_plain(sensitivity), grid=grid,
        donor=as_plain(donor), targets=as_plain(targets),
        data_check=as_plain(data_check), left_out=left_out or {},
        commands=tuple(commands))

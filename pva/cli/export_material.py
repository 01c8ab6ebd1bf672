"""What an export is made from: answers at hand that still fit their question; nothing is run."""

from __future__ import annotations

import os
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from tempfile import TemporaryDirectory

from pva.cli.places import STUDY_FILE, results_folder, travels_with_package
from pva.cli.terminal import Terminal
from pva.errors import MeaningError, Problem

RUN_ENDINGS = (".explore.nc", ".credit.nc")  # data sets that are no runs


@dataclass(frozen=True)
class Source:
    """Where an export reads from.

    Parameters
    ----------
    study : Study or None
    folder : Path
        Beside which the export goes by default.
    runs : tuple of Path
        Data sets of runs, the main one first.
    scenarios : dict of str to Path
        Scenario files of the study by stem, to tell what is out of date.
    """

    study: object
    folder: Path
    runs: tuple[Path, ...]
    scenarios: dict[str, Path]


def source_of(path: Path) -> Source:
    """A study, a scenario, a folder of results or one data set of a run."""
    if path.is_dir() and not (path / STUDY_FILE).is_file():
        return Source(None, path, tuple(_run_files(path)), {})
    if path.suffix == ".nc":
        return Source(None, path.absolute().parent, (path,), {})
    if path.is_dir() or path.name == STUDY_FILE:
        return _of_study(path)
    folder = results_folder(path, None)
    return Source(None, folder.parent, (folder / f"{path.stem}.nc",), {path.stem: path})


def _of_study(path: Path) -> Source:
    from pva.cli.report_material import scenario_paths
    from pva.field import read_study

    study = read_study(path)
    named = scenario_paths(study)
    found = {p.stem: p for p in [*named, *sorted(study.place("scenarios").glob("*.yaml"))]}
    runs = sorted(_run_files(study.results_folder), key=lambda f: (
        [p.stem for p in named].index(f.stem) if f.stem in {p.stem for p in named}
        else len(named), f.name))
    return Source(study, study.folder, tuple(runs), found)


def _run_files(folder: Path) -> list[Path]:
    return [f for f in sorted(folder.glob("*.nc")) if not f.name.endswith(RUN_ENDINGS)]


def export_folder(source: Source, out: Path | None) -> Path:
    """Folder of the export: --out, else ``export`` beside what it is made from."""
    if out is not None:
        return out
    return Path("export") if travels_with_package(source.folder) else source.folder / "export"


def records_of(source: Source):
    """Field records of the study.

    Raises
    ------
    MeaningError
        There is no study.
    DataError
        Its tables cannot be read.
    """
    from pva.field import read_records

    if source.study is None:
        raise MeaningError(Problem("sites and records stand in a study, not in a scenario or in "
                                   "results",
                                   "Name the folder of the study.", file=os.fspath(source.folder),
                                   code="export-needs-study"))
    return read_records(source.study)


def material_of(terminal: Terminal, source: Source):
    """Runs, stocking answers, estimates and row account at hand, as the page takes them.

    Raises
    ------
    MeaningError
        There is nothing to export.
    """
    from pva.cli.estimate_files import SUMMARY, read_json
    from pva.field import read_records
    from pva.report.material import gather

    runs = list(_fresh(terminal, source))
    questions = {path: question for path, question, _ in runs}
    questions |= _without_a_run(source, questions)
    stocked, comparison = list(_stocked(terminal, questions)), None
    if runs:
        first = runs[0][0].with_name(f"{runs[0][0].stem}.compare.json")
        comparison = read_json(first)
        known = {question.digest for question in questions.values()}
        if comparison and not set(comparison.get("digests", [None])) <= known:
            terminal.note(f"{first} compares scenarios that were changed since, or that are not "
                          "at hand; it is left out. `pva compare` makes it anew.")
            comparison = None
    estimates = records = None
    if source.study is not None:
        estimates = read_json(source.study.estimates_folder / SUMMARY)
        records = read_records(source.study) if source.study.spec.tables else None
    if not runs and not estimates:
        raise MeaningError(Problem(
            "there are no answers to export yet", "Run `pva run SCENARIO`, `pva stock SCENARIO` or "
            "`pva report STUDY` first.", file=os.fspath(source.folder), code="export-nothing"))
    return gather(runs=[(q, data) for _, q, data in runs], stock=stocked, comparison=comparison,
                  estimates=estimates, records=records)


def _without_a_run(source: Source, known: dict) -> dict:
    """Scenarios of the study as they are now, that have answers but no run of their own."""
    from pva.errors import PvaError
    from pva.scenario.scenario import read_scenario

    found = {}
    for stem, path in source.scenarios.items() if source.study is not None else ():
        run = source.study.results_folder / f"{stem}.nc"
        if run not in known and path.is_file():
            try:
                found[run] = read_scenario(path)
            except PvaError:
                continue  # a scenario in the making has no answer that fits it
    return found


def _stocked(terminal: Terminal, questions: dict) -> Iterator[tuple]:
    """Numbers to stock that still fit their question."""
    from pva.cli.estimate_files import read_json

    for path, question in questions.items():
        answer = path.with_name(f"{path.stem}.stock.json")
        found = read_json(answer)
        if found and found.get("digest") == question.digest:
            yield question, found
        elif found:
            terminal.note(f"{answer} was made before its scenario was changed; it is left out.")


def _fresh(terminal: Terminal, source: Source) -> Iterator[tuple]:
    from pva.results.store import read_dataset
    from pva.scenario.scenario import read_scenario

    for path in source.runs:
        try:
            data = read_dataset(path)
        except (OSError, ValueError):
            terminal.note(f"{path} is missing or cannot be read; it is left out.")
            continue
        if "adults_quantile" not in data or "scenario" not in data.attrs:
            continue  # a data set of another kind
        now = source.scenarios.get(path.stem)
        if now is not None and now.is_file():
            question = read_scenario(now)
            if question.digest != data.attrs["digest"]:
                terminal.note(f"{path} was made before {now} or what it rests on was changed; it "
                              f"is left out. `pva run {now}` makes it anew.")
                continue
        else:
            question = _as_it_was(data)
        yield path, question, data


def _as_it_was(data):
    """The scenario of a run, from the resolved one that its data set holds."""
    from pva.scenario.scenario import read_scenario

    with TemporaryDirectory() as folder:
        twin = Path(folder) / "scenario.yaml"
        twin.write_text(data.attrs["scenario"], encoding="utf-8")
        return read_scenario(twin)

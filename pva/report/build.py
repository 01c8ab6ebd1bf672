"""The page of a study: kept results where they still answer the same question, the rest computed.

Results are told by content: a run or an answer counts as fresh when it carries the digest of the
scenario as it stands now, estimates included.
"""

from __future__ import annotations

import json
import os
from collections.abc import Callable
from pathlib import Path

from pva.field import FieldRecords, Study, read_records, read_study, write_set_aside
from pva.files import digest, write_text_atomic
from pva.report.page import write_report
from pva.results.run import run
from pva.results.store import read_dataset, write_dataset, write_json
from pva.results.summary import run_summary
from pva.scenario.scenario import Scenario, read_scenario

Progress = Callable[[int, int], None]
BASE = "scenarios/base.yaml"
PICTURES = ("increments", "survival_by_interval")


def build_report(study_path: str | os.PathLike, *, seed: int | None = None,
                 threads: int | None = None, progress: Progress | None = None,
                 out: str | os.PathLike | None = None) -> Path:
    """Write ``report.html`` of a study.

    Parameters
    ----------
    study_path : path
        Folder of the study, or its study.yaml.
    seed : int or None
        None = that of each scenario. With a seed, kept results of another seed are made anew.
    threads : int or None
    progress : callable or None
        Called with parts done and in all.
    out : path or None
        Folder for the page; None = that of the study. Results go to the study's own folder.

    Returns
    -------
    Path
        The page.

    Raises
    ------
    FormError, MeaningError, DataError
        The study, its tables or its scenarios cannot be used.
    CannotCompute
        A scenario cannot be run.
    """
    study = read_study(study_path)
    records = read_records(study)
    estimates, pictures = _estimates(study, records)
    paths = scenario_paths(study)
    scenarios = [read_scenario(p) for p in paths]
    tell = _Steps(progress, 2 * len(paths) + 2)
    keep = _Kept(study.results_folder, seed, threads)
    runs, stock = [], []
    for scenario, path in zip(scenarios, paths, strict=True):
        runs.append((scenario, keep.run(scenario, path)))
        tell()
        answer = keep.stock(scenario, path, needed=path == paths[0])
        stock += [(scenario, answer)] if answer is not None else []
        tell()
    comparison = keep.comparison(scenarios, paths)
    tell()
    page = write_report(
        Path(out or study.folder) / "report.html", study=study,
        records=records if study.spec.tables else None, estimates=estimates, pictures=pictures,
        runs=runs, stock=stock, comparison=comparison, commands=commands(study, paths, seed))
    tell()
    return page


def scenario_paths(study: Study) -> list[Path]:
    """Main scenario of a study, then those compared with it."""
    named = study.spec.report
    main = named.main
    if main is None and study.place(BASE).is_file():
        main = BASE
    return [study.place(name) for name in ([main] if main else []) + list(named.compare)]


def commands(study: Study, paths: list[Path], seed: int | None = None) -> tuple[str, ...]:
    """The command lines that make the page again, run beside the study's folder."""
    name = study.folder.resolve().name
    ending = "" if seed is None else f" --seed {seed}"
    estimates = (f"pva estimate {name}",) if study.spec.tables else ()
    return (*estimates, f"pva report {name}{ending}")


class _Steps:
    """Counts parts done."""

    def __init__(self, progress, total):
        self._progress, self._total, self._done = progress, total, 0

    def __call__(self):
        self._done += 1
        if self._progress is not None:
            self._progress(self._done, self._total)


class _Kept:
    """Results of a study's folder, read if fresh and else computed and written."""

    def __init__(self, folder: Path, seed: int | None, threads: int | None):
        self._folder, self._seed, self._threads = folder, seed, threads

    def run(self, scenario: Scenario, path: Path):
        """Data set of a run."""
        file = self._folder / f"{path.stem}.nc"
        data = _quietly(read_dataset, file)
        if data is not None and self._fresh(data.attrs, scenario):
            return data
        data = run(scenario, seed=self._seed, threads=self._threads)
        write_dataset(file, data)
        write_json(self._folder / f"{path.stem}.summary.json", run_summary(data))
        return data

    def stock(self, scenario: Scenario, path: Path, *, needed: bool):
        """Summary of the number to stock; None where it was not asked for or cannot be."""
        from pva.decide.stock import stock

        file = self._folder / f"{path.stem}.stock.json"
        kept = _read_json(file)
        if kept is not None and self._fresh(kept, scenario):
            return kept
        resolved = scenario.resolved
        if not needed or not resolved.goals or not resolved.releases:
            return None
        found = stock(scenario, seed=self._seed, threads=self._threads).summary()
        write_json(file, found)
        return found

    def comparison(self, scenarios: list[Scenario], paths: list[Path]):
        """Paired differences from the main scenario; None with fewer than two scenarios."""
        from pva.decide.compare import compare

        if len(scenarios) < 2:
            return None
        file = self._folder / f"{paths[0].stem}.compare.json"
        kept = _read_json(file)
        digests = [s.digest for s in scenarios]
        if kept is not None and kept.get("digests") == digests and self._seeded(kept):
            return kept
        found = compare(scenarios, seed=self._seed, threads=self._threads).summary()
        found["digests"] = digests
        write_json(file, found)
        return found

    def _fresh(self, kept, scenario: Scenario) -> bool:
        return kept.get("digest") == scenario.digest and self._seeded(kept)

    def _seeded(self, kept) -> bool:
        return self._seed is None or str(kept.get("seed")) == str(self._seed)


def _estimates(study: Study, records: FieldRecords):
    """Estimates and the tables behind their pictures: as kept, else made from the field tables.

    A kept summary stands only beside the estimates file it was written with: numbers changed by
    hand are shown as they are in the file.
    """
    folder = study.estimates_folder
    file, summary = folder / "estimates.yaml", _read_json(folder / "summary.json")
    if file.is_file():
        if summary is not None and summary.get("estimates_digest") in (None, digest(file)):
            return summary, _pictures(folder)
        from pva.estimate import read_estimates

        return read_estimates(file), {}
    if not study.spec.tables:
        return None, {}
    from pva.estimate import estimate, write_estimates

    found = estimate(study, records=records)
    write_estimates(found, file)
    write_set_aside(records.account, folder)
    summary = found.summary() | {"estimates_digest": digest(file)}
    for name in PICTURES:
        if name in found.tables:
            write_text_atomic(folder / "figures" / f"{name}.csv",
                              found.tables[name].to_csv(index=False, lineterminator="\n"))
    write_json(folder / "summary.json", summary)
    return summary, found.tables


def _pictures(folder: Path) -> dict:
    """Tables behind the estimate pictures, kept as CSV."""
    import pandas as pd

    found = {}
    for name in PICTURES:
        table = _quietly(pd.read_csv, folder / "figures" / f"{name}.csv")
        if table is not None:
            found[name] = table
    return found


def _read_json(file: Path):
    return _quietly(lambda f: json.loads(f.read_text(encoding="utf-8")), file)


def _quietly(read, file: Path):
    """Content of a kept file; None where it is missing or damaged, so that it is made anew."""
    try:
        return read(file) if file.is_file() else None
    except (OSError, ValueError):
        return None

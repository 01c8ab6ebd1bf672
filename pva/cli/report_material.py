"""What a report is made from: kept results that still fit their question, the rest computed."""

from __future__ import annotations

import json
from pathlib import Path

from pva.cli.decisions import compare_and_write, read_all, stock_and_write
from pva.cli.first_run import announce
from pva.cli.runs import run_and_write
from pva.cli.session import Session

SUMMARY_FILE, PICTURES_FILE = "summary.json", "pictures.json"


def collect(session: Session, study) -> dict:
    """Arguments of `pva.report.write_report` for a study.

    Runs, numbers to stock and comparisons are read from the results folder where they were made
    with the same question (same digest); those of the main scenario, and the comparison, are made
    now where they are missing or out of date.
    """
    from pva.field import read_records
    from pva.scenario.scenario import read_scenario

    folder = session.out or study.results_folder
    paths = scenario_paths(study)
    questions = read_all(paths, read_scenario)
    announce(session)
    runs = [(q, data) for i, (q, p) in enumerate(zip(questions, paths, strict=True))
            if (data := _run(session, q, p, folder, needed=i == 0)) is not None]
    stocked = [(q, answer) for i, (q, p) in enumerate(zip(questions, paths, strict=True))
               if (answer := _stock(session, q, p, folder, needed=i == 0)) is not None]
    return {"study": study, "records": read_records(study),
            "estimates": _json(study.estimates_folder / SUMMARY_FILE),
            "pictures": _json(study.estimates_folder / PICTURES_FILE),
            "runs": runs, "stock": stocked,
            "comparison": _comparison(session, questions, paths, folder),
            "commands": _commands(study)}


def scenario_paths(study) -> list[Path]:
    """The main scenario of a study and those compared with it."""
    named = study.spec.report
    main = named.main
    if main is None and study.place("scenarios/base.yaml").is_file():
        main = "scenarios/base.yaml"
    return [study.place(name) for name in ([main] if main else []) + list(named.compare)]


def _run(session, question, path, folder, *, needed):
    from pva.results.store import read_dataset

    file = folder / f"{path.stem}.nc"
    data = _opened(file, read_dataset)
    if data is not None and data.attrs.get("digest") == question.digest:
        return data
    if not needed:
        return None
    session.note(f"{file} is missing or out of date: running {path.name}")
    run_and_write(session, question, path, folder)
    return read_dataset(file)


def _opened(file, read):
    """A file's content, or None where it is missing or cannot be read."""
    try:
        return read(file) if file.is_file() else None
    except (OSError, ValueError):
        return None


def _stock(session, question, path, folder, *, needed):
    kept = _json(folder / f"{path.stem}.stock.json")
    if kept is not None and kept.get("digest") == question.digest:
        return kept
    resolved = question.resolved
    if not needed or not resolved.goals or not resolved.releases:
        return None
    session.note(f"{path.stem}.stock.json is missing or out of date: searching")
    return stock_and_write(session, question, path, folder=folder)


def _comparison(session, questions, paths, folder):
    if len(questions) < 2:
        return None
    kept = _json(folder / f"{paths[0].stem}.compare.json")
    if kept is not None and kept.get("digests") == [q.digest for q in questions]:
        return kept
    session.note(f"{paths[0].stem}.compare.json is missing or out of date: comparing")
    return compare_and_write(session, questions, paths[0], folder)


def _json(path: Path) -> dict | None:
    return _opened(path, lambda file: json.loads(file.read_text(encoding="utf-8")))


def _commands(study) -> tuple[str, ...]:
    name = study.folder.resolve().name
    main = scenario_paths(study)[:1]
    chain = [f"pva {word} {name}/{p.relative_to(study.folder).as_posix()}"
             for p in main for word in ("run", "stock")]
    return (f"pva estimate {name}", *chain, f"pva report {name}")

"""The estimates folder: numbers, covariance, rows set aside, summary, figures with their data."""

from __future__ import annotations

import json
from pathlib import Path

from pva.cli.terminal import Terminal

ESTIMATES, SUMMARY, EDITED = "estimates.yaml", "summary.json", "estimates.edited.yaml"
FIGURES = "figures"


def write_all(terminal: Terminal, found, records, folder: Path, *, study=None) -> dict:
    """Write everything `pva estimate` gives.

    An estimates.yaml that a person has changed since it was written is kept under another name.

    Returns
    -------
    dict
        The summary, as written.
    """
    from pva.estimate import write_estimates
    from pva.estimate.rows_used import write_rows_used
    from pva.field import write_flagged, write_set_aside
    from pva.files import as_written, digest, together
    from pva.results.store import write_json

    summary = found.summary()
    with together():
        _keep_edited(terminal, folder)
        files = [write_estimates(found, folder / ESTIMATES)]
        if found.covariance.keys:
            files.append(folder / "estimates.nc")
        files += [write_rows_used(found, folder), write_set_aside(records.account, folder),
                  write_flagged(records.account, folder),
                  *_write_figures(found, summary, folder / FIGURES, study, records)]
        summary["estimates_digest"] = digest(as_written(folder / ESTIMATES))
        files.append(write_json(folder / SUMMARY, summary))
    terminal.wrote(*files)
    return summary


def _keep_edited(terminal, folder):
    from pva.files import digest, write_bytes_atomic

    path = folder / ESTIMATES
    known = (read_json(folder / SUMMARY) or {}).get("estimates_digest")
    if path.is_file() and digest(path) != known:
        write_bytes_atomic(folder / EDITED, path.read_bytes())
        terminal.note(f"{path} was not as `pva estimate` wrote it; it is kept as "
                     f"{folder / EDITED}.")


def read_json(path: Path) -> dict | None:
    """A JSON file, or None where it is missing or broken."""
    from pva.files.unfinished import tidy

    tidy(path.parent)  # if its writer was killed, what it had ready takes its place first
    try:
        return json.loads(path.read_text(encoding="utf-8"))
    except (OSError, ValueError):
        return None


def _write_figures(found, summary, folder, study, records):
    """Every figure of the page's part on estimates, and the tables behind them as CSV."""
    from pva.files import frame_text, write_text_atomic
    from pva.report.figure_files import write_figure
    from pva.report.material import gather
    from pva.report.sections.estimates import section

    for name, table in found.tables.items():
        yield write_text_atomic(folder / f"{name}.csv", frame_text(table))
    pictures = read_pictures(folder.parent)
    for block in section(gather(study=study, records=records, estimates=summary,
                                pictures=pictures)).blocks:
        if getattr(block, "kind", "") == "figure":
            yield from write_figure(folder, block.name, block)


def read_pictures(folder: Path) -> dict:
    """Tables behind the figures of an estimates folder, as the page wants them."""
    import pandas as pd

    from pva.files import as_written

    path = folder / FIGURES / "increments.csv"
    try:
        table = pd.read_csv(as_written(path))
        return {"increments": {"first_mm": table["length_mm"].tolist(),
                               "years": table["years"].tolist(),
                               "increment_mm": table["increment_mm"].tolist()}}
    except (OSError, ValueError, KeyError):
        return {}

"""`pva estimate` and `pva report`: a study's field tables to numbers, and all of it to one page."""

from __future__ import annotations

from pathlib import Path

import click

from pva.cli.first_run import announce
from pva.cli.places import estimates_folder
from pva.cli.session import Session, shared_options


@click.command()
@click.argument("study", type=click.Path(path_type=Path))
@shared_options
def estimate(session: Session, study: Path) -> None:
    """Estimate survival, growth, density and recruits from the field tables of a study.

    Writes estimates.yaml, estimates.nc, set_aside.csv and figures into estimates/ of the study, or
    into --out.
    """
    raise NotImplementedError


def estimate_and_write(session: Session, path: Path) -> dict:
    """Estimate a study, write its estimates folder, and return the summary."""
    raise NotImplementedError


@click.command()
@click.argument("study", type=click.Path(path_type=Path))
@shared_options
def report(session: Session, study: Path) -> None:
    """Write report.html: one file, offline, with the answer first.

    The scenarios are those named under `report` in study.yaml. Results that are missing or out of
    date are computed first.
    """
    page = report_and_write(session, study)
    session.answer(f"Report: {page}")
    session.finish({"report": str(page), "files": [str(f) for f in session.files]})


def report_and_write(session: Session, path: Path) -> Path:
    """Write the page of a study."""
    from pva.cli.report_material import collect
    from pva.field import read_study
    from pva.report.page import write_report

    study = read_study(path)
    material = collect(session, study)
    page = write_report((session.out or study.folder) / "report.html", **material)
    session.wrote(page)
    return page

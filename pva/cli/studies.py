"""`pva estimate` and `pva report`: a study's field tables to numbers, and all of it to one page."""

from __future__ import annotations

from pathlib import Path

import click

from pva.cli.terminal import Terminal, shared_options


@click.command()
@click.argument("study", type=click.Path(path_type=Path))
@click.option("--model", metavar="NAME", help="Survival model to report, named as in the table of "
                                              "models, in place of the best.")
@click.option("--length-classes", "classes_mm", type=click.FloatRange(0.5, 20), metavar="MM",
              help="Also write length_classes.yaml: a scenario with classes of so many mm, from "
                   "these estimates.")
@shared_options
def estimate(terminal: Terminal, study: Path, model: str | None, classes_mm: float | None) -> None:
    """Estimate survival, growth, density and recruits from the field tables of a study.

    Writes estimates.yaml, estimates.nc, set_aside.csv, flagged.csv, summary.json and figures into
    estimates/ of the study, or into --out.
    """
    from pva.cli.estimate_words import tell_estimate

    summary = estimate_and_write(terminal, study, model=model)
    tell_estimate(terminal, summary)
    if classes_mm is not None:
        _write_classes(terminal, study, classes_mm)
    terminal.finish(summary)


def _write_classes(terminal: Terminal, path: Path, width_mm: float) -> None:
    """Write a scenario of narrow length classes beside the estimates."""
    from pva.cli.places import estimates_folder
    from pva.estimate.options import options_of
    from pva.field import read_study
    from pva.scenario.length_classes import length_mesh

    study = read_study(path)
    folder = estimates_folder(study.folder, terminal.out)
    stages = {s.name: (s.low, s.high) for s in options_of(study).stages}
    length_mesh(folder / "estimates.yaml", folder / "length_classes.yaml", stages=stages,
                width_mm=width_mm)
    terminal.wrote(folder / "length_classes.yaml")


def estimate_and_write(terminal: Terminal, path: Path, *, model: str | None = None,
                       account: bool = True) -> dict:
    """Estimate a study, write its estimates folder, and return the summary.

    Parameters
    ----------
    terminal : Terminal
    path : Path
        The study.
    model : str or None
        Survival model to report.
    account : bool
        Whether to print the row account as soon as the tables are read.
    """
    from pva.cli.estimate_files import write_all
    from pva.cli.first_run import announce
    from pva.cli.places import estimates_folder
    from pva.field import account_lines, read_records, read_study

    study = read_study(path)
    records = read_records(study)
    if account:
        for line in account_lines(records.account):
            terminal.say(line)
        terminal.say()
    announce(terminal, "estimate")
    from pva.estimate import estimate as estimate_study

    found = estimate_study(study, records=records, model=model)
    return write_all(terminal, found, records, estimates_folder(study.folder, terminal.out),
                     study=study)


@click.command()
@click.argument("study", type=click.Path(path_type=Path))
@shared_options
def report(terminal: Terminal, study: Path) -> None:
    """Write report.html: one file, offline, with the answer first; its figures in figures/.

    The scenarios are those named under `report` in study.yaml. Results that are missing or out of
    date are computed first.
    """
    page = report_and_write(terminal, study)
    terminal.answer(f"Report: {page}")
    terminal.finish({"report": str(page), "files": [str(f) for f in terminal.files]})


def report_and_write(terminal: Terminal, path: Path) -> Path:
    """Write the page of a study."""
    from pva.cli.report_material import collect
    from pva.field import read_study
    from pva.report.material import gather
    from pva.report.page import write_page_and_figures

    study = read_study(path)
    if study.spec.tables and not (study.estimates_folder / "summary.json").is_file():
        terminal.note("estimates are missing: estimating")
        estimate_and_write(terminal, path, account=False)
    material = collect(terminal, study)
    files = write_page_and_figures((terminal.out or study.folder) / "report.html",
                                   gather(**material))
    terminal.wrote(*files)
    return files[0]

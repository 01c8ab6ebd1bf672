"""`pva check-data`: the past projected, and what the crews saw laid over it."""

from __future__ import annotations

from pathlib import Path

import click

from pva.cli.first_run import announce
from pva.cli.places import results_folder
from pva.cli.terminal import Terminal, shared_options


@click.command("check-data")
@click.argument("study", type=click.Path(path_type=Path))
@click.argument("scenario", type=click.Path(path_type=Path))
@click.option("--hold-out", type=int, metavar="YEAR",
              help="First year whose records the estimates may not know (default: the last).")
@click.option("--known", is_flag=True,
              help="Take the scenario's estimates as they are: quick, but no test.")
@shared_options
def check_data(terminal: Terminal, study: Path, scenario: Path, hold_out: int | None,
               known: bool) -> None:
    """Hold a projection of the past against what was seen.

    SCENARIO tells the past: its years run from the first release to the last survey, and it starts
    with the animals that were there then. Releases and bad years come from STUDY. Writes
    NAME.check-data.json, .svg, .png and .csv into results/ of the study, or into --out.
    """
    from pva.field import read_study
    from pva.report.data_words import answer_of_data_check, data_rows, data_words
    from pva.scenario.scenario import read_scenario

    if known and hold_out is not None:
        raise click.UsageError("--known and --hold-out exclude each other.")
    question = read_scenario(scenario)
    study_read = read_study(study)
    announce(terminal)
    summary = data_check_and_write(terminal, question, study_read, scenario, hold_out=hold_out,
                                   known=known)
    terminal.answer_with_seed(answer_of_data_check(summary), question, summary)
    terminal.table(*data_rows(summary))
    for line in data_words(summary):
        terminal.say(line)
    terminal.warnings(summary["warnings"])
    terminal.finish(summary)


def data_check_and_write(terminal: Terminal, question, study, path: Path, *,
                         folder: Path | None = None, **asked) -> dict:
    """Check against the data, write the answer, and return the summary."""
    from pva.decide.check_data import check_data as check
    from pva.report.figure_files import write_figure
    from pva.report.figures.observed import observed_figure
    from pva.results.store import write_json

    folder = folder or results_folder(path, terminal.out)
    with terminal.progress("Projecting the past") as tell:
        found = check(question, study, seed=terminal.seed, threads=terminal.threads,
                      progress=tell, **asked)
    summary = found.summary()
    name = f"{path.stem}.check-data"
    terminal.wrote(write_json(folder / f"{name}.json", summary),
                   *write_figure(folder, name, observed_figure("seen", summary)))
    return summary

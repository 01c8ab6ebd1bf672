"""`pva sensitivity`: what the goal depends on, and where the answer flips."""

from __future__ import annotations

from pathlib import Path

import click

from pva.cli.first_run import announce
from pva.cli.places import results_folder
from pva.cli.spreading import known_seed, long_options, tasks_for
from pva.cli.terminal import Terminal, shared_options


@click.command()
@click.argument("scenario", type=click.Path(path_type=Path))
@click.option("--worth", type=click.FloatRange(0, min_open=True), metavar="MONEY",
              help="What meeting all goals is worth, in the money of cost_each (default: what the "
                   "chance wanted implies); for the value of knowing a rate better.")
@long_options
@shared_options
def sensitivity(terminal: Terminal, scenario: Path, worth: float | None, cluster: str | None,
                start_over: bool) -> None:
    """Show what the chance of success depends on, and where the answer flips.

    Writes NAME.sensitivity.json, .svg, .png and .csv into results/ of the study, or into --out.
    """
    from pva.scenario.scenario import read_scenario

    question = read_scenario(scenario)
    announce(terminal)
    with tasks_for(terminal, cluster=cluster, folder=results_folder(scenario, terminal.out),
                   start_over=start_over) as tasks:
        summary = sensitivity_and_write(terminal, question, scenario, worth=worth, tasks=tasks)
    tell_sensitivity(terminal, question, summary)
    terminal.finish(summary)


def sensitivity_and_write(terminal: Terminal, question, path: Path, *,
                          worth: float | None = None, folder: Path | None = None,
                          tasks=None) -> dict:
    """Find what the chance depends on, write it, and return the summary."""
    from pva.decide.sensitivity import sensitivity as find
    from pva.report.figure_files import write_figure
    from pva.report.figures.flips import flips_figure
    from pva.results.store import write_json

    folder = folder or results_folder(path, terminal.out)
    with terminal.progress("One rate at a time") as tell:
        found = find(question, worth=worth, seed=known_seed(terminal, question),
                     threads=terminal.threads, progress=tell, tasks=tasks)
    summary = found.summary()
    name = f"{path.stem}.sensitivity"
    terminal.wrote(
        write_json(folder / f"{name}.json", summary),
        *write_figure(folder, name, flips_figure("flips", summary)))
    return summary


def tell_sensitivity(terminal: Terminal, question, summary: dict) -> None:
    """Say it in words and tables."""
    from pva.report.sensing_words import (
        answer_of_sensitivity,
        confidence_words,
        goal_tables,
        growth_words,
        information_words,
        rate_table,
        share_table,
        switch_table,
    )

    terminal.answer_with_seed(answer_of_sensitivity(summary), question, summary)
    terminal.table(*rate_table(summary))
    for line in growth_words(summary):
        terminal.say(line)
    terminal.table(*switch_table(summary))
    terminal.table(*share_table(summary))
    for line in information_words(summary["information"]):
        terminal.say(line)
    for header, rows, title in goal_tables(summary):
        terminal.table(header, rows, title=title)
    for line in confidence_words(summary):
        terminal.say(line)
    terminal.warnings(summary["warnings"])

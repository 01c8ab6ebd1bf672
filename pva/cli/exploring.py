"""`pva explore`: any grid over scenario keys, as a table, a data set and a map."""

from __future__ import annotations

from pathlib import Path

import click

from pva.cli.first_run import announce
from pva.cli.places import results_folder
from pva.cli.spreading import known_seed, long_options, tasks_for
from pva.cli.terminal import Terminal, shared_options


@click.command()
@click.argument("scenario", type=click.Path(path_type=Path))
@click.option("--vary", multiple=True, required=True, metavar="KEY=VALUES",
              help="A scenario key and its values, such as \"survival.adult.value=0.90 to 0.96 by "
                   "0.01\", \"sites.*.hosts.drum.per_100m2=2,5,10\" (* is every row), or "
                   "number=0,200,400 for animals a year. Give it once for every key.")
@long_options
@shared_options
def explore(terminal: Terminal, scenario: Path, vary: tuple[str, ...], cluster: str | None,
            start_over: bool) -> None:
    """Run a scenario over a grid of values and map the chance of success.

    Writes NAME.explore.nc, .csv, .json, .svg and .png into results/ of the study, or into --out.
    """
    from pva.decide.grid import read_vary
    from pva.errors import FormError, Problem
    from pva.scenario.scenario import read_scenario

    question = read_scenario(scenario)
    asked = [read_vary(text) for text in vary]
    twice = {k for k, _ in asked if [n for n, _ in asked].count(k) > 1}
    if twice:
        raise FormError(Problem(f"`{sorted(twice)[0]}` is varied twice",
                                "Give each key once, with all its values.", code="vary-form"))
    announce(terminal)
    with tasks_for(terminal, cluster=cluster, folder=results_folder(scenario, terminal.out),
                   start_over=start_over) as tasks:
        summary = explore_and_write(terminal, question, scenario, dict(asked), tasks=tasks)
    tell_explore(terminal, question, summary)
    terminal.finish(summary)


def explore_and_write(terminal: Terminal, question, path: Path, vary: dict,
                      folder: Path | None = None, tasks=None) -> dict:
    """Run the grid, write its files, and return the summary."""
    from pva.decide.explore import explore as run_grid
    from pva.decide.explore import explore_summary
    from pva.files import write_text_atomic
    from pva.report.figure_files import write_figure
    from pva.report.figures.grid_map import grid_figure
    from pva.results.store import write_dataset, write_json

    folder = folder or results_folder(path, terminal.out)
    with terminal.progress("Exploring") as tell:
        data = run_grid(question, vary, seed=known_seed(terminal, question),
                        threads=terminal.threads, progress=tell, tasks=tasks)
    summary = explore_summary(data)
    name = f"{path.stem}.explore"
    terminal.wrote(
        write_dataset(folder / f"{name}.nc", data),
        write_json(folder / f"{name}.json", summary),
        write_text_atomic(folder / f"{name}.csv", table_text(summary)),
        *write_figure(folder, name, grid_figure("grid", data), numbers=False))
    return summary


def table_text(summary: dict) -> str:
    """Every point as a line of CSV."""
    from pva.files import csv_text

    kinds = ("all_goals", "quasi_extinction", "extinction")
    header = [*(v["key"] for v in summary["varied"]),
              *(f"{kind} {end}" for kind in kinds for end in ("chance", "low", "high")),
              "verdict", *(f"goal: {g}" for g in summary["goals"]), "adults"]
    rows = [[*row["at"].values(),
             *(row[kind][end] for kind in kinds for end in ("chance", "low", "high")),
             row.get("verdict", ""), *row["goals"], row["adults"]] for row in summary["points"]]
    return csv_text(header, rows)


def tell_explore(terminal: Terminal, question, summary: dict) -> None:
    """Say what the grid shows in words and a table."""
    from pva.cli.runs import tell_leading
    from pva.report.explore_words import answer_of_explore, enough_words, grid_table

    terminal.answer_with_seed(answer_of_explore(summary), question, summary)
    for line in enough_words(summary):
        terminal.say(line)
    for header, rows, title in grid_table(summary):
        terminal.table(header, rows, title=title)
    tell_leading(terminal, question)
    terminal.warnings(summary["warnings"])

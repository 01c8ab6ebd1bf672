"""`pva credit`: animal-years of a plan above a baseline."""

from __future__ import annotations

from pathlib import Path

import click

from pva.cli.first_run import announce
from pva.cli.places import results_folder
from pva.cli.terminal import Terminal, shared_options


@click.command()
@click.argument("scenario", type=click.Path(path_type=Path))
@click.option("--baseline", required=True, type=click.Path(path_type=Path), metavar="SCENARIO",
              help="What would happen without the plan.")
@click.option("--rate", required=True, type=float,
              metavar="SHARE", help="Yearly discount rate, such as 0.03; 0 for a plain sum. The "
              "agency's rules name it.")
@click.option("--measure", type=click.Choice(["adults", "animals", "wild_adults"]),
              default="adults", show_default=True, help="What is counted, in the whole river.")
@click.option("--from", "first", type=int, metavar="YEAR",
              help="First census counted (default: the first).")
@click.option("--to", "last", type=int, metavar="YEAR",
              help="Last census counted (default: the last that both have).")
@click.option("--base", type=int, metavar="YEAR",
              help="Year to which is discounted (default: the first year of the scenario).")
@click.option("--claimed", type=float, metavar="NUMBER",
              help="Animal-years claimed: also tell the chance that they are reached.")
@shared_options
def credit(terminal: Terminal, scenario: Path, baseline: Path, rate: float, measure: str,
           first: int | None, last: int | None, base: int | None, claimed: float | None) -> None:
    """Sum the animal-years of SCENARIO above a baseline, discounted.

    Both are run in the same luck. Writes NAME.credit.json, .csv and .nc into results/ of the study,
    or into --out.
    """
    from pva.cli.decisions import read_all
    from pva.scenario.scenario import read_scenario

    questions = read_all((scenario, baseline), read_scenario)
    announce(terminal)
    summary = credit_and_write(terminal, questions, scenario, rate=rate, measure=measure,
                               first=first, last=last, base=base, claimed=claimed)
    tell_credit(terminal, questions[0], summary)
    terminal.finish(summary)


def credit_and_write(terminal: Terminal, questions: list, path: Path, **asked) -> dict:
    """Find the credit, write the answer, and return the summary."""
    from pva.decide.credit import credit as find_credit
    from pva.decide.credit_data import COLUMNS, credit_dataset, credit_rows
    from pva.files import csv_text, write_text_atomic
    from pva.report.credit_words import CAUTIONS, CONVENTION
    from pva.results.store import write_dataset, write_json

    folder = results_folder(path, terminal.out)
    with terminal.progress("Running both") as tell:
        found = find_credit(*questions, seed=terminal.seed, threads=terminal.threads,
                            progress=tell, **asked)
    summary = found.summary() | {"convention": CONVENTION, "cautions": list(CAUTIONS)}
    name = f"{path.stem}.credit"
    terminal.wrote(
        write_json(folder / f"{name}.json", summary),
        write_text_atomic(folder / f"{name}.csv", csv_text(COLUMNS, credit_rows(summary))),
        write_dataset(folder / f"{name}.nc", credit_dataset(found)))
    return summary


def tell_credit(terminal: Terminal, question, summary: dict) -> None:
    """Say the credit in words and tables."""
    from pva.report.credit_words import (
        CAUTIONS,
        answer_of_credit,
        credit_words,
        sure_table,
        year_table,
    )

    terminal.answer_with_seed(answer_of_credit(summary), question, summary)
    for line in credit_words(summary):
        terminal.say(line)
    terminal.table(*sure_table(summary), title="How sure")
    terminal.table(*year_table(summary), title="Year by year, means")
    for line in CAUTIONS:
        terminal.say(line)
    terminal.warnings(summary["warnings"])

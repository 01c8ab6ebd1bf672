"""`pva stock` and `pva compare`: decisions made by searching over runs."""

from __future__ import annotations

import csv
from pathlib import Path

import click

from pva.cli.first_run import announce
from pva.cli.places import results_folder
from pva.cli.spreading import known_seed, long_options, tasks_for
from pva.cli.terminal import Terminal, shared_options

ORDER_SHEET = "order_sheet.csv"
SHEET_COLUMNS = ("order_year", "release_year", "age", "number", "mothers", "site", "release",
                 "stage", "source", "cost", "scenario")
NOTHING_TO_ORDER = "nothing to order"
PERMITS = ("Before ordering: permits to collect, rear and release, a health check of the animals, "
           "and the genetics of the source are decided by licensed biologists and the agency.")


@click.command()
@click.argument("scenario", type=click.Path(path_type=Path))
@click.option("--chance", type=click.FloatRange(0, 1, min_open=True, max_open=True),
              metavar="SHARE", help="Chance wanted, in place of the scenario's, such as 0.8.")
@click.option("--duty", is_flag=True, help="Also find the number needed for every earlier end of "
              "the releases.")
@click.option("--delivered", type=click.Path(path_type=Path), metavar="FILE",
              help="Table of what was really delivered so far (year, release, number): it replaces "
                   "the planned years, and the rest is found anew.")
@long_options
@shared_options
def stock(terminal: Terminal, scenario: Path, chance: float | None, duty: bool,
          delivered: Path | None, cluster: str | None, start_over: bool) -> None:
    """Find how many animals to stock to meet the goals with the chance wanted.

    Writes NAME.stock.json and order_sheet.csv into results/ of the study, or into --out.
    """
    from pva.scenario.deliveries import with_deliveries
    from pva.scenario.scenario import read_scenario

    question = read_scenario(scenario)
    if delivered is not None:
        question = with_deliveries(question, delivered)
    announce(terminal)
    with tasks_for(terminal, cluster=cluster, folder=results_folder(scenario, terminal.out),
                   start_over=start_over) as tasks:
        summary = stock_and_write(terminal, question, scenario, chance=chance, duty=duty,
                                  tasks=tasks)
    tell_stock(terminal, question, summary)
    terminal.finish(summary)


def stock_and_write(terminal: Terminal, question, path: Path, *, chance: float | None = None,
                    duty: bool = False, folder: Path | None = None, tasks=None) -> dict:
    """Search, write the answer and the order sheet, and return the summary."""
    from pva.decide.options import orders_of
    from pva.decide.stock import stock as find_number
    from pva.files import together
    from pva.results.store import write_json

    folder = folder or results_folder(path, terminal.out)
    with terminal.progress("Searching") as tell:
        found = find_number(question, chance_wanted=chance, shorter_duty=duty,
                            seed=known_seed(terminal, question), threads=terminal.threads,
                            progress=tell, tasks=tasks)
    summary = found.summary()
    others = _scenarios_of(folder / ORDER_SHEET) - {path.stem, ""}
    with together():
        files = [write_json(folder / f"{path.stem}.stock.json", summary)]
        if terminal.out is not None:
            files.append(write_json(folder / "stock.json", summary))
        sheet = write_order_sheet(folder / ORDER_SHEET, orders_of(summary), path.stem)
    terminal.wrote(*files, *([sheet] if sheet else []))
    if sheet and others:
        terminal.note(f"{ORDER_SHEET} held the orders of {', '.join(sorted(others))}; now it holds "
                      f"those of {path.stem}")
    return summary


def write_order_sheet(path: Path, lines: list[dict], scenario: str) -> Path | None:
    """Write the order sheet; with nothing to order, an old sheet of this scenario says so."""
    from pva.files import csv_text, write_text_atomic

    if not lines and scenario not in _scenarios_of(path):
        return None
    rows = [line | {"scenario": scenario} for line in lines or [{"release": NOTHING_TO_ORDER}]]
    return write_text_atomic(path, csv_text(
        SHEET_COLUMNS, [[row.get(name) for name in SHEET_COLUMNS] for row in rows]))


def _scenarios_of(path: Path) -> set[str]:
    from pva.files import restored

    if not path.is_file():
        return set()
    with path.open(encoding="utf-8", newline="") as handle:
        return {restored(line.get("scenario") or "") for line in csv.DictReader(handle)}


def tell_stock(terminal: Terminal, question, summary: dict) -> None:
    """Say the number to stock in words and tables."""
    from pva.cli.runs import tell_leading
    from pva.cli.sentences import chance_range
    from pva.cli.stock_words import (
        OPTION_COLUMNS,
        SHORTER_COLUMNS,
        answer_of_stock,
        cheapest_words,
        duty_rows,
        duty_words,
        late_orders,
        made_words,
        option_rows,
        shorter_rows,
        thinned,
        totals_words,
        what_would_change_stock,
    )
    from pva.results.wording import animals, chance_between

    terminal.answer_with_seed(answer_of_stock(summary), question, summary)
    for line in made_words(summary):
        terminal.say(line)
    if summary["number"]:
        terminal.say(totals_words(summary))
    if summary["options"]:
        terminal.table(OPTION_COLUMNS, option_rows(summary), title="Every option alone")
        terminal.say(cheapest_words(summary))
    terminal.table(["animals a year", "chance", "simulation error"],
                  [[animals(n), chance_between(chance, low, high), chance_range(low, high)]
                   for n, chance, low, high in thinned(summary["curve"], summary["number"])])
    for line in duty_words(summary):
        terminal.say(line)
    if summary["duty"]:
        terminal.table(["last year of release", "chance", "simulation error"], duty_rows(summary))
    if summary["duty"] and summary["duty"]["shorter"]:
        terminal.table(SHORTER_COLUMNS, shorter_rows(summary),
                       title="Numbers needed with an earlier end")
    tell_leading(terminal, question)
    for line in what_would_change_stock(summary):
        terminal.say(line)
    terminal.say(PERMITS)
    terminal.warnings([*late_orders(summary, question.resolved.first), *summary["warnings"]])


@click.command()
@click.argument("scenarios", nargs=-1, required=True, type=click.Path(path_type=Path),
                metavar="SCENARIO SCENARIO...")
@shared_options
def compare(terminal: Terminal, scenarios: tuple[Path, ...]) -> None:
    """Compare scenarios with the first, in the same luck.

    Writes NAME.compare.json (NAME of the first) into results/ of its study, or into --out.
    """
    from pva.scenario.scenario import read_scenario

    if len(scenarios) < 2:
        raise click.UsageError("Name at least two scenarios: the first is compared with the rest.")
    questions = read_all(scenarios, read_scenario)
    announce(terminal)
    summary = compare_and_write(terminal, questions, scenarios[0])
    tell_compare(terminal, questions[0], summary)
    terminal.finish(summary)


def read_all(paths, read) -> list:
    """Read every file; the problems of all of them are raised together."""
    from pva.errors import PvaError

    found, problems = [], []
    for path in paths:
        try:
            found.append(read(path))
        except PvaError as error:
            problems += [p for p in error.problems if p not in problems]
    if problems:
        raise PvaError(problems)
    return found


def compare_and_write(terminal: Terminal, questions: list, first: Path,
                      folder: Path | None = None) -> dict:
    """Compare, write the answer, and return the summary."""
    from pva.decide.compare import compare as compare_scenarios
    from pva.results.store import write_json

    folder = folder or results_folder(first, terminal.out)
    found = compare_scenarios(questions, seed=terminal.seed, threads=terminal.threads)
    summary = found.summary() | {"digests": [q.digest for q in questions]}
    terminal.wrote(write_json(folder / f"{first.stem}.compare.json", summary))
    if terminal.out is not None:
        terminal.wrote(write_json(folder / "compare.json", summary))
    return summary


def tell_compare(terminal: Terminal, first, summary: dict) -> None:
    """Say the differences in words and tables."""
    from pva.cli.sentences import answer_of_compare, compared

    terminal.answer_with_seed(answer_of_compare(summary), first, summary)
    total = summary["independent_runs"]
    for entry in summary["against_first"]:
        terminal.table(["outcome", "first", "this one", "difference", "95 % interval", ""],
                      [compared(d, total) for d in entry["differences"]],
                      title=f"{entry['scenario']} against {summary['scenarios'][0]}")
    terminal.warnings(summary["warnings"])

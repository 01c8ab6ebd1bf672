"""`pva donor`: what a donor bed can give."""

from __future__ import annotations

from pathlib import Path

import click

from pva.cli.first_run import announce
from pva.cli.places import results_folder
from pva.cli.terminal import Terminal, shared_options

CAUTION = ("Before anything is taken: collecting from a wild bed needs permits; disease and "
           "invasive species travel with animals and water; a bed is a gene pool, and taking the "
           "same sizes or places every year changes it. \"Take none\" is a valid answer. Local "
           "codes and licensed biologists decide, not this number.")


@click.command()
@click.argument("scenario", type=click.Path(path_type=Path))
@click.option("--site", metavar="NAME", help="The donor (default: the only site taken from).")
@click.option("--below", type=click.FloatRange(0, min_open=True), metavar="ADULTS",
              help="Adults of the donor below which it counts as harmed (default: half of the "
                   "lower limit).")
@click.option("--added-risk", type=click.FloatRange(0, 1, min_open=True, max_open=True),
              default=0.05, show_default=True, metavar="SHARE", help="Added risk agreed on.")
@shared_options
def donor(terminal: Terminal, scenario: Path, site: str | None, below: float | None,
          added_risk: float) -> None:
    """Find the largest yearly collection that a donor bed can bear.

    Writes NAME.donor.json, .svg, .png and .csv into results/ of the study, or into --out.
    """
    from pva.scenario.scenario import read_scenario

    question = read_scenario(scenario)
    announce(terminal)
    summary = donor_and_write(terminal, question, scenario, site=site, below=below,
                              added_risk=added_risk)
    tell_donor(terminal, question, summary)
    terminal.finish(summary)


def donor_and_write(terminal: Terminal, question, path: Path, *, site: str | None = None,
                    below: float | None = None, added_risk: float = 0.05,
                    folder: Path | None = None) -> dict:
    """Judge the donor, write the answer, and return the summary."""
    from pva.decide.donor import donor as judge
    from pva.report.figure_files import write_figure
    from pva.report.figures.donor import donor_figure
    from pva.results.store import write_json

    folder = folder or results_folder(path, terminal.out)
    with terminal.progress("Judging the donor") as tell:
        found = judge(question, site=site, below=below, added_risk=added_risk, seed=terminal.seed,
                      threads=terminal.threads, progress=tell)
    summary = found.summary()
    name = f"{path.stem}.donor"
    terminal.wrote(
        write_json(folder / f"{name}.json", summary),
        *write_figure(folder, name, donor_figure("donor", summary)))
    return summary


def tell_donor(terminal: Terminal, question, summary: dict) -> None:
    """Say what the donor can give in words and tables."""
    from pva.report.donor_words import answer_of_donor, judged_table, safe_words, ways_table

    terminal.answer_with_seed(answer_of_donor(summary), question, summary)
    for line in safe_words(summary):
        terminal.say(line)
    terminal.table(*judged_table(summary))
    terminal.table(*ways_table(summary))
    terminal.say(CAUTION)
    terminal.warnings(summary["warnings"])

"""`pva run`: Monte Carlo of a scenario, to NetCDF and summary."""

from __future__ import annotations

from pathlib import Path

import click

from pva.cli.first_run import announce
from pva.cli.places import results_folder
from pva.cli.spreading import known_seed, long_options, tasks_for
from pva.cli.terminal import Terminal, shared_options


@click.command()
@click.argument("scenario", type=click.Path(path_type=Path))
@long_options
@shared_options
def run(terminal: Terminal, scenario: Path, cluster: str | None, start_over: bool) -> None:
    """Project a scenario: risk, goals and numbers by year.

    Writes NAME.nc and NAME.summary.json into results/ of the study, or into --out.
    """
    from pva.scenario.scenario import read_scenario

    question = read_scenario(scenario)
    announce(terminal)
    with tasks_for(terminal, cluster=cluster, folder=results_folder(scenario, terminal.out),
                   start_over=start_over) as tasks:
        summary = run_and_write(terminal, question, scenario, tasks=tasks)
    tell_run(terminal, question, summary)
    terminal.finish(summary)


def run_and_write(terminal: Terminal, question, path: Path, folder: Path | None = None,
                  tasks=None) -> dict:
    """Run a scenario, write its files, and return the summary."""
    from pva.files import together
    from pva.results.run import run as run_scenario
    from pva.results.store import write_dataset, write_json
    from pva.results.summary import run_summary

    folder = folder or results_folder(path, terminal.out)
    with terminal.progress("Running") as tell:
        data = run_scenario(question, seed=known_seed(terminal, question),
                            threads=terminal.threads, progress=tell, tasks=tasks)
    summary = run_summary(data)
    with together():
        files = [write_dataset(folder / f"{path.stem}.nc", data),
                 write_json(folder / f"{path.stem}.summary.json", summary)]
        if terminal.out is not None:
            files.append(write_json(folder / "summary.json", summary))
    terminal.wrote(*files)
    return summary


def tell_run(terminal: Terminal, question, summary: dict) -> None:
    """Say the answer of a run in words and a table."""
    from pva.cli.sentences import answer_of_run, what_would_change_run
    from pva.results.wording import animals, survey_goal_words

    terminal.answer_with_seed(answer_of_run(summary, question.resolved.chance_wanted), question,
                              summary)
    terminal.table(*goal_table(summary))
    for goal in summary["survey_goals"]:
        terminal.say(survey_goal_words(goal))
    adults = summary["adults"]
    marks = range(0, len(adults["year"]), max(1, (len(adults["year"]) - 1) // 6))
    terminal.table(
        ["year", "adults, median", "90 % of runs between", "and"],
        [[adults["year"][i], *(animals(adults[q][i]) for q in ("q50", "q05", "q95"))]
         for i in marks])
    terminal.table(*wild_table(summary, marks))
    tell_followed(terminal, question, summary)
    for line in what_would_change_run(summary):
        terminal.say(line)
    terminal.warnings(summary["warnings"])


WILD = (("wild-born adults, mean", "wild_adults"), ("wild share", "wild_share"),
        ("replacement ratio", "replacement_ratio"), ("recruits, mean", "recruits"))


def wild_table(summary: dict, marks) -> tuple[list[str], list[list]]:
    """What shows whether the population carries itself, by year; blank where it does not apply."""
    from pva.results.wording import animals, chance_words

    says = {"wild_share": chance_words, "replacement_ratio": "{:.2f}".format}
    measures = summary["measures"]
    rows = [[summary["years"][i], *(None if measures[key][i] is None
                                    else says.get(key, animals)(measures[key][i])
                                    for _, key in WILD)] for i in marks]
    return ["year", *(words for words, _ in WILD)], rows


def goal_table(summary: dict) -> tuple[list[str], list[list]]:
    """Chances of goals and risks, with simulation error and the spread between draws."""
    from pva.cli.sentences import chance_range
    from pva.results.wording import chance_between

    last = summary["years"][-1]

    def row(name, chance, low, high, draw_low, draw_high, verdict=""):
        return [name, chance_between(chance, low, high), chance_range(low, high),
                chance_range(draw_low, draw_high), verdict]

    keys = ("chance", "low", "high", "draw_low", "draw_high")
    rows = [row(g["name"], *(g[k] for k in keys), g["verdict"]) for g in summary["goals"]]
    few = f"adults below {summary['quasi_extinction']['threshold']:g} by {last}"
    for name, risk in ((few, "quasi_extinction"), (f"no animal left by {last}", "extinction")):
        rows.append(row(name, *(summary[risk][k][-1] for k in keys)))
    return ["", "chance", "simulation error", "between draws", "goal"], rows


def tell_followed(terminal: Terminal, question, summary: dict) -> None:
    """Say which uncertain number the outcome follows most from draw to draw."""
    from pva.cli.sentences import followed_words

    rows = {r["name"]: r for r in question.parameters()}
    clear = [r for r in summary["depends_on"] if r["clear"] and r["parameter"] in rows]
    if clear:
        terminal.say("\n" + followed_words(clear[0], rows[clear[0]["parameter"]],
                                          goals=bool(summary["goals"])))
    else:
        tell_leading(terminal, question)


def tell_leading(terminal: Terminal, question) -> None:
    """Say which number moves long-run growth most, by its pull and its doubt."""
    from pva.cli.sentences import leading_words
    from pva.results.growth import long_run
    from pva.results.weights import rate_weights

    rows = [r for r in rate_weights(question.resolved, long_run(question.resolved)) if r["weight"]]
    if rows:
        terminal.say("\n" + leading_words(rows[0]))

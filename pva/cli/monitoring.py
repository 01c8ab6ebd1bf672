"""`pva monitor`: the effort a survey needs, before anybody wades in."""

from __future__ import annotations

from pathlib import Path

import click

from pva.cli.first_run import announce
from pva.cli.places import results_folder
from pva.cli.terminal import Terminal, shared_options

ABOVE_0 = click.FloatRange(0, min_open=True)
PART = click.FloatRange(0, 1, min_open=True, max_open=True)


@click.group()
def monitor() -> None:
    """Find the effort that a survey needs: quadrats, tags, visits, years.

    Every question answers both ways round: how much is needed, and what a given effort can show.
    More digging is more harm: dig what the question needs and no more.
    """


_QUADRATS = (
    click.option("--area", type=ABOVE_0, default=0.25, show_default=True, metavar="M2",
                 help="Area of one quadrat in m2."),
    click.option("--found", type=click.FloatRange(0, 1, min_open=True), default=1.0,
                 show_default=True, metavar="SHARE",
                 help="Share of the animals in a quadrat that the crew finds."),
    click.option("--clumping", type=ABOVE_0, metavar="K",
                 help="Dispersion k of the negative binomial, from earlier counts (`pva estimate` "
                      "prints it); small is clumped."),
    click.option("--cost", type=click.FloatRange(0), metavar="MONEY",
                 help="Cost of one quadrat."),
    click.option("--hours", type=click.FloatRange(0), metavar="HOURS",
                 help="Crew hours for one quadrat."),
)
_NUMBER = click.option("--quadrats", "number", type=click.IntRange(1), metavar="NUMBER",
                       help="Quadrats that are given: what can they show?")


def quadrat_options(command):
    """Give a command the options of a quadrat survey."""
    for option in reversed(_QUADRATS):
        command = option(command)
    return command


def _quadrats(area, found, clumping, cost, hours):
    from pva.decide.effort import Quadrats

    return Quadrats(area, found, clumping, cost, hours)


@monitor.command()
@click.option("--density", type=ABOVE_0, required=True, metavar="PER_M2",
              help="Recruits (or animals) per m2 that the survey must be able to show.")
@click.option("--chance", type=PART, default=0.95, show_default=True, metavar="SHARE",
              help="Chance of finding at least one that is wanted.")
@_NUMBER
@quadrat_options
@shared_options
def recruits(terminal: Terminal, density, chance, number, **quadrats) -> None:
    """Quadrats that find at least one recruit, if they are there.

    With --out, writes recruits.effort.json, .svg, .png and .csv into that folder.
    """
    from pva.decide.quadrat_effort import finding_one
    from pva.report.monitoring_words import finding_table, finding_words

    found = finding_one(density, quadrats=_quadrats(**quadrats), chance=chance, number=number)
    summary = found.summary()
    if terminal.out is not None:
        from pva.report.figure_files import write_figure
        from pva.report.figures.effort import finding_figure
        terminal.wrote(*write_figure(terminal.out, "recruits.effort",
                                     finding_figure("finding", found)))
    _tell(terminal, summary, finding_words(summary), [finding_table(summary)])


@monitor.command()
@click.option("--density", type=ABOVE_0, required=True, metavar="PER_M2",
              help="Animals per m2 that are expected.")
@click.option("--precision", type=ABOVE_0, default=0.2, show_default=True, metavar="SHARE",
              help="Standard error wanted, as a share of the density.")
@_NUMBER
@quadrat_options
@shared_options
def density(terminal: Terminal, density, precision, number, **quadrats) -> None:
    """Quadrats for a wanted precision of a density.

    With --out, writes density.effort.json into that folder.
    """
    from pva.decide.quadrat_effort import density_precision
    from pva.report.monitoring_words import precision_table, precision_words

    summary = density_precision(density, quadrats=_quadrats(**quadrats), precision=precision,
                                number=number).summary()
    _tell(terminal, summary, precision_words(summary), [precision_table(summary)])


@monitor.command()
@click.option("--density", "before", type=ABOVE_0, required=True, metavar="PER_M2",
              help="Animals per m2 at the first survey.")
@click.option("--to", "after", type=ABOVE_0, required=True, metavar="PER_M2",
              help="Animals per m2 at the second survey, if the change is there.")
@click.option("--chance", "power", type=PART, default=0.8, show_default=True, metavar="SHARE",
              help="Chance of finding the change that is wanted.")
@click.option("--false-alarm", "alarm", type=PART, default=0.05, show_default=True,
              metavar="SHARE",
              help="Chance accepted of seeing a change, up or down, where there is none.")
@_NUMBER
@quadrat_options
@shared_options
def change(terminal: Terminal, before, after, power, alarm, number, **quadrats) -> None:
    """Quadrats, in each of two surveys, that see a change of density.

    With --out, writes change.effort.json into that folder.
    """
    from pva.decide.quadrat_effort import seeing_change
    from pva.report.monitoring_words import change_words

    summary = seeing_change(before, after, quadrats=_quadrats(**quadrats), power=power,
                            alarm=alarm, number=number).summary()
    _tell(terminal, summary, change_words(summary), [])


@monitor.command()
@click.option("--animals", type=click.IntRange(1), required=True, metavar="NUMBER",
              help="Animals marked in each release.")
@click.option("--visits", type=click.IntRange(1), required=True, metavar="NUMBER",
              help="Visits after the first release.")
@click.option("--survival", type=PART, default=0.9, show_default=True, metavar="SHARE",
              help="Yearly survival that is expected.")
@click.option("--detection", type=PART, default=0.5, show_default=True, metavar="SHARE",
              help="Chance that a marked animal that lives is found at a visit.")
@click.option("--precision", type=ABOVE_0, metavar="SE",
              help="Standard error of yearly survival that is wanted, such as 0.02.")
@click.option("--releases", type=click.IntRange(1), default=1, show_default=True,
              metavar="NUMBER", help="Releases: at the beginning, then at the first visits.")
@click.option("--interval", type=ABOVE_0, default=1.0, show_default=True, metavar="YEARS",
              help="Years between visits.")
@click.option("--release-survival", type=PART, metavar="SHARE",
              help="Survival of the release itself, if it is to be estimated too.")
@click.option("--tag-kept", type=click.FloatRange(0, 1, min_open=True), default=1.0,
              show_default=True, metavar="SHARE", help="Yearly chance that a tag stays.")
@click.option("--year-sd", type=click.FloatRange(0), default=0.0, show_default=True,
              metavar="SD", help="How yearly survival differs between years.")
@click.option("--cost-tag", type=click.FloatRange(0), metavar="MONEY",
              help="Cost of an animal marked.")
@click.option("--cost-visit", type=click.FloatRange(0), metavar="MONEY", help="Cost of a visit.")
@shared_options
def survival(terminal: Terminal, precision, **plan) -> None:
    """Tags and visits for a wanted precision of yearly survival.

    With --out, writes survival.effort.json into that folder.
    """
    from pva.decide.survival_effort import TagPlan, survival_effort
    from pva.report.monitoring_words import survival_table, survival_words

    summary = survival_effort(TagPlan(**plan), precision=precision).summary()
    _tell(terminal, summary, survival_words(summary), [survival_table(summary)])


@monitor.command()
@click.argument("scenario", type=click.Path(path_type=Path))
@click.option("--quadrats", "number", type=click.IntRange(1), required=True, metavar="NUMBER",
              help="Quadrats of one survey, spread over the sites by area.")
@click.option("--count", "counted", type=click.Choice(["adults", "animals", "wild_adults",
                                                       "recruits"]),
              default="adults", show_default=True, help="What the crew counts.")
@click.option("--site", "sites", multiple=True, metavar="NAME",
              help="A site that is surveyed (again for more; default: all).")
@click.option("--chance", "wanted", type=PART, default=0.8, show_default=True, metavar="SHARE",
              help="Chance of being right that is wanted, whichever outcome is true.")
@quadrat_options
@shared_options
def verdict(terminal: Terminal, scenario: Path, number, counted, sites, wanted,
            **quadrats) -> None:
    """First year in which one survey tells success from failure.

    Writes NAME.verdict.json, .svg, .png and .csv into results/ of the study, or into --out.
    """
    from pva.scenario.scenario import read_scenario

    question = read_scenario(scenario)
    announce(terminal)
    summary = verdict_and_write(terminal, question, scenario, number=number, counted=counted,
                                sites=sites, wanted=wanted, quadrats=_quadrats(**quadrats))
    tell_verdict(terminal, question, summary)
    terminal.finish(summary)


def verdict_and_write(terminal: Terminal, question, path: Path, *, folder: Path | None = None,
                      **asked) -> dict:
    """Find the years, write them, and return the summary."""
    from pva.decide.survey_verdict import survey_verdict
    from pva.report.figure_files import write_figure
    from pva.report.figures.effort import verdict_figure
    from pva.results.store import write_json

    folder = folder or results_folder(path, terminal.out)
    with terminal.progress("Surveying every run") as tell:
        found = survey_verdict(question, seed=terminal.seed, threads=terminal.threads,
                               progress=tell, **asked)
    summary = found.summary()
    terminal.wrote(write_json(folder / f"{path.stem}.verdict.json", summary))
    if found.years:
        terminal.wrote(*write_figure(folder, f"{path.stem}.verdict",
                                     verdict_figure("verdict", summary)))
    return summary


def tell_verdict(terminal: Terminal, question, summary: dict) -> None:
    """Say it in words and a table."""
    from pva.report.monitoring_words import cautions, verdict_table, verdict_words

    answer, *more = verdict_words(summary)
    terminal.answer_with_seed(answer, question, summary)
    terminal.table(*verdict_table(summary))
    for line in (*more, *cautions(summary)):
        terminal.say(line)
    terminal.warnings(summary["warnings"])


def _tell(terminal: Terminal, summary: dict, words: list[str], tables: list) -> None:
    """The answer, what it costs, and the cautions; files only where a folder is named."""
    from pva.report.monitoring_words import cautions

    answer, *more = words
    terminal.answer(answer)
    for line in more:
        terminal.say(line)
    for one in tables:
        terminal.table(*one)
    for line in cautions(summary):
        terminal.say(line)
    if terminal.out is not None:
        from pva.results.store import write_json
        terminal.wrote(write_json(terminal.out / f"{summary['question']}.effort.json", summary))
    terminal.finish(summary)

"""`pva show` and `pva matrix`: a scenario spelled out, and its projection matrix."""

from __future__ import annotations

from pathlib import Path

import click

from pva.cli.first_run import announce
from pva.cli.terminal import Terminal, shared_options


@click.command()
@click.argument("scenario", type=click.Path(path_type=Path), required=False)
@click.option("--twin", is_flag=True, help="Print the resolved scenario only, as YAML.")
@click.option("--published", is_flag=True, help="List the published values a scenario may take by "
                                                "`{published: KEY}`; needs no SCENARIO.")
@click.option("--trace", metavar="NAME", help="Follow one number back to its rows, its citation or "
                                              "its reason, such as survival/adult.")
@shared_options
def show(terminal: Terminal, scenario: Path | None, twin: bool, published: bool,
         trace: str | None) -> None:
    """Show a scenario with nothing implied: every default, source and assumption.

    With --out, writes NAME.resolved.yaml and NAME.show.json there; with --trace as well,
    NAME.trace.json and the rows of the field tables in NAME.trace.csv.
    """
    if published:
        from pva.cli.published import tell_published

        tell_published(terminal)
        return
    if scenario is None:
        raise click.UsageError("Name a SCENARIO, or ask for --published.")
    from pva.scenario.scenario import read_scenario

    question = read_scenario(scenario)
    if trace is not None:
        from pva.cli.tracing import tell_trace

        tell_trace(terminal, question, trace, calibrated(question.resolved), scenario.stem)
        return
    document = shown(question)
    if terminal.out is not None:
        _write_shown(terminal, question, document, scenario.stem)
    if twin:
        terminal.answer(question.twin_yaml().rstrip("\n"))
    else:
        _tell_shown(terminal, question, document)
    terminal.finish(document)


def shown(question) -> dict:
    """Everything `pva show` prints, as plain data."""
    from pva.results.summary import plain

    return plain({
        "scenario": question.resolved.title, "digest": question.digest,
        "twin": question.twin(), "parameters": question.parameters(),
        "assumptions": question.assumptions(), "calibrated": calibrated(question.resolved),
        "warnings": list(question.warnings)})


def calibrated(resolved) -> list[dict]:
    """Calibrated numbers by site, with target and place."""
    from pva.model.recruit_arrays import Calibrations
    from pva.scenario.resolved import Calibration
    from pva.scenario.tables import calibration_words

    solver, rows = Calibrations(resolved), []
    for site in resolved.sites:
        links = (site.recruitment.attachment, site.recruitment.settlement)
        if any(isinstance(link, Calibration) for link in links):
            for name, link, value in zip(("attachment", "settlement"), links,
                                         solver.best_of(site), strict=True):
                if isinstance(link, Calibration):
                    rows.append({"site": site.name, "name": name, "value": value,
                                 "target": calibration_words(link)})
    return rows


def _write_shown(terminal, question, document, stem):
    from pva.files import write_text_atomic
    from pva.results.store import write_json

    terminal.wrote(
        write_text_atomic(terminal.out / f"{stem}.resolved.yaml", question.twin_yaml()),
        write_json(terminal.out / f"{stem}.show.json", document))


def _tell_shown(terminal, question, document):
    terminal.say(question.twin_yaml())
    terminal.say("PARAMETERS")
    terminal.table(
        ["rate", "value", "what is not known", "years SD", "source", "remark"],
        [[p["name"], None if p["value"] is None else f"{p['value']:.4g}", p["doubt"],
          f"{p['years_sd']:.3g}" if p["years_sd"] else None,
          p["source_kind"] + (f": {p['source']}" if p["source"] else ""), p["note"]]
         for p in document["parameters"]])
    if document["calibrated"]:
        terminal.say("\nCALIBRATED")
        terminal.table(["site", "number", "value", "target"],
                      [[c["site"], c["name"], f"{c['value']:.4g}", c["target"]]
                       for c in document["calibrated"]])
    terminal.say("\nASSUMPTIONS")
    for number, sentence in enumerate(document["assumptions"], 1):
        terminal.say(f"{number:3}. {sentence}")
    terminal.say()
    weak = sum(p["low_confidence"] for p in document["parameters"])
    terminal.answer(f"{document['scenario']}: {len(document['parameters'])} parameters, {weak} of "
                   f"them assumed, calibrated or weakly founded; {len(document['assumptions'])} "
                   "assumptions.")
    terminal.warnings(document["warnings"])


@click.command()
@click.argument("scenario", type=click.Path(path_type=Path))
@shared_options
def matrix(terminal: Terminal, scenario: Path) -> None:
    """Show the projection matrix and what follows from it.

    With --out, writes NAME.matrix.json there.
    """
    from pva.scenario.scenario import read_scenario

    question = read_scenario(scenario)
    announce(terminal)
    from pva.results.matrix_summary import matrix_summary
    from pva.results.store import write_json

    summary = matrix_summary(question, seed=terminal.seed)
    if terminal.out is not None:
        terminal.wrote(write_json(terminal.out / f"{scenario.stem}.matrix.json", summary))
    _tell_matrix(terminal, question, summary)
    terminal.finish(summary)


def _tell_matrix(terminal, question, summary):
    from pva.cli.runs import tell_leading
    from pva.cli.sentences import answer_of_matrix, lives

    terminal.answer_with_seed(answer_of_matrix(summary), question, summary)
    for line in lives(summary):
        terminal.say(line)
    stages = summary["stages"]
    terminal.table(["to \\ from", *stages],
                  [[name, *(f"{x:.4g}" if x else "0" for x in row)]
                   for name, row in zip(stages, summary["matrix"], strict=True)],
                  title=f"Projection matrix, {summary['site']}, census {summary['census']}")
    terminal.table(["stage", "stable share", "worth", "life left, years"], _by_stage(summary))
    terminal.table(["rate", "elasticity"],
                  [[name, None if e is None else f"{e:.3f}"]
                   for name, e in _strongest(summary["rate_elasticities"])],
                  title="Per cent change of growth per per cent change of the rate")
    tell_leading(terminal, question)
    terminal.warnings(summary["warnings"])


def _strongest(elasticities):
    known = {k: v for k, v in elasticities.items() if v}
    return sorted(known.items(), key=lambda item: -abs(item[1]))[:12]


def _by_stage(summary):
    columns = [summary[k] or [None] * len(summary["stages"])
               for k in ("stable_stages", "reproductive_values", "life_expectancy_years")]
    return [[name, *(None if x is None else f"{x:.4g}" for x in row)]
            for name, *row in zip(summary["stages"], *columns, strict=True)]

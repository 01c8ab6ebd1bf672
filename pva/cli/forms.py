"""`pva form`: a scenario as a spreadsheet form, and a form as a scenario."""

from __future__ import annotations

from pathlib import Path

import click

from pva.cli.terminal import Terminal, shared_options

WORKBOOK, SCENARIO = ".xlsx", ".yaml"


@click.command()
@click.argument("path", metavar="SCENARIO|FORM", type=click.Path(path_type=Path))
@click.option("--to", type=click.Path(dir_okay=False, path_type=Path), metavar="FILE",
              help="File to write; else the same name beside it, or in --out.")
@click.option("--replace", is_flag=True, help="Write over a file that is there already.")
@shared_options
def form(terminal: Terminal, path: Path, to: Path | None, replace: bool) -> None:
    """Turn a scenario into a spreadsheet form (XLSX), or a form that was filled in into a scenario.

    A scenario gives a form with its sheets in the order of the animal's life; a form ending in
    .xlsx gives a scenario. What the two mean is the same.
    """
    back = path.suffix.lower() == WORKBOOK
    target = to or (terminal.out or path.parent) / (path.stem + (SCENARIO if back else WORKBOOK))
    _check_target(target, back, replace)
    question, absent = _to_scenario(terminal, path, target) if back else _to_form(path, target)
    terminal.wrote(target)
    new = target.with_name(f"{path.stem}-new{SCENARIO}")
    terminal.answer(
        f"Scenario: {target}. Next: pva check {_typed(target)}" if back else
        f"Form: {target}. Fill it in, then: pva form {_typed(target)} --to {_typed(new)}")
    terminal.warnings(list(question.warnings))
    terminal.finish({"from": str(path), "to": str(target), "scenario": question.resolved.title,
                     "digest": question.digest, "absent_sheets": list(absent),
                     "warnings": list(question.warnings)})


def _typed(path: Path) -> str:
    """A path as it is typed in a shell."""
    from shlex import quote

    return quote(path.as_posix())


def _check_target(target: Path, back: bool, replace: bool) -> None:
    from pva.errors import FormError, Problem

    endings = (SCENARIO, ".yml") if back else (WORKBOOK,)
    if target.suffix.lower() not in endings:
        raise FormError(Problem(f"a {'scenario' if back else 'form'} ends in {endings[0]}",
                                "Name another file with --to.", file=str(target),
                                code="wrong-ending"))
    if target.exists() and not replace:
        raise FormError(Problem("there is such a file already",
                                "Name another one with --to, or say --replace.",
                                done="Nothing was written.", file=str(target),
                                code="file-exists"))


def _to_form(path: Path, target: Path):
    from pva.scenario.scenario import read_scenario
    from pva.scenario.workbook_write import write_form

    question = read_scenario(path)
    write_form(target, question)
    return question, ()


def _to_scenario(terminal: Terminal, path: Path, target: Path):
    from pva.files import write_text_atomic
    from pva.scenario.workbook_read import open_form
    from pva.scenario.workbook_sheets import absent_words
    from pva.scenario.workbook_yaml import scenario_text

    filled = open_form(path)
    for line in absent_words(filled.absent):  # before a refusal too: it may be the reason
        terminal.note(line)
    question = filled.scenario()
    head = f"From the form {path.name}."
    if filled.absent:
        head += f"\nSheets that the form did not have: {', '.join(filled.absent)}."
    write_text_atomic(target, scenario_text(question, target.parent, head))
    return question, filled.absent

"""`pva new`: a commented study to fill in, which runs before anything is changed."""

from __future__ import annotations

from pathlib import Path

import click

from pva.cli.terminal import Terminal, shared_options

MAIN = {"planner": "plan", "reviewer": "goal", "researcher": "host-common"}
SCHEMA_LINE = "# yaml-language-server: $schema={}\n"
_NEXT = {
    "planner": ("pva stock {main}", "pva compare {main} {folder}/scenarios/double.yaml",
                "pva sensitivity {main}"),
    "reviewer": ("pva run {main}", "pva compare {main} {folder}/scenarios/survival-lower.yaml",
                 "pva show {main} --trace survival/adult", "pva sensitivity {main}"),
    "researcher": ("pva run {main}", "pva compare {main} {folder}/scenarios/host-scarce.yaml "
                   "{folder}/scenarios/host-blocked.yaml {folder}/scenarios/host-returns.yaml",
                   "pva explore {main} --vary number=0,100,300 "
                   "--vary 'sites.*.hosts.host fish.per_100m2.value=1,5,10'"),
}


@click.command()
@click.argument("folder", metavar="DIR", type=click.Path(file_okay=False, path_type=Path))
@click.option("--for", "reader", required=True, type=click.Choice(list(MAIN)),
              help="Whose question the study asks.")
@shared_options
def new(terminal: Terminal, folder: Path, reader: str) -> None:
    """Write a commented study to fill in, with field sheets for the crew, into a new folder DIR.

    All in it is invented and runs as it stands: look at the answer, then put in your own river from
    top to bottom. A folder that holds anything is never touched.
    """
    write_study(folder, reader)
    files = sorted(f for f in folder.rglob("*") if f.is_file())
    terminal.wrote(*files)
    main = folder / "scenarios" / f"{MAIN[reader]}.yaml"
    steps = next_steps(folder, reader)
    terminal.answer(f"A study for a {reader}, invented from end to end: {folder}")
    terminal.say(f"Open {folder / 'study.yaml'} and {main} beside each other, and type next:")
    for step in steps:
        terminal.say(f"  {step}")
    terminal.finish({"study": str(folder), "for": reader, "invented": True, "scenario": str(main),
                     "files": [str(f) for f in files], "next": steps})


def next_steps(folder: Path, reader: str) -> list[str]:
    """Commands to type after the study was written."""
    from shlex import quote

    place = quote(folder.as_posix())
    main = quote((folder / "scenarios" / f"{MAIN[reader]}.yaml").as_posix())
    own = (step.format(main=main, folder=place) for step in _NEXT[reader])
    return [f"pva check {place}", *own, f"pva report {place}"]


def write_study(folder: Path, reader: str) -> None:
    """Write the study beside the folder first, then put it in place in one step.

    Raises
    ------
    FormError
        The folder holds something, or cannot be made.
    """
    from pva.errors import FormError, Problem
    from pva.files import whole_folder

    if folder.exists() and any(folder.iterdir()):
        raise FormError(Problem("the folder is not empty", "Name a new one.",
                                done="Nothing was written.", file=str(folder),
                                code="folder-not-empty"))
    with whole_folder(folder) as beside:
        _fill(beside, reader)


def _fill(folder: Path, reader: str) -> None:
    from pva.cli.schemas import schema_of
    from pva.cli.sheets import write_sheets
    from pva.field import read_study
    from pva.files import shipped, write_text_atomic
    from pva.files.json_schema import schema_text

    source = shipped(f"scenarios/starters/{reader}")
    for kind in ("study", "scenario"):
        name, document = schema_of(kind)
        write_text_atomic(folder / "schema" / name, schema_text(document))
    for file in sorted(source.rglob("*.yaml")):
        name = file.relative_to(source)
        kind = "study" if name.name == "study.yaml" else "scenario"
        line = SCHEMA_LINE.format("../" * (len(name.parts) - 1) + f"schema/{kind}.schema.json")
        write_text_atomic(folder / name, line + file.read_text(encoding="utf-8"))
    write_sheets(folder / "field", read_study(folder))

"""`pva sheets`: field sheets that the reader takes as they are."""

from __future__ import annotations

from pathlib import Path

import click

from pva.cli.terminal import Terminal, shared_options

WORKBOOK, PAGE = "field-sheets.xlsx", "field-sheets.html"


@click.command()
@click.argument("study", type=click.Path(path_type=Path))
@shared_options
def sheets(terminal: Terminal, study: Path) -> None:
    """Write field sheets for the crew, with the sites and species of a study to choose from.

    Writes field-sheets.xlsx (to fill in, or to print) and field-sheets.html (to print) into field/
    of the study, or into --out. Sheets that are there already are never overwritten.
    """
    from pva.field import read_study

    read = read_study(study)
    files = write_sheets(terminal.out or read.folder / "field", read)
    terminal.wrote(*files)
    terminal.answer(f"Field sheets for {read.title}. Print either file; rows typed into {WORKBOOK} "
                    "are read as they stand.")
    for line in table_lines(Path(_from_study(files[0], read.folder)).as_posix()):
        terminal.say(line)
    terminal.finish({"sheets": [str(f) for f in files]})


def write_sheets(folder: Path, study) -> list[Path]:
    """Write workbook and page into a folder.

    Raises
    ------
    FormError
        One of them is there already: it may hold the crew's rows.
    """
    from pva.errors import FormError, Problem
    from pva.field.sheets_page import write_page
    from pva.field.sheets_workbook import write_workbook

    there = [folder / name for name in (WORKBOOK, PAGE) if (folder / name).exists()]
    if there:
        raise FormError([Problem("there is such a file already, and it may hold the crew's rows",
                                 "Move it away, or name another folder with --out.",
                                 done="Nothing was overwritten.", file=str(f), code="file-exists")
                         for f in there])
    return [write_workbook(folder / WORKBOOK, study), write_page(folder / PAGE, study)]


def table_lines(file: str) -> list[str]:
    """What study.yaml says of the workbook."""
    from pva.field.sheets import HEADING_ROW, KINDS_OF_SHEETS

    def said(kind):
        return f"file: {file}, sheet: {kind}, header_row: {HEADING_ROW}"

    rows = [f"  - {{{said(kind)}, is: {kind}}}" for kind in KINDS_OF_SHEETS if kind != "visits"]
    return ["In study.yaml, once rows are typed in:", "tables:", *rows,
            f"visits: {{from: {{{said('visits')}}}}}"]


def _from_study(file: Path, folder: Path) -> str:
    import os

    return os.path.relpath(file, folder)

"""`pva export`: answers, sites and records as files that other programs read."""

from __future__ import annotations

from collections.abc import Callable
from functools import cache
from pathlib import Path
from typing import Any

import click

from pva.cli.terminal import Terminal, shared_options
from pva.errors import PvaError

TABLES, PLACES = ("csv", "xlsx", "docx"), ("geojson", "darwin-core")
ANSWERS = "answers"  # what tables and documents are all made from


@click.command()
@click.argument("path", type=click.Path(path_type=Path), metavar="STUDY_OR_RESULTS")
@click.option("--as", "kinds", multiple=True, required=True, type=click.Choice(TABLES + PLACES),
              help="csv, xlsx: tables of runs and estimates. docx: one page for a director, and "
                   "tables. geojson: sites. darwin-core: records of units and visits. May be given "
                   "more than once.")
@click.option("--title", default="", metavar="TEXT",
              help="Name of the study; without it no name leaves.")
@click.option("--holder", default="", metavar="TEXT", help="Who holds the data (darwin-core).")
@click.option("--exact-places", is_flag=True,
              help="Write positions as recorded. Without it they are rounded to 0.1 degree.")
@click.option("--corners", is_flag=True, help="Write the corners of sites too (geojson, only with "
                                              "--exact-places).")
@click.option("--site-names", is_flag=True, help="Write names of sites into geojson and "
                                                 "darwin-core, not numbers alone.")
@shared_options
def export(terminal: Terminal, path: Path, kinds: tuple[str, ...], title: str, holder: str,
           exact_places: bool, corners: bool, site_names: bool) -> None:
    """Write answers and records as files for other programs.

    STUDY_OR_RESULTS is a study, a scenario, a folder of results or a .nc file of a run. Nothing is
    run: what is missing or out of date is left out and named, and so is a kind that cannot be
    written, with the reason. Writes into export/ beside it, or into --out.
    """
    from pva.cli.export_material import export_folder, source_of
    from pva.report.exports.places import Disclosure

    if corners and not exact_places:
        raise click.UsageError("--corners tells exact places: give --exact-places as well.")
    if (exact_places or site_names) and not set(kinds) & set(PLACES):
        raise click.UsageError("--exact-places and --site-names belong to geojson and "
                               "darwin-core; tables and documents hold no coordinates.")
    source = source_of(path)
    disclosed = Disclosure(exact_places, corners, site_names)
    folder = export_folder(source, terminal.out)
    asked = list(dict.fromkeys(kinds))
    made, refused = _attempted(_makers(terminal, source, asked, disclosed, title))
    if not made:
        raise _together(refused)
    written, left_out = ([k for k in asked if _basis(k) in some] for some in (made, refused))
    _tell_refused(terminal, refused, left_out)
    _write_places(terminal, folder, made, disclosed, title, holder)
    if ANSWERS in made:
        _write_tables(terminal, folder, kinds, title, *made[ANSWERS])
    terminal.answer(f"Exported as {', '.join(written)} into {folder}"
                    + (f", not as {', '.join(left_out)}." if left_out else "."))
    terminal.finish({"folder": str(folder), "files": [str(f) for f in terminal.files],
                     "not_written": {kind: _problems(refused[_basis(kind)]) for kind in left_out},
                     "exact_places": exact_places, "corners": corners, "site_names": site_names})


def _basis(kind: str) -> str:
    """What a kind is written from."""
    return ANSWERS if kind in TABLES else kind


def _makers(terminal, source, kinds, disclosed, title) -> dict[str, Callable[[], Any]]:
    """How that is made which the kinds are written from; nothing is written yet."""
    from pva.cli.export_material import material_of, records_of
    from pva.report.exports.darwin_core import darwin_core
    from pva.report.exports.geojson import sites_geojson
    from pva.report.exports.places import site_places
    from pva.report.exports.table_files import sheets_of

    records = cache(lambda: records_of(source))

    def geojson():
        places = site_places(source.study, records(), disclosed=disclosed)
        return sites_geojson(places, disclosed=disclosed, title=title)

    def tables():
        material = material_of(terminal, source)
        return material, sheets_of(material, title=title)

    makers = {"geojson": geojson, ANSWERS: tables,
              "darwin-core": lambda: darwin_core(source.study, records(), disclosed=disclosed)}
    return {basis: makers[basis] for basis in dict.fromkeys(map(_basis, kinds))}


def _attempted(makers: dict[str, Callable[[], Any]]) -> tuple[dict, dict[str, PvaError]]:
    """What could be made, and why the rest could not."""
    made, refused = {}, {}
    for basis, make in makers.items():
        try:
            made[basis] = make()
        except PvaError as error:
            refused[basis] = error
    return made, refused


def _together(refused: dict[str, PvaError]) -> PvaError:
    """All problems in one error, each once."""
    errors = list(refused.values())
    problems = dict.fromkeys(problem for error in errors for problem in error.problems)
    return type(errors[0])(problems)


def _tell_refused(terminal, refused, left_out) -> None:
    """Why kinds were not written; those with the same reason together."""
    reasons: dict[str, list[str]] = {}
    for kind in left_out:
        reasons.setdefault(str(refused[_basis(kind)]), []).append(kind)
    for reason, kinds in reasons.items():
        terminal.note(f"Not written: {', '.join(kinds)}. {reason}")


def _problems(error: PvaError) -> list[dict]:
    from pva.cli.guard import problem_as_dict

    return [problem_as_dict(problem) for problem in error.problems]


def _write_places(terminal, folder, made, disclosed, title, holder) -> None:
    from pva.report.exports.darwin_files import write_darwin_core
    from pva.report.exports.geojson import FILE
    from pva.results.store import write_json

    if set(made) & set(PLACES):
        for line in disclosed.words():
            terminal.note(line)
    if "geojson" in made:
        terminal.wrote(write_json(folder / FILE, made["geojson"]))
    if "darwin-core" in made:
        terminal.wrote(*write_darwin_core(folder / "darwin-core", made["darwin-core"],
                                          disclosed=disclosed, title=title, holder=holder))


def _write_tables(terminal, folder, kinds, title, material, sheets) -> None:
    from pva.report.exports.table_files import write_csv_tables, write_table_workbook

    terminal.note("Tables and documents name the sites, as the report does; think before passing "
                  "them on.")
    if "csv" in kinds:
        terminal.wrote(*write_csv_tables(folder / "csv", sheets))
    if "xlsx" in kinds:
        terminal.wrote(*write_table_workbook(folder, sheets))
    if "docx" in kinds:
        from pva.report.exports.document import (
            ONE_PAGE,
            TABLES,
            write_one_page,
            write_tables_document,
        )

        terminal.wrote(write_one_page(folder / ONE_PAGE, material, title=title),
                       write_tables_document(folder / TABLES, material, sheets, title=title))

"""`pva export`: answers, sites and records as files that other programs read."""

from __future__ import annotations

from pathlib import Path

import click

from pva.cli.terminal import Terminal, shared_options

TABLES, PLACES = ("csv", "xlsx", "docx"), ("geojson", "darwin-core")


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
    run: what is missing or out of date is left out and named. Writes into export/ beside it, or
    into --out.
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
    if set(kinds) & set(PLACES):
        _write_places(terminal, source, folder, kinds, disclosed, title, holder)
    if set(kinds) & set(TABLES):
        _write_tables(terminal, source, folder, kinds, title)
    terminal.answer(f"Exported as {', '.join(dict.fromkeys(kinds))} into {folder}.")
    terminal.finish({"folder": str(folder), "files": [str(f) for f in terminal.files],
                     "exact_places": exact_places, "corners": corners, "site_names": site_names})


def _write_places(terminal, source, folder, kinds, disclosed, title, holder) -> None:
    from pva.errors import MeaningError, Problem
    from pva.field import read_records
    from pva.report.exports.darwin_core import darwin_core
    from pva.report.exports.darwin_files import write_darwin_core
    from pva.report.exports.geojson import FILE, sites_geojson
    from pva.report.exports.places import site_places
    from pva.results.store import write_json

    if source.study is None:
        raise MeaningError(Problem("sites and records stand in a study, not in results",
                                   "Name the folder of the study.", file=str(source.folder),
                                   code="export-needs-study"))
    for line in disclosed.words():
        terminal.note(line)
    records = read_records(source.study)
    if "geojson" in kinds:
        places = site_places(source.study, records, disclosed=disclosed)
        terminal.wrote(write_json(folder / FILE,
                                  sites_geojson(places, disclosed=disclosed, title=title)))
    if "darwin-core" in kinds:
        found = darwin_core(source.study, records, disclosed=disclosed)
        terminal.wrote(*write_darwin_core(folder / "darwin-core", found, disclosed=disclosed,
                                          title=title, holder=holder))


def _write_tables(terminal, source, folder, kinds, title) -> None:
    from pva.cli.export_material import material_of
    from pva.report.exports.table_files import sheets_of, write_csv_tables, write_table_workbook

    material = material_of(terminal, source)
    sheets = sheets_of(material, title=title)
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

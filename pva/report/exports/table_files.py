"""Tables as a folder of CSV files and as one workbook."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

from pva.files import csv_text, write_text_atomic
from pva.report.exports.estimate_sheets import estimate_sheets
from pva.report.exports.facts import readme_sheet
from pva.report.exports.run_sheets import run_sheets
from pva.report.exports.sheets import Sheet
from pva.report.exports.workbook import write_workbook
from pva.report.material import Material

WORKBOOK = "tables.xlsx"


def sheets_of(material: Material, *, title: str = "") -> list[Sheet]:
    """The readme first, then every table that holds something."""
    tables = [*run_sheets(material), *estimate_sheets(material)]
    return [readme_sheet(material, tables, title=title), *tables]


def write_csv_tables(folder: Path, sheets: Sequence[Sheet]) -> list[Path]:
    """One CSV a table, named after it."""
    return [write_text_atomic(folder / f"{one.name}.csv", csv_text(one.columns, one.rows))
            for one in sheets]


def write_table_workbook(folder: Path, sheets: Sequence[Sheet]) -> list[Path]:
    """All tables in one workbook."""
    return [write_workbook(folder / WORKBOOK, sheets)]

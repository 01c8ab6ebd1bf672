"""What was really delivered, read from a table and put into the scenario."""

from __future__ import annotations

import os
from pathlib import Path

from pva.errors import DataError, Problem
from pva.files import read_table
from pva.scenario.resolve_rates import nearest
from pva.scenario.scenario import Scenario

_COLUMNS = ("year", "release", "number")


def with_deliveries(scenario: Scenario, path: str | os.PathLike) -> Scenario:
    """The scenario with `delivered_so_far` of its releases taken from a table.

    Rows of one release and year are added up.

    Parameters
    ----------
    scenario : Scenario
    path : path
        CSV or XLSX with the columns year, release (name of a release row; may be left out where
        there is one) and number.

    Returns
    -------
    Scenario

    Raises
    ------
    DataError
        If a column is missing or a row cannot be read; all rows together.
    MeaningError
        If the deliveries do not fit the plan.
    """
    names = [r.name for r in scenario.resolved.releases if not r.made]
    table = read_table(path, wanted=_COLUMNS)
    columns = [str(c).strip().lower() for c in table.header]
    needed = _COLUMNS if len(names) > 1 else ("year", "number")
    missing = [c for c in needed if c not in columns]
    if missing:
        raise DataError(Problem(
            f"the table of deliveries has no column {' and no column '.join(missing)}",
            "Its columns are year, release and number.", file=Path(path).name,
            code="deliveries-columns"))
    problems, found = [], {}
    for cells, row in zip(table.rows, table.numbers, strict=True):
        read = dict(zip(columns, cells, strict=False))
        name = read["release"].strip() if "release" in columns else names[0]
        wrong = _wrong(read, name, names)
        if wrong:
            problems.append(Problem(wrong[0], wrong[1], file=Path(path).name,
                                    line=row, code="deliveries-row"))
            continue
        years = found.setdefault(name, {})
        year = int(read["year"])
        years[year] = years.get(year, 0.0) + float(read["number"])
    if problems:
        raise DataError(problems)
    return scenario.with_changes({("releases", n, "delivered_so_far"): y for n, y in found.items()})


def _wrong(read: dict, name: str, names: list[str]) -> tuple[str, str] | None:
    if name not in names:
        return f"there is no release `{name}` to plan", nearest(name, names)
    if not read["year"].strip().isdigit():
        return f"the year reads `{read['year']}`", "Write a year, such as 2026."
    try:
        fine = float(read["number"]) >= 0
    except ValueError:
        fine = False
    return None if fine else (f"the number reads `{read['number']}`",
                              "Write the animals released, 0 or more.")

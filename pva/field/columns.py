"""The columns of a raw table under their trade names: composed, mapped, still text."""

from __future__ import annotations

import re

import pandas as pd

from pva.errors import DataError, Problem
from pva.field.account import LedgerTable
from pva.field.form import nearest
from pva.field.spec import UNIT_FACTORS, ColumnPart, ColumnSource, TableFile, targets
from pva.files.headers import plain_name

BLANKS = {"", "-", "--", "–", "—", ".", "na", "n/a", "nan", "null"}
NOT_A_LENGTH = {"nan", "null"}  # left behind by a program: a length was lost on the way
MOST_COLUMNS_SHOWN = 12
# of each choice one column at least; without it every row would be set aside for the same reason
NEEDED = {
    "releases": [("site",), ("date",)],
    "visits": [("site",), ("first_date",)],
    "encounters": [("date", "visit"), ("site", "visit")],
    "reader log": [("tag",), ("date", "visit"), ("site", "visit")],
    "units": [("unit",), ("site",), ("area_m2",)],
    "animals": [("unit",)],
    "hosts": [("host",), ("site",), ("date",), ("count",)],
}
_NUMBER = re.compile(r"([+-]?(?:\d+\.?\d*|\.\d+)(?:[eE][+-]?\d+)?) ?(mm|cm|m|m2|m²|ft2)?")


def text_columns(table: LedgerTable, spec: TableFile) -> pd.DataFrame:
    """Bring a table to its trade names.

    Parameters
    ----------
    table : LedgerTable
        The table, entered in the account; its `places` are filled in here.
    spec : TableFile
        How the study says it is to be read.

    Returns
    -------
    DataFrame
        Index: row of the ledger. Every target of this kind as text ("" where blank or absent),
        the crew's other columns under their own names, `file` and `row`.

    Raises
    ------
    DataError
        A column named in the study, or one that no row can do without, is not in the table.
    """
    raw = table.raw
    width = len(raw.header)
    cells = pd.DataFrame([row[:width] for row in raw.rows], columns=range(width), dtype=object,
                         index=range(table.start, table.stop))
    sources = _sources(table, spec)
    _check_needed(table, spec, sources)
    made = {}
    for target in targets(table.kind):
        filler, source = spec.fill.get(target, ""), sources.get(target)
        if source is None:
            made[target] = pd.Series(filler, index=cells.index, dtype=object)
            continue
        column = _composed(cells, table, target, source)
        made[target] = _worded(column, spec.values.get(target, {}), filler, target)
    taken = {i for places in table.places.values() for i in places}
    for i, name in enumerate(raw.header):
        if i not in taken:
            made[name if name not in made and name not in ("file", "row", "animal", "flags")
                 else f"{name} (as written)"] = cells[i].where(cells[i] != "", None)
    frame = pd.DataFrame(made, index=cells.index)
    return frame.assign(file=table.label, row=raw.numbers)


def _sources(table: LedgerTable, spec: TableFile) -> dict[str, ColumnSource]:
    """Mapped columns, and for the rest the column that bears the target's own name."""
    own = {plain_name(name): name for name in table.raw.header}
    mapped = {plain_name(p.column) for s in spec.columns.values() for p in s.parts()}
    sources = dict(spec.columns)
    for target in targets(table.kind):
        level = plain_name(target)
        if target not in sources and level in own and level not in mapped:
            sources[target] = ColumnSource(column=own[level])
    return sources


def targets_of_columns(table: LedgerTable, spec: TableFile) -> dict[int, str]:
    """Trade name of each column of a table that stands for one."""
    return {_place(table, part): target for target, source in _sources(table, spec).items()
            for part in source.parts()}


def _check_needed(table: LedgerTable, spec: TableFile, sources: dict) -> None:
    """Refuse a table in which every row would lack the same thing."""
    there = set(sources) | set(spec.fill)
    missing = [choice for choice in NEEDED[table.kind] if not there & set(choice)]
    if not missing:
        return
    said = " nor for ".join(" or ".join(choice) for choice in missing)
    columns = ", ".join(table.raw.header[:MOST_COLUMNS_SHOWN])
    more = len(table.raw.header) - MOST_COLUMNS_SHOWN
    columns += f" and {more} more" if more > 0 else ""
    name = missing[0][0]
    raise DataError(Problem(
        f"a table of {table.kind} needs columns that are missing: none stands for {said}. Its "
        f"columns are {columns}",
        f"Say under this table in the study which column it is, such as `columns: {{{name}: YOUR "
        f"COLUMN}}`, or one value for all rows, such as `fill: {{{name}: VALUE}}`. If the names of "
        "the columns look wrong, state `header_row` or `delimiter`.",
        why="Without it no row can be used", done="No row was read.", file=table.label,
        line=table.raw.header_at or None,
        code="column-missing"))


def _composed(cells: pd.DataFrame, table: LedgerTable, target: str, source: ColumnSource
              ) -> pd.Series:
    parts = source.parts()
    places = [_place(table, part) for part in parts]
    table.places[target] = places
    made = None
    for part, place in zip(parts, places, strict=True):
        text = cells[place]
        if part.first:
            text = text.str[:part.first]
        if part.last:
            text = text.str[-part.last:]
        if made is None:
            made = text
        else:
            # a tag with one half missing is no tag
            whole = (made != "") & (text != "")
            made = (made + source.between + text).where(whole, "")
    return made


def _place(table: LedgerTable, part: ColumnPart) -> int:
    level = plain_name(part.column)
    for i, name in enumerate(table.raw.header):
        if plain_name(name) == level:
            return i
    if level.isdigit() and 1 <= int(level) <= len(table.raw.header):
        return int(level) - 1
    raise DataError(Problem(
        f"the table has no column `{part.column}`", nearest(part.column, table.raw.header),
        file=table.label, line=table.raw.header_at or None, code="column-missing"))


def _worded(column: pd.Series, words: dict[str, str], filler: str, target: str) -> pd.Series:
    """Apply the study's words, take blanks out, and fill what the study fills."""
    levelled = {" ".join(k.casefold().split()): v for k, v in words.items()}

    def word(cell: str) -> str:
        level = " ".join(cell.casefold().split())
        if level in levelled:
            return levelled[level]
        if target == "length_mm" and level in NOT_A_LENGTH:
            return cell
        if level in BLANKS and not (target == "remarks" and cell):
            return filler
        return cell

    distinct = {cell: word(cell) for cell in pd.unique(column)}
    return column.map(distinct).astype(object)


def numbers(column: pd.Series, table: LedgerTable, spec: TableFile, target: str) -> pd.Series:
    """Text to numbers in the unit of the target.

    Returns
    -------
    Series of float
        NaN where blank; infinite where the text is no number (the caller says what follows).
    """
    comma = spec.decimal == "comma" or (spec.decimal is None and table.raw.delimiter in (";", "\t"))
    source = spec.columns.get(target)
    unit = source.unit if source else None
    base = UNIT_FACTORS["cm"] if target == "depth_cm" else 1.0

    def number(cell: str) -> float:
        if cell == "":
            return float("nan")
        text = cell.replace(",", ".") if comma and cell.count(",") == 1 else cell
        found = _NUMBER.fullmatch(text.strip().lower())
        if not found:
            return float("inf")
        said = (found[2] or "").replace("²", "2") or unit
        factor = UNIT_FACTORS[said] / base if said else 1.0
        return float(found[1]) * factor

    distinct = {cell: number(cell) for cell in pd.unique(column)}
    return column.map(distinct).astype(float)


def none_for_blank(column: pd.Series) -> pd.Series:
    """Text with None where nothing was written."""
    return column.astype(object).where(column != "", None)

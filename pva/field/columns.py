"""The columns of a raw table under their trade names: composed, mapped, still text."""

from __future__ import annotations

import re

import pandas as pd

from pva.errors import DataError, Problem
from pva.field.account import LedgerTable, RowLedger
from pva.field.form import nearest
from pva.field.spec import UNIT_FACTORS, ColumnPart, ColumnSource, TableFile, targets
from pva.files.headers import plain_name

BLANKS = {"", "-", "--", "–", "—", ".", "na", "n/a", "nan", "null"}
NOT_A_LENGTH = {"nan", "null"}  # left behind by a program: a length was lost on the way
_NUMBER = re.compile(r"([+-]?(?:\d+\.?\d*|\.\d+)(?:[eE][+-]?\d+)?) ?(mm|cm|m|m2|m²|ft2)?")


def text_columns(ledger: RowLedger, table: LedgerTable, spec: TableFile) -> pd.DataFrame:
    """Bring a table to its trade names.

    Parameters
    ----------
    ledger : RowLedger
        Account that the table has been entered in.
    table : LedgerTable
        The table; its `places` are filled in here.
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
        A column named in the study is not in the table.
    """
    raw = table.raw
    width = len(raw.header)
    for place, cells in enumerate(raw.rows):
        if len(cells) > width:
            ledger.set_aside("row-too-long", table.start + place,
                             value=", ".join(c for c in cells[width:] if c))
    cells = pd.DataFrame([row[:width] for row in raw.rows], columns=range(width), dtype=object,
                         index=range(table.start, table.stop))
    sources = _sources(table, spec)
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
    raise DataError(Problem(
        f"the table has no column `{part.column}`", nearest(part.column, table.raw.header),
        file=table.label, line=1, code="column-missing"))


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

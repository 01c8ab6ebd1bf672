"""A table of the study opened: its header found, or the table read without one."""

from __future__ import annotations

import re
from pathlib import Path

from pva.errors import DataError, Problem
from pva.field.dates import AMBIGUOUS, read_date
from pva.field.spec import TableFile, targets
from pva.field.study import Study
from pva.field.tags import ISO, TEST, read_tag
from pva.files import RawTable, read_table
from pva.files.headers import NO_HEADER, plain_name

_MOST_SHOWN = 4


def open_table(study: Study, kind: str, spec: TableFile, path: Path | None = None) -> RawTable:
    """Read one table of the study into cells of text; with `path`, another file in its place.

    Columns named by number mean that the table has no header, unless `header_row` says where it
    stands.

    Raises
    ------
    DataError
        The table cannot be read, or the row taken for the header holds data.
    """
    named = [part.column for source in spec.columns.values() for part in source.parts()]
    by_number = bool(named) and all(name.isdigit() for name in named)
    header_row = NO_HEADER if by_number and spec.header_row is None else spec.header_row
    wanted = targets(kind) if by_number or not named else named
    raw = read_table(path or study.place(spec.file), sheet=spec.sheet, delimiter=spec.delimiter,
                     header_row=header_row, wanted=wanted)
    if header_row is None and _holds_data(raw.header, [*wanted, *targets(kind)]):
        shown = ", ".join(raw.header[:_MOST_SHOWN])
        raise DataError(Problem(
            f"row {raw.header_at} ({shown}) holds data, where the names of the columns are looked "
            "for", "If the table has no header, write `header_row: none` and name the columns by "
            "number, such as `columns: {tag: 1, date: 2}`; else correct `header_row`.",
            why="It would be lost as a record", done="No row was read.", file=spec.label,
            line=raw.header_at, code="header-is-data"))
    return raw


def _holds_data(header: list[str], known: list[str]) -> bool:
    names = {plain_name(name) for name in known}
    if any(plain_name(cell) in names for cell in header):
        return False
    return any(is_transponder(cell) or is_date(cell) for cell in header)


def is_transponder(cell: str) -> bool:
    """Whether a cell can only be a transponder's number."""
    return bool(cell) and read_tag(cell).kind in (ISO, TEST)


def is_date(cell: str) -> bool:
    """Whether a cell is a date written with year, month and day."""
    if not re.search(r"\d.*\D.*\d", cell):
        return False
    read = read_date(cell)
    return read.date is not None and not read.serial or read.fault == AMBIGUOUS

"""Tables as text for spreadsheets: text that would run as a formula is made harmless, and back.

A spreadsheet takes text that begins with = + - or @ for a formula, whoever wrote it, and some do so
after a tab or a line end; names and remarks come from people. Such text gets one apostrophe in
front, which is how spreadsheets themselves mark text. Numbers are left alone. Every table that the
package writes goes through here; `restored` takes the apostrophe off where a table is read again.
"""

from __future__ import annotations

import re
from collections.abc import Iterable
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    import pandas as pd

MARK = "'"
_SIGNS = "=+\\-@\uff1d\uff0b\uff0d\uff20"  # and their wide forms
_RISKY = re.compile(rf"'*(?:[\t\r\n]|\s*[{_SIGNS}])")
_CONTROLS = re.compile(r"[\x00-\x08\x0b\x0c\x0e-\x1f\ud800-\udfff\ufffe\uffff]")
_NUMBER = re.compile(r"[+-]?(?:\d+(?:[.,]\d*)?|[.,]\d+)(?:[eE][+-]?\d+)?")


def harmless(value: Any) -> Any:
    """A cell as it may stand in a table: risky text with an apostrophe in front, all else as it is.

    Text that already begins with apostrophes before a sign gets one more, so that `restored`
    always gives back what was written.
    """
    if isinstance(value, str) and _RISKY.match(value) and not _NUMBER.fullmatch(value):
        return MARK + value
    return value


def restored(value: Any) -> Any:
    """What `harmless` was given."""
    if isinstance(value, str) and value.startswith(MARK) and _RISKY.match(value):
        return value[1:]
    return value


def printable(text: str) -> str:
    """Text without the signs that neither a workbook nor XML can hold."""
    return _CONTROLS.sub("", text)


def csv_text(header: Iterable, rows: Iterable[Iterable]) -> str:
    """A table as CSV, every cell `harmless`; None is an empty cell."""
    return "".join(_line(row) for row in (header, *rows))


def frame_text(frame: pd.DataFrame) -> str:
    """A data frame without its index as CSV, every cell `harmless`; what is missing is empty."""
    columns = []
    for _, column in frame.items():
        if column.dtype.kind == "M":
            column = column.dt.strftime("%Y-%m-%d")
        cells = column.astype(object)
        columns.append(cells.where(cells.notna(), None).tolist())
    return csv_text(frame.columns, zip(*columns, strict=True))


def _line(row: Iterable) -> str:
    cells = [_cell(value) for value in row]
    # a lone empty cell would read as no row at all
    return ('""' if cells == [""] else ",".join(cells)) + "\n"


def _cell(value: Any) -> str:
    """A cell as CSV; line ends of every kind are quoted, or a reader would begin a row there."""
    if value is None:
        return ""
    text = repr(float(value)) if isinstance(value, float) else str(harmless(value))
    quoted = any(sign in text for sign in '",\r\n')
    return '"' + text.replace('"', '""') + '"' if quoted else text

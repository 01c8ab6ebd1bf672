"""Lines of a table that are no records: headers repeated, messages of a tag reader."""

from __future__ import annotations

import pandas as pd

from pva.field.account import LedgerTable, RowLedger
from pva.field.dates import read_date
from pva.field.tags import PLAIN, read_tag


def set_aside_no_records(ledger: RowLedger, table: LedgerTable, frame: pd.DataFrame) -> None:
    """Set aside headers repeated, a reader's messages, and rows longer than the header.

    Parameters
    ----------
    ledger : RowLedger
    table : LedgerTable
        Entered in the ledger, its places known.
    frame : DataFrame
        Its text under trade names, indexed by row of the ledger.
    """
    header = [cell.casefold() for cell in table.raw.header]
    width = len(header)
    for row, cells in enumerate(table.raw.rows, table.start):
        if cells[0].casefold() == header[0] and [c.casefold() for c in cells[:width]] == header:
            ledger.set_aside("header-repeated", row)
    if table.kind == "reader log":
        _messages(ledger, table, frame)
    for row, cells in enumerate(table.raw.rows, table.start):
        if len(cells) > width:
            # the surplus itself is not repeated: it may be a position split at its comma
            ledger.set_aside("row-too-long", row, surplus=len(cells) - width)


def _messages(ledger: RowLedger, table: LedgerTable, frame: pd.DataFrame) -> None:
    """Lines of a reader's log that name no transponder, and no day either or only words."""
    spoken = {text: _is_words(text) for text in pd.unique(frame["tag"])}
    doubtful = frame.index[frame["tag"].map(spoken) != ""]
    for row in doubtful:
        said = spoken[frame.at[row, "tag"]]
        if said == "no tag" and (_day_or_visit(frame, row)):
            continue
        cells = table.raw.rows[row - table.start]
        ledger.set_aside("reader-message", row, value=" ".join(c for c in cells if c))


def _is_words(text: str) -> str:
    """`words` for a sentence, `no tag` for what is no transponder's number, else nothing."""
    if text == "":
        return "no tag"
    tag = read_tag(text)
    if tag.kind != PLAIN or (tag.fault and sum(c.isdigit() for c in text) >= 8):
        return ""
    letters = [word for word in text.split() if word.isalpha()]
    return "words" if len(letters) >= 2 or not any(c.isdigit() for c in text) else "no tag"


def _day_or_visit(frame: pd.DataFrame, row: int) -> bool:
    if frame.at[row, "visit"]:
        return True
    written = frame.at[row, "date"]
    return bool(written) and read_date(written).fault != "date-unreadable"

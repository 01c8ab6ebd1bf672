"""Encounters of one table: what was seen, how, how long, and where; still without an animal."""

from __future__ import annotations

import re

import pandas as pd

from pva.errors import DataError, Problem
from pva.field.batch_marks import batch_marks
from pva.field.cells import TableReader
from pva.field.positions import check_positions
from pva.field.records import ALIVE, COLUMNS, HEARD, REMOVED, SHELL
from pva.field.releases import marks

STATUS_WORDS = {
    "alive": ALIVE, "live": ALIVE, "living": ALIVE, "seen alive": ALIVE,
    "heard": HEARD, "heard only": HEARD, "tag heard": HEARD,
    "shell": SHELL, "shell found": SHELL, "dead": SHELL, "fresh dead": SHELL, "dead shell": SHELL,
    "empty shell": SHELL, "removed": REMOVED,
}
RELEASE, ENCOUNTER = "release", "encounter"
EVENT_WORDS = {"release": RELEASE, "encounter": ENCOUNTER}
_DEAD_WORDS = re.compile(r"\b(dead|died|deceased|mortality|DOA|empty shell|shell only|valves?|"
                         r"carcass|relict?|subfossil|FD)\b", re.IGNORECASE)
_NOT_DEAD = re.compile(r"\b(not|no|never) (\w+ )?(dead|mortality)\b", re.IGNORECASE)


def read_encounters(reader: TableReader, known: dict[str, str]) -> dict[str, pd.Series]:
    """Typed columns of one table of encounters or of one reader log.

    Parameters
    ----------
    reader : TableReader
    known : dict
        Released tags to words about them, for messages.

    Raises
    ------
    DataError
        The table does not say whether animals were alive.
    """
    log = reader.table.kind == "reader log"
    if not log and not reader.present("status"):
        raise DataError(Problem(
            "the table has no column that says whether an animal was alive, heard, a shell or "
            "removed", "Map it (`columns: {status: ...}`), or, when every row is a live animal, "
            "write `fill: {status: alive}` under this table in the study.",
            done="No row was read.", file=reader.table.label, code="status-not-stated"))
    made = {
        "tag": reader.tags(known=known),
        "species": reader.species(),
        "site": reader.sites(required=False),
        "date": reader.dates(required=False),
        "status": _status(reader, log),
        "length_mm": reader.lengths(),
        "second_mark": marks(reader),
        "batch_mark": batch_marks(reader),
        "effort_hours": reader.numbers("effort_hours", least=0),
        "event": reader.words("event", EVENT_WORDS, "event-unknown"),
        "pass": reader.numbers("pass", above=0),
    }
    if log:
        for row in reader.rows(reader.frame["tag"] == ""):
            reader.ledger.set_aside("tag-missing", row, "tag")
    made["latitude"], made["longitude"] = check_positions(reader, made["site"])
    _dead_in_remarks(reader, made["status"])
    return made


def _status(reader: TableReader, log: bool) -> pd.Series:
    if log and not reader.present("status"):
        return pd.Series(HEARD, index=reader.frame.index, dtype=object)
    return reader.words("status", STATUS_WORDS, "status-unknown", "status-missing")


def _dead_in_remarks(reader: TableReader, status: pd.Series) -> None:
    remarks = reader.frame["remarks"]
    said = {t: bool(_DEAD_WORDS.search(t)) and not _NOT_DEAD.search(t) for t in pd.unique(remarks)}
    for row in reader.rows(remarks.map(said) & status.isin([ALIVE, HEARD])):
        if row not in reader.ledger.aside:
            reader.ledger.flag("dead-only-in-remarks", row, "remarks", status=status[row])


def finish_encounters(reader: TableReader, made: dict[str, pd.Series]) -> pd.DataFrame:
    """The table of encounters once its visits are known."""
    method = reader.text("method")
    if reader.table.kind == "reader log":
        method = method.where(method.notna(), "reader")
    made = made | {"animal": made["tag"], "method": method}
    return reader.finish(made, COLUMNS["encounters"])

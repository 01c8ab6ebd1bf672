"""Batch marks in one wording: present, not checked, a mark by its name, or none."""

from __future__ import annotations

import pandas as pd

from pva.field.cells import TableReader, counted, level

PRESENT, NOT_CHECKED = "present", "not checked"

_ABSENT = {"absent", "none", "no", "n", "no mark", "no marks", "unmarked", "not marked",
           "not present", "without", "nil", "0"}
_PRESENT = {PRESENT, "yes", "y", "marked", "mark present"}
_NOT_CHECKED = {NOT_CHECKED, "unchecked", "not examined", "not looked at", "not looked for",
                "unknown", "uncertain", "unsure", "unclear", "cannot tell", "can't tell", "?",
                "nc", "illegible", "worn"}


def batch_marks(reader: TableReader) -> pd.Series:
    """The batch mark of each row; None where there was none, or where nothing is written.

    An animal whose mark was not looked for is no unmarked animal, so it is never a recruit.
    """
    text = reader.frame["batch_mark"]
    read = {t: _read(t) for t in pd.unique(text)}
    found = text.map(read).astype(object)
    unchecked = int((found == NOT_CHECKED).sum())
    said_absent = sum(level(t) in _ABSENT for t in read)
    blank = int((text == "").sum())
    if unchecked:
        reader.notes.append(
            f"{reader.table.label}: {counted(unchecked, 'animal')} whose batch mark was not "
            "checked, counted neither as marked nor as unmarked.")
    if blank and said_absent and reader.present("batch_mark"):
        reader.notes.append(
            f"{reader.table.label}: {counted(blank, 'row')} with a blank batch mark where others "
            "say that there was none; blanks were read as no mark. If nobody looked, write `fill: "
            "{batch_mark: not checked}` under this table in the study.")
    return found.where(found.notna(), None)


def _read(text: str) -> str | None:
    word = level(text)
    if word == "" or word in _ABSENT:
        return None
    if word in _PRESENT:
        return PRESENT
    return NOT_CHECKED if word in _NOT_CHECKED else " ".join(text.split())

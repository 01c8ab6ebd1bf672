"""Rows that a person has corrected, and decisions about rows, read back into the study."""

from __future__ import annotations

import dataclasses
import re

from pva.errors import DataError, Problem
from pva.field.account import as_listed
from pva.field.study import Study
from pva.files import RawTable, read_table, restored

DECISIONS = ("use", "leave out")


class Corrections:
    """Corrected rows of a study, put in place of the rows they name.

    Parameters
    ----------
    study : Study
        With `corrected` naming a table that has the columns of set_aside.csv.
    """

    def __init__(self, study: Study):
        self.file = study.spec.corrected
        self.table = _as_written(read_table(study.place(self.file), wanted=["file", "row"])) \
            if self.file else None
        self.lines: dict[tuple[str, int], tuple[int, dict[str, str]]] = {}
        self.used: set[tuple[str, int]] = set()
        if self.table is not None:
            self._enter()

    def _enter(self) -> None:
        problems = []
        for name in ("file", "row"):
            if name not in self.table.header:
                problems.append(Problem(f"the table has no column `{name}`", "Keep the columns of "
                                        "set_aside.csv.", file=self.file, code="column-missing"))
        if problems:
            raise DataError(problems)
        for number, cells in zip(self.table.numbers, self.table.rows, strict=True):
            line = dict(zip(self.table.header, cells, strict=False))
            row = _whole(line["row"])
            if row is None or (line["file"], row) in self.lines:
                problems.append(Problem(
                    f"{line['file']} row {line['row']} is named twice or is no row number",
                    "Name every corrected row once.", file=self.file, line=number,
                    code="correction-twice"))
                continue
            self.lines[line["file"], row] = (number, line)
        if problems:
            raise DataError(problems)

    def apply(self, label: str, raw: RawTable) -> RawTable:
        """The table with its corrected rows in place.

        Raises
        ------
        DataError
            The table has changed since the row was set aside, so that the correction might fall
            on another row.
        """
        if not any(file == label for file, _ in self.lines):
            return raw
        rows, problems = list(raw.rows), []
        for place, number in enumerate(raw.numbers):
            if (label, number) not in self.lines:
                continue
            at, line = self.lines[label, number]
            self.used.add((label, number))
            if not _still_there(line, raw.header, rows[place]):
                problems.append(Problem(
                    f"row {number} of {label} no longer holds `{line['value']}` in column "
                    f"{line['column']}; the table has changed since", "Run the estimates again "
                    "without this correction, then correct the new set_aside.csv.",
                    file=self.file, line=at, code="correction-out-of-date"))
                continue
            rows[place] = [line.get(as_listed(name), cell)
                           for name, cell in zip(raw.header, rows[place], strict=False)]
        if problems:
            raise DataError(problems)
        return dataclasses.replace(raw, rows=rows)

    def check_all_used(self) -> None:
        """Refuse corrections of rows that do not exist."""
        missing = [key for key in self.lines if key not in self.used]
        if missing:
            raise DataError([Problem(
                f"there is no row {row} in {file}", "Correct the columns `file` and `row`.",
                file=self.file, line=self.lines[file, row][0], code="correction-of-no-row")
                for file, row in missing])


def _as_written(table: RawTable) -> RawTable:
    """The table with the cells of the crew as they were before set_aside.csv was written."""
    return dataclasses.replace(table, header=[restored(name) for name in table.header],
                               rows=[[restored(cell) for cell in row] for row in table.rows])


def _still_there(line: dict[str, str], header: list[str], cells: list[str]) -> bool:
    column, value = line.get("column", ""), line.get("value", "")
    if column not in header:
        return True
    cell = cells[header.index(column)]
    return not value or value == cell or _same_number(cell, value)


def _same_number(cell: str, value: str) -> bool:
    """set_aside.csv may hold a number written another way (54 for 54.0)."""
    try:
        return float(cell.replace(",", ".")) == float(value.replace(",", "."))
    except ValueError:
        return False


def read_decisions(study: Study) -> dict[tuple[str, int], tuple[str, str, str, str]]:
    """Decisions of accepted.csv: (file, row) to (decision, who, date, why).

    `row` is written ``field/recaptures.csv row 214``, or as a number beside a column `file`.
    `use` keeps a row from being flagged; `leave out` sets it aside.

    Raises
    ------
    DataError
        Unknown decisions, or rows without who, date and why; all together.
    """
    file = study.spec.accepted
    if not file:
        return {}
    table = read_table(study.place(file), wanted=["row", "decision", "who", "date", "why"])
    missing = [n for n in ("row", "decision", "who", "date", "why") if n not in table.header]
    if missing:
        raise DataError(Problem(f"the table has no column {', '.join(missing)}",
                                "It needs row, decision, who, date and why.", file=file, line=1,
                                code="column-missing"))
    problems, decisions = [], {}
    for number, cells in zip(table.numbers, table.rows, strict=True):
        line = dict(zip(table.header, cells, strict=False))
        named = _named_row(line)
        decision = line["decision"].casefold()
        if named is None:
            what, todo = f"`{line['row']}` names no row", "Write: FILE row NUMBER."
        elif decision not in DECISIONS:
            what, todo = f"there is no decision `{line['decision']}`", "Write use or leave out."
        elif not (line["who"] and line["date"] and line["why"]):
            what, todo = "a decision needs who, date and why", "Fill them in."
        else:
            decisions[named] = (decision, line["who"], line["date"], line["why"])
            continue
        problems.append(Problem(what, todo, file=file, line=number, code="decision-unclear"))
    if problems:
        raise DataError(problems)
    return decisions


def _named_row(line: dict[str, str]) -> tuple[str, int] | None:
    if line.get("file"):
        row = _whole(line["row"])
        return (line["file"], row) if row is not None else None
    found = re.fullmatch(r"(.+?)(?:,? row |:)(\d+)", line["row"])
    return (found[1].strip(), int(found[2])) if found else None


def _whole(text: str) -> int | None:
    try:
        return int(float(text))
    except ValueError:
        return None


def check_decisions(decisions: dict, labels: dict[str, set[int]], file: str | None) -> None:
    """Refuse decisions about rows that do not exist."""
    problems = [Problem(f"there is no row {row} in {label}", "Correct the column `row`.", file=file,
                        code="decision-of-no-row")
                for label, row in decisions if row not in labels.get(label, set())]
    if problems:
        raise DataError(problems)

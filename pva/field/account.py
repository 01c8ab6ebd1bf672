"""The row account: where every row went, and why. Rows in = used + flagged + set aside."""

from __future__ import annotations

from bisect import bisect_right
from collections.abc import Iterable
from dataclasses import dataclass, field
from pathlib import Path

import pandas as pd

from pva.field.reasons import EFFECT, FLAGGED, SENTENCE, SET_ASIDE, sentence
from pva.field.records import RowAccount
from pva.field.secrecy import without_places
from pva.files import RawTable, frame_text, write_text_atomic

LEADING = ["file", "row", "column", "value", "code", "sentence"]


@dataclass
class LedgerTable:
    """One table of the study as the account sees it; rows are numbered through all tables."""

    label: str
    kind: str
    raw: RawTable
    start: int
    places: dict[str, list[int]] = field(default_factory=dict)

    @property
    def stop(self) -> int:
        return self.start + len(self.raw.rows)

    def column(self, target: str) -> str:
        """The crew's own name of the column(s) behind a target."""
        names = [self.raw.header[i] for i in self.places.get(target, [])]
        return " + ".join(names) or target

    def in_words(self, target: str) -> str:
        """The column(s) behind a target, to be said in a sentence."""
        return f"column {self.column(target).removeprefix('column ')}"

    def written(self, row: int, target: str) -> str:
        """The cell(s) behind a target as written."""
        cells = self.raw.rows[row - self.start]
        return " ".join(cells[i] for i in self.places.get(target, [])).strip()


class RowLedger:
    """Collects every row that is set aside or flagged while tables are read and checked.

    Parameters
    ----------
    decisions : mapping, optional
        From (label of the table, row number) to (decision, who, date, why); `use` keeps checks
        from flagging the row, `leave out` sets it aside.
    """

    def __init__(self, decisions: dict[tuple[str, int], tuple[str, str, str, str]] | None = None):
        self.tables: list[LedgerTable] = []
        self.starts: list[int] = []
        self.decisions = decisions or {}
        self.aside: dict[int, tuple[str, str, str, str]] = {}
        self.flags: dict[int, dict[str, tuple[str, str, str]]] = {}
        self.accepted: set[int] = set()

    def add(self, label: str, kind: str, raw: RawTable) -> LedgerTable:
        """Enter a table; its rows count from now on."""
        start = self.tables[-1].stop if self.tables else 0
        table = LedgerTable(label, kind, raw, start)
        self.tables.append(table)
        self.starts.append(start)
        for place, number in enumerate(raw.numbers):
            decision = self.decisions.get((label, number))
            if decision is None:
                continue
            if decision[0] == "use":
                self.accepted.add(start + place)
            else:
                self.set_aside("left-out", start + place, who=decision[1], date=decision[2],
                               why=decision[3])
        return table

    def table_of(self, row: int) -> LedgerTable:
        """The table that holds a row."""
        return self.tables[bisect_right(self.starts, row) - 1]

    def where(self, row: int) -> dict[str, object]:
        """Words that point at another row: ``other_file`` and ``other_row``."""
        table = self.table_of(row)
        return {"other_file": table.label, "other_row": table.raw.numbers[row - table.start]}

    def set_aside(self, code: str, row: int, target: str = "", **words: object) -> None:
        """Set a row aside; the first reason found stands."""
        if row in self.aside:
            return
        self.aside[row] = (code, *self._entry(code, row, target, words))

    def flag(self, code: str, row: int, target: str = "", **words: object) -> bool:
        """Flag a row that is used all the same; False when a person has accepted it."""
        if row in self.accepted:
            return False
        self.flags.setdefault(row, {})[code] = self._entry(code, row, target, words)
        return True

    def _entry(self, code: str, row: int, target: str, words: dict) -> tuple[str, str, str]:
        table = self.table_of(row)
        written = table.written(row, target) if target else ""
        said = str(words.pop("value", "")) or written
        column = table.column(target) if target in table.places else ""
        # the listing holds the cell as written, by which a correction knows its row again
        named = column.removeprefix("column ")
        return column, written or said, sentence(code, value=without_places(said), column=named,
                                                 **words)

    def kept(self, frame: pd.DataFrame) -> pd.DataFrame:
        """The rows of a frame (indexed by row) that have not been set aside."""
        if not self.aside:
            return frame
        return frame.loc[~frame.index.isin(list(self.aside))]

    def flag_words(self, rows: Iterable[int]) -> list[str]:
        """Reason codes of each row, joined by spaces."""
        return [" ".join(self.flags.get(row, ())) for row in rows]

    def account(self) -> RowAccount:
        """Close the books."""
        flags = {r: codes for r, codes in self.flags.items() if r not in self.aside}
        tables = pd.DataFrame(
            [self._sums(table, flags) for table in self.tables],
            columns=["file", "is", "in", "used", "flagged", "set_aside"])
        aside = [(row, code, *entry) for row, (code, *entry) in sorted(self.aside.items())]
        flagged = [(row, code, *entry) for row in sorted(flags)
                   for code, entry in flags[row].items()]
        return RowAccount(tables, _reasons(aside, flagged), self._listing(aside),
                          self._listing(flagged))

    def _sums(self, table: LedgerTable, flags: dict) -> tuple:
        rows = range(table.start, table.stop)
        aside = sum(row in self.aside for row in rows)
        flagged = sum(row in flags for row in rows)
        return (table.label, table.kind, len(rows), len(rows) - aside - flagged, flagged, aside)

    def _listing(self, entries: list[tuple]) -> pd.DataFrame:
        parts = []
        for table in self.tables:
            mine = [entry for entry in entries if table.start <= entry[0] < table.stop]
            if not mine:
                continue
            rows = [entry[0] - table.start for entry in mine]
            cells = [table.raw.rows[row] for row in rows]
            names = [as_listed(name) for name in table.raw.header]
            width = max(map(len, cells))
            names += [f"surplus cell {i}" for i in range(1, width - len(names) + 1)]
            part = pd.DataFrame([row + [""] * (width - len(row)) for row in cells], dtype=object,
                                columns=names)
            columns = {
                "file": table.label, "row": [table.raw.numbers[row] for row in rows],
                "column": [e[2] for e in mine], "value": [e[3] for e in mine],
                "code": [e[1] for e in mine], "sentence": [e[4] for e in mine]}
            parts.append(pd.concat([pd.DataFrame(columns, columns=LEADING, dtype=object), part],
                                   axis=1))
        if not parts:
            return pd.DataFrame(columns=LEADING, dtype=object)
        listing = pd.concat(parts, ignore_index=True)
        return listing.where(listing.notna(), "")


def as_listed(name: str) -> str:
    """Name of a crew's column in set_aside.csv, kept apart from the leading columns."""
    return f"{name} (as written)" if name in LEADING else name


def _reasons(aside: list[tuple], flagged: list[tuple]) -> pd.DataFrame:
    codes = pd.Series([e[1] for e in [*aside, *flagged]], dtype=object).value_counts()
    ordered = [code for code in SENTENCE if code in codes.index]
    first = {e[1]: e[4] for e in reversed([*aside, *flagged])}
    return pd.DataFrame(
        [(code, EFFECT[code], int(codes[code]), first[code]) for code in ordered],
        columns=["code", "effect", "rows", "sentence"])


def write_set_aside(account: RowAccount, folder: Path) -> Path:
    """Write set_aside.csv, which a person corrects and names under `corrected` in the study."""
    return _write(account.set_aside, Path(folder) / "set_aside.csv")


def write_flagged(account: RowAccount, folder: Path) -> Path:
    """Write flagged.csv, one line a row used that deserves a look; corrected in the same way."""
    listing = account.flagged
    if len(listing):
        rows = listing.groupby(["file", "row"], sort=False)
        listing = listing.assign(code=rows["code"].transform(" ".join),
                                 sentence=rows["sentence"].transform(" ".join))
        listing = listing.drop_duplicates(["file", "row"])
    return _write(listing, Path(folder) / "flagged.csv")


def _write(listing: pd.DataFrame, path: Path) -> Path:
    return write_text_atomic(path, frame_text(listing))


def account_lines(account: RowAccount) -> list[str]:
    """The account in words, one line each: the sum, every table, every reason."""
    def said(sums: dict) -> str:
        return (f"{sums['in']:,} rows in = {sums['used']:,} used + {sums['flagged']:,} flagged + "
                f"{sums['set_aside']:,} set aside")

    lines = [said(account.totals)]
    for sums in account.tables.to_dict("records"):
        lines.append(f"{sums['file']} ({sums['is']}): {said(sums)}")
    for effect in (SET_ASIDE, FLAGGED):
        for reason in account.reasons[account.reasons["effect"] == effect].to_dict("records"):
            lines.append(f"{effect}: {reason['rows']:,} x {reason['code']}, such as: "
                         f"{reason['sentence']}")
    return lines

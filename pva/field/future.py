"""Dates that lie too far ahead: a year mistyped, or a reader's clock that ran wrong."""

from __future__ import annotations

import datetime as dt

import pandas as pd

from pva.field.account import RowLedger

YEARS_AHEAD = 1  # animals are released before the first visit to them, at most about a year
FEW_ROWS = 5
CLOCK_SHARE = 0.2


def latest_day(today: dt.date | None = None) -> pd.Timestamp:
    """The last day that a row may bear: a year from today, for a computer's clock may lag."""
    return pd.Timestamp(today or dt.date.today()) + pd.DateOffset(years=YEARS_AHEAD)


def check_after_visits(followed: list[pd.DataFrame], visits: pd.DataFrame, ledger: RowLedger
                       ) -> None:
    """Flag releases and encounters dated after the year that follows the last visit.

    Parameters
    ----------
    followed : list of DataFrame
        Releases and encounters, indexed by ledger row; column date.
    visits : DataFrame
        Column last_date.
    ledger : RowLedger
        Receives the flags.
    """
    held = visits["last_date"].dropna()
    if not len(held):
        return
    last = held.max()
    ends = pd.Timestamp(last.year + YEARS_AHEAD, 12, 31)
    for frame in followed:
        of_rows = frame[frame["row"].notna()]
        for row in of_rows.index[of_rows["date"] > ends]:
            ledger.flag("date-after-last-visit", row, "date", last=f"{last:%Y-%m-%d}",
                        date=f"{of_rows.at[row, 'date']:%Y-%m-%d}")


def drop_visits_to_come(visits: pd.DataFrame, encounters: pd.DataFrame, ledger: RowLedger, *,
                        today: dt.date | None = None) -> pd.DataFrame:
    """Set aside listed visits that lie ahead of today and at which nothing was recorded.

    Every animal would count as missed at a visit that is only planned.
    """
    ahead = visits[visits["row"].notna()
                   & (visits["first_date"] > pd.Timestamp(today or dt.date.today()))]
    if not len(ahead):
        return visits
    held = set(zip(encounters["visit"], encounters["site"], strict=True))
    for row in ahead.itertuples():
        if (row.visit, row.site) not in held:
            ledger.set_aside("visit-to-come", row.Index, "first_date",
                             date=f"{row.first_date:%Y-%m-%d}")
    return ledger.kept(visits)


def clock_notes(ledger: RowLedger) -> list[str]:
    """A note for each table of which many rows bear a date that cannot be."""
    notes = []
    codes = ("date-before-release", "date-in-future")
    for table in ledger.tables:
        if table.kind not in ("encounters", "reader log"):
            continue
        wrong = sum(ledger.aside.get(row, ("",))[0] in codes
                    for row in range(table.start, table.stop))
        if wrong >= FEW_ROWS and wrong >= CLOCK_SHARE * (table.stop - table.start):
            notes.append(
                f"{table.label}: {wrong:,} rows are dated before the release of their animals or "
                "in the future; the clock of a reader may have run wrong. If the field sheet says "
                "by how many days, write `add_days` under this table in the study.")
    return notes

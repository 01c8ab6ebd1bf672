"""Dates that lie too far ahead: a year mistyped in a release, an encounter or a visit."""

from __future__ import annotations

import datetime as dt

import pandas as pd

from pva.field.account import RowLedger

YEARS_AHEAD = 1  # animals are released before the first visit to them, at most about a year


def check_future(
    followed: list[pd.DataFrame], others: list[pd.DataFrame], visits: pd.DataFrame,
    ledger: RowLedger, *, today: dt.date | None = None,
) -> None:
    """Flag rows dated after the year that follows the last visit, or a year and more from today.

    Parameters
    ----------
    followed : list of DataFrame
        Releases and encounters, indexed by ledger row; column date.
    others : list of DataFrame
        Units, hosts and listed visits, indexed by ledger row; column date or last_date. Visits
        need not go on as long as these do, so they are held against today only.
    visits : DataFrame
        Column last_date. A visit that is itself too far ahead of today does not count as the last.
    ledger : RowLedger
        Receives the flags.
    today : datetime.date, optional
        Default the day of reading.
    """
    latest = pd.Timestamp(today or dt.date.today()) + pd.DateOffset(years=YEARS_AHEAD)
    held = visits["last_date"].dropna()
    held = held[held <= latest]
    ends = latest
    words = "a year and more from today"
    if len(held):
        last = held.max()
        ends = min(latest, pd.Timestamp(last.year + YEARS_AHEAD, 12, 31))
        words = f"after the year that follows the last visit ({last:%Y-%m-%d})"
    for frame in followed:
        _flag_after(frame, "date", ends, words, ledger)
    for frame in others:
        column = "last_date" if "last_date" in frame else "date"
        _flag_after(frame, column, latest, "a year and more from today", ledger)


def _flag_after(frame: pd.DataFrame, column: str, ends: pd.Timestamp, words: str,
                ledger: RowLedger) -> None:
    of_rows = frame[frame["row"].notna()]
    for row in of_rows.index[of_rows[column] > ends]:
        ledger.flag("date-in-future", row, column, date=f"{of_rows.at[row, column]:%Y-%m-%d}",
                    when=words)

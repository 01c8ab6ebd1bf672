"""Visits: listed in a table, or made of the days on which animals were seen."""

from __future__ import annotations

import numpy as np
import pandas as pd

from pva.field.account import RowLedger
from pva.field.cells import TableReader, level
from pva.field.form import nearest
from pva.field.records import COLUMNS, REMOVED, SHELL

MANY_RECORDS = 5  # a median visit; where most rest on a few records, one alone is no surprise
MOST_LONE_NAMED = 5
TARGETS = {"visit-unknown": "visit", "visit-set-aside": "visit", "visit-missing": "visit",
           "site-missing": "site"}


def read_visits(reader: TableReader) -> pd.DataFrame:
    """A table of visits, typed; a visit without a last day lasted one day."""
    first = reader.dates("first_date")
    last = reader.dates("last_date", required=False)
    last = last.where(last.notna(), first)
    for row in reader.rows(last < first):
        reader.ledger.set_aside("last-day-before-first", row, "last_date", date=_day(last[row]))
    visit = reader.text("visit")
    visit = visit.where(visit.notna(), first.dt.strftime("%Y-%m")).astype(object)
    made = {
        "visit": visit, "site": reader.sites(), "first_date": first, "last_date": last,
        "area_m2": reader.numbers("area_m2", above=0),
        "effort_hours": reader.numbers("effort_hours", least=0),
        "passes": reader.numbers("passes", above=0),
    }
    visits = reader.finish(made, COLUMNS["visits"])
    key = visits["visit"].map(level) + "|" + visits["site"].astype(str)
    for row in reader.rows(key.duplicated()):
        other = key.index[key == key[row]][0]
        reader.ledger.set_aside("visit-listed-twice", row, "visit",
                                other_row=visits.at[other, "row"])
    return reader.ledger.kept(visits)


def refused_visits(reader: TableReader) -> dict[tuple[str, str], dict]:
    """Visits listed in rows that were set aside: (levelled name, site) to where each row stands."""
    aside = reader.frame.index[reader.frame.index.isin(list(reader.ledger.aside))]
    sites = reader.sites()  # says nothing new: every row was judged before
    return {(level(reader.frame.at[row, "visit"]), sites[row]): reader.ledger.where(row)
            for row in aside if reader.frame.at[row, "visit"] and sites[row] is not None}


def visits_of_days(seen: pd.DataFrame, most_gap: int) -> pd.DataFrame:
    """Join days at a site into visits.

    Parameters
    ----------
    seen : DataFrame
        Columns site, date and, where known, effort_hours; one row a record.
    most_gap : int
        A day belongs to the visit before it when at most this many days lie from one to the next
        (1: only neighbouring days).

    Returns
    -------
    DataFrame
        Columns of visits; `file` and `row` are None. A visit is named by the year and month of its
        first day (and the day, when a site was visited twice in that month).
    """
    days = seen.dropna(subset=["site", "date"])
    days = days.groupby(["site", "date"], as_index=False)["effort_hours"].max()
    days = days.sort_values(["site", "date"])
    gap = days.groupby("site")["date"].diff().dt.days
    days["part"] = (gap.isna() | (gap > most_gap)).cumsum()
    visits = days.groupby("part").agg(
        site=("site", "first"), first_date=("date", "min"), last_date=("date", "max"),
        effort_hours=("effort_hours", lambda hours: hours.sum(min_count=1)))
    month = visits["first_date"].dt.strftime("%Y-%m")
    twice = pd.DataFrame({"site": visits["site"], "month": month}).duplicated(keep=False)
    visits["visit"] = month.where(~twice, visits["first_date"].dt.strftime("%Y-%m-%d"))
    return visits.reindex(columns=[*COLUMNS["visits"], "file", "row"]).reset_index(drop=True)


def lone_visits(seen: pd.DataFrame, most_gap: int, ledger: RowLedger) -> list[str]:
    """A note that names visits made of one record alone, where the others rest on many.

    A date mistyped makes a visit of its own, at which every other animal counts as missed.
    """
    days = seen.dropna(subset=["site", "date"]).sort_values(["site", "date"])
    if not len(days):
        return []
    gap = days.groupby("site")["date"].diff().dt.days
    part = (gap.isna() | (gap > most_gap)).cumsum()
    size = part.map(part.value_counts())
    alone = days[size == 1]
    if not len(alone) or size.groupby(part).first().median() < MANY_RECORDS:
        return []
    told = []
    for one in alone[:MOST_LONE_NAMED].itertuples():
        at = ledger.where(one.Index)
        told.append(f"{one.site} on {_day(one.date)} (row {at['other_row']} of {at['other_file']})")
    named = "; ".join(told)
    more = f"; and {len(alone) - len(told):,} more" if len(alone) > len(told) else ""
    return [f"Visits that rest on a single record: {named}{more}. A date mistyped makes a visit of "
            "its own, at which every other animal counts as missed; compare with the field sheet."]


def place_in_visits(reader: TableReader, made: dict[str, pd.Series], visits: pd.DataFrame,
                    refused: dict[tuple[str, str], dict]) -> None:
    """Find the visit of each encounter from its name or from date and site; fill in the other.

    Rows that fit no visit are set aside, with a word where the visit's own row was (`refused`).
    Shells and removals need none: people send shells in, and animals are taken on other days.
    `made` gains ``visit`` and may gain sites.
    """
    ledger, named = reader.ledger, reader.text("visit")
    calendar = _Calendar(visits, refused)
    keys = pd.DataFrame({"name": named, "site": made["site"], "date": made["date"]})
    which = keys.groupby(["name", "site", "date"], dropna=False, sort=False).ngroup().to_numpy()
    firsts = keys.iloc[np.unique(which, return_index=True)[1]] if len(keys) else keys
    found = [calendar.find(*key) for key in firsts.itertuples(index=False)]
    made["visit"] = pd.Series([found[k][0] for k in which], index=named.index, dtype=object)
    made["site"] = pd.Series([found[k][1] for k in which], index=named.index, dtype=object)
    for row, k in zip(named.index, which, strict=True):
        code, words = found[k][2:]
        if code == "outside-visits" and made["status"][row] in (SHELL, REMOVED):
            continue
        if code and row not in ledger.aside:
            ledger.set_aside(code, row, TARGETS.get(code, "date"), **words)


class _Calendar:
    """The visits of a study, asked by name, site and day."""

    def __init__(self, visits: pd.DataFrame, refused: dict[tuple[str, str], dict]):
        self.refused = refused
        self.visits = list(visits.itertuples(index=False))
        self.named: dict[str, list] = {}
        self.at: dict[str, list] = {}
        for visit in self.visits:
            self.named.setdefault(level(str(visit.visit)), []).append(visit)
            self.at.setdefault(visit.site, []).append(visit)

    def find(self, name: str | None, site: str | None, date: pd.Timestamp):
        """(visit, site, reason code or "", words of the sentence)."""
        name, site = (None if pd.isna(one) else one for one in (name, site))
        if name is None and pd.isna(date):
            return None, site, "visit-missing", {}
        if name is not None:
            return self._by_name(name, site, date)
        if site is None:
            return None, None, "site-missing", {}
        here = self.at.get(site, [])
        for visit in here:
            if visit.first_date <= date <= visit.last_date:
                return visit.visit, site, "", {}
        return None, site, "outside-visits", {"date": _day(date), "site": site,
                                              "nearest": _nearest_visit(here, date)}

    def _by_name(self, name: str, site: str | None, date: pd.Timestamp):
        same = self.named.get(level(name), [])
        fits = [visit for visit in same if site is None or visit.site == site]
        if not fits:
            if (key := (level(name), site)) in self.refused:
                return None, site, "visit-set-aside", {"site": site} | self.refused[key]
            at = f" at {site}" if site else ""
            known = list(dict.fromkeys(visit.visit for visit in self.visits))
            advice = "Add the site to the visits, or correct the row." if same else \
                nearest(name, known)
            return None, site, "visit-unknown", {"at": at, "advice": advice}
        if len(fits) > 1:
            return None, site, "site-missing", {}
        one = fits[0]
        if not pd.isna(date) and not one.first_date <= date <= one.last_date:
            return None, site, "date-outside-its-visit", {
                "visit": one.visit, "site": one.site, "first": _day(one.first_date),
                "last": _day(one.last_date), "date": _day(date)}
        return one.visit, one.site, "", {}


def _nearest_visit(here: list, date: pd.Timestamp) -> str:
    if not here:
        return " (no visit to it is listed)"
    one = min(here, key=lambda visit: max(visit.first_date - date, date - visit.last_date))
    return f"; the nearest is {one.visit} ({_day(one.first_date)} to {_day(one.last_date)})"


def _day(date: pd.Timestamp) -> str:
    return "" if pd.isna(date) else date.strftime("%Y-%m-%d")


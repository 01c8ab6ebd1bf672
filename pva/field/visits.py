"""Visits: listed in a table, or made of the days on which animals were seen."""

from __future__ import annotations

import pandas as pd

from pva.field.cells import TableReader, level
from pva.field.form import nearest
from pva.field.records import COLUMNS

TARGETS = {"visit-unknown": "visit", "visit-missing": "visit", "site-missing": "site"}


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


def place_in_visits(reader: TableReader, made: dict[str, pd.Series], visits: pd.DataFrame) -> None:
    """Find the visit of each encounter from its name or from date and site; fill in the other.

    Rows that fit no visit are set aside. `made` gains ``visit`` and may gain sites.
    """
    ledger, named = reader.ledger, reader.text("visit")
    calendar = _Calendar(visits)
    found: dict[tuple, tuple[str | None, str | None, str, dict]] = {}
    visits_found, sites_found = [], []
    rows = zip(named.index, named, made["site"], made["date"], strict=True)
    for row, name, where, date in rows:
        key = (name, where, date)
        if key not in found:
            found[key] = calendar.find(name, where, date)
        visit, site, code, words = found[key]
        visits_found.append(visit)
        sites_found.append(site)
        if code and row not in ledger.aside:
            ledger.set_aside(code, row, TARGETS.get(code, "date"), **words)
    made["visit"] = pd.Series(visits_found, index=named.index, dtype=object)
    made["site"] = pd.Series(sites_found, index=named.index, dtype=object)


class _Calendar:
    """The visits of a study, asked by name, site and day."""

    def __init__(self, visits: pd.DataFrame):
        self.visits = visits
        self.names = visits["visit"].map(lambda name: level(str(name)))

    def find(self, name: str | None, site: str | None, date: pd.Timestamp):
        """(visit, site, reason code or "", words of the sentence)."""
        if name is None and pd.isna(date):
            return None, site, "visit-missing", {}
        if name is not None:
            return self._by_name(name, site, date)
        if site is None:
            return None, None, "site-missing", {}
        here = self.visits[self.visits["site"] == site]
        fits = here[(here["first_date"] <= date) & (here["last_date"] >= date)]
        if len(fits):
            return fits["visit"].iloc[0], site, "", {}
        return None, site, "outside-visits", {"date": _day(date), "site": site,
                                              "nearest": _nearest_visit(here, date)}

    def _by_name(self, name: str, site: str | None, date: pd.Timestamp):
        same = self.visits[self.names == level(name)]
        fits = same if site is None else same[same["site"] == site]
        if not len(fits):
            at = f" at {site}" if site else ""
            known = list(dict.fromkeys(self.visits["visit"]))
            advice = "Add the site to the visits, or correct the row." if len(same) else \
                nearest(name, known)
            return None, site, "visit-unknown", {"at": at, "advice": advice}
        if len(fits) > 1:
            return None, site, "site-missing", {}
        one = fits.iloc[0]
        if not pd.isna(date) and not one["first_date"] <= date <= one["last_date"]:
            return None, site, "date-outside-its-visit", {
                "visit": one["visit"], "site": one["site"], "first": _day(one["first_date"]),
                "last": _day(one["last_date"]), "date": _day(date)}
        return one["visit"], one["site"], "", {}


def _nearest_visit(here: pd.DataFrame, date: pd.Timestamp) -> str:
    if not len(here):
        return " (no visit to it is listed)"
    off = pd.concat([(here["first_date"] - date), (date - here["last_date"])], axis=1).max(axis=1)
    one = here.loc[off.idxmin()]
    return (f"; the nearest is {one['visit']} ({_day(one['first_date'])} to "
            f"{_day(one['last_date'])})")


def _day(date: pd.Timestamp) -> str:
    return "" if pd.isna(date) else date.strftime("%Y-%m-%d")


"""The summary of the estimates brought into plain rows, whichever form it was kept in.

The page reads the summary that `pva estimate` gives (`survival`, `detection`, `tag_retention`,
`growth`, `models`, `fit`, `density`, `recruits`, `level`) and, where only the estimates file is at
hand, the numbers of that file.
"""

from __future__ import annotations

import re
from collections.abc import Mapping
from typing import Any

from pva.report.words import known

_VALUES = ("corrected", "value", "estimate", "per_m2", "density", "yearly", "tag", "per_adult",
           "apparent")
_PARTS = ("site", "survey", "species", "stage", "method", "source")


def rows_of(summary: Mapping[str, Any], group: str) -> list[dict]:
    """Rows of one group of a summary as ``name, value, low, high, se, other, year_sd, n, note``.

    A group may be a list of rows, a mapping of name to row, or one row.
    """
    given = summary.get(group)
    if not given:
        return []
    if isinstance(given, Mapping):
        if all(isinstance(v, Mapping) for v in given.values()):
            given = [{"name": k, **v} for k, v in given.items()]
        else:
            given = [given]
    return [_row(r, group) for r in given if isinstance(r, Mapping)]


def _row(row, group):
    low, high = (row.get("interval") or (_first(row, "low", "per_adult_low"),
                                         _first(row, "high", "per_adult_high")))[:2]
    value = next((row[k] for k in _VALUES if known_number(row.get(k))), None)
    apparent = row.get("apparent")
    return {
        "name": _name(row, group), "value": value, "low": low, "high": high, "se": row.get("se"),
        "apparent": apparent if known_number(apparent) else None,
        "corrected": known_number(row.get("corrected")),
        "corrected_for": tuple(row.get("corrected_for") or ()),
        "year_sd": None if row.get("per") == "event" else row.get("year_sd"),
        "n": _first(row, "n", "units", "animals"),
        "note": str(row.get("note") or ""), "stage": row.get("stage") or "",
        "survey": row.get("survey"), "place": str(row.get("name") or row.get("site") or ""),
        "found": row.get("found", row.get("animals")),
        "if_all_dead": _first(row, "heard_dead", "low_heard"),
        "if_all_alive": _first(row, "heard_alive", "high_heard"),
    }


def _first(row, *names):
    return next((row[n] for n in names if known_number(row.get(n))), None)


def known_number(value) -> bool:
    """Whether a value is a finite number."""
    return isinstance(value, (int, float)) and not isinstance(value, bool) and known(value)


def _name(row, group):
    name = row.get("name") or row.get("key")
    if not name:
        name = ", ".join(str(row[p]) for p in _PARTS if row.get(p) not in (None, ""))
    name = str(name or group.replace("_", " "))
    for prefix in (f"{group}/", "growth/"):
        name = name.removeprefix(prefix)
    name = name.replace(" @ ", ", ")
    if row.get("survey") and str(row["survey"]) not in name:
        name = f"{name.replace('/', ', ')}, {row['survey']}"
    return name


def named(key: str) -> str:
    """A key of the estimates in words: `survival/marked blue @ Fennel Bar`."""
    group, _, name = str(key).partition("/")
    group = {"release": "survival after release"}.get(group, group.replace("_", " "))
    return f"{group}: {name.replace('/', ', ').replace(' @ ', ', ')}" if name else group


def without_doubles(rows: list[dict]) -> list[dict]:
    """Rows without those that another names more closely with the very same numbers.

    "juvenile" goes where "juvenile, hatchery" is the same number: all juveniles came from there.
    """
    def same(one, other):
        return other["name"].startswith(f"{one['name']}, ") and known(one["value"]) and all(
            one[k] == other[k] for k in ("value", "low", "high", "n"))

    return [r for r in rows if not any(same(r, o) for o in rows)]


def summary_of_file(estimates) -> dict:
    """Summary of what an estimates file holds.

    Parameters
    ----------
    estimates : pva.estimate.estimates.Estimates

    Returns
    -------
    dict
        Groups of rows as `rows_of` reads them.
    """
    groups: dict[str, list] = {}
    for key, e in estimates.rates.items():
        group, _, name = key.partition("/")
        groups.setdefault(group, []).append(_of_estimate(name, e))
    abundance = [_of_estimate(f"{site}: {stage}", e) for site, stages in
                 estimates.abundance.items() for stage, e in stages.items()]
    if abundance:
        groups["abundance"] = abundance
    return {**groups, "notes": list(estimates.notes)}


def _of_estimate(name, e):
    low, high = e.interval or (None, None)
    return {"name": name, "value": e.value, "se": e.se, "low": low, "high": high,
            "year_sd": e.year_sd, "apparent": e.apparent, "n": e.n, "note": e.note}


def years_top(note: str) -> float | None:
    """Upper end of the SD between years, as the note of an estimate tells it."""
    found = re.search(r"SD between years [\d.]+ to (\d+\.\d+)", note)
    return float(found[1]) if found else None


def years_unclear(summary: Mapping[str, Any] | None) -> dict[str, str]:
    """Rates whose SD between years was estimated as 0, with what to print in its place."""
    summary = summary or {}
    said = re.search(r"\b(\d+) intervals cannot tell whether years differ",
                     " ".join(map(str, summary.get("notes") or ())))
    number = said[1] if said else "few"
    cells = {}
    for row in rows_of(summary, "survival"):
        if row["year_sd"] == 0:
            top = years_top(row["note"])
            to = "" if top is None else f": 0 to {top:.3f}"
            cells[f"survival/{row['name']}"] = f"0 ({number} intervals cannot tell{to})"
    return cells


def is_release(row) -> bool:
    """Whether a survival row is survival after release."""
    return row["name"].startswith("release")


def is_bad_year(row) -> bool:
    """Whether a survival row is the part of survival that a named bad year leaves."""
    return row["name"].startswith("bad_year/")


def columns_of(tables, name: str) -> dict | None:
    """Columns of a table kept as a data frame, as rows or as columns; None where it is missing."""
    table = (tables or {}).get(name)
    if table is None:
        return None
    if hasattr(table, "to_dict"):
        return table.to_dict("list")
    if isinstance(table, Mapping):
        return dict(table)
    return {key: [row.get(key) for row in table] for key in (table[0] if table else ())}

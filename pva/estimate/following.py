"""From clean records to animals followed: one row a step from visit to visit, still in words."""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np
import pandas as pd

from pva.field.records import ALIVE, HEARD, REMOVED, SHELL, FieldRecords

YEAR = 365.25
FIRST_CAPTURE = "first capture"
NOTHING = ""
SHORT = 0.25  # years; below it no annual figure is given alone

STEP_COLUMNS = ("follow", "animal", "species", "site", "source", "batch", "start", "end",
                "released", "visit", "method", "effort_hours", "passes", "status")


@dataclass(frozen=True)
class Following:
    """Animals followed from a release or first capture over the visits to their site.

    Parameters
    ----------
    steps : DataFrame
        One row a step: `follow` (number of the history), `animal`, `species`, `site`, `source`,
        `batch`, `start`, `end` (days, proleptic ordinals), `released` (first step after a
        release), `visit`, `method`, `effort_hours`, `passes`, and `status` at its end: alive,
        heard, shell, removed or nothing.
    lengths : DataFrame
        animal, species, source, batch, site, day, length_mm: one row an animal and visit (the mean
        of repeats); age (years) and day of the release.
    repeats : DataFrame
        animal, visit, sd_mm, number: lengths taken more than once at a visit.
    notes : tuple of str
        What was done with records that do not fit a history.
    """

    steps: pd.DataFrame
    lengths: pd.DataFrame
    repeats: pd.DataFrame
    notes: tuple[str, ...] = field(default=())

    def of_species(self, species: str) -> Following:
        """The animals of one species."""
        return Following(
            self.steps[self.steps["species"] == species].reset_index(drop=True),
            self.lengths[self.lengths["species"] == species].reset_index(drop=True),
            self.repeats[self.repeats["species"] == species].reset_index(drop=True), self.notes)


def day_numbers(dates) -> np.ndarray:
    """Proleptic ordinals of dates (NaN where missing)."""
    dates = pd.to_datetime(pd.Series(list(dates)), errors="coerce")
    days = (dates - pd.Timestamp("1970-01-01")).dt.total_seconds() / 86400 + 719163
    return days.to_numpy(float)


def follow(records: FieldRecords, *, by_tag_only: bool = False, outside=(),
           shells_anywhere: bool = False) -> Following:
    """Build the steps of every marked animal.

    Parameters
    ----------
    records : FieldRecords
    by_tag_only : bool
        Leave out meetings of animals that had lost their tag and were told by another mark: with
        a known chance of keeping the tag, histories by tag alone are free of that loss.
    outside : sequence of str
        Sites searched only for animals that left: meetings there are left out of the histories.
    shells_anywhere : bool
        Shells found outside the sites count all the same.

    Returns
    -------
    Following
    """
    visits = _visits(records.visits)
    starts = _starts(records.releases, visits)
    notes: dict[str, int] = {}
    met = records.encounters
    if by_tag_only:
        lost = met["animal"].notna() & met["tag"].isna() & met["status"].isin([ALIVE, REMOVED])
        notes["meetings of animals told by their second mark alone are left out"] = int(lost.sum())
        met = met[~lost]
    left = met["site"].isin(list(outside)) & met["animal"].notna()
    if shells_anywhere:
        left &= met["status"] != SHELL
    notes["meetings outside the sites tell who left and are no part of the histories"] = int(
        left.sum())
    seen = _sightings(met[~left])
    rows: list[tuple] = []
    number = 0
    for animal, start in starts.items():
        if start["released"] and not any(v["last"] > start["day"]
                                         for v in visits.get(start["site"], ())):
            _note(notes, "animals were released at a site without any visit after it and tell "
                         "nothing of survival there")
        for history in _histories(start, seen.get(animal, ()), visits, notes):
            rows.extend((number, animal, *row) for row in history)
            number += 1
    steps = pd.DataFrame(rows, columns=list(STEP_COLUMNS))
    lengths, repeats = _lengths(records, starts, visits)
    told = tuple(f"{count} {what}" for what, count in notes.items() if count)
    return Following(steps, lengths, repeats, told)


def _visits(table: pd.DataFrame) -> dict[str, list[dict]]:
    """Visits of each site in order of time, with their middle day."""
    table = table.assign(first=day_numbers(table["first_date"]),
                         last=day_numbers(table["last_date"]))
    table["last"] = table["last"].fillna(table["first"])
    table["middle"] = (table["first"] + table["last"]) / 2
    by_site = {}
    for site, rows in table.dropna(subset=["first"]).sort_values("first").groupby("site"):
        by_site[site] = rows[["visit", "first", "last", "middle", "method", "effort_hours",
                              "passes"]].to_dict("records")
    return by_site


def _starts(releases: pd.DataFrame, visits) -> dict[str, dict]:
    """First release of each marked animal; at a first capture time runs from the visit's middle."""
    table = releases[releases["animal"].notna()].assign(day=day_numbers(
        releases.loc[releases["animal"].notna(), "date"]))
    table = table.dropna(subset=["day"]).sort_values("day", kind="stable")
    table = table.drop_duplicates("animal")
    starts = {}
    for row in table.to_dict("records"):
        caught = row["source"] == FIRST_CAPTURE
        day = row["day"]
        for visit in visits.get(row["site"], ()):
            if caught and visit["first"] <= day <= visit["last"]:
                day = visit["middle"]
        starts[row["animal"]] = {
            "species": row["species"], "site": row["site"], "source": row["source"] or "released",
            "batch": row["batch"], "day": day, "released": not caught, "given": row["day"],
            "length_mm": row["length_mm"], "second_mark": row["second_mark"],
            "age": row.get("age"), "released_on": np.nan if caught else row["day"],
        }
    return starts


def _sightings(encounters: pd.DataFrame) -> dict[str, list[dict]]:
    """Encounters of each marked animal in order of time."""
    table = encounters[encounters["animal"].notna()]
    table = table.assign(day=day_numbers(table["date"]))
    table = table.sort_values("day", kind="stable", na_position="last")
    columns = ["animal", "site", "visit", "day", "status"]
    seen: dict[str, list[dict]] = {}
    for row in table[columns].to_dict("records"):
        seen.setdefault(row["animal"], []).append(row)
    return seen


def _histories(start: dict, sightings, visits, notes: dict[str, int]):
    """Steps of one animal, cut anew where it is met alive at another site."""
    site, day, released = start["site"], start["day"], start["released"]
    left = list(sightings)
    while True:
        place = next((i for i, s in enumerate(left) if s["site"] != site
                      and s["status"] in (ALIVE, REMOVED) and s["site"] in visits), None)
        away = None if place is None else left[place]
        rows = _steps(site, day, released, left[:place], visits.get(site, ()), start, notes)
        if away is not None:
            _note(notes, "animals were met alive at another site and are followed there from then")
            last = max((i for i, row in enumerate(rows) if row[-1] in (ALIVE, REMOVED)), default=-1)
            rows = rows[: last + 1]
        if rows:
            yield rows
        if away is None or away["status"] == REMOVED:
            return
        site, released = away["site"], False
        day = next((v["middle"] for v in visits[site] if v["visit"] == away["visit"]), away["day"])
        left = left[place + 1 :]


def _steps(site, day, released, sightings, visits, start, notes) -> list[tuple]:
    taken = min((s["day"] for s in sightings
                 if s["status"] == REMOVED and not isinstance(s["visit"], str)), default=np.inf)
    ahead = [v for v in visits if (v["first"] if released else v["middle"]) > day
             and v["last"] <= taken]
    status = _status_by_visit(sightings, ahead, notes)
    rows = []
    for visit in ahead:
        what = status.get(visit["visit"], NOTHING)
        rows.append((start["species"], site, start["source"], start["batch"], day, visit["middle"],
                     released, visit["visit"], visit["method"], visit["effort_hours"],
                     visit["passes"], what))
        day, released = visit["middle"], False
        if what in (SHELL, REMOVED):
            break
    if rows and np.isfinite(taken):
        # every living animal had the same chance to be met at the visit or taken after it
        rows[-1] = (*rows[-1][:-1], REMOVED)
    return rows


RANK = {REMOVED: 4, ALIVE: 3, SHELL: 2, HEARD: 1}


def _status_by_visit(sightings, ahead, notes) -> dict[str, str]:
    """What the dates say was seen at each visit; a shell counts for the first visit after it."""
    status: dict[str, str] = {}
    names = {v["visit"] for v in ahead}
    for s in sightings:
        name = s["visit"] if s["visit"] in names else None
        if s["status"] == SHELL:
            day = s["day"]
            after = [v for v in ahead if v["last"] >= day - 0.5] if day == day else []
            name = after[0]["visit"] if after else name
            if name is None:
                _note(notes, "shells were found after the last visit and are not used")
        if name is None:
            continue
        if RANK.get(s["status"], 0) > RANK.get(status.get(name, NOTHING), 0):
            status[name] = s["status"]
    return status


def _note(notes: dict[str, int], what: str) -> None:
    notes[what] = notes.get(what, 0) + 1


def _lengths(records: FieldRecords, starts, visits) -> tuple[pd.DataFrame, pd.DataFrame]:
    """One length an animal and visit, and the spread where it was measured more than once."""
    met = records.encounters
    met = met[met["animal"].notna() & met["length_mm"].notna() & met["status"].isin(
        [ALIVE, REMOVED])]
    middle = {(site, v["visit"]): v["middle"] for site, vs in visits.items() for v in vs}
    day = day_numbers(met["date"])
    day = np.where(np.isnan(day), [middle.get(k, np.nan) for k in
                                   zip(met["site"], met["visit"], strict=True)], day)
    table = met[["animal", "visit", "length_mm"]].assign(day=day)
    table = table[table["animal"].isin(list(starts))]
    given = pd.DataFrame([(a, "release", s["length_mm"], s["given"]) for a, s in starts.items()
                          if s["length_mm"] == s["length_mm"] and s["length_mm"] is not None],
                         columns=list(table.columns))
    caught = {a for a, s in starts.items() if not s["released"]}
    met_days = set(zip(table["animal"], table["day"], strict=True))
    repeated = [a in caught and (a, d) in met_days
                for a, d in zip(given["animal"], given["day"], strict=True)]
    table = pd.concat([given[~np.array(repeated, bool)], table], ignore_index=True)
    table["length_mm"] = table["length_mm"].astype(float)
    group = table.dropna(subset=["day", "length_mm"]).groupby(["animal", "visit"], sort=False)
    lengths = group.agg(day=("day", "mean"), length_mm=("length_mm", "mean"),
                        sd_mm=("length_mm", "std"), number=("length_mm", "size")).reset_index()
    for fact in ("species", "source", "batch", "site", "age", "released_on"):
        lengths[fact] = [starts[a][fact] for a in lengths["animal"]]
    lengths = lengths.sort_values(["animal", "day"], kind="stable").reset_index(drop=True)
    repeats = lengths.loc[lengths["number"] > 1,
                          ["animal", "species", "visit", "sd_mm", "number"]]
    return lengths.drop(columns=["sd_mm", "number"]), repeats.reset_index(drop=True)

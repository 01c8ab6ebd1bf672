"""Steps cut where an animal grows into the next stage, and labelled with stage, year and bad year.

The stage of a day is decided by the length the animal had on it, predicted from its own lengths and
the growth curve.
"""

from __future__ import annotations

import datetime as dt
import re
from dataclasses import dataclass

import numpy as np
import pandas as pd

from pva.estimate.following import YEAR, Following
from pva.estimate.growth import Growth, growing_time
from pva.estimate.likelihood_growth import Lengths

FEWEST_IN_BATCH = 8  # animals measured twice, below which a batch joins its source
SHORTEST_PIECE = 0.04  # years; a piece shorter than a fortnight joins its neighbour


@dataclass(frozen=True)
class LengthStage:
    """A stage told by length: `low` inclusive, `high` exclusive, mm."""

    name: str
    low: float
    high: float


def complete(stages) -> tuple[LengthStage, ...]:
    """Stages from 0 upwards: a first one is added below the lowest, the last is open above."""
    ordered = sorted(stages, key=lambda s: s.low)
    if not ordered:
        return ()
    if ordered[0].low > 0:
        ordered.insert(0, LengthStage(f"under {ordered[0].low:g} mm", 0.0, ordered[0].low))
    last = ordered[-1]
    ordered[-1] = LengthStage(last.name, last.low, np.inf)
    return tuple(ordered)


def lengths_record(table: pd.DataFrame, season) -> tuple[Lengths, list, np.ndarray, np.ndarray]:
    """Array form of the lengths table.

    Returns
    -------
    lengths : Lengths
    animals : list
        In order.
    begun : float array (animal)
        Growing time of the first measurement.
    batches : bool array (group)
        Groups of first sizes that are one release batch each; the others are whole sources.
    """
    table = table.sort_values(["animal", "day"], kind="stable")
    time = growing_time(table["day"].to_numpy(), season)
    animal = table["animal"].to_numpy()
    first = np.flatnonzero(np.concatenate([[True], animal[1:] != animal[:-1]]))
    begun = time[first]
    size = np.diff(np.append(first, len(table)))
    source = table["source"].fillna("").astype(str).to_numpy()[first]
    batch = table["batch"].fillna("").astype(str).to_numpy()[first]
    twice = pd.Series(batch)[size >= 2].value_counts()
    large = {b for b, n in twice.items() if b and n >= FEWEST_IN_BATCH}
    alike = np.array([b in large for b in batch])
    names, group = np.unique([f"batch {b}" if own else f"source {s}" for b, s, own in
                              zip(batch, source, alike, strict=True)], return_inverse=True)
    batches = np.array([name.startswith("batch ") for name in names])
    record = Lengths(np.append(first, len(table)).astype(np.int64), time - np.repeat(begun, size),
                     table["length_mm"].to_numpy(float), group.astype(np.int64))
    return record, list(animal[first]), begun, batches


class Sizes:
    """Predicted true length of every animal on any day."""

    def __init__(self, following: Following, growth: Growth | None, season):
        self.season, self.growth = season, growth
        steps = following.steps.drop_duplicates("animal")
        self.own: dict = {}
        self.guessed = 0
        if len(following.lengths):
            record, animals, begun, _ = lengths_record(following.lengths, season)
            self._measured(record, animals, begun)
        typical = pd.DataFrame(
            {"batch": steps["batch"].fillna(""), "source": steps["source"],
             "first": [self.own.get(a, (np.nan, np.nan))[1] for a in steps["animal"]]})
        by_batch = typical.groupby("batch")["first"].transform("mean")
        by_source = typical.groupby("source")["first"].transform("mean")
        for animal, start, a, b in zip(steps["animal"], steps["start"], by_batch, by_source,
                                       strict=True):
            if animal not in self.own:
                self.guessed += 1
                top = growth.asymptote_mm if growth else np.nan
                at = float(growing_time([start], season)[0])
                self.own[animal] = (top, a if a == a else b, at)

    def _measured(self, record, animals, begun):
        if self.growth is None:
            mean = np.add.reduceat(record.length, record.first[:-1]) / np.diff(record.first)
            self.own = {a: (np.nan, m, g) for a, m, g in zip(animals, mean, begun, strict=True)}
            return
        top, first = self.growth.own(record)
        self.own = {a: row for a, *row in zip(animals, top, first, begun, strict=True)}

    def on(self, animals, days) -> np.ndarray:
        """Length (mm) of each animal on each day."""
        top, first, at = np.array([self.own[a] for a in animals], float).reshape(-1, 3).T
        if self.growth is None:
            return first
        gone = growing_time(days, self.season) - at
        return top - (top - first) * np.exp(-self.growth.rate * gone)

    def crossing(self, animal, limit: float, start: float, end: float) -> float:
        """Day between `start` and `end` on which the animal reaches `limit` mm."""
        days = np.linspace(start, end, 25)
        lengths = np.maximum.accumulate(self.on([animal] * days.size, days))
        return float(np.interp(limit, lengths, days))


def label_steps(following: Following, sizes: Sizes, stages, bad_years=()) -> pd.DataFrame:
    """Steps cut at the stage limits, with the columns that models use.

    Returns
    -------
    DataFrame
        The steps (one row a piece) with `years`, `stage`, `length` (mm, at the end), `year`
        (label of the interval between visits), `bad_year` (name or empty, on one piece only).
    """
    steps = following.steps.copy()
    steps["year"] = _interval_labels(steps)
    steps["bad_year"] = _bad_years(steps, bad_years)
    steps["length"] = sizes.on(steps["animal"], steps["end"].to_numpy())
    if stages:
        steps["begin_length"] = sizes.on(steps["animal"], steps["start"].to_numpy())
        steps = _cut(steps, sizes, stages)
    else:
        steps["stage"] = ""
    steps["years"] = (steps["end"] - steps["start"]) / YEAR
    return steps.reset_index(drop=True)


def _cut(steps: pd.DataFrame, sizes: Sizes, stages) -> pd.DataFrame:
    limits = np.array([s.low for s in stages[1:]])
    begin = np.searchsorted(limits, steps["begin_length"], side="right")
    finish = np.maximum(np.searchsorted(limits, steps["length"], side="right"), begin)
    whole = steps.assign(_stage=begin, _piece=0)
    crossing = np.flatnonzero(finish > begin)
    pieces = [whole[finish <= begin]]
    rows = []
    for i, row in zip(crossing, whole.iloc[crossing].to_dict("records"), strict=True):
        days = [sizes.crossing(row["animal"], limits[k], row["start"], row["end"])
                for k in range(begin[i], finish[i])]
        rows.extend(_pieces(row, days, begin[i]))
    if rows:
        pieces.append(pd.DataFrame(rows))
    steps = pd.concat(pieces).sort_values(["follow", "start"], kind="stable")
    names = np.array([s.name for s in stages], object)
    return steps.assign(stage=names[steps["_stage"].to_numpy(int)]).drop(
        columns=["_stage", "_piece", "begin_length"])


def _pieces(row: dict, days, stage: int):
    """The row cut on `days`; only the last piece ends with a visit, the first keeps the release."""
    edges = [row["start"], *days, row["end"]]
    parts = []
    for k in range(len(edges) - 1):
        if edges[k + 1] - edges[k] < SHORTEST_PIECE * YEAR and len(days) and parts:
            parts[-1]["end"] = edges[k + 1]
        else:
            parts.append({**row, "start": edges[k], "end": edges[k + 1], "_stage": stage + k})
    for k, part in enumerate(parts):
        if k > 0:
            part.update(released=False, bad_year="", start=parts[k - 1]["end"])
        if k < len(parts) - 1:
            part.update(visit=None, status="")
    return parts


def _interval_labels(steps: pd.DataFrame) -> list[str]:
    """'2019-2021': years of the visit before at the site (or first release there) and the visit."""
    ends = steps.groupby(["site", "visit"])["end"].first().reset_index()
    begun = steps.groupby("site")["start"].min()
    label = {}
    for site, rows in ends.sort_values("end").groupby("site"):
        before = begun[site]
        for visit, end in zip(rows["visit"], rows["end"], strict=True):
            label[site, visit] = f"{_year(before)}-{_year(end)}"
            before = end
    return [label[key] for key in zip(steps["site"], steps["visit"], strict=True)]


def _year(day: float) -> int:
    return dt.date.fromordinal(int(day)).year


def _bad_years(steps: pd.DataFrame, named) -> list[str]:
    """Name of the bad year a step holds: the date named, or more than half of the year named."""
    start, end = steps["start"].to_numpy(), steps["end"].to_numpy()
    out = np.full(len(steps), "", object)
    for text in named:
        found = re.match(r"\s*(\d{4})(?:-(\d{1,2}))?(?:-(\d{1,2}))?", str(text))
        if not found:
            continue
        year, month, day = (int(x) if x else None for x in found.groups())
        if month:
            at = dt.date(year, month, day or 15).toordinal()
            held = (start <= at) & (end > at)
        else:
            first, last = dt.date(year, 1, 1).toordinal(), dt.date(year + 1, 1, 1).toordinal()
            held = np.minimum(end, last) - np.maximum(start, first) > (last - first) / 2
        out[held] = str(text)
    return list(out)

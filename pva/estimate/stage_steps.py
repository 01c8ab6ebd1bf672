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
from pva.estimate.growth_model import Measured

UNMEASURED = "not measured"  # animals of which no length is known, nor of their like
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


class Sizes:
    """Predicted true length of every animal on any day."""

    def __init__(self, following: Following, growth: Growth | None, season,
                 measured: Measured | None):
        self.season, self.growth = season, growth
        steps = following.steps.drop_duplicates("animal")
        self.own: dict = {}  # asymptote, first length, its growing time, rate
        self.guessed = 0
        if measured is not None:
            self._measured(measured)
        typical = pd.DataFrame(
            {"batch": steps["batch"].astype(object).fillna(""), "source": steps["source"],
             "first": [self.own.get(a, (np.nan, np.nan))[1] for a in steps["animal"]]})
        by_batch = typical.groupby(["source", "batch"])["first"].transform("mean")
        by_source = typical.groupby("source")["first"].transform("mean")
        for animal, start, a, b in zip(steps["animal"], steps["start"], by_batch, by_source,
                                       strict=True):
            if animal not in self.own:
                self.guessed += 1
                top, rate = (growth.asymptote_mm, growth.rate) if growth else (np.nan, np.nan)
                at = float(growing_time([start], season)[0])
                self.own[animal] = (top, a if a == a else b, at, rate)

    def _measured(self, measured: Measured):
        animals, begun = measured.animals, measured.begun
        if self.growth is None:
            data = measured.lengths
            mean = np.add.reduceat(data.length, data.first[:-1]) / np.diff(data.first)
            self.own = {a: (np.nan, m, g, np.nan) for a, m, g in zip(animals, mean, begun,
                                                                     strict=True)}
            return
        top, first, rate = self.growth.own(measured)
        self.own = {a: row for a, *row in zip(animals, top, first, begun, rate, strict=True)}

    def on(self, animals, days) -> np.ndarray:
        """Length (mm) of each animal on each day."""
        top, first, at, rate = np.array([self.own[a] for a in animals], float).reshape(-1, 4).T
        if self.growth is None:
            return first
        gone = growing_time(days, self.season) - at
        return top - (top - first) * np.exp(-rate * gone)

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
    if stages and steps["length"].notna().any():
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
    nobody_knows = steps["length"].isna().to_numpy()
    begin[nobody_knows] = finish[nobody_knows] = len(stages)
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
    names = np.array([*(s.name for s in stages), UNMEASURED], object)
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

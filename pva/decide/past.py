"""A scenario told over the past: the releases that were made, the bad years that happened."""

from __future__ import annotations

import re
from dataclasses import dataclass, replace

import numpy as np
import pandas as pd

from pva.errors import CannotCompute, Problem
from pva.estimate.estimates import Estimates
from pva.estimate.following import FIRST_CAPTURE
from pva.field.records import FieldRecords
from pva.lifehistory.rates import PROBABILITY, Rate
from pva.scenario.estimated import rate_of_estimate
from pva.scenario.resolved import BadYear, Release, Resolved, Stage

MID_YEAR = 7  # surveys from this month on follow a bad year of the same calendar year


@dataclass(frozen=True)
class Past:
    """The past of a study as a question to the engine.

    Parameters
    ----------
    resolved : Resolved
        Without goals, collections and rules; releases as made.
    marked : float array (release, model year)
        Planned numbers if only animals with a tag of their own had been released.
    notes : tuple of str
        What was taken for granted.
    """

    resolved: Resolved
    marked: np.ndarray
    notes: tuple[str, ...]


def past_of(resolved: Resolved, records: FieldRecords, bad_years: tuple[str, ...], *,
            estimates: Estimates | None = None) -> Past:
    """Put the releases and bad years of a study into a scenario.

    Parameters
    ----------
    resolved : Resolved
        A scenario whose years begin at the first release or later, with the animals that were
        there at its first census.
    records : FieldRecords
    bad_years : tuple of str
        As the study names them, ``2019 flood``.
    estimates : Estimates or None
        For the release survival of sources that have no row in the scenario.

    Raises
    ------
    CannotCompute
        If a release has no stage of the scenario, or a bad year no kind of that name.
    """
    made = _made(resolved, records)
    rows, marked, plain = [], [], []
    model_years = list(resolved.years)[:-1]
    for (site, stage, age, source), own in made.groupby(["at", "in_stage", "at_age", "from"]):
        numbers = own.groupby("year")["number"].sum()
        tagged = own[own["animal"].notna()].groupby("year")["number"].sum()
        like = _like(resolved, source) or _estimated(estimates, source)
        if like is None:
            plain.append(source)
        rows.append(_row(like, site, stage, int(age), source, numbers))
        marked.append([float(tagged.get(y, 0.0)) for y in model_years])
    fixed, floods = _bad_years(resolved, bad_years, _usual_month(records))
    notes = [*floods]
    if plain:
        notes.append("Releases whose source has neither a row in the scenario nor an estimate "
                     "survive their first year like residents: "
                     f"{', '.join(sorted(set(plain)))}.")
    return Past(
        replace(resolved, releases=tuple(rows), bad_years=fixed, collections=(), goals=(),
                survey_goals=(), solve=None,
                quasi_extinction=replace(resolved.quasi_extinction, adults_below=0.0)),
        np.array(marked, float).reshape(len(rows), len(model_years)), tuple(notes))


def _made(resolved: Resolved, records: FieldRecords) -> pd.DataFrame:
    """Releases at the sites and in the years of the scenario, each with its stage."""
    table = records.releases
    table = table[table["source"].ne(FIRST_CAPTURE)]
    table = table.assign(year=pd.to_datetime(table["date"], errors="coerce").dt.year)
    names = [s.name for s in resolved.sites]
    table = table[table["site"].isin(names) & table["year"].notna()]
    early = table[table["year"] < resolved.first]
    if len(early):
        raise CannotCompute(Problem(
            f"{len(early)} rows of releases are earlier than {resolved.first}, the first year of "
            "the scenario", f"Let it begin in {int(early['year'].min())}, with the animals that "
            "were there then.", done="nothing was run", code="released-before"))
    table = table[table["year"] < resolved.last]
    if not len(table):
        raise CannotCompute(Problem(
            "no release was made at the sites and in the years of the scenario",
            "Name the sites of the study in the scenario, and let its years begin at the first "
            "release.", done="nothing was run", code="no-releases"))
    placed = [_stage_of(row, resolved.stages) for row in table.to_dict("records")]
    lost = sum(p is None for p in placed)
    if lost:
        raise CannotCompute(Problem(
            f"{lost} rows of releases tell no stage of the scenario",
            "Write a stage, a length or an age for them in the release table.",
            done="nothing was run", code="release-without-stage"))
    stage, age = zip(*placed, strict=True)
    source = [s if isinstance(s, str) and s else "released" for s in table["source"]]
    return table.assign(**{"at": table["site"], "in_stage": stage, "at_age": age, "from": source,
                           "year": table["year"].astype(int)})


def _stage_of(row: dict, stages: tuple[Stage, ...]) -> tuple[str, int] | None:
    """Stage of the scenario, and year of age inside it: as written, by length, by age."""
    named = {s.name: s for s in stages}
    if row["stage"] in named:
        return row["stage"], 1
    length = row["length_mm"]
    if pd.notna(length):
        ranges = [s for s in stages if s.length_mm]
        for stage in ranges:
            if stage.length_mm[0] <= length < stage.length_mm[1]:
                return stage.name, 1
        if ranges and length >= ranges[-1].length_mm[1]:
            return ranges[-1].name, 1
    age = pd.to_numeric(row["age"], errors="coerce")
    if pd.isna(age):
        return None
    left = max(int(age), 1)
    for stage in stages:
        if stage.years is None:
            return stage.name, 1
        if left <= stage.years:
            return stage.name, left
        left -= stage.years
    return stages[-1].name, 1


def _like(resolved: Resolved, source: str) -> tuple[Rate | None, bool] | None:
    """First-year survival of a row of the scenario with this source, and whether it multiplies."""
    row = next((r for r in resolved.releases if source in (r.source, r.from_site)), None)
    return None if row is None else (row.first_year_survival, row.times_survival)


def _estimated(estimates: Estimates | None, source: str) -> tuple[Rate, bool] | None:
    """Release survival as estimated for a source."""
    key = f"release/{source}"
    one = None if estimates is None else estimates.rates.get(key)
    if one is None or one.value is None:
        return None
    return rate_of_estimate(Rate(key, PROBABILITY, one.value), one, label=None), True


def _row(like, site, stage, age, source, numbers) -> Release:
    rate, times = (None, False) if like is None else like
    return Release(
        name=f"{stage} {age} of {source} to {site}", site=site, stage=stage, age=age,
        numbers={int(y): float(n) for y, n in numbers.items()}, source=source,
        first_year_survival=rate, times_survival=times, made=True)


def _usual_month(records: FieldRecords) -> float:
    days = pd.concat([pd.to_datetime(records.visits["first_date"], errors="coerce"),
                      pd.to_datetime(records.units["date"], errors="coerce")]).dropna()
    return float(days.dt.month.median()) if len(days) else 12.0


def _bad_years(resolved: Resolved, named: tuple[str, ...], surveys: float):
    """Kinds of bad years that strike in the years named and in no other."""
    years: dict[str, list[int]] = {b.name: [] for b in resolved.bad_years}
    for text in named:
        found = re.match(r"\s*(\d{4})(?:-(\d{1,2}))?(?:-\d{1,2})?\s*(.*)", str(text))
        kind = found and next((n for n in years if n.lower() in found[3].lower()), None)
        if not kind:
            raise CannotCompute(Problem(
                f"the scenario has no kind of bad year for `{text}` of the study",
                f"Add it under `bad_years`, called `{found[3] if found else text}`.",
                done="nothing was run", code="bad-year-unknown"))
        year = int(found[1])
        before = int(found[2]) < surveys if found[2] else surveys >= MID_YEAR
        # the model year begins at the survey: what struck before it belongs to the year before
        years[kind].append(year - 1 if before else year)
    fixed = tuple(_fixed(b, years[b.name], resolved) for b in resolved.bad_years)
    told = [f"Bad years struck as the study names them ({', '.join(named) or 'none'}), and in no "
            "other year."] if resolved.bad_years else []
    return fixed, told


def _fixed(kind: BadYear, years: list[int], resolved: Resolved) -> BadYear:
    inside = tuple(y for y in sorted(years) if resolved.first <= y < resolved.last)
    return replace(kind, chance=0.0, years=inside)

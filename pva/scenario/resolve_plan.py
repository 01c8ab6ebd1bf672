"""Plans: releases and collections by year, movement, goals, quasi-extinction, bad years."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from typing import Any

from pva.lifehistory.rates import PROBABILITY
from pva.scenario.resolve_rates import RateReader
from pva.scenario.resolved import (
    RIVER,
    BadYear,
    Carried,
    Chance,
    Collection,
    Genetics,
    Goal,
    Movement,
    Option,
    QuasiExtinction,
    Release,
    Repeat,
    Runs,
    Site,
    Solve,
    SurveyGoal,
    Until,
    YearEffects,
)
from pva.scenario.spec import ScenarioSpec
from pva.scenario.spec_life import NoBadYearsSpec, RiverSpec, YearEffectsSpec
from pva.scenario.spec_plan import CollectionSpec, GoalSpec, ReleaseSpec

STRIKES = {"together": 1.0, "separately": 0.0}


def numbers_by_year(spec: ReleaseSpec | CollectionSpec) -> dict[int, float]:
    """Planned numbers by year of a release or collection row."""
    if isinstance(spec.number, dict):
        return dict(sorted(spec.number.items()))
    last = spec.first if spec.last is None else spec.last
    return {year: spec.number for year in range(spec.first, last + 1, spec.interval or 1)}


def resolve_releases(spec: ScenarioSpec, sites: Sequence[Site], reader: RateReader) -> tuple:
    """Releases by year, with the survival of their first year."""
    rows = spec.releases or []
    places = [r.site or sites[0].name for r in rows]
    names = release_names(rows, sites[0].name)
    known = {s.name for s in sites}
    return tuple(
        part for i, (row, name, place) in enumerate(zip(rows, names, places, strict=True))
        for part in _with_deliveries(row, _release(row, name, place, i, known, reader))
    )


def _with_deliveries(row: ReleaseSpec, release: Release) -> tuple[Release, ...]:
    """What was delivered already as a row of its own, exactly so; the plan from the year after."""
    if not row.delivered_so_far:
        return (release,)
    last = max(row.delivered_so_far)
    made = replace(
        release, name=delivered_name(release.name), numbers=dict(sorted(
            row.delivered_so_far.items())), delivered_mean=1.0, delivered_sd=0.0, made=True,
        until=None, repeat=None)
    return made, replace(release, numbers={y: n for y, n in release.numbers.items() if y > last})


def delivered_name(name: str) -> str:
    """Name of the row that holds what was delivered already."""
    return f"{name}, delivered so far"


def release_names(rows: Sequence[ReleaseSpec], only_site: str) -> list[str]:
    """Names of release rows, ``STAGE at SITE`` where none is written."""
    return row_names([r.name for r in rows], [f"{r.stage} at {r.site or only_site}" for r in rows])


def row_names(written: Sequence[str | None], otherwise: Sequence[str]) -> list[str]:
    """Names of rows; rows without one are called by what they do, and counted where equal."""
    taken = {n for n in written if n is not None}
    names = []
    for name, words in zip(written, otherwise, strict=True):
        if name is None:
            name, count = words, 1
            while name in taken:
                count += 1
                name = f"{words} ({count})"
            taken.add(name)
        names.append(name)
    return names


def _release(row: ReleaseSpec, name: str, place: str, index: int, known: set, reader) -> Release:
    survival, times = None, False
    if row.first_year_survival is not None:
        written = row.first_year_survival
        shared = (written.estimate or "").startswith("release/")
        changed = written.model_fields_set - {"estimate", "source"}
        key = f"releases/{name}/first_year_survival"
        if shared and not changed:  # rows with one R share its draw
            key = written.estimate
        key = written.draw or key
        survival = reader.rate(written, kind=PROBABILITY, key=key,
                               path=("releases", index, "first_year_survival"))
        times = shared if row.times_survival is None else row.times_survival
    until, again, last = row.until, row.repeat, reader.years[1]
    return Release(
        name, place, row.stage, numbers_by_year(row), age=row.age or 1, source=row.source,
        from_site=row.source if row.source in known else None, age_written=row.age is not None,
        order_lead=row.order_lead,
        delivered_mean=row.delivered.mean if row.delivered else 1.0,
        delivered_sd=row.delivered.sd if row.delivered else 0.0,
        first_year_survival=survival, times_survival=times, cost_each=row.cost_each,
        mothers_per_1000=row.mothers_per_1000, made=bool(row.made),
        until=None if until is None else Until(until.measure, until.at_least, where_of(until.where),
                                               until.running),
        repeat=None if again is None else Repeat(
            again.measure, again.at_most, last - 1 if again.last is None else again.last,
            where_of(again.where), again.running),
    )


def where_of(written: Any) -> Any:
    """River, each site, a number of sites, or site names as a tuple."""
    if isinstance(written, str) and written not in (RIVER, "each site"):
        return (written,)
    return written


def resolve_collections(spec: ScenarioSpec, sites: Sequence[Site]) -> tuple[Collection, ...]:
    """Collections by year."""
    rows = spec.collections or []
    places = [r.site or sites[0].name for r in rows]
    names = row_names([r.name for r in rows],
                      [f"{r.stage} from {p}" for r, p in zip(rows, places, strict=True)])
    return tuple(
        Collection(n, p, r.stage, numbers_by_year(r))
        for r, n, p in zip(rows, names, places, strict=True)
    )


def resolve_movement(spec: ScenarioSpec, reader: RateReader) -> tuple[Movement, ...]:
    """Movement rows."""
    return tuple(
        Movement(r.stage, r.from_, r.to, reader.rate(
            r.share, kind=PROBABILITY, key=f"movement/{r.stage}/{r.from_}/{r.to}",
            path=("movement", i, "share")))
        for i, r in enumerate(spec.movement or [])
    )


def resolve_carried(spec: ScenarioSpec) -> tuple[Carried, ...]:
    """Recruits carried between sites by hosts."""
    rows = (spec.recruitment.carried if spec.recruitment else None) or []
    return tuple(Carried(r.from_, r.to, r.share) for r in rows)


def resolve_quasi_extinction(
    spec: ScenarioSpec, releases: Sequence[Release]
) -> QuasiExtinction:
    """Threshold and clock; default: the year after the last release, or first + 1."""
    written = spec.quasi_extinction
    start = written.from_
    if start is None:
        planned = [y for r in releases for y in r.numbers]
        start = min(max(planned, default=spec.years.first) + 1, spec.years.last)
    return QuasiExtinction(written.adults_below, start, where_of(written.where))


def resolve_goals(spec: ScenarioSpec) -> tuple[Goal, ...]:
    """Goals with their span of years."""
    rows = spec.goals or []
    names = row_names([r.name for r in rows], [goal_words(r) for r in rows])
    return tuple(_goal(r, n) for r, n in zip(rows, names, strict=True))


def _goal(row: GoalSpec, name: str) -> Goal:
    at_most = row.at_least is None
    years = (row.in_, row.in_) if row.in_ is not None else tuple(row.in_years)
    return Goal(name, row.measure, row.at_most if at_most else row.at_least, at_most, years,
                of_years=row.of_years, running=row.running, where=where_of(row.where))


def goal_words(row: GoalSpec) -> str:
    """A goal in words, its name where none is written."""
    value = row.at_most if row.at_least is None else row.at_least
    limit = "at most" if row.at_least is None else "at least"
    years = row.in_ if row.in_ is not None else "-".join(map(str, row.in_years or ()))
    return f"{row.measure} {limit} {value or 0:g} in {years}"


def resolve_survey_goals(spec: ScenarioSpec) -> tuple[SurveyGoal, ...]:
    """Goals on survey estimates."""
    return tuple(
        SurveyGoal(r.name, r.estimate, r.lower_limit_at_least, r.confidence)
        for r in spec.survey_goals or []
    )


def resolve_solve(spec: ScenarioSpec, releases: Sequence[Release]) -> Solve | None:
    """What is varied; all rows unless some are named."""
    if spec.solve is None:
        return None
    rows, options = spec.solve.releases, spec.solve.options or ()
    names = tuple(r.name for r in releases if not r.made) if rows is None else tuple(rows)
    chosen = tuple(Option(o.name, tuple(o.releases)) for o in options)
    if chosen:
        names = tuple(n for n in names if any(n in o.releases for o in chosen))
    return Solve(spec.solve.vary, names, spec.solve.most, chosen)


def resolve_bad_years(spec: ScenarioSpec, stages: Sequence[str]) -> tuple[tuple, str | None]:
    """Kinds of bad years with a multiplier for every stage, and the reason where there are none."""
    if isinstance(spec.bad_years, NoBadYearsSpec):
        return (), spec.bad_years.none
    rows = []
    for row in spec.bad_years:
        if isinstance(row.survival, dict):
            survival = {s: row.survival.get(s, 1.0) for s in stages}
        else:
            survival = dict.fromkeys(stages, 1.0 if row.survival is None else row.survival)
        rows.append(BadYear(
            row.name, chance=row.chance or 0.0, years=tuple(sorted(row.years or ())),
            length=row.length, survival=survival, recruitment=row.recruitment, hosts=row.hosts,
            strikes=STRIKES.get(row.strikes, row.strikes),
        ))
    return tuple(rows), None


def resolve_year_effects(spec: YearEffectsSpec) -> YearEffects:
    """How the luck of years is shared; pairs of rates in both orders mean one number."""
    between, sites = spec.between_rates, spec.between_sites
    if isinstance(between, dict):
        pairs = {}
        for one, row in between.items():
            for other, number in row.items():
                if one != other:
                    pairs[tuple(sorted((one, other)))] = number
        between = dict(sorted(pairs.items()))
    distance = sites.river_km if isinstance(sites, RiverSpec) else None
    return YearEffects(between, None if distance is not None else sites, distance, spec.carry_over)


def resolve_settings(spec: ScenarioSpec) -> dict[str, Any]:
    """Chance, genetics and runs."""
    genetics = spec.genetics
    return {
        "chance": Chance(spec.chance.unknown, spec.chance.years, spec.chance.individuals),
        "genetics": None if genetics is None else Genetics(genetics.ne_over_n, genetics.founders),
        "runs": Runs(spec.runs.draws, spec.runs.replicates, spec.runs.seed,
                     spec.runs.keep_trajectories),
    }

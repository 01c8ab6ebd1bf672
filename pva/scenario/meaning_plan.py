"""What can be wrong with plans: releases, collections, goals, quasi-extinction, solve."""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import Any

from pva.scenario.meaning_goals import check_goal_limit, check_survey_limit
from pva.scenario.meaning_life import stage_names, unknown_stage
from pva.scenario.meaning_sites import site_names, unknown_site
from pva.scenario.places import Problems
from pva.scenario.resolve_plan import release_names
from pva.scenario.resolve_rates import has_law, nearest
from pva.scenario.resolved import EACH_SITE, RIVER
from pva.scenario.spec import ScenarioSpec
from pva.scenario.spec_plan import (
    CollectionSpec,
    GoalSpec,
    ReleaseSpec,
    RepeatSpec,
    SolveSpec,
    UntilSpec,
)


def check_plan(spec: ScenarioSpec, problems: Problems) -> None:
    """Collect what is wrong with plans."""
    sites = site_names(spec)
    for group in ("releases", "collections", "goals", "survey_goals"):
        _check_twice(getattr(spec, group), group, problems)
    for i, row in enumerate(spec.releases or ()):
        _check_event(spec, row, ("releases", i), problems)
        _check_release(spec, row, sites, ("releases", i), problems)
    for i, row in enumerate(spec.collections or ()):
        _check_event(spec, row, ("collections", i), problems)
    for i, row in enumerate(spec.goals or ()):
        _check_goal(spec, row, sites, ("goals", i), problems)
        for key in ("at_least", "at_most"):
            check_goal_limit(spec, row.measure, getattr(row, key), ("goals", i, key), problems)
    for i, row in enumerate(spec.survey_goals or ()):
        check_survey_limit(row, ("survey_goals", i), problems)
    quasi = spec.quasi_extinction
    _check_year(spec, quasi.from_, ("quasi_extinction", "from"), problems)
    _check_where(quasi.where, sites, ("quasi_extinction", "where"), problems)
    _check_solve(spec, problems)
    if spec.genetics is not None and (spec.genetics.founders < 1 or spec.genetics.ne_over_n <= 0):
        problems.add(("genetics",), "{key} needs at least 1 founder and an `ne_over_n` above 0",
                     "Correct the numbers.", code="out-of-range")


def _check_twice(rows: Sequence | None, group: str, problems: Problems, path: tuple = ()) -> None:
    seen: list[str] = []
    for i, row in enumerate(rows or ()):
        if row.name is not None and row.name in seen:
            problems.add((*(path or (group,)), i),
                         f"the name `{row.name}` stands twice in `{group}`",
                         "Give every row its own name.", code="name-twice")
        seen.append(row.name)


def _check_year(spec: ScenarioSpec, year: int | None, path: tuple, problems: Problems) -> None:
    if spec.years.last <= spec.years.first:
        return  # told once, with the years
    if year is not None and not spec.years.first <= year <= spec.years.last:
        problems.add(path, f"{{key}} is {year}, outside the years of the scenario, "
                     f"{spec.years.first} to {spec.years.last}",
                     "Move the year, or change `years`.", code="year-outside")


def _check_event(
    spec: ScenarioSpec, row: ReleaseSpec | CollectionSpec, path: tuple, problems: Problems
) -> None:
    names, sites = stage_names(spec), site_names(spec)
    if row.stage not in names:
        unknown_stage(problems, (*path, "stage"), row.stage, names)
    if row.site is None and len(sites) > 1:
        problems.add(path, "{key} names no site, and there are several", "Write `site`.",
                     code="site-missing")
    if row.site is not None and row.site not in sites:
        unknown_site(problems, (*path, "site"), row.site, sites)
    if isinstance(row.number, dict):
        _check_table(spec, row, path, problems)
        return
    if row.first is None:
        problems.add(path, "{key} does not say when: `first` is missing",
                     "Write `first` (and `last`), or numbers by year.", code="when-missing")
        return
    _check_year(spec, row.first, (*path, "first"), problems)
    _check_year(spec, row.last, (*path, "last"), problems)
    if row.last is not None and row.last < row.first:
        problems.add((*path, "last"), f"{{key}} is {row.last}, before the first year {row.first}",
                     "Write a later last year.", code="years-order")


def _check_table(spec: ScenarioSpec, row: Any, path: tuple, problems: Problems) -> None:
    for key in ("first", "last", "interval"):
        if getattr(row, key) is not None:
            problems.add((*path, key), "{key} stands beside numbers by year, which say the years",
                         "Remove one of the two.", code="two-kinds-of-when")
    if not row.number:
        problems.add((*path, "number"), "{key} is empty", "Write numbers by year.",
                     code="when-missing")
    for year in row.number:
        _check_year(spec, year, (*path, "number", year), problems)


def _check_release(
    spec: ScenarioSpec, row: ReleaseSpec, sites: list[str], path: tuple, problems: Problems
) -> None:
    place = row.site or (sites[0] if sites else "")
    if "hatchery" not in row.source.lower() and row.source not in sites:
        problems.add(
            (*path, "source"), f"{{key}} is `{row.source}`, neither a hatchery nor a site",
            nearest(row.source, ["hatchery", *sites]), code="unknown-site",
        )
    elif row.source == place:
        problems.add((*path, "source"), f"{{key}}: animals would be taken from `{place}` and "
                     "released there", "Name another site, or `hatchery`.",
                     code="way-to-itself")
    stages = {s.name: s for s in spec.stages or ()}
    years = stages[row.stage].years if row.stage in stages else None
    if row.age is not None and row.age > (years or 1):
        room = f"has {years} years" if years else "is not a stage of fixed years"
        problems.add((*path, "age"), f"{{key}} is {row.age}, but `{row.stage}` {room}",
                     "`age` counts the years within the stage, the first is 1.",
                     code="age-outside-stage")
    if row.delivered is not None:
        _check_delivered(row.delivered, (*path, "delivered"), problems)
    _check_delivered_so_far(spec, row, (*path, "delivered_so_far"), problems)
    if row.until is not None:
        _check_watched(spec, row.until, "at_least", sites, (*path, "until"), problems)
    if row.repeat is not None:
        _check_watched(spec, row.repeat, "at_most", sites, (*path, "repeat"), problems)
        _check_repeat_years(spec, row, (*path, "repeat", "last"), problems)


def _check_watched(
    spec: ScenarioSpec, rule: UntilSpec | RepeatSpec, limit: str, sites: list[str], path: tuple,
    problems: Problems,
) -> None:
    """A rule that watches a yearly measure while the run goes on."""
    check_goal_limit(spec, rule.measure, getattr(rule, limit), (*path, limit), problems)
    if rule.measure == "heterozygosity":
        problems.add((*path, "measure"), "{key} is `heterozygosity`, which is only "
                     "known when the run is over", "Choose another measure.",
                     code="measure-not-watched")
    else:
        _check_measure(spec, rule.measure, (*path, "measure"), problems)
    where = (*path, "where")
    if isinstance(rule.where, int) or rule.where == EACH_SITE:
        problems.add(where, "{key} must be the river or sites summed",
                     "Write `river`, a site, or a list of sites.", code="wrong-where")
    else:
        _check_where(rule.where, sites, where, problems)


def _check_repeat_years(
    spec: ScenarioSpec, row: ReleaseSpec, path: tuple, problems: Problems
) -> None:
    last = spec.years.last - 1 if row.repeat.last is None else row.repeat.last
    if row.repeat.last is not None:
        _check_year(spec, row.repeat.last, path, problems)
    planned = row.number if isinstance(row.number, dict) else (row.last, row.first)
    planned = max((y for y in planned if y is not None), default=last)
    if last <= planned < spec.years.last - 1 or (row.repeat.last is not None and last <= planned):
        problems.add(path, f"{{key}} is {last}, not after the last planned release in {planned}",
                     "A release is repeated after its planned years: write a later year.",
                     code="years-order")
    elif last <= planned:
        problems.add(path[:-1], f"{{key}}: the planned releases go on to {planned}, and no year is "
                     "left in which they could be repeated",
                     "Write an earlier last planned year, or remove `repeat`.", code="years-order")


def _check_delivered(written: Any, path: tuple, problems: Problems) -> None:
    mean, sd = written.mean, written.sd
    if not 0 <= mean <= 1 or sd <= 0:
        return
    if sd >= math.sqrt(mean * (1 - mean)) or not has_law(mean, sd):
        problems.add(path, f"{{key}}: no share with mean {mean:g} has SD {sd:g}", "Lower `sd`.",
                     code="impossible-sd")


# goals


def _check_goal(
    spec: ScenarioSpec, row: GoalSpec, sites: list[str], path: tuple, problems: Problems
) -> None:
    if (row.at_least is None) == (row.at_most is None):
        problems.add(path, "{key} needs one of `at_least` and `at_most`", "Write one of them.",
                     code="one-of")
    if (row.in_ is None) == (row.in_years is None):
        said = "says twice when" if row.in_ is not None else "does not say when"
        problems.add(path, f"{{key}} {said} it must hold",
                     "Write `in: YEAR` or `in_years: [first, last]`.", code="goal-without-when")
    _check_year(spec, row.in_, (*path, "in"), problems)
    _check_measure(spec, row.measure, (*path, "measure"), problems)
    _check_where(row.where, sites, (*path, "where"), problems)
    enough = [k for k in ("of_years", "running") if getattr(row, k) is not None]
    if len(enough) == 2:
        problems.add(path, "{key} has both `of_years` and `running`", "Keep one of them.",
                     code="one-of")
    if row.in_years is None:
        if enough and row.in_ is not None:
            problems.add((*path, enough[0]), "{key} needs `in_years`",
                         "Write `in_years: [first, last]`.", code="goal-without-when")
        return
    first, last = row.in_years
    for year in (first, last):
        _check_year(spec, year, (*path, "in_years"), problems)
    if last < first:
        problems.add((*path, "in_years"), f"{{key}} ends in {last}, before it begins in {first}",
                     "Write [first, last].", code="years-order")
    for key in enough:
        if getattr(row, key) > last - first + 1 and last >= first:
            problems.add((*path, key), f"{{key}} is {getattr(row, key)}, but there are only "
                         f"{last - first + 1} years from {first} to {last}", "Lower it.",
                         code="out-of-range")


def _check_where(where: Any, sites: list[str], path: tuple, problems: Problems) -> None:
    if isinstance(where, tuple):
        for i, site in enumerate(where):
            if site not in sites:
                unknown_site(problems, (*path, i), site, sites)
            elif site in where[:i]:
                problems.add((*path, i), f"{{key}} names `{site}` twice", "Name it once.",
                             code="name-twice")
    elif isinstance(where, int):
        if not 1 <= where <= len(sites):
            problems.add(path, f"{{key}} is {where}, but the number of sites is {len(sites)}",
                         f"Write a number from 1 to {len(sites)}.", code="out-of-range")
    elif where not in (RIVER, EACH_SITE) and where not in sites:
        unknown_site(problems, path, where, [RIVER, EACH_SITE, *sites])


def _check_measure(spec: ScenarioSpec, measure: str, path: tuple, problems: Problems) -> None:
    """Measures that need something the scenario does not hold."""
    lacks = None
    if measure == "heterozygosity" and spec.genetics is None:
        lacks = "`genetics: {ne_over_n, founders}`"
    elif measure == "adults_per_m2" and not all(s.area_m2 for s in spec.sites or [None] if s):
        lacks = "the `area_m2` of every site"
    elif measure == "adults_per_m2" and not spec.sites:
        lacks = "`sites` with their `area_m2`"
    elif measure == "glochidia_per_host" and not _has_hosts(spec):
        lacks = "hosts in `recruitment`"
    if lacks:
        problems.add(path, f"{{key}} is `{measure}`, which needs {lacks}",
                     "Write it, or choose another measure.", code="measure-needs")


def _has_hosts(spec: ScenarioSpec) -> bool:
    blocks = [spec.recruitment, *(s.recruitment for s in spec.sites or ())]
    return any(b is not None and b.hosts for b in blocks)


def _check_delivered_so_far(
    spec: ScenarioSpec, row: ReleaseSpec, path: tuple, problems: Problems
) -> None:
    """Deliveries lie within the planned years and leave some of them."""
    if not row.delivered_so_far:
        return
    for year in row.delivered_so_far:
        _check_year(spec, year, (*path, year), problems)
    planned = row.number if isinstance(row.number, dict) else (row.last, row.first)
    last = max((y for y in planned if y is not None), default=None)
    if last is not None and max(row.delivered_so_far) >= last:
        problems.add(path, f"{{key}} reaches to {max(row.delivered_so_far)}, and the planned "
                     f"releases end in {last}: no year is left to plan",
                     "Write a later `last`, or, if the releases are over, the delivered animals as "
                     "`number` by year.", code="nothing-left-to-plan")


def _check_solve(spec: ScenarioSpec, problems: Problems) -> None:
    solve = spec.solve
    if solve is None:
        return
    rows = list(spec.releases or ())
    named = release_names(rows, next(iter(site_names(spec)), ""))
    if not rows:
        problems.add(("solve",), "{key} has no releases to vary", "Write at least one release.",
                     code="no-releases")
        return
    _check_named(solve.releases, named, ("solve", "releases"), problems)
    if solve.releases is not None and not solve.releases:
        problems.add(("solve", "releases"), "{key} is empty", "Name at least one release.",
                     code="no-releases")
    if solve.options is not None:
        _check_options(solve, rows, named, problems)
    if solve.vary == "mothers":
        chosen = named if solve.releases is None else solve.releases
        if solve.options:
            chosen = [n for o in solve.options for n in o.releases]
        for i, (row, name) in enumerate(zip(rows, named, strict=True)):
            if name in chosen and row.mothers_per_1000 <= 0:
                problems.add(("releases", i), "{key} is varied by mothers but has no "
                             "`mothers_per_1000`", "Write how many mothers 1,000 animals need.",
                             code="mothers-missing")


def _check_named(
    names: Sequence[str] | None, known: Sequence[str], path: tuple, problems: Problems
) -> None:
    for i, name in enumerate(names or ()):
        if name not in known:
            problems.add((*path, i), f"{{key}} names the release `{name}`, which "
                         "does not exist", nearest(name, known), code="unknown-release")


def _check_options(
    solve: SolveSpec, rows: Sequence[ReleaseSpec], named: Sequence[str], problems: Problems
) -> None:
    """Options have different names, hold rows, and no row stands in two of them."""
    where = ("solve", "options")
    if solve.releases is not None:
        problems.add(("solve",), "{key} has both `releases` and `options`",
                     "Keep one of them: the rows of the options are varied.", code="one-of")
    if len(solve.options) < 2:
        problems.add(where, "{key} holds fewer than two options, so there is nothing to choose "
                     "between", "Write at least two, or name rows under `releases`.",
                     code="option-alone")
    _check_twice(solve.options, "solve.options", problems, where)
    taken: dict[str, str] = {}
    for i, option in enumerate(solve.options):
        _check_named(option.releases, named, (*where, i, "releases"), problems)
        if not option.releases:
            problems.add((*where, i, "releases"), "{key} is empty", "Name at least one release.",
                         code="no-releases")
        for name in option.releases:
            if name in taken and name in named:
                problems.add((*where, i, "releases"), f"{{key}} holds `{name}`, which stands in "
                             f"`{taken[name]}` already", "Give each option rows of its own; rows "
                             "in no option are released as written.", code="name-twice")
            taken.setdefault(name, option.name)

"""What can be wrong with sites, start numbers, limits, host densities and ways between sites."""

from __future__ import annotations

from collections.abc import Sequence

from pva.scenario.counts import check_count
from pva.scenario.meaning_life import stage_names, unknown_stage
from pva.scenario.places import Problems
from pva.scenario.resolve_rates import nearest
from pva.scenario.resolve_sites import ONLY_SITE
from pva.scenario.resolved import EACH_SITE, LOST, RIVER
from pva.scenario.spec import ScenarioSpec
from pva.scenario.spec_life import LimitsSpec, RiverSpec
from pva.scenario.spec_plan import HostDensitySpec, SiteSpec, StartSpec

RESERVED_SITES = {RIVER, EACH_SITE, LOST}


def check_sites(spec: ScenarioSpec, problems: Problems) -> None:
    """Collect what is wrong with places."""
    names = site_names(spec)
    if spec.sites is not None and not spec.sites:
        problems.add(("sites",), "{key} is empty", "Write at least one site, or leave it out.",
                     code="no-sites")
    for i, site in enumerate(spec.sites or ()):
        if site.name in names[:i] or site.name in RESERVED_SITES:
            twice = "stands twice" if site.name in names[:i] else "has a meaning of its own here"
            problems.add(("sites", i), f"the site name `{site.name}` {twice}",
                         "Choose another name.", code="name-twice")
        _check_site(spec, site, ("sites", i), problems)
    _check_limits(spec.limits, ("limits",), problems)
    if spec.start is not None:
        _check_start(spec, spec.start, ("start",), problems)
    elif not spec.sites:
        problems.add(("start",), "the key `start` is missing from the scenario",
                     "Write the animals at the first census: `start: {STAGE: number}`.",
                     code="start-missing")
    if _uses_chain(spec) and not spec.sites:
        problems.add(
            ("sites",), "recruitment through hosts needs `sites` with area and host densities",
            "Write `sites` with `area_m2` and `hosts`.", code="sites-missing",
        )
    _check_ways(spec, names, problems)


def site_names(spec: ScenarioSpec) -> list[str]:
    """Names of the sites; one called ``site`` where none is written."""
    return [ONLY_SITE] if spec.sites is None else [s.name for s in spec.sites]


def unknown_site(problems: Problems, path: Sequence, site: str, names: Sequence[str]) -> None:
    """Record a site that does not exist."""
    problems.add(path, f"{{key}} names the site `{site}`, which does not exist",
                 nearest(site, names), code="unknown-site")


def _uses_chain(spec: ScenarioSpec) -> bool:
    blocks = [spec.recruitment, *(s.recruitment for s in spec.sites or ())]
    return any(b is not None and b.hosts is not None for b in blocks)


def _host_names(spec: ScenarioSpec, site: SiteSpec) -> list[str]:
    blocks = [b for b in (spec.recruitment, site.recruitment) if b is not None]
    return [h.name for b in blocks for h in b.hosts or ()]


def _check_site(spec: ScenarioSpec, site: SiteSpec, path: tuple, problems: Problems) -> None:
    if site.area_m2 is None and site.capacity_per_m2 is not None:
        problems.add((*path, "capacity_per_m2"), "{key} needs the area of the site",
                     "Write `area_m2`.", code="area-missing")
    elif site.capacity_per_m2 is not None:
        check_count(site.capacity_per_m2 * site.area_m2, (*path, "capacity_per_m2"), problems,
                    what="{key} times the area is")
    if site.start is None and spec.start is None:
        problems.add(path, f"the site `{site.name}` has no `start`, and there is none at top level",
                     "Write its animals at the first census, or `{project_from: releases}`.",
                     code="start-missing")
    if site.start is not None:
        _check_start(spec, site.start, (*path, "start"), problems)
    if spec.matrix is not None:
        _check_site_matrix(spec, site, path, problems)
    _check_limits(site.limits, (*path, "limits"), problems)
    _check_inherited_crowding(spec.limits, site.limits, (*path, "limits"), problems)
    hosts = _host_names(spec, site)
    needs_area = bool(hosts) or any(
        b is not None and b.fertilised is not None for b in (spec.recruitment, site.recruitment)
    )
    if needs_area and site.area_m2 is None:
        problems.add(path, f"the site `{site.name}` has no `area_m2`, which recruitment through "
                     "hosts or by density needs", "Write its area in m2.",
                     code="area-missing")
    for host, written in (site.hosts or {}).items():
        if host not in hosts and hosts:
            problems.add((*path, "hosts", host), f"{{key}} names the host `{host}`, which does not "
                         "stand in recruitment.hosts", nearest(host, hosts),
                         code="unknown-host")
        _check_density(spec, written, (*path, "hosts", host), problems)


def _check_site_matrix(spec, site: SiteSpec, path: tuple, problems: Problems) -> None:
    names = stage_names(spec)
    for block in ("survival", "growth"):
        for stage in getattr(site, block) or {}:
            if stage not in names:
                unknown_stage(problems, (*path, block, stage), stage, names)
    for stage, written in (site.growth or {}).items():
        for to in written if isinstance(written, dict) else ():
            if to not in names or to == stage:
                unknown_stage(problems, (*path, "growth", stage, to), to, names)
        if not isinstance(written, dict):
            problems.add((*path, "growth", stage), "{key} must name the stage reached, as the "
                         "scenario has a matrix", "Write `{STAGE: RATE}`.",
                         code="growth-without-target")
    for key in site.recruitment.model_fields_set if site.recruitment else ():
        if key not in ("females", "dispersion"):
            problems.add((*path, "recruitment", key), "{key} cannot differ where the recruitment "
                         "is a matrix", "Only `females` and `dispersion` may differ at a site.",
                         code="matrix-and-stages")


def _check_start(spec: ScenarioSpec, start: StartSpec, path: tuple, problems: Problems) -> None:
    names, numbers = stage_names(spec), start.numbers
    forms = [f for f in ("estimate", "project_from") if getattr(start, f) is not None]
    forms += ["animals"] if "animals" in numbers else []
    forms += ["numbers by stage"] if set(numbers) - {"animals"} else []
    if not forms:
        problems.add(path, "{key} is empty", "Write numbers by stage, `{estimate: KEY}` or "
                     "`{project_from: releases}`.", code="start-missing")
    if len(forms) > 1:
        problems.add(path, f"{{key}} mixes {' and '.join(forms)}", "Keep one of them.",
                     code="start-mixed")
    for stage in numbers:
        if stage not in names and stage != "animals":
            unknown_stage(problems, (*path, stage), stage, names)


def _check_limits(limits: LimitsSpec | None, path: tuple, problems: Problems) -> None:
    if limits is None:
        return
    ceiling = limits.ceiling
    if ceiling is not None and (ceiling.adults is None) == (ceiling.animals is None):
        problems.add((*path, "ceiling"), "{key} needs one of `adults` and `animals`",
                     "Write one of them.", code="one-of")
    if limits.beverton_holt is not None and limits.ricker is not None:
        problems.add(path, "{key} has both `beverton_holt` and `ricker`", "Keep one of them.",
                     code="two-crowdings")


def _check_inherited_crowding(top: LimitsSpec | None, own: LimitsSpec | None, path: tuple,
                              problems: Problems) -> None:
    """A site's key replaces the same key only, so the other form of crowding would stay as well."""
    if top is None or own is None:
        return
    for mine, other in (("beverton_holt", "ricker"), ("ricker", "beverton_holt")):
        if getattr(own, mine) is not None and getattr(top, other) is not None:
            problems.add((*path, mine), f"{{key}} comes on top of the `{other}` of all sites",
                         f"Keep one of them: write `{other}` at the sites that need it, not at top "
                         "level.", code="two-crowdings")


def _check_density(spec, written: HostDensitySpec, path: tuple, problems: Problems) -> None:
    ramp = [k for k in ("until", "blocked", "then_per_100m2", "ramp_years") if written.wrote(k)]
    if written.per_100m2 is not None and ramp:
        problems.add(path, f"{{key}} has both `per_100m2` and `{ramp[0]}`",
                     "Write a density, or a year until which fish are blocked.",
                     code="two-densities")
    elif written.per_100m2 is None:
        missing = [k for k in ("until", "then_per_100m2") if not written.wrote(k)]
        if missing:
            problems.add(path, f"{{key}} is not complete: `{'` and `'.join(missing)}` missing",
                         "Write `{per_100m2: RATE}`, or `{until: YEAR, blocked: true, "
                         "then_per_100m2: RATE, ramp_years: n}`.",
                         code="density-incomplete")
    if written.blocked is False:
        problems.add((*path, "blocked"), "{key} is off, but a year until which fish are blocked is "
                     "named", "Write `blocked: true`, or a plain `per_100m2`.",
                     code="not-blocked")
    if written.until is not None and not spec.years.first <= written.until <= spec.years.last:
        problems.add((*path, "until"), f"{{key}} is {written.until}, outside the years of the "
                     f"scenario, {spec.years.first} to {spec.years.last}",
                     "Move the year, or write a plain `per_100m2`.", code="year-outside")


# ways between sites


def _check_ways(spec: ScenarioSpec, names: Sequence[str], problems: Problems) -> None:
    stages = stage_names(spec)
    seen = set()
    for i, row in enumerate(spec.movement or ()):
        path = ("movement", i)
        if (row.stage, row.from_, row.to) in seen:
            problems.add(path, f"{{key}} says again how `{row.stage}` moves from `{row.from_}` to "
                         f"`{row.to}`", "Keep one row, with the share of both.",
                         code="written-twice")
        seen.add((row.stage, row.from_, row.to))
        if row.stage not in stages and row.stage != "all":
            unknown_stage(problems, (*path, "stage"), row.stage, [*stages, "all"])
        if row.from_ not in names:
            unknown_site(problems, (*path, "from"), row.from_, names)
        if row.to not in names and row.to != LOST:
            unknown_site(problems, (*path, "to"), row.to, [*names, LOST])
        if row.from_ == row.to:
            problems.add(path, "{key} leads back to the same site", "Remove it.",
                         code="way-to-itself")
    leaving: dict[str, float] = {}
    for i, row in enumerate((spec.recruitment.carried if spec.recruitment else None) or ()):
        path = ("recruitment", "carried", i)
        for key, site in (("from", row.from_), ("to", row.to)):
            if site not in names:
                unknown_site(problems, (*path, key), site, names)
        if row.from_ == row.to:
            problems.add(path, "{key} leads back to the same site", "Remove it.",
                         code="way-to-itself")
        leaving[row.from_] = leaving.get(row.from_, 0) + row.share
        if leaving[row.from_] > 1 + 1e-9:
            problems.add(path, f"the shares carried from `{row.from_}` sum to "
                         f"{leaving[row.from_]:.3g}, above 1", "Lower them.",
                         code="shares-above-one")
    if isinstance(spec.year_effects.between_sites, RiverSpec):
        for i, site in enumerate(spec.sites or ()):
            if site.river_km is None:
                problems.add(("sites", i), f"the site `{site.name}` has no `river_km`, which the "
                             "correlation between sites needs", "Write its place along the river.",
                             code="river-km-missing")

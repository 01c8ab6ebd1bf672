"""The resolved twin: the same scenario in the written form with nothing implied.

Reading a twin gives the same resolved scenario. References (estimates, published values, `extends`)
are followed; each site writes only the rates that are its own, because all others share the draw of
the top level.
"""

from __future__ import annotations

from typing import Any

from pva.lifehistory.rates import Rate
from pva.scenario.resolved import (
    FEMALES,
    RIVER,
    BadYear,
    Calibration,
    CalibrationBase,
    Goal,
    HostDensity,
    Recruitment,
    Release,
    Resolved,
    Site,
    Solve,
    Stage,
)


def twin_of(resolved: Resolved) -> dict[str, Any]:
    """Plain written document of a resolved scenario.

    Parameters
    ----------
    resolved : Resolved

    Returns
    -------
    dict
        Keys in the order of the life cycle; only plain values.
    """
    twin = {
        "title": resolved.title, "species": resolved.species, "description": resolved.description,
        "years": {"first": resolved.first, "last": resolved.last}, "census": resolved.census,
        "numbers": resolved.numbers, **_life(resolved), **_between(resolved),
        "bad_years": _bad_years(resolved), "sites": _sites(resolved),
        "releases": [_release(r) for r in resolved.releases],
        "collections": [{"name": c.name, "site": c.site, "stage": c.stage,
                         "number": dict(c.numbers)} for c in resolved.collections],
        **_plan(resolved),
    }
    return {k: v for k, v in twin.items() if v not in (None, "", [])}


def rate_written(rate: Rate, natural: str = "") -> dict[str, Any]:
    """A rate as a mapping with every part; `natural`: the key it has unless written."""
    parts = {
        "value": rate.value, "se": rate.se,
        "interval": None if rate.interval is None else list(rate.interval),
        "distribution": rate.distribution,
        "year_sd": rate.year_sd, "by_year": dict(rate.by_year) or None,
        "link": None if rate.link is None else
        {"mean": rate.link.mean, "se": rate.link.se, "year_sd": rate.link.year_sd},
        "estimate": rate.estimate, "source": rate.source.as_written(),
        "draw": None if rate.key == natural else rate.key,
    }
    return {k: v for k, v in parts.items() if v is not None}


# the life cycle


def _life(resolved: Resolved) -> dict[str, Any]:
    top = _top_recruitment(resolved)
    if resolved.matrix is not None:
        matrix = resolved.matrix
        return {
            "matrix": {
                "stages": list(matrix.stages), "adults": list(matrix.adults),
                "survival_and_growth": [list(row) for row in matrix.survival_and_growth],
                "recruitment": [list(row) for row in matrix.recruitment],
            },
            "year_sd": {"survival": dict(s for s in matrix.survival_sd if s[1]),
                        "recruitment": dict(s for s in matrix.recruitment_sd if s[1])},
            "recruitment": top,
        }
    survival, growth = _top_rates(resolved.sites)
    return {"stages": [_stage(s) for s in resolved.stages], "survival": survival,
            "growth": growth or None, "recruitment": top}


def _stage(stage: Stage) -> dict[str, Any]:
    kind = {"years": stage.years, "length_mm": stage.length_mm and list(stage.length_mm)}
    return {"name": stage.name, **{k: v for k, v in kind.items() if v is not None},
            "breeds": stage.breeds, "adult": stage.adult}


def _top_rates(sites: tuple[Site, ...]) -> tuple[dict, dict]:
    """Rates that sites share, and so stand at top level."""
    survival: dict[str, Any] = {}
    shared: dict[str, dict[str, Rate]] = {}
    for site in sites:
        for stage, rate in site.survival.items():
            if not _own(rate, site):
                survival[stage] = rate_written(rate, f"survival/{stage}")
        for stage, shares in site.growth.items():
            below = shared.get(stage, {})
            common = {to: r for to, r in shares.items() if to in below or not _own(r, site)}
            shared[stage] = {**{to: below.get(to, r) for to, r in common.items()}, **below}
    growth = {stage: _growth(stage, shares, "") for stage, shares in shared.items() if shares}
    order = list(sites[0].survival)
    return {s: survival[s] for s in order if s in survival}, growth


def _growth(stage: str, shares: dict[str, Rate], ending: str) -> dict[str, Any]:
    if len(shares) == 1:
        (rate,) = shares.values()
        if rate.effect == f"growth/{stage}":
            return rate_written(rate, f"growth/{stage}{ending}")
    return {to: rate_written(r, f"growth/{stage}/{to}{ending}") for to, r in shares.items()}


def _own(rate: Rate, site: Site) -> bool:
    return rate.key.endswith(f" @ {site.name}")


def _top_recruitment(resolved: Resolved) -> dict[str, Any] | None:
    found: dict[str, Any] = {}
    for site in resolved.sites:
        if not any(_own(r, site) for r in _recruitment_rates(site.recruitment)):
            found = recruitment_written(site.recruitment, resolved.numbers)
            break
    if resolved.carried:
        found["carried"] = [{"from": c.from_site, "to": c.to, "share": c.share}
                            for c in resolved.carried]
    return found or None


def _recruitment_rates(r: Recruitment) -> list[Rate]:
    rates = [r.per_adult, r.females, r.gravid, r.glochidia]
    rates += [x.rate if isinstance(x, Calibration) else x for x in (r.attachment, r.settlement)]
    for host in r.hosts:
        rates += [host.suitability, host.contact, host.capacity]
    return [x for x in rates if x is not None]


def recruitment_written(r: Recruitment, numbers: str, ending: str = "") -> dict[str, Any]:
    """The recruitment block; `ending` is " @ SITE" where it is written at a site."""

    def rate(one: Rate | None, name: str) -> dict | None:
        return None if one is None else rate_written(one, f"recruitment/{name}{ending}")

    def share(one: Rate | Calibration | None, name: str) -> dict | None:
        if not isinstance(one, Calibration):
            return rate(one, name)
        return {"calibrate": {one.target: rate(one.rate, f"{name}/{one.target}"),
                              "hosts_per_100m2": one.hosts_per_100m2,
                              "adults_per_m2": one.adults_per_m2}}

    glochidia = rate(r.glochidia, "glochidia")
    if r.power is not None:
        glochidia = {"at_1_mm": glochidia, "power": r.power}
    block = {
        "per_adult": rate(r.per_adult, "per_adult"),
        "enters": None if r.entries else r.enters,
        "females": None if numbers == FEMALES else rate(r.females, "females"),
        "gravid": rate(r.gravid, "gravid"), "glochidia": glochidia,
        "fertilised": None if r.fertilised is None else {r.fertilised[0]: r.fertilised[1]},
        "attachment": share(r.attachment, "attachment"),
        "settlement": share(r.settlement, "settlement"),
        "hosts": [_host(h, ending) for h in r.hosts] or None,
        "dispersion": r.dispersion,
    }
    return {k: v for k, v in block.items() if v is not None}


def _host(host: Any, ending: str) -> dict[str, Any]:
    row: dict[str, Any] = {"name": host.name}
    for part in ("suitability", "contact", "capacity"):
        rate = getattr(host, part)
        if rate is not None:
            row[part] = rate_written(rate, f"hosts/{host.name}/{part}{ending}")
    if host.immunity_most:
        row["immunity"] = {"most": host.immunity_most, "half_load": host.immunity_half_load}
    return row


def _between(resolved: Resolved) -> dict[str, Any]:
    effects = resolved.year_effects
    between: Any = effects.between_rates
    if isinstance(between, dict):
        table: dict[str, dict] = {}
        for (one, other), number in between.items():
            table.setdefault(one, {})[other] = number
        between = table
    sites = effects.between_sites
    if effects.distance_km is not None:
        sites = {"river_km": effects.distance_km}
    rows = [{"stage": m.stage, "from": m.from_site, "to": m.to, "share": rate_written(
        m.share, f"movement/{m.stage}/{m.from_site}/{m.to}")} for m in resolved.movement]
    return {"movement": rows, "year_effects": {"between_rates": between, "between_sites": sites,
                                               "carry_over": effects.carry_over}}


def _bad_years(resolved: Resolved) -> Any:
    if resolved.no_bad_years_reason is not None:
        return {"none": resolved.no_bad_years_reason}
    return [_bad_year(b) for b in resolved.bad_years]


def _bad_year(row: BadYear) -> dict[str, Any]:
    when = {"years": list(row.years)} if row.years else {"chance": row.chance}
    strikes = {1.0: "together", 0.0: "separately"}.get(row.strikes, row.strikes)
    return {"name": row.name, **when, "length": row.length, "survival": dict(row.survival),
            "recruitment": row.recruitment, "hosts": row.hosts, "strikes": strikes}


# sites


def _sites(resolved: Resolved) -> list[dict[str, Any]]:
    top_survival, top_growth = _top_rates(resolved.sites)
    top = _top_recruitment(resolved) or {}
    return [_site(s, resolved, (top_survival, top_growth, top)) for s in resolved.sites]


def _site(site: Site, resolved: Resolved, top: tuple) -> dict[str, Any]:
    ending = f" @ {site.name}"
    limits = site.limits
    ceiling = {"adults": limits.ceiling_adults, "animals": limits.ceiling_animals}
    ceiling = {k: v for k, v in ceiling.items() if v is not None}
    blocks = {
        "ceiling": ceiling or None,
        "beverton_holt": limits.beverton_holt and {"adults": limits.beverton_holt},
        "ricker": limits.ricker and {"adults": limits.ricker},
    }
    start = {n: rate_written(r, f"start/{n}{ending}") for n, r in site.start.numbers.items()}
    row = {
        "name": site.name, "area_m2": site.area_m2, "river_km": site.river_km,
        "role": site.role or None, "start": start or {"project_from": "releases"},
        "limits": {k: v for k, v in blocks.items() if v} or None,
        **_own_life(site, resolved, top, ending),
        "hosts": {h.host: _density(h, ending) for h in site.hosts} or None,
    }
    return {k: v for k, v in row.items() if v is not None}


def _own_life(site: Site, resolved: Resolved, top: tuple, ending: str) -> dict[str, Any]:
    survival = {n: rate_written(r, f"survival/{n}{ending}") for n, r in site.survival.items()
                if _own(r, site)}
    growth = {}
    for stage, shares in site.growth.items():
        own = {to: r for to, r in shares.items() if _own(r, site)}
        if own:
            growth[stage] = _growth(stage, own, ending)
    recruitment = None
    if any(_own(r, site) for r in _recruitment_rates(site.recruitment)):
        recruitment = recruitment_written(site.recruitment, resolved.numbers, ending)
    elif recruitment_written(site.recruitment, resolved.numbers) != {
        k: v for k, v in top[2].items() if k != "carried"
    }:
        recruitment = recruitment_written(site.recruitment, resolved.numbers, ending)
    return {
        "survival": {n: replacing(top[0].get(n), r) for n, r in survival.items()} or None,
        "growth": {n: _over_growth(top[1].get(n), g) for n, g in growth.items()} or None,
        "recruitment": recruitment and replacing(
            {k: v for k, v in top[2].items() if k != "carried"}, recruitment),
    }


def _over_growth(under: Any, over: dict) -> dict:
    """A site's own shares; targets it does not write are those of the top level."""
    if under is None or "value" in under or "value" in over:
        return replacing(under, over) if under and "value" in under and "value" in over else over
    return {to: replacing(under.get(to), rate) for to, rate in over.items()}


def replacing(under: Any, over: Any) -> Any:
    """`over` with an empty value for each key that `under` has and that must not be inherited."""
    if isinstance(under, dict) and isinstance(over, dict):
        gone = {k: None for k in under if k not in over}
        inside = {k: v if k == "source" else replacing(under.get(k), v) for k, v in over.items()}
        return {**inside, **gone}
    if isinstance(under, list) and isinstance(over, list):
        rows = {r["name"]: r for r in under if isinstance(r, dict) and "name" in r}
        return [replacing(rows.get(r["name"]), r) if isinstance(r, dict) and "name" in r else r
                for r in over]
    return over


def _density(host: HostDensity, ending: str) -> dict[str, Any]:
    rate = rate_written(host.density, f"hosts/{host.host}{ending}")
    if host.blocked_until is None:
        return {"per_100m2": rate}
    return {"until": host.blocked_until, "blocked": True, "then_per_100m2": rate,
            "ramp_years": host.ramp_years}


# plans


def _release(row: Release) -> dict[str, Any]:
    survival = row.first_year_survival
    until, again = row.until, row.repeat
    written = {
        "name": row.name, "site": row.site, "stage": row.stage,
        "age": row.age if row.age_written else None, "source": row.source,
        "number": dict(row.numbers), "order_lead": row.order_lead,
        "delivered": {"mean": row.delivered_mean, "sd": row.delivered_sd},
        "first_year_survival": survival and rate_written(
            survival, f"releases/{row.name}/first_year_survival"),
        "times_survival": None if survival is None else row.times_survival,
        "cost_each": row.cost_each, "mothers_per_1000": row.mothers_per_1000,
        "made": row.made or None,
        "until": until and {"measure": until.measure, "at_least": until.at_least,
                            "where": _where(until.where), "running": until.running},
        "repeat": again and {"measure": again.measure, "at_most": again.at_most,
                             "where": _where(again.where), "running": again.running,
                             "last": again.last},
    }
    return {k: v for k, v in written.items() if v is not None}


def _where(where: Any) -> Any:
    return list(where) if isinstance(where, tuple) else where


def _goal(goal: Goal) -> dict[str, Any]:
    limit = "at_most" if goal.at_most else "at_least"
    enough = {"of_years": goal.of_years, "running": goal.running}
    return {"name": goal.name, "measure": goal.measure, limit: goal.value,
            "in_years": list(goal.years),
            **{k: v for k, v in enough.items() if v is not None}, "where": _where(goal.where)}


def _plan(resolved: Resolved) -> dict[str, Any]:
    quasi, runs, chance = resolved.quasi_extinction, resolved.runs, resolved.chance
    joint, solve, genetics = resolved.covariance, resolved.solve, resolved.genetics
    seed = {} if runs.seed is None else {"seed": runs.seed}
    return {
        "quasi_extinction": {"adults_below": quasi.adults_below, "from": quasi.from_year,
                             "where": _where(quasi.where)},
        "goals": [_goal(g) for g in resolved.goals],
        "survey_goals": [{"name": g.name, "estimate": g.estimate, "confidence": g.confidence,
                          "lower_limit_at_least": g.lower_limit_at_least}
                         for g in resolved.survey_goals],
        "chance_wanted": resolved.chance_wanted,
        "solve": solve and _solve(solve),
        "chance": {"unknown": chance.unknown, "years": chance.years,
                   "individuals": chance.individuals},
        "genetics": genetics and {"ne_over_n": genetics.ne_over_n, "founders": genetics.founders},
        "runs": {"draws": runs.draws, "replicates": runs.replicates, **seed,
                 "keep_trajectories": runs.keep_trajectories},
        "covariance": joint and {"keys": list(joint.keys), "matrix": joint.matrix.tolist()},
        "calibration_base": resolved.base and _base(resolved.base),
        "warnings": list(resolved.warnings),
    }


def _solve(solve: Solve) -> dict[str, Any]:
    what = {"releases": list(solve.releases)} if not solve.options else {
        "options": [{"name": o.name, "releases": list(o.releases)} for o in solve.options]}
    return {"vary": solve.vary, **what, "most": solve.most}


def _base(base: CalibrationBase) -> dict[str, Any]:
    site = RIVER
    if base.first_site_hosts:
        site = base.first_site_hosts[0].density.key.partition(" @ ")[2]
    growth = {s: _growth(s, shares, "") for s, shares in base.growth.items() if shares}
    written = {
        "stages": [_stage(s) for s in base.stages], "census": base.census, "numbers": base.numbers,
        "survival": {n: rate_written(r, f"survival/{n}") for n, r in base.survival.items()},
        "growth": growth or None,
        "recruitment": recruitment_written(base.recruitment, base.numbers),
        "site": site, "area_m2": base.area_m2,
        "hosts": {h.host: _density(h, f" @ {site}") for h in base.first_site_hosts} or None,
    }
    return {k: v for k, v in written.items() if v is not None}

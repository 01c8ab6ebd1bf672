"""The same scenario with one thing otherwise: a limit lifted, a mechanism switched off."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from pva.lifehistory.rates import Rate
from pva.model.matrix import best, calibration_of
from pva.scenario.resolved import Limits, Resolved


def switches(resolved: Resolved) -> dict[str, Resolved]:
    """Every mechanism that is there, switched off in turn, by what is then assumed.

    Returns
    -------
    dict of str to Resolved
        In the order of the life cycle.
    """
    found = {}
    sites = resolved.sites
    recruits = [s.recruitment for s in sites]
    if any(s.hosts for s in sites):
        found["host fish in plenty, none full or immune"] = with_sites(
            resolved, lambda s: open_hosts(resolved, s))
    if any(h.blocked_until is not None for s in sites for h in s.hosts):
        found["host fish not blocked"] = with_sites(resolved, _unblocked)
    if any(h.immunity_most > 0 for r in recruits for h in r.hosts):
        found["host fish never immune"] = with_sites(resolved, _naive_hosts)
    if any(r.fertilised is not None for r in recruits):
        found["every egg fertilised at any density"] = with_sites(resolved, _all_fertilised)
    if any(r.dispersion is not None for r in recruits):
        found["recruits no more clumped than chance"] = with_sites(resolved, _poisson)
    if resolved.movement:
        found["nobody moves between sites"] = replace(resolved, movement=())
    if resolved.carried:
        found["hosts carry no recruits between sites"] = replace(resolved, carried=())
    if any(s.limits != Limits() for s in sites):
        found["unlimited space"] = with_sites(resolved, lambda s: replace(s, limits=Limits()))
    if resolved.bad_years:
        found["no bad years"] = replace(resolved, bad_years=())
    if resolved.chance.years:
        found["all years alike, no bad years"] = replace(
            resolved, chance=replace(resolved.chance, years=False))
    return found | _of_releases(resolved)


def _of_releases(resolved):
    rows, found = resolved.releases, {}
    if any(r.delivered_mean < 1 for r in rows):
        found["every order delivered in full"] = replace(resolved, releases=tuple(
            replace(r, delivered_mean=1.0, delivered_sd=0.0) for r in rows))
    if any(r.first_year_survival is not None for r in rows):
        found["released animals survive like residents"] = replace(resolved, releases=tuple(
            replace(r, first_year_survival=None, times_survival=False) for r in rows))
    if resolved.collections or any(r.from_site is not None for r in rows):
        found["nothing is taken from donor sites"] = replace(
            resolved, collections=(), releases=tuple(
                replace(r, from_site=None, source="hatchery") for r in rows))
    if any(n > 0 for r in rows for n in r.numbers.values()):
        found["nothing is released"] = replace(resolved, releases=tuple(
            replace(r, numbers=dict.fromkeys(r.numbers, 0.0)) for r in rows))
    return found


def with_sites(resolved: Resolved, change) -> Resolved:
    """Every site changed alike."""
    return replace(resolved, sites=tuple(change(s) for s in resolved.sites))


def open_hosts(resolved, site):
    """Passage open from the start, as many fish as anywhere, no fish full or immune."""
    hosts = tuple(replace(h, capacity=None, immunity_most=0.0) for h in site.recruitment.hosts)
    return replace(site, recruitment=replace(site.recruitment, hosts=hosts),
                   hosts=tuple(replace(h, blocked_until=None, density=_plenty(resolved, h))
                               for h in site.hosts))


def _plenty(resolved, here):
    """The largest density of the host at any site and year, else the calibration's."""
    rates = [h.density for s in resolved.sites for h in s.hosts if h.host == here.host]
    highest = max(max([best(r), *r.by_year.values()]) for r in rates)
    stated = calibration_of(resolved.sites[0].recruitment)
    if highest == 0 and stated is not None and stated.hosts_per_100m2:
        highest = stated.hosts_per_100m2
    return replace(here.density, value=highest, by_year={}, se=None, interval=None)


def half_the_deaths(site):
    """A site at which half of the yearly deaths are avoided."""
    return replace(site, survival={k: _halved(r) for k, r in site.survival.items()})


def _halved(rate: Rate) -> Rate:
    """Half of the yearly deaths avoided, known exactly, years alike."""
    value = 1 - (1 - best(rate)) / 2
    by_year = {y: 1 - (1 - v) / 2 for y, v in rate.by_year.items()}
    return Rate(rate.key + " with half the deaths", rate.kind, float(np.clip(value, 0, 1)),
                by_year=by_year, source=rate.source, effect=rate.effect)


def _unblocked(site):
    return replace(site, hosts=tuple(replace(h, blocked_until=None) for h in site.hosts))


def _naive_hosts(site):
    hosts = tuple(replace(h, immunity_most=0.0) for h in site.recruitment.hosts)
    return replace(site, recruitment=replace(site.recruitment, hosts=hosts))


def _all_fertilised(site):
    return replace(site, recruitment=replace(site.recruitment, fertilised=None))


def _poisson(site):
    return replace(site, recruitment=replace(site.recruitment, dispersion=None))

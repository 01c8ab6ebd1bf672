"""What binds when no number is enough: each limit lifted in turn, the rest left as it is."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from pva.decide.outcomes import Ready, goals_met, prepare
from pva.decide.rows import StockedRows
from pva.lifehistory.rates import Rate
from pva.model.matrix import best, calibration_of
from pva.scenario.resolved import Limits, Resolved

_AHEAD = 0.01  # a gain in chance smaller than this is no gain


def find_limit(ready: Ready, rows: StockedRows, *, best_number: float, best_chance: float):
    """The limit whose lifting raises the best chance most.

    Returns
    -------
    tuple of (str or None, tuple of (str, float))
        The limit that binds (None where no lifting helps), and the best chance with each lifted.
    """
    replicates = max(2, ready.resolved.runs.replicates // 4)
    numbers = sorted({best_number, rows.most / 4, rows.most})
    chances = []
    for name, resolved in _lifts(ready.resolved).items():
        lifted = prepare(resolved, seed=ready.seed, threads=ready.threads)
        chances.append((name, max(
            float(goals_met(lifted.with_releases(rows.planned(n)), replicates=replicates).mean())
            for n in numbers)))
    more = ready.with_releases(rows.planned(10 * rows.most))
    chances.append(("number stocked", float(goals_met(more, replicates=replicates).mean())))
    name, chance = max(chances, key=lambda c: c[1])
    return (name if chance > best_chance + _AHEAD else None), tuple(chances)


def _lifts(resolved: Resolved) -> dict[str, Resolved]:
    """Variants with one limit lifted each; only limits that are there."""
    lifts = {}
    if any(s.hosts for s in resolved.sites):
        lifts["hosts"] = _with_sites(resolved, lambda s: _open_hosts(resolved, s))
    if any(s.limits != Limits() for s in resolved.sites):
        lifts["space"] = _with_sites(resolved, lambda s: replace(s, limits=Limits()))
    if resolved.bad_years:
        lifts["bad years"] = replace(resolved, bad_years=())
    lifts["survival"] = _with_sites(resolved, _half_the_deaths)
    return lifts


def _with_sites(resolved, change):
    return replace(resolved, sites=tuple(change(s) for s in resolved.sites))


def _open_hosts(resolved, site):
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


def _half_the_deaths(site):
    return replace(site, survival={k: _halved(r) for k, r in site.survival.items()})


def _halved(rate: Rate) -> Rate:
    """Half of the yearly deaths avoided, known exactly, years alike."""
    value = 1 - (1 - best(rate)) / 2
    by_year = {y: 1 - (1 - v) / 2 for y, v in rate.by_year.items()}
    return Rate(rate.key + " with half the deaths", rate.kind, float(np.clip(value, 0, 1)),
                by_year=by_year, source=rate.source, effect=rate.effect)

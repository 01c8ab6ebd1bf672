"""What binds when no number is enough: each limit lifted in turn, the rest left as it is."""

from __future__ import annotations

from dataclasses import replace

from pva.decide.outcomes import Ready, goals_met, prepare
from pva.decide.rows import StockedRows
from pva.decide.what_if import half_the_deaths, open_hosts, with_sites
from pva.scenario.resolved import Limits, Resolved

_AHEAD = 0.01  # a gain in chance smaller than this is no gain


def find_limit(ready: Ready, rows: StockedRows, *, best_number: float, best_chance: float,
               wanted: float):
    """The limit whose lifting raises the best chance most; `best_number` per release year.

    Where more animals alone are enough, the number tried binds, whatever else would help as well.

    Returns
    -------
    tuple of (str or None, tuple of (str, float))
        The limit that binds (None where no lifting helps), and the best chance with each lifted.
    """
    replicates = max(2, ready.resolved.runs.replicates // 4)
    most = rows.most_per_year
    numbers = sorted({best_number, most / 4, most})
    chances = []
    for name, resolved in _lifts(ready.resolved).items():
        lifted = prepare(resolved, seed=ready.seed, threads=ready.threads, tasks=ready.tasks)
        chances.append((name, max(
            float(goals_met(lifted.with_releases(rows.planned(n)), replicates=replicates).mean())
            for n in numbers)))
    more = ready.with_releases(rows.planned(10 * most))
    chances.append(("number stocked", float(goals_met(more, replicates=replicates).mean())))
    name, chance = chances[-1] if chances[-1][1] >= wanted else max(chances, key=lambda c: c[1])
    return (name if chance > best_chance + _AHEAD else None), tuple(chances)


def _lifts(resolved: Resolved) -> dict[str, Resolved]:
    """Variants with one limit lifted each; only limits that are there."""
    lifts = {}
    if any(s.hosts for s in resolved.sites):
        lifts["hosts"] = with_sites(resolved, lambda s: open_hosts(resolved, s))
    if any(s.limits != Limits() for s in resolved.sites):
        lifts["space"] = with_sites(resolved, lambda s: replace(s, limits=Limits()))
    if resolved.bad_years:
        lifts["bad years"] = replace(resolved, bad_years=())
    lifts["survival"] = with_sites(resolved, half_the_deaths)
    return lifts

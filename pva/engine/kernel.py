"""The model year, in the fixed order of the design, for a block of replicates side by side."""

from __future__ import annotations

from pva.engine.breeding import breed
from pva.engine.compiled import entry, inner
from pva.engine.environment import year_disasters, year_rates
from pva.engine.lanes import add, copy
from pva.engine.life import crowd, move, recruits_arrive, releases_live, residents_live
from pva.engine.stocking import collect, judge_rules, release
from pva.model import record as r


@entry()
def simulate_block(plan, draws, work, tallies, stage_sum):
    """Simulate the replicates of a block.

    Parameters
    ----------
    plan : Plan
    draws : Draws
    work : Work
        Fresh from `make_work`: it names the draws and keys of the lanes.
    tallies : float64 (census, site, tally, lane)
        Zeros; filled.
    stage_sum : float64 (census, origin, site, class)
        Animals summed over the lanes, added to.
    """
    individuals = plan.switches[1] == 1
    after_breeding = plan.switches[2] == 1
    _begin(draws, work)
    for year in range(plan.switches[3] + 1):
        _count(plan.life, draws, work, tallies[year], stage_sum[year])
        judge_rules(plan.until, work, tallies, year)
        if year == plan.switches[3]:
            break
        tally = tallies[year + 1]
        for site in range(tally.shape[0]):
            copy(tally[site, r.T_COST], tallies[year, site, r.T_COST])
        year_rates(plan.effects, draws.value, work, year)
        year_disasters(plan.bad, work, year)
        collect(plan.collections, work, individuals, year, tally)
        release(plan.releases, work, individuals, year, tally)
        if not after_breeding:
            breed(plan.recruits, plan.life, work, individuals, year, tally)
        residents_live(plan.life, work, individuals, year, tally)
        if after_breeding:
            breed(plan.recruits, plan.life, work, individuals, year, tally)
        releases_live(plan.releases, plan.life, work, individuals, year, tally)
        move(plan.space, work, individuals, year)
        recruits_arrive(plan.recruits, plan.space, plan.life, work, individuals, year, tally)
        crowd(plan.space, work, individuals, year)


@inner()
def _begin(draws, work):
    for site in range(work.n.shape[1]):
        for c in range(work.n.shape[2]):
            for i in range(work.n.shape[3]):
                work.n[r.WILD, site, c, i] = draws.start[work.draw[i], site, c]


@inner()
def _count(life, draws, work, tally, stage_sum):
    """The census: stocks into the tallies of the year."""
    for site in range(work.n.shape[1]):
        for c in range(work.n.shape[2]):
            wild = work.n[r.WILD, site, c]
            stocked = work.n[r.STOCKED, site, c]
            for i in range(len(wild)):
                stage_sum[r.WILD, site, c] += wild[i]
                stage_sum[r.STOCKED, site, c] += stocked[i]
            add(tally[site, r.T_WILD_ANIMALS], wild)
            add(tally[site, r.T_STOCKED_ANIMALS], stocked)
            if life.adult[c]:
                add(tally[site, r.T_WILD_ADULTS], wild)
                add(tally[site, r.T_STOCKED_ADULTS], stocked)
            if life.breeds[c]:
                add(tally[site, r.T_BREEDERS], wild)
                add(tally[site, r.T_BREEDERS], stocked)
        for i in range(work.n.shape[3]):
            tally[site, r.T_FEMALES, i] = draws.female_share[work.draw[i], site] * (
                tally[site, r.T_WILD_ADULTS, i] + tally[site, r.T_STOCKED_ADULTS, i])

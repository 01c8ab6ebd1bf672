"""The model year, in the fixed order of the design, for one replicate after another."""

from __future__ import annotations

from numba import njit

from pva.engine.breeding import breed
from pva.engine.environment import year_disasters, year_rates
from pva.engine.life import crowd, move, recruits_arrive, releases_live, residents_live
from pva.engine.stocking import collect, release, stop_rules
from pva.model import record as r


@njit(cache=True, nogil=True)
def simulate_block(plan, draws, draw_of, env_key, own_key, work, tallies, stage_sum):
    """Simulate replicates.

    Parameters
    ----------
    plan : Plan
    draws : Draws
    draw_of : int64 (replicate,)
        Parameter draw of each replicate.
    env_key, own_key : uint64 (replicate,)
        Keys of the environment and of single animals.
    work : Work
    tallies : float64 (replicate, census, site, tally)
        Filled.
    stage_sum : float64 (census, origin, site, class)
        Animals summed over the replicates, added to.
    """
    for i in range(len(draw_of)):
        tallies[i] = 0.0
        _simulate_one(plan, draws, draw_of[i], env_key[i], own_key[i], work, tallies[i],
                      stage_sum)


@njit(cache=True, nogil=True)
def _simulate_one(plan, draws, draw, env_key, own_key, work, tallies, stage_sum):
    individuals = plan.switches[1] == 1
    after_breeding = plan.switches[2] == 1
    share = draws.female_share[draw]
    _begin(draws.start[draw], work)
    _count(plan.life, share, work, tallies[0], stage_sum[0])
    stop_rules(plan.releases, plan.recruits, work, tallies, 0)
    for year in range(plan.switches[3]):
        tally = tallies[year + 1]
        tally[:] = 0.0
        for site in range(tally.shape[0]):
            tally[site, r.T_COST] = tallies[year, site, r.T_COST]
        year_rates(plan.effects, draws.value[draw], work, env_key, year)
        year_disasters(plan.bad, work, env_key, year)
        collect(plan.releases, work, individuals, own_key, year, tally)
        release(plan.releases, work, individuals, env_key, own_key, year, tally)
        if not after_breeding:
            breed(plan.recruits, plan.life, work, individuals, own_key, year, tally)
        residents_live(plan.life, work, individuals, own_key, year, tally)
        if after_breeding:
            breed(plan.recruits, plan.life, work, individuals, own_key, year, tally)
        releases_live(plan.releases, plan.life, work, individuals, own_key, year, tally)
        move(plan.space, work, individuals, own_key, year)
        recruits_arrive(plan.recruits, plan.space, plan.life, work, individuals, own_key, year,
                        tally)
        crowd(plan.space, plan.life, work, individuals, own_key, year)
        _count(plan.life, share, work, tally, stage_sum[year + 1])
        stop_rules(plan.releases, plan.recruits, work, tallies, year + 1)


@njit(cache=True, nogil=True)
def _begin(start, work):
    work.n[:] = 0.0
    work.n[r.WILD] = start
    work.bad_left[:] = 0
    work.load[:] = 0.0
    work.streak[:] = 0
    work.stopped[:] = 0
    work.cell[:] = 0.0


@njit(cache=True, nogil=True)
def _count(life, female_share, work, tally, stage_sum):
    """The census: stocks into the tallies of the year."""
    for site in range(work.n.shape[1]):
        for c in range(work.n.shape[2]):
            wild = work.n[r.WILD, site, c]
            stocked = work.n[r.STOCKED, site, c]
            stage_sum[r.WILD, site, c] += wild
            stage_sum[r.STOCKED, site, c] += stocked
            tally[site, r.T_WILD_ANIMALS] += wild
            tally[site, r.T_STOCKED_ANIMALS] += stocked
            if life.adult[c]:
                tally[site, r.T_WILD_ADULTS] += wild
                tally[site, r.T_STOCKED_ADULTS] += stocked
            if life.breeds[c]:
                tally[site, r.T_BREEDERS] += wild + stocked
        tally[site, r.T_FEMALES] = female_share[site] * (
            tally[site, r.T_WILD_ADULTS] + tally[site, r.T_STOCKED_ADULTS])

"""The model year, in the fixed order of the design, for a block of replicates side by side."""

from __future__ import annotations

from pva.compiled import entry, inner
from pva.engine.breeding import breed
from pva.engine.census import sum_up
from pva.engine.environment import year_disasters, year_rates
from pva.engine.lanes import add, clear_animals, copy, fill, sum_of
from pva.engine.life import crowd, move, recruits_arrive, releases_live, residents_live
from pva.engine.stocking import collect, judge_rules, release
from pva.model import record as r


@entry()
def simulate_block(plan, draws, asked, work, found, tallies, stage_sum):
    """Simulate the replicates of a block.

    Parameters
    ----------
    plan : Plan
    draws : Draws
    asked : Asked
    work : Work
        It names the draws and keys of the lanes; what else it holds is begun anew.
    found : Found
        Filled with what is asked.
    tallies : float64 (census, site, tally, lane)
        Filled. With fewer places than censuses, a census takes the place of an earlier one; two
        are enough.
    stage_sum : float64 (census, origin, site, class)
        Animals summed over the lanes, added to.
    """
    individuals = plan.switches[1] == 1
    after_breeding = plan.switches[2] == 1
    _begin(draws, work)
    places, last = tallies.shape[0], plan.switches[3]
    for site in range(tallies.shape[1]):
        for t in range(tallies.shape[2]):
            fill(tallies[0, site, t], 0.0)
    for year in range(last + 1):
        here, tally = tallies[year % places], tallies[(year + 1) % places]
        _count(plan.life, work, here, stage_sum[year], found, year)
        sum_up(asked, found, here, work, year, last)
        judge_rules(plan.until, work, here, year)
        if year == last:
            break
        for site in range(tally.shape[0]):
            for t in range(tally.shape[1]):
                fill(tally[site, t], 0.0)
            copy(tally[site, r.T_COST], here[site, r.T_COST])
        year_rates(plan.effects, draws.value, work, year)
        year_disasters(plan.bad, work, year)
        collect(plan.collections, work, individuals, year, tally)
        release(plan.releases, work, individuals, year, tally)
        for turn in range(2):  # each step written once, or it would be compiled twice
            if (turn == 0) != after_breeding:
                breed(plan.recruits, plan.life, plan.bad, work, individuals, year, tally)
            else:
                residents_live(plan.life, plan.bad, work, individuals, year, tally)
        releases_live(plan.releases, plan.life, plan.bad, work, individuals, year, tally)
        move(plan.space, work, individuals, year)
        recruits_arrive(plan.recruits, plan.space, plan.life, work, individuals, year, tally)
        crowd(plan.space, work, individuals, year)


@inner()
def _begin(draws, work):
    """Forget the block before, and put the start numbers in place."""
    clear_animals(work.n)
    for site in range(work.n.shape[1]):
        for kind in range(work.bad_left.shape[0]):
            fill(work.bad_left[kind, site], 0.0)
        for h in range(work.load.shape[1]):
            fill(work.load[site, h], 0.0)
    for rule in range(work.streak.shape[0]):
        fill(work.streak[rule], 0)
    for rule in range(work.ordered.shape[0]):
        for year in range(work.ordered.shape[1]):
            fill(work.ordered[rule, year], 0)
    for row in range(work.stopped.shape[0]):
        fill(work.stopped[row], 0)
    for site in range(work.n.shape[1]):
        for i in range(work.n.shape[3]):
            work.female_share[site, i] = draws.female_share[work.draw[i], site]
        for c in range(work.n.shape[2]):
            for i in range(work.n.shape[3]):
                work.n[r.WILD, site, c, i] = draws.start[work.draw[i], site, c]


@inner()
def _count(life, work, tally, stage_sum, found, year):
    """The census: stocks into the tallies of the year, and their sums into what was found."""
    piece, sums = found.piece, found.tally
    for site in range(work.n.shape[1]):
        cell = (year * tally.shape[0] + site) * tally.shape[1]
        for p in range(len(piece) - 1):
            for t in range(r.T_BREEDERS + 1):
                sums[p, cell + t] = 0.0
        for origin in range(work.n.shape[0]):
            animals, adults = r.T_WILD_ANIMALS + origin, r.T_WILD_ADULTS + origin
            for c in range(work.n.shape[2]):
                here = work.n[origin, site, c]
                total = 0.0
                for p in range(len(piece) - 1):
                    some = sum_of(here, piece[p], piece[p + 1], work.some)
                    total += some
                    sums[p, cell + animals] += some
                    sums[p, cell + adults] += some if life.adult[c] else 0.0
                    sums[p, cell + r.T_BREEDERS] += some if life.breeds[c] else 0.0
                if total == 0.0:
                    continue
                stage_sum[origin, site, c] += total
                add(tally[site, animals], here)
                if life.adult[c]:
                    add(tally[site, adults], here)
                if life.breeds[c]:
                    add(tally[site, r.T_BREEDERS], here)
        females, share = tally[site, r.T_FEMALES], work.female_share[site]
        wild, stocked = tally[site, r.T_WILD_ADULTS], tally[site, r.T_STOCKED_ADULTS]
        for i in range(len(females)):
            females[i] = share[i] * (wild[i] + stocked[i])

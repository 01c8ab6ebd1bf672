"""Step 2: collections, then releases; and the rules that end a release."""

from __future__ import annotations

import math

from numba import njit, uint64

from pva.engine.random_numbers import normal
from pva.engine.samplers import hypergeometric
from pva.model import record as r

_ADULTS = r.UNTIL_MEASURES.index("adults")
_ANIMALS = r.UNTIL_MEASURES.index("animals")
_WILD_ADULTS = r.UNTIL_MEASURES.index("wild_adults")
_STOCKED_ADULTS = r.UNTIL_MEASURES.index("stocked_adults")
_FEMALES = r.UNTIL_MEASURES.index("females")
_RECRUITS = r.UNTIL_MEASURES.index("recruits")
_ADULTS_PER_M2 = r.UNTIL_MEASURES.index("adults_per_m2")
_SITES_OCCUPIED = r.UNTIL_MEASURES.index("sites_occupied")
_WILD_SHARE = r.UNTIL_MEASURES.index("wild_share")
_GLOCHIDIA_PER_HOST = r.UNTIL_MEASURES.index("glochidia_per_host")


@njit(cache=True, nogil=True)
def take(work, site, classes, wanted, out, individuals, key, address, year):
    """Take animals at random over origins and classes; never more than are there.

    `out`, shape (class,), receives them. Returns how many were taken.
    """
    total = 0.0
    for origin in range(work.n.shape[0]):
        for c in range(work.n.shape[2]):
            if classes[c]:
                total += work.n[origin, site, c]
    left = min(wanted, total)
    taken_in_all = left
    share = left / total if total > 0.0 else 0.0
    for origin in range(work.n.shape[0]):
        for c in range(work.n.shape[2]):
            if not classes[c]:
                continue
            n = work.n[origin, site, c]
            taken = n * share
            if individuals:
                taken = hypergeometric(n, total - n, left, key, uint64(address[origin, c]), year)
                total -= n
                left -= taken
            work.n[origin, site, c] = n - taken
            out[c] += taken
    return taken_in_all


@njit(cache=True, nogil=True)
def collect(releases, work, individuals, key, year, tally):
    """Collections of the year; animals leave the river."""
    for row in range(len(releases.collect_site)):
        wanted = releases.collect_number[row, year]
        if wanted <= 0.0:
            continue
        site = releases.collect_site[row]
        if individuals:
            wanted = math.floor(wanted + 0.5)
        taken = take(work, site, releases.collect_class[row], wanted, work.grown[0, 0],
                     individuals, key, releases.collect_address[row], year)
        tally[site, r.T_COLLECTED] += taken


@njit(cache=True, nogil=True)
def release(releases, work, individuals, env_key, own_key, year, tally):
    """Releases of the year into `work.released`; donor animals come off their site."""
    work.released[:] = 0.0
    for row in range(len(releases.release_site)):
        planned = releases.release_number[row, year]
        if planned <= 0.0 or work.stopped[row] == 1:
            continue
        number = planned * _delivered_share(releases, row, env_key, year)
        if individuals:
            number = math.floor(number + 0.5)
        origin_site = releases.release_from[row]
        if origin_site >= 0:
            number = take(work, origin_site, releases.release_from_class[row], number,
                          work.released[row], individuals, own_key, releases.take_address[row],
                          year)
            tally[origin_site, r.T_COLLECTED] += number
        else:
            work.released[row, releases.release_class[row]] = number
        tally[releases.release_site[row], r.T_RELEASED] += number
        tally[releases.release_site[row], r.T_COST] += number * releases.release_cost[row]


@njit(cache=True, nogil=True)
def _delivered_share(releases, row, key, year):
    sd = releases.release_delivered[row, 2]
    if sd == 0.0:
        return releases.release_delivered[row, 0]
    x = releases.release_delivered[row, 1] + sd * normal(key, releases.delivery_address[row], year)
    return 1.0 / (1.0 + math.exp(-x))


@njit(cache=True, nogil=True)
def stop_rules(releases, recruits, work, tallies, year):
    """Judge every `until` rule at the census of `year`; a release once ended stays ended."""
    for rule in range(len(releases.until_row)):
        value = _measure(releases.until_measure[rule], releases.until_site[rule], recruits.area,
                         tallies[year], year)
        if value >= releases.until_value[rule]:  # false for a null (NaN)
            work.streak[rule] += 1
        else:
            work.streak[rule] = 0
        if work.streak[rule] >= releases.until_running[rule]:
            work.stopped[releases.until_row[rule]] = 1


@njit(cache=True, nogil=True)
def _sum(tally, sites, which):
    total = 0.0
    for site in range(len(sites)):
        if sites[site]:
            total += tally[site, which]
    return total


@njit(cache=True, nogil=True)
def _measure(measure, sites, area, tally, year):
    """A yearly measure over some sites summed; NaN where it is not defined."""
    wild = _sum(tally, sites, r.T_WILD_ADULTS)
    stocked = _sum(tally, sites, r.T_STOCKED_ADULTS)
    if measure == _ADULTS:
        return wild + stocked
    if measure == _ANIMALS:
        return _sum(tally, sites, r.T_WILD_ANIMALS) + _sum(tally, sites, r.T_STOCKED_ANIMALS)
    if measure == _WILD_ADULTS:
        return wild
    if measure == _STOCKED_ADULTS:
        return stocked
    if measure == _FEMALES:
        return _sum(tally, sites, r.T_FEMALES)
    if measure == _ADULTS_PER_M2:
        space = 0.0
        for site in range(len(sites)):
            if sites[site]:
                space += area[site]
        return _sum(tally, sites, r.T_BREEDERS) / space
    if measure == _SITES_OCCUPIED:
        return _occupied(tally, sites)
    if measure == _WILD_SHARE:
        return wild / (wild + stocked) if wild + stocked > 0.0 else math.nan
    if year == 0:
        return math.nan
    if measure == _RECRUITS:
        return _sum(tally, sites, r.T_RECRUITS)
    if measure == _GLOCHIDIA_PER_HOST:
        fish = _sum(tally, sites, r.T_FISH)
        return _sum(tally, sites, r.T_ATTACHED) / fish if fish > 0.0 else math.nan
    deaths = _sum(tally, sites, r.T_ADULT_DEATHS)
    return _sum(tally, sites, r.T_REACHED_ADULT) / deaths if deaths > 0.0 else math.nan


@njit(cache=True, nogil=True)
def _occupied(tally, sites):
    count = 0.0
    for site in range(len(sites)):
        if sites[site] and tally[site, r.T_WILD_ANIMALS] + tally[site, r.T_STOCKED_ANIMALS] > 0.0:
            count += 1.0
    return count

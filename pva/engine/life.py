"""Steps 4 to 7: survival, growth, movement, recruits' arrival, limits of space."""

from __future__ import annotations

import math

from numba import njit, uint64

from pva.engine.samplers import binomial, hypergeometric
from pva.model.record import STOCKED, T_ADULT_DEATHS, T_REACHED_ADULT, T_RECRUITS, WILD


@njit(cache=True, nogil=True)
def some_of(n, share, individuals, key, address, year):
    """Animals out of n that do something with a chance `share` each."""
    if individuals:
        return binomial(n, share, key, uint64(address), year)
    return n * min(max(share, 0.0), 1.0)


@njit(cache=True, nogil=True)
def class_survival(life, work, site, c):
    """Survival of residents of a class this year, bad years included."""
    slot = life.survival_slot[site, c]
    if slot < 0:
        return 0.0
    return min(1.0, work.rate[slot] * work.bad_survival[site, c])


@njit(cache=True, nogil=True)
def residents_live(life, work, individuals, key, year, tally):
    """Survival and growth of the animals that were here at the census."""
    work.grown[:] = 0.0
    for origin in range(work.n.shape[0]):
        for site in range(work.n.shape[1]):
            for c in range(work.n.shape[2]):
                n = work.n[origin, site, c]
                if n <= 0.0:
                    continue
                alive = some_of(n, class_survival(life, work, site, c), individuals, key,
                                life.survive_address[origin, site, c], year)
                if life.adult[c]:
                    tally[site, T_ADULT_DEATHS] += n - alive
                reached = grow(life, work, origin, site, c, alive, individuals, key,
                               life.grow_address[origin, site], year)
                if origin == WILD:
                    tally[site, T_REACHED_ADULT] += reached
    work.n[:] = work.grown


@njit(cache=True, nogil=True)
def grow(life, work, origin, site, c, alive, individuals, key, address, year):
    """Spread survivors of a class over the classes they reach; returns those newly adult."""
    left = alive
    share_left = 1.0
    reached = 0.0
    for step in range(life.grow_start[c], life.grow_start[c + 1]):
        if left <= 0.0 or share_left <= 0.0:
            break
        share = min(work.rate[life.grow_slot[site, step]], share_left)
        moved = some_of(left, share / share_left, individuals, key, address[step], year)
        to = life.grow_to[step]
        work.grown[origin, site, to] += moved
        if life.adult[to] and not life.adult[c]:
            reached += moved
        left -= moved
        share_left -= share
    work.grown[origin, site, c] += left
    return reached


@njit(cache=True, nogil=True)
def releases_live(releases, life, work, individuals, key, year, tally):
    """First-year survival and growth of this year's releases, then they join the stocked."""
    work.grown[:] = 0.0
    for row in range(work.released.shape[0]):
        site = releases.release_site[row]
        for c in range(work.released.shape[1]):
            n = work.released[row, c]
            if n <= 0.0:
                continue
            alive = some_of(n, _first_year(releases, life, work, row, site, c), individuals, key,
                            releases.release_address[row, c], year)
            if life.adult[c]:
                tally[site, T_ADULT_DEATHS] += n - alive
            grow(life, work, STOCKED, site, c, alive, individuals, key,
                 releases.release_grow_address[row], year)
    work.n[:] += work.grown


@njit(cache=True, nogil=True)
def _first_year(releases, life, work, row, site, c):
    usual = class_survival(life, work, site, c)
    slot = releases.release_survival_slot[row]
    if slot < 0 or life.survival_slot[site, c] < 0:
        return usual
    if releases.release_times_survival[row]:
        return work.rate[slot] * usual
    return min(1.0, work.rate[slot] * work.bad_survival[site, c])


@njit(cache=True, nogil=True)
def move(space, work, individuals, key, year):
    """Movement between sites, all origins and classes at once; the lost leave the river."""
    if len(space.move_from) == 0:
        return
    work.grown[:] = 0.0
    for origin in range(work.n.shape[0]):
        for site in range(work.n.shape[1]):
            for c in range(work.n.shape[2]):
                left = work.n[origin, site, c]
                share_left = 1.0
                for row in range(len(space.move_from)):
                    if space.move_from[row] != site or not space.move_class[row, c]:
                        continue
                    if left <= 0.0 or share_left <= 0.0:
                        break
                    share = min(work.rate[space.move_slot[row]], share_left)
                    gone = some_of(left, share / share_left, individuals, key,
                                   space.move_address[origin, row, c], year)
                    if space.move_to[row] >= 0:
                        work.grown[origin, space.move_to[row], c] += gone
                    left -= gone
                    share_left -= share
                work.grown[origin, site, c] += left
    work.n[:] = work.grown


@njit(cache=True, nogil=True)
def recruits_arrive(recruits, space, life, work, individuals, key, year, tally):
    """Recruits carried by hosts, then all recruits enter their class as wild animals."""
    sites = work.n.shape[1]
    work.arriving[:] = 0.0
    for site in range(sites):
        for r in range(work.recruits.shape[1]):
            left = work.recruits[site, r]
            share_left = 1.0
            for to in range(sites):
                share = min(space.carried[site, to], share_left)
                if share <= 0.0 or left <= 0.0:
                    continue
                gone = some_of(left, share / share_left, individuals, key,
                               space.carry_address[site, to, r], year)
                work.arriving[to, r] += gone
                left -= gone
                share_left -= share
            work.arriving[site, r] += left
    for site in range(sites):
        for r in range(work.recruits.shape[1]):
            c = recruits.recruit_class[r]
            work.n[WILD, site, c] += work.arriving[site, r]
            tally[site, T_RECRUITS] += work.arriving[site, r]
            if life.adult[c]:
                tally[site, T_REACHED_ADULT] += work.arriving[site, r]


@njit(cache=True, nogil=True)
def crowd(space, life, work, individuals, key, year):
    """Ceilings: adults down to theirs, then all animals down to theirs, at random."""
    for site in range(work.n.shape[1]):
        _ceiling(work, site, space.ceiling_adults[site], life.adult, True, individuals, key,
                 space.ceiling_address[0], year)
        _ceiling(work, site, space.ceiling_animals[site], life.adult, False, individuals, key,
                 space.ceiling_address[1], year)


@njit(cache=True, nogil=True)
def _ceiling(work, site, most, adult, adults_only, individuals, key, address, year):
    if most == math.inf:
        return
    total = 0.0
    for origin in range(work.n.shape[0]):
        for c in range(work.n.shape[2]):
            if adult[c] or not adults_only:
                total += work.n[origin, site, c]
    keep = most
    if total <= keep:
        return
    share = keep / total
    for origin in range(work.n.shape[0]):
        for c in range(work.n.shape[2]):
            if not adult[c] and adults_only:
                continue
            n = work.n[origin, site, c]
            if individuals:
                kept = hypergeometric(n, total - n, keep, key, uint64(address[origin, site, c]),
                                      year)
                total -= n
                keep -= kept
                work.n[origin, site, c] = kept
            else:
                work.n[origin, site, c] = n * share

"""Step 2: collections, then releases; and the rules that end a release."""

from __future__ import annotations

import math

from numba import njit

from pva.engine.lanes import add, copy, drawn_from, fill
from pva.engine.random_numbers import normal
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
def take(work, site, classes, individuals, address, year, out):
    """Take `work.left` animals at random over origins and classes; never more than are there.

    What is taken is added to `out`, shape (class, lane); `work.factor` receives how many.
    """
    fill(work.total, 0.0)
    for origin in range(work.n.shape[0]):
        for c in range(work.n.shape[2]):
            if classes[c]:
                add(work.total, work.n[origin, site, c])
    for i in range(len(work.left)):
        work.left[i] = min(work.left[i], work.total[i])
        work.factor[i] = work.left[i]
    for origin in range(work.n.shape[0]):
        for c in range(work.n.shape[2]):
            if classes[c]:
                drawn_from(work.n[origin, site, c], work.total, work.left, work.some, individuals,
                           work.own_key, address[origin, c], year)
                for i in range(len(work.some)):
                    work.n[origin, site, c, i] -= work.some[i]
                add(out[c], work.some)


@njit(cache=True, nogil=True)
def collect(releases, work, individuals, year, tally):
    """Collections of the year; animals leave the river."""
    for row in range(len(releases.collect_site)):
        wanted = releases.collect_number[row, year]
        if wanted <= 0.0:
            continue
        site = releases.collect_site[row]
        fill(work.left, math.floor(wanted + 0.5) if individuals else wanted)
        take(work, site, releases.collect_class[row], individuals, releases.collect_address[row],
             year, work.grown[0, 0])  # scratch: where collected animals go is not followed
        add(tally[site, r.T_COLLECTED], work.factor)


@njit(cache=True, nogil=True)
def release(releases, work, individuals, year, tally):
    """Releases of the year into `work.released`; donor animals come off their site."""
    for row in range(len(releases.release_site)):
        for c in range(work.released.shape[1]):
            fill(work.released[row, c], 0.0)
        if releases.release_number[row, year] <= 0.0:
            continue
        _delivered(releases, row, work, individuals, year)
        origin_site = releases.release_from[row]
        if origin_site >= 0:
            take(work, origin_site, releases.release_from_class[row], individuals,
                 releases.take_address[row], year, work.released[row])
            add(tally[origin_site, r.T_COLLECTED], work.factor)
        else:
            copy(work.factor, work.left)
            copy(work.released[row, releases.release_class[row]], work.left)
        site = releases.release_site[row]
        cost = releases.release_cost[row]
        add(tally[site, r.T_RELEASED], work.factor)
        for i in range(len(work.factor)):
            tally[site, r.T_COST, i] += work.factor[i] * cost


@njit(cache=True, nogil=True)
def _delivered(releases, row, work, individuals, year):
    """Animals delivered this year, into `work.left`."""
    planned = releases.release_number[row, year]
    sd = releases.release_delivered[row, 2]
    for i in range(len(work.left)):
        share = releases.release_delivered[row, 0]
        if sd > 0.0:
            z = normal(work.env_key[i], releases.delivery_address[row], year)
            x = releases.release_delivered[row, 1] + sd * z
            share = 1.0 / (1.0 + math.exp(-x))
        number = planned * share
        if individuals:
            number = math.floor(number + 0.5)
        work.left[i] = 0.0 if work.stopped[row, i] == 1 else number


@njit(cache=True, nogil=True)
def stop_rules(releases, recruits, work, tallies, year):
    """Judge every `until` rule at the census of `year`; a release once ended stays ended."""
    for rule in range(len(releases.until_row)):
        for i in range(work.streak.shape[1]):
            value = _measure(releases, rule, recruits.area, tallies, year, i)
            if value >= releases.until_value[rule]:  # false for a null (NaN)
                work.streak[rule, i] += 1
            else:
                work.streak[rule, i] = 0
            if work.streak[rule, i] >= releases.until_running[rule]:
                work.stopped[releases.until_row[rule], i] = 1


@njit(cache=True, nogil=True)
def _sum(releases, rule, tallies, year, which, lane):
    total = 0.0
    for site in range(tallies.shape[1]):
        if releases.until_site[rule, site]:
            total += tallies[year, site, which, lane]
    return total


@njit(cache=True, nogil=True)
def _ratio(top, bottom):
    return top / bottom if bottom > 0.0 else math.nan


@njit(cache=True, nogil=True)
def _measure(releases, rule, area, tallies, year, lane):
    """A yearly measure over some sites summed; NaN where it is not defined."""
    measure = releases.until_measure[rule]
    wild = _sum(releases, rule, tallies, year, r.T_WILD_ADULTS, lane)
    stocked = _sum(releases, rule, tallies, year, r.T_STOCKED_ADULTS, lane)
    if measure == _ADULTS:
        return wild + stocked
    if measure == _ANIMALS:
        return (_sum(releases, rule, tallies, year, r.T_WILD_ANIMALS, lane)
                + _sum(releases, rule, tallies, year, r.T_STOCKED_ANIMALS, lane))
    if measure == _WILD_ADULTS:
        return wild
    if measure == _STOCKED_ADULTS:
        return stocked
    if measure == _FEMALES:
        return _sum(releases, rule, tallies, year, r.T_FEMALES, lane)
    if measure == _ADULTS_PER_M2:
        space = 0.0
        for site in range(len(area)):
            if releases.until_site[rule, site]:
                space += area[site]
        return _sum(releases, rule, tallies, year, r.T_BREEDERS, lane) / space
    if measure == _SITES_OCCUPIED:
        return _occupied(releases, rule, tallies, year, lane)
    if measure == _WILD_SHARE:
        return _ratio(wild, wild + stocked)
    if year == 0:
        return math.nan
    if measure == _RECRUITS:
        return _sum(releases, rule, tallies, year, r.T_RECRUITS, lane)
    if measure == _GLOCHIDIA_PER_HOST:
        return _ratio(_sum(releases, rule, tallies, year, r.T_ATTACHED, lane),
                      _sum(releases, rule, tallies, year, r.T_FISH, lane))
    return _ratio(_sum(releases, rule, tallies, year, r.T_REACHED_ADULT, lane),
                  _sum(releases, rule, tallies, year, r.T_ADULT_DEATHS, lane))


@njit(cache=True, nogil=True)
def _occupied(releases, rule, tallies, year, lane):
    count = 0.0
    for site in range(tallies.shape[1]):
        if releases.until_site[rule, site] and (
                tallies[year, site, r.T_WILD_ANIMALS, lane]
                + tallies[year, site, r.T_STOCKED_ANIMALS, lane]) > 0.0:
            count += 1.0
    return count

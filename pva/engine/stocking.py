"""Step 2: collections, then releases; and the rules that end or repeat a release."""

from __future__ import annotations

import math

import numpy as np

from pva.compiled import inner
from pva.engine.elementary import logistic
from pva.engine.lanes import add, copy, drawn_from, fill
from pva.engine.random_numbers import normals
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
_COST = r.UNTIL_MEASURES.index("cost")


@inner()
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


@inner()
def collect(collections, work, individuals, year, tally):
    """Collections of the year; animals leave the river."""
    for row in range(len(collections.collect_site)):
        wanted = collections.collect_number[row, year]
        if wanted <= 0.0:
            continue
        site = collections.collect_site[row]
        fill(work.left, np.floor(wanted + 0.5) if individuals else wanted)
        # what is taken goes into scratch: where collected animals end up is not followed
        take(work, site, collections.collect_class[row], individuals,
             collections.collect_address[row], year, work.grown[0, 0])
        add(tally[site, r.T_COLLECTED], work.factor)


@inner()
def release(releases, work, individuals, year, tally):
    """Releases of the year into `work.released`; donor animals come off their site."""
    for row in range(len(releases.release_row)):
        for c in range(work.released.shape[1]):
            fill(work.released[row, c], 0.0)
        if _planned(releases, row, year) <= 0.0:
            continue
        _delivered(releases, row, work, individuals, year)
        origin_site = releases.release_row[row, r.R_FROM]
        if origin_site >= 0:
            take(work, origin_site, releases.release_from_class[row], individuals,
                 releases.take_address[row], year, work.released[row])
            add(tally[origin_site, r.T_COLLECTED], work.factor)
        else:
            copy(work.factor, work.left)
            copy(work.released[row, releases.release_row[row, r.R_CLASS]], work.left)
        site = releases.release_row[row, r.R_SITE]
        cost = releases.release_share[row, 3]
        add(tally[site, r.T_RELEASED], work.factor)
        for i in range(len(work.factor)):
            tally[site, r.T_COST, i] += work.factor[i] * cost


@inner()
def _planned(releases, row, year):
    """Animals of this year; after the planned years those of the last, where a rule repeats it."""
    last, end = releases.release_again[row, 1], releases.release_again[row, 2]
    if last < year <= end:
        return releases.release_number[row, last]
    return releases.release_number[row, year]


@inner()
def _delivered(releases, row, work, individuals, year):
    """Animals delivered this year, into `work.left`."""
    planned, sd = _planned(releases, row, year), releases.release_share[row, 2]
    rule = releases.release_again[row, 0]
    repeated = rule >= 0 and year > releases.release_again[row, 1]
    fill(work.left, planned * releases.release_share[row, 0])
    if sd > 0.0:
        middle = releases.release_share[row, 1]
        normals(work.env_key, releases.delivery_address[row], year, work.some)
        for i in range(len(work.left)):
            work.left[i] = planned * logistic(middle + sd * work.some[i])
    for i in range(len(work.left)):
        number = np.floor(work.left[i] + 0.5) if individuals else work.left[i]
        ended = work.stopped[row, i] == 1 or (repeated and work.ordered[rule, year, i] == 0)
        work.left[i] = 0.0 if ended else number


@inner()
def judge_rules(until, work, tally, year):
    """Judge every rule at the census of `year`; a release once ended stays ended.

    A rule that repeats a release marks the year in which the animals ordered now arrive.
    """
    for rule in range(len(until.until_rule)):
        again, arrives = until.until_rule[rule, 3], year + until.until_rule[rule, 4]
        for i in range(work.streak.shape[1]):
            value = _measure(until, rule, tally, year, i)
            limit = until.until_value[rule]
            held = value >= limit if again < 0 else value <= limit  # false for a null (NaN)
            work.streak[rule, i] = work.streak[rule, i] + 1 if held else 0
            if work.streak[rule, i] < until.until_rule[rule, 2]:
                continue
            if again < 0:
                work.stopped[until.until_rule[rule, 0], i] = 1
            elif arrives < work.ordered.shape[1]:
                work.ordered[again, arrives, i] = 1


@inner()
def _sum(until, rule, tally, which, lane):
    total = 0.0
    for site in range(tally.shape[0]):
        if until.until_site[rule, site]:
            total += tally[site, which, lane]
    return total


@inner()
def _ratio(top, bottom):
    return top / bottom if bottom > 0.0 else math.nan


@inner()
def _measure(until, rule, tally, year, lane):
    """A yearly measure over some sites summed; NaN where it is not defined."""
    measure = until.until_rule[rule, 1]
    wild = _sum(until, rule, tally, r.T_WILD_ADULTS, lane)
    stocked = _sum(until, rule, tally, r.T_STOCKED_ADULTS, lane)
    if measure == _ADULTS:
        return wild + stocked
    if measure == _ANIMALS:
        return (_sum(until, rule, tally, r.T_WILD_ANIMALS, lane)
                + _sum(until, rule, tally, r.T_STOCKED_ANIMALS, lane))
    if measure == _WILD_ADULTS:
        return wild
    if measure == _STOCKED_ADULTS:
        return stocked
    if measure == _FEMALES:
        return _sum(until, rule, tally, r.T_FEMALES, lane)
    if measure == _ADULTS_PER_M2:
        space = 0.0
        for site in range(len(until.until_area)):
            if until.until_site[rule, site]:
                space += until.until_area[site]
        return _sum(until, rule, tally, r.T_BREEDERS, lane) / space
    if measure == _SITES_OCCUPIED:
        return _occupied(until, rule, tally, lane)
    if measure == _COST:
        return _sum(until, rule, tally, r.T_COST, lane)
    if measure == _WILD_SHARE:
        return _ratio(wild, wild + stocked)
    if year == 0:
        return math.nan
    if measure == _RECRUITS:
        return _sum(until, rule, tally, r.T_RECRUITS, lane)
    if measure == _GLOCHIDIA_PER_HOST:
        return _ratio(_sum(until, rule, tally, r.T_ATTACHED, lane),
                      _sum(until, rule, tally, r.T_FISH, lane))
    return _ratio(_sum(until, rule, tally, r.T_REACHED_ADULT, lane),
                  _sum(until, rule, tally, r.T_ADULT_DEATHS, lane))


@inner()
def _occupied(until, rule, tally, lane):
    count = 0.0
    for site in range(tally.shape[0]):
        if until.until_site[rule, site] and (
                tally[site, r.T_WILD_ANIMALS, lane]
                + tally[site, r.T_STOCKED_ANIMALS, lane]) > 0.0:
            count += 1.0
    return count

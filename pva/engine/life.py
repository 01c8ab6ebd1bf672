"""Steps 4 to 7: survival, growth, movement, recruits' arrival, limits of space."""

from __future__ import annotations

import math

from pva.compiled import inner
from pva.engine.environment import suffer
from pva.engine.lanes import (
    add,
    any_in,
    clear_animals,
    copy,
    copy_animals,
    drawn_from,
    fill,
    some_of,
    split_off,
)
from pva.model.record import (
    R_SITE,
    R_SURVIVAL,
    R_TIMES,
    STOCKED,
    T_ADULT_DEATHS,
    T_REACHED_ADULT,
    T_RECRUITS,
    WILD,
)


@inner()
def class_survival(life, bad, work, site, c):
    """Survival of residents of a class this year, bad years included, into `work.chance`."""
    slot = life.survival_slot[site, c]
    if slot < 0:
        fill(work.chance, 0.0)
        return
    _in_bad_years(work.rate[slot], bad, work, site, c)


@inner()
def _in_bad_years(rate, bad, work, site, c):
    """A rate of survival with the year's multipliers, at most 1, into `work.chance`."""
    copy(work.chance, rate)
    suffer(work.chance, work, site, bad.bad_survival[c])
    for i in range(len(work.chance)):  # a bad year may be a good one for some class
        work.chance[i] = min(1.0, work.chance[i])


@inner()
def residents_live(life, bad, work, individuals, year, tally):
    """Survival and growth of the animals that were here at the census."""
    clear_animals(work.grown)
    for origin in range(work.n.shape[0]):
        for site in range(work.n.shape[1]):
            for c in range(work.n.shape[2]):
                n = work.n[origin, site, c]
                if not any_in(n):
                    continue
                class_survival(life, bad, work, site, c)
                some_of(n, work.chance, work.left, work, individuals,
                        life.survive_address[origin, site, c], year)
                if life.adult[c]:
                    _deaths(tally[site, T_ADULT_DEATHS], n, work.left)
                grow(life, work, origin, site, c, individuals, life.grow_address[origin, site],
                     year, tally)
    copy_animals(work.n, work.grown)


@inner()
def _deaths(tally, n, alive):
    for i in range(len(n)):
        tally[i] += n[i] - alive[i]


@inner()
def grow(life, work, origin, site, c, individuals, address, year, tally):
    """Spread the survivors of a class, `work.left`, over the classes they reach."""
    fill(work.share, 1.0)
    for step in range(life.grow_start[c], life.grow_start[c + 1]):
        to = life.grow_to[step]
        split_off(work.rate[life.grow_slot[site, step]], work.some, work, individuals,
                  address[step], year)
        add(work.grown[origin, site, to], work.some)
        if origin == WILD and life.adult[to] and not life.adult[c]:
            add(tally[site, T_REACHED_ADULT], work.some)
    add(work.grown[origin, site, c], work.left)


@inner()
def releases_live(releases, life, bad, work, individuals, year, tally):
    """First-year survival and growth of this year's releases, then they join the stocked."""
    clear_animals(work.grown)
    stocked = work.n.shape[0] - 1  # not the constant, which would compile `grow` once more
    for row in range(work.released.shape[0]):
        site = releases.release_row[row, R_SITE]
        for c in range(work.released.shape[1]):
            n = work.released[row, c]
            if not any_in(n):
                continue
            _first_year(releases, life, bad, work, row, site, c)
            some_of(n, work.chance, work.left, work, individuals,
                    releases.release_address[row, c], year)
            if life.adult[c]:
                _deaths(tally[site, T_ADULT_DEATHS], n, work.left)
            grow(life, work, stocked, site, c, individuals, releases.release_grow_address[row],
                 year, tally)
    for site in range(work.n.shape[1]):
        for c in range(work.n.shape[2]):
            add(work.n[STOCKED, site, c], work.grown[STOCKED, site, c])


@inner()
def _first_year(releases, life, bad, work, row, site, c):
    """Survival of this year's releases, into `work.chance`."""
    class_survival(life, bad, work, site, c)
    slot = releases.release_row[row, R_SURVIVAL]
    if slot < 0 or life.survival_slot[site, c] < 0:
        return
    if releases.release_row[row, R_TIMES] == 1:
        for i in range(len(work.chance)):
            work.chance[i] *= work.rate[slot, i]
    else:
        _in_bad_years(work.rate[slot], bad, work, site, c)


@inner()
def move(space, work, individuals, year):
    """Movement between sites, all origins and classes at once; the lost leave the river."""
    if len(space.move_row) == 0:
        return
    clear_animals(work.grown)
    for origin in range(work.n.shape[0]):
        for site in range(work.n.shape[1]):
            for c in range(work.n.shape[2]):
                copy(work.left, work.n[origin, site, c])
                fill(work.share, 1.0)
                for row in range(len(space.move_row)):
                    if space.move_row[row, 0] != site or not space.move_class[row, c]:
                        continue
                    to = space.move_row[row, 1]
                    split_off(work.rate[space.move_row[row, 2]], work.some, work, individuals,
                              space.move_address[origin, row, c], year)
                    if to >= 0:
                        add(work.grown[origin, to, c], work.some)
                add(work.grown[origin, site, c], work.left)
    copy_animals(work.n, work.grown)


@inner()
def recruits_arrive(recruits, space, life, work, individuals, year, tally):
    """Recruits carried by hosts, then all recruits enter their class as wild animals."""
    sites = work.n.shape[1]
    for site in range(sites):
        for r in range(work.recruits.shape[1]):
            fill(work.arriving[site, r], 0.0)
    for site in range(sites):
        for r in range(work.recruits.shape[1]):
            copy(work.left, work.recruits[site, r])
            fill(work.share, 1.0)
            for to in range(sites):
                if space.carried[site, to] <= 0.0:
                    continue
                fill(work.factor, space.carried[site, to])
                split_off(work.factor, work.some, work, individuals,
                          space.carry_address[site, to, r], year)
                add(work.arriving[to, r], work.some)
            add(work.arriving[site, r], work.left)
    for site in range(sites):
        for r in range(work.recruits.shape[1]):
            c = recruits.recruit_class[r]
            add(work.n[WILD, site, c], work.arriving[site, r])
            add(tally[site, T_RECRUITS], work.arriving[site, r])
            if life.adult[c]:
                add(tally[site, T_REACHED_ADULT], work.arriving[site, r])


@inner()
def crowd(space, work, individuals, year):
    """Ceilings: adults down to theirs, then all animals down to theirs, at random."""
    for site in range(work.n.shape[1]):
        for limit in range(len(space.ceiling)):
            if space.ceiling[limit, site] < math.inf:
                _ceiling(space, limit, site, work, individuals, year)


@inner()
def _ceiling(space, limit, site, work, individuals, year):
    most = space.ceiling[limit, site]
    counted = space.ceiling_class[limit]
    fill(work.total, 0.0)
    for origin in range(work.n.shape[0]):
        for c in range(work.n.shape[2]):
            if counted[c]:
                add(work.total, work.n[origin, site, c])
    full = False
    for i in range(len(work.total)):  # a lane that is not full keeps all it has
        full = full or work.total[i] > most
        work.left[i] = min(most, work.total[i])
    if not full:
        return
    for origin in range(work.n.shape[0]):
        for c in range(work.n.shape[2]):
            if counted[c]:
                drawn_from(work.n[origin, site, c], work.total, work.left, work.some, individuals,
                           work.own_key, space.ceiling_address[limit, origin, site, c], year)
                copy(work.n[origin, site, c], work.some)

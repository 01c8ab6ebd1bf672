"""Step 3: recruits of the year, by young per animal or through the host fish."""

from __future__ import annotations

import math

from pva.engine.compiled import inner
from pva.engine.lanes import add, fill
from pva.engine.samplers import gamma, poisson
from pva.model.record import (
    ENTRIES,
    HALF_DENSITY,
    S_AREA,
    S_BEVERTON_HOLT,
    S_DISPERSION,
    S_FERTILISED,
    S_RICKER,
    SCALE,
    T_ATTACHED,
    T_FISH,
)

_FEMALES, _GRAVID, _GLOCHIDIA, _ATTACHMENT, _SETTLEMENT = range(5)
_SUITABILITY, _CONTACT, _CAPACITY, _DENSITY = range(4)


@inner()
def breed(recruits, life, work, individuals, year, tally):
    """Recruits of every site, into `work.recruits`; parents are `work.n` as it stands."""
    for site in range(work.n.shape[1]):
        _breeders(life, work, site)
        if recruits.recruit_form == ENTRIES:
            _young_per_animal(recruits, work, site)
        else:
            _glochidia(recruits, life, work, site)
            _through_hosts(recruits, work, site, year, tally)
        _crowding(recruits, work, site)
        if individuals:
            _whole_young(recruits, work, site, year)
        else:
            for r in range(work.recruits.shape[1]):
                for i in range(len(work.factor)):
                    work.recruits[site, r, i] *= work.factor[i]


@inner()
def _breeders(life, work, site):
    """Animals that may breed this year, into `work.total`."""
    fill(work.total, 0.0)
    for c in range(work.n.shape[2]):
        if life.breeds[c]:
            add(work.total, work.n[0, site, c])
            add(work.total, work.n[1, site, c])


@inner()
def _crowding(recruits, work, site):
    """What multiplies mean recruits: bad years, and limits by breeding animals."""
    beverton_holt = recruits.site_number[site, S_BEVERTON_HOLT]
    ricker = recruits.site_number[site, S_RICKER]
    for i in range(len(work.factor)):
        factor = work.bad_recruitment[site, i]
        if beverton_holt < math.inf:
            factor /= 1.0 + work.total[i] / beverton_holt
        if ricker < math.inf:
            factor *= math.exp(-work.total[i] / ricker)
        work.factor[i] = factor


@inner()
def _whole_young(recruits, work, site, year):
    """Whole numbers of young; chance at the site of birth."""
    k = recruits.site_number[site, S_DISPERSION]
    for i in range(len(work.factor)):
        factor = work.factor[i]
        key = work.own_key[i]
        if k > 0.0 and work.total[i] > 0.0:
            factor *= gamma(k, key, recruits.disperse_address[site], year) / k
        for r in range(work.recruits.shape[1]):
            work.recruits[site, r, i] = poisson(work.recruits[site, r, i] * factor, key,
                                                recruits.recruit_address[site, r], year)


@inner()
def _young_per_animal(recruits, work, site):
    for r in range(work.recruits.shape[1]):
        fill(work.recruits[site, r], 0.0)
    for e in range(len(recruits.entry_to)):
        parent = recruits.entry_from[e]
        slot = recruits.entry_slot[site, e]
        for r in range(len(recruits.recruit_class)):
            if recruits.recruit_class[r] == recruits.entry_to[e]:
                for i in range(len(work.total)):
                    work.recruits[site, r, i] += work.rate[slot, i] * (
                        work.n[0, site, parent, i] + work.n[1, site, parent, i])


@inner()
def _glochidia(recruits, life, work, site):
    """Glochidia released at a site in the year, into `work.some`."""
    slot = recruits.chain_slot[site]
    fill(work.some, 0.0)
    for c in range(work.n.shape[2]):
        if life.breeds[c]:
            shape = recruits.fecundity_shape[site, c]
            for i in range(len(work.some)):
                work.some[i] += shape * (work.n[0, site, c, i] + work.n[1, site, c, i])
    form = recruits.fertilised_form[site]
    scale = recruits.site_number[site, S_FERTILISED]
    area = recruits.site_number[site, S_AREA]
    for i in range(len(work.some)):
        density = work.total[i] / area
        share = 1.0
        if form == HALF_DENSITY and density > 0.0:
            share = density / (density + scale)
        elif form == SCALE:
            share = -math.expm1(-density / scale)
        work.some[i] *= (share * work.rate[slot[_FEMALES], i] * work.rate[slot[_GRAVID], i]
                         * work.rate[slot[_GLOCHIDIA], i])


@inner()
def _through_hosts(recruits, work, site, year, tally):
    """Mean recruits of the host chain; remembers the load offered for next year's immunity."""
    hosts = recruits.host_slot.shape[1]
    area = recruits.site_number[site, S_AREA]
    attachment = recruits.chain_slot[site, _ATTACHMENT]
    settlement = recruits.chain_slot[site, _SETTLEMENT]
    meeting = work.left
    fill(meeting, 0.0)
    for h in range(hosts):
        contact = recruits.host_slot[site, h, _CONTACT]
        for i in range(len(meeting)):
            meeting[i] += work.rate[contact, i] * _density(recruits, work, site, h, year, i)
    juveniles = work.recruits[site, 0]
    fill(juveniles, 0.0)
    for h in range(hosts):
        contact = recruits.host_slot[site, h, _CONTACT]
        suitability = recruits.host_slot[site, h, _SUITABILITY]
        capacity = recruits.host_slot[site, h, _CAPACITY]
        most = recruits.host_immunity[site, h, 0]
        half_load = recruits.host_immunity[site, h, 1]
        for i in range(len(juveniles)):
            density = _density(recruits, work, site, h, year, i)
            fish = density * area / 100.0
            load = 0.0
            carried = 0.0
            if fish > 0.0 and meeting[i] > 0.0:
                share = -math.expm1(-meeting[i]) * work.rate[contact, i] * density / meeting[i]
                load = work.some[i] * work.rate[attachment, i] * share / fish
                carried = load
                if capacity >= 0:
                    most_carried = work.rate[capacity, i]
                    carried = 0.0
                    if most_carried > 0.0:
                        carried = most_carried * -math.expm1(-load / most_carried)
            immune = 0.0
            if most > 0.0:
                immune = most * (1.0 - 2.0 ** (-work.load[site, h, i] / half_load))
            juveniles[i] += fish * carried * work.rate[suitability, i] * (1.0 - immune)
            work.load[site, h, i] = load
            tally[site, T_ATTACHED, i] += fish * carried
            tally[site, T_FISH, i] += fish
    for i in range(len(juveniles)):
        juveniles[i] *= work.rate[settlement, i]


@inner()
def _density(recruits, work, site, host, year, lane):
    """Fish per 100 m2 of a host in the year."""
    return (work.rate[recruits.host_slot[site, host, _DENSITY], lane]
            * recruits.host_factor[year, site, host] * work.bad_hosts[site, lane])

"""Step 3: recruits of the year, by young per animal or through the host fish."""

from __future__ import annotations

import math

from pva.compiled import inner
from pva.engine.elementary import exp, expm1
from pva.engine.environment import suffer
from pva.engine.lanes import add, copy, fill
from pva.engine.rows import poissons
from pva.engine.samplers import gamma
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
_LN2 = 0.6931471805599453
_MOST_YOUNG = 1e12  # of a site and year: growth without limits must not run out of the numbers


@inner()
def breed(recruits, life, bad, work, individuals, year, tally):
    """Recruits of every site, into `work.recruits`; parents are `work.n` as it stands."""
    for site in range(work.n.shape[1]):
        _breeders(life, work, site)
        if recruits.recruit_form == ENTRIES:
            _young_per_animal(recruits, work, site)
        else:
            _glochidia(recruits, life, work, site)
            _host_densities(recruits, bad, work, site, year)
            _through_hosts(recruits, work, site, tally)
        _crowding(recruits, bad, work, site)
        if individuals:
            _whole_young(recruits, work, site, year)
        else:
            for r in range(work.recruits.shape[1]):
                for i in range(len(work.factor)):
                    young = work.recruits[site, r, i] * work.factor[i]
                    work.recruits[site, r, i] = min(young, _MOST_YOUNG)


@inner()
def _breeders(life, work, site):
    """Animals that may breed this year, into `work.total`."""
    fill(work.total, 0.0)
    for c in range(work.n.shape[2]):
        if life.breeds[c]:
            add(work.total, work.n[0, site, c])
            add(work.total, work.n[1, site, c])


@inner()
def _crowding(recruits, bad, work, site):
    """What multiplies mean recruits: bad years, and limits by breeding animals."""
    beverton_holt = recruits.site_number[site, S_BEVERTON_HOLT]
    ricker = recruits.site_number[site, S_RICKER]
    fill(work.factor, 1.0)
    suffer(work.factor, work, site, bad.bad_recruitment)
    if beverton_holt < math.inf:
        for i in range(len(work.factor)):
            work.factor[i] /= 1.0 + work.total[i] / beverton_holt
    if ricker < math.inf:
        for i in range(len(work.factor)):
            work.factor[i] *= exp(-work.total[i] / ricker)


@inner()
def _whole_young(recruits, work, site, year):
    """Whole numbers of young; chance at the site of birth."""
    k = recruits.site_number[site, S_DISPERSION]
    if k > 0.0:
        for i in range(len(work.factor)):
            if work.total[i] > 0.0:
                work.factor[i] *= gamma(k, work.own_key[i], recruits.disperse_address[site],
                                        year) / k
    for r in range(work.recruits.shape[1]):
        young = work.recruits[site, r]
        for i in range(len(young)):
            young[i] = min(young[i] * work.factor[i], _MOST_YOUNG)
        poissons(young, work.own_key, recruits.recruit_address[site, r], year, work.some,
                 work.space)
        copy(young, work.some)


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
    if form == HALF_DENSITY:
        for i in range(len(work.some)):
            work.some[i] *= work.total[i] / (work.total[i] + scale * area)
    elif form == SCALE:
        for i in range(len(work.some)):
            work.some[i] *= -expm1(-work.total[i] / area / scale)
    females, gravid = work.rate[slot[_FEMALES]], work.rate[slot[_GRAVID]]
    glochidia = work.rate[slot[_GLOCHIDIA]]
    for i in range(len(work.some)):
        work.some[i] *= females[i] * gravid[i] * glochidia[i]


@inner()
def _host_densities(recruits, bad, work, site, year):
    """Fish of every host per 100 m2, into `work.fish`; their contacts, into `work.left`."""
    fill(work.left, 0.0)
    for h in range(recruits.host_slot.shape[1]):
        fish = work.fish[h]
        usual = work.rate[recruits.host_slot[site, h, _DENSITY]]
        contact = work.rate[recruits.host_slot[site, h, _CONTACT]]
        full = recruits.host_factor[year, site, h]
        for i in range(len(fish)):
            fish[i] = usual[i] * full
        suffer(fish, work, site, bad.bad_hosts)
        for i in range(len(fish)):
            work.left[i] += contact[i] * fish[i]


@inner()
def _through_hosts(recruits, work, site, tally):
    """Mean recruits of the host chain; remembers the load offered for next year's immunity."""
    settlement = work.rate[recruits.chain_slot[site, _SETTLEMENT]]
    juveniles = work.recruits[site, 0]
    fill(juveniles, 0.0)
    for h in range(recruits.host_slot.shape[1]):
        _offered(recruits, work, site, h)
        _carried(recruits, work, site, h)
        _immune(recruits, work, site, h)
        suitability = work.rate[recruits.host_slot[site, h, _SUITABILITY]]
        share, carried, fish = work.share, work.chance, work.fish[h]
        for i in range(len(juveniles)):
            juveniles[i] += carried[i] * suitability[i] * share[i]
        add(tally[site, T_ATTACHED], carried)
        add(tally[site, T_FISH], fish)
    for i in range(len(juveniles)):
        juveniles[i] *= settlement[i]


@inner()
def _offered(recruits, work, site, h):
    """Glochidia offered to each fish of a host, into `work.factor`; fish become a number."""
    meeting, glochidia, fish = work.left, work.some, work.fish[h]
    attachment = work.rate[recruits.chain_slot[site, _ATTACHMENT]]
    contact = work.rate[recruits.host_slot[site, h, _CONTACT]]
    per_density = recruits.site_number[site, S_AREA] / 100.0
    for i in range(len(fish)):
        there = (fish[i] > 0.0) & (meeting[i] > 0.0)
        share = -expm1(-meeting[i]) * contact[i] * fish[i] / meeting[i]
        fish[i] *= per_density
        work.factor[i] = glochidia[i] * attachment[i] * share / fish[i] if there else 0.0


@inner()
def _carried(recruits, work, site, h):
    """Glochidia carried by all fish of a host, into `work.chance`."""
    slot = recruits.host_slot[site, h, _CAPACITY]
    load, fish, carried = work.factor, work.fish[h], work.chance
    if slot < 0:
        for i in range(len(load)):
            carried[i] = fish[i] * load[i]
        return
    most = work.rate[slot]
    for i in range(len(load)):
        held = -most[i] * expm1(-load[i] / most[i])
        carried[i] = fish[i] * (held if most[i] > 0.0 else 0.0)


@inner()
def _immune(recruits, work, site, h):
    """Share of metamorphosis that immunity leaves, into `work.share`; keeps this year's load."""
    most, half_load = recruits.host_immunity[site, h]
    before = work.load[site, h]
    if most > 0.0:
        for i in range(len(before)):
            work.share[i] = 1.0 + most * expm1(-before[i] / half_load * _LN2)
    else:
        fill(work.share, 1.0)
    copy(before, work.factor)

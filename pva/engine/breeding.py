"""Step 3: recruits of the year, by young per animal or through the host fish."""

from __future__ import annotations

import math

from numba import njit, uint64

from pva.engine.samplers import gamma, poisson
from pva.model.record import ENTRIES, HALF_DENSITY, SCALE, T_ATTACHED, T_FISH

_FEMALES, _GRAVID, _GLOCHIDIA, _ATTACHMENT, _SETTLEMENT = range(5)
_SUITABILITY, _CONTACT, _CAPACITY, _DENSITY = range(4)


@njit(cache=True, nogil=True)
def breed(recruits, life, work, individuals, key, year, tally):
    """Recruits of every site, into `work.recruits`; parents are `work.n` as it stands."""
    for site in range(work.n.shape[1]):
        breeders = _breeders(life, work, site)
        if recruits.recruit_form == ENTRIES:
            _young_per_animal(recruits, work, site)
        else:
            work.recruits[site, 0] = _through_hosts(recruits, life, work, site, breeders, year,
                                                    tally)
        factor = work.bad_recruitment[site] / (1.0 + breeders / recruits.beverton_holt[site])
        factor *= math.exp(-breeders / recruits.ricker[site])
        k = recruits.dispersion[site]
        if individuals and k > 0.0:
            factor *= gamma(k, key, recruits.disperse_address[site], year) / k
        for r in range(work.recruits.shape[1]):
            mean = work.recruits[site, r] * factor
            work.recruits[site, r] = mean
            if individuals:
                address = recruits.recruit_address[site, r]
                work.recruits[site, r] = poisson(mean, key, uint64(address), year)


@njit(cache=True, nogil=True)
def _breeders(life, work, site):
    total = 0.0
    for c in range(work.n.shape[2]):
        if life.breeds[c]:
            total += work.n[0, site, c] + work.n[1, site, c]
    return total


@njit(cache=True, nogil=True)
def _young_per_animal(recruits, work, site):
    for r in range(len(recruits.recruit_class)):
        work.recruits[site, r] = 0.0
    for e in range(len(recruits.entry_to)):
        parent = recruits.entry_from[e]
        young = work.rate[recruits.entry_slot[site, e]] * (
            work.n[0, site, parent] + work.n[1, site, parent])
        for r in range(len(recruits.recruit_class)):
            if recruits.recruit_class[r] == recruits.entry_to[e]:
                work.recruits[site, r] += young


@njit(cache=True, nogil=True)
def _glochidia(recruits, life, work, site, breeders):
    """Glochidia released at a site in the year."""
    slot = recruits.chain_slot[site]
    total = 0.0
    for c in range(work.n.shape[2]):
        if life.breeds[c]:
            animals = work.n[0, site, c] + work.n[1, site, c]
            total += animals * recruits.fecundity_shape[site, c]
    density = breeders / recruits.area[site]
    form = recruits.fertilised_form[site]
    share = 1.0
    if breeders <= 0.0:
        share = 0.0
    elif form == HALF_DENSITY:
        share = density / (density + recruits.fertilised_density[site])
    elif form == SCALE:
        share = -math.expm1(-density / recruits.fertilised_density[site])
    return (total * share * work.rate[slot[_FEMALES]] * work.rate[slot[_GRAVID]]
            * work.rate[slot[_GLOCHIDIA]])


@njit(cache=True, nogil=True)
def _through_hosts(recruits, life, work, site, breeders, year, tally):
    """Mean recruits of the host chain; remembers the load offered for next year's immunity."""
    slot = recruits.chain_slot[site]
    glochidia = _glochidia(recruits, life, work, site, breeders)
    hosts = recruits.host_slot.shape[1]
    meeting = 0.0
    for h in range(hosts):
        meeting += (work.rate[recruits.host_slot[site, h, _CONTACT]]
                    * _density(recruits, work, site, h, year))
    met = -math.expm1(-meeting)
    juveniles = 0.0
    for h in range(hosts):
        density = _density(recruits, work, site, h, year)
        fish = density * recruits.area[site] / 100.0
        load = 0.0
        carried = 0.0
        if fish > 0.0 and meeting > 0.0:
            contact = work.rate[recruits.host_slot[site, h, _CONTACT]]
            load = (glochidia * work.rate[slot[_ATTACHMENT]] * met * contact * density / meeting
                    / fish)
            carried = load
            capacity_slot = recruits.host_slot[site, h, _CAPACITY]
            if capacity_slot >= 0:
                capacity = work.rate[capacity_slot]
                carried = capacity * -math.expm1(-load / capacity) if capacity > 0.0 else 0.0
        most, half_load = recruits.host_immunity[site, h]
        immune = most * (1.0 - 2.0 ** (-work.load[site, h] / half_load))
        juveniles += (fish * carried * work.rate[recruits.host_slot[site, h, _SUITABILITY]]
                      * (1.0 - immune))
        work.load[site, h] = load
        tally[site, T_ATTACHED] += fish * carried
        tally[site, T_FISH] += fish
    return juveniles * work.rate[slot[_SETTLEMENT]]


@njit(cache=True, nogil=True)
def _density(recruits, work, site, host, year):
    """Fish per 100 m2 of a host in the year."""
    return (work.rate[recruits.host_slot[site, host, _DENSITY]]
            * recruits.host_factor[year, site, host] * work.bad_hosts[site])

"""The model as plain arrays: what the engine reads. No labels, no files, no Python objects inside.

Dimensions: effect pair, cell, slot, period, draw, site, class (age class or stage, in life order),
host, kind (of bad year), row (release, collection, movement), year (model years, one fewer than
censuses). Addresses are 64-bit hashes of names, so that adding a site or a release shifts no other
random number.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np

# origins
WILD, STOCKED = 0, 1
# what a slot holds: a natural value that does not vary, a logit mean, a log mean
FIXED, LOGIT, LOG = 0, 1, 2
# yearly tallies of a site, counted at the census; flows belong to the year that ended there
TALLIES = (
    "wild_adults", "stocked_adults", "wild_animals", "stocked_animals", "breeders", "recruits",
    "reached_adult", "adult_deaths", "glochidia_attached", "host_fish", "cost", "released",
    "collected", "females",
)  # fmt: skip
(
    T_WILD_ADULTS, T_STOCKED_ADULTS, T_WILD_ANIMALS, T_STOCKED_ANIMALS, T_BREEDERS, T_RECRUITS,
    T_REACHED_ADULT, T_ADULT_DEATHS, T_ATTACHED, T_FISH, T_COST, T_RELEASED, T_COLLECTED,
    T_FEMALES,
) = range(len(TALLIES))  # fmt: skip
# forms of recruitment and of fertilisation
ENTRIES, CHAIN = 0, 1
NOT_LIMITED, HALF_DENSITY, SCALE = 0, 1, 2
# measures an `until` rule may watch
UNTIL_MEASURES = (
    "adults", "animals", "wild_adults", "stocked_adults", "females", "recruits", "adults_per_m2",
    "sites_occupied", "replacement_ratio", "wild_share", "glochidia_per_host",
)  # fmt: skip


class YearEffectArrays(NamedTuple):
    """Standard normals live in cells; a pair (effect, site) mixes some of them."""

    cell_address: np.ndarray  # uint64 (cell,)
    pair_start: np.ndarray  # int64 (pair + 1,)
    pair_cell: np.ndarray  # int64 (mix,)
    pair_weight: np.ndarray  # float64 (mix,)
    carry_over: float
    slot_kind: np.ndarray  # int64 (slot,)
    slot_sd: np.ndarray  # float64 (slot,) link SD of years
    slot_pair: np.ndarray  # int64 (slot,) its year effect, -1 none
    period: np.ndarray  # int64 (year,)


class BadYearArrays(NamedTuple):
    """Kinds of bad years; their multipliers."""

    bad_threshold: np.ndarray  # float64 (kind,) normal quantile of the chance, -inf never
    bad_common: np.ndarray  # float64 (kind,) correlation of strikes between sites
    bad_length: np.ndarray  # int64 (kind,)
    bad_fixed: np.ndarray  # bool (kind, year)
    bad_survival: np.ndarray  # float64 (kind, class)
    bad_recruitment: np.ndarray  # float64 (kind,)
    bad_hosts: np.ndarray  # float64 (kind,)
    bad_address: np.ndarray  # uint64 (kind, site + 1), the last is the common part


class LifeArrays(NamedTuple):
    """Survival and growth; a step is a way a survivor of a class may go."""

    survival_slot: np.ndarray  # int64 (site, class), -1 = nobody survives
    grow_start: np.ndarray  # int64 (class + 1,) steps of each class
    grow_to: np.ndarray  # int64 (step,)
    grow_slot: np.ndarray  # int64 (site, step)
    adult: np.ndarray  # bool (class,)
    breeds: np.ndarray  # bool (class,)
    survive_address: np.ndarray  # uint64 (origin, site, class)
    grow_address: np.ndarray  # uint64 (origin, site, step)


class RecruitArrays(NamedTuple):
    """Recruitment by entries (young per animal) or by the host chain."""

    recruit_form: int
    entry_to: np.ndarray  # int64 (entry,) class entered
    entry_from: np.ndarray  # int64 (entry,) class of the parent
    entry_slot: np.ndarray  # int64 (site, entry)
    recruit_class: np.ndarray  # int64 (recruit class,) classes recruits may enter
    chain_slot: np.ndarray  # int64 (site, 5) females gravid glochidia attachment settlement
    fecundity_shape: np.ndarray  # float64 (site, class) multiplies the glochidia slot
    fertilised_form: np.ndarray  # int64 (site,)
    fertilised_density: np.ndarray  # float64 (site,)
    host_slot: np.ndarray  # int64 (site, host, 4) suitability contact capacity(-1) density
    host_factor: np.ndarray  # float64 (year, site, host) 0 blocked .. 1 full
    host_immunity: np.ndarray  # float64 (site, host, 2) most, half load
    dispersion: np.ndarray  # float64 (site,), 0 = Poisson
    area: np.ndarray  # float64 (site,) m2, NaN unknown
    beverton_holt: np.ndarray  # float64 (site,) adults, inf none
    ricker: np.ndarray  # float64 (site,) adults, inf none
    recruit_address: np.ndarray  # uint64 (site, recruit class)
    disperse_address: np.ndarray  # uint64 (site,)


class SpaceArrays(NamedTuple):
    """Movement between sites, recruits carried by hosts, ceilings (inf = none)."""

    move_from: np.ndarray  # int64 (row,)
    move_to: np.ndarray  # int64 (row,) -1 lost
    move_class: np.ndarray  # bool (row, class)
    move_slot: np.ndarray  # int64 (row,)
    carried: np.ndarray  # float64 (site from, site to) share of recruits
    ceiling_animals: np.ndarray  # float64 (site,)
    ceiling_adults: np.ndarray  # float64 (site,)
    move_address: np.ndarray  # uint64 (origin, row, class)
    carry_address: np.ndarray  # uint64 (site, site, recruit class)
    ceiling_address: np.ndarray  # uint64 (limit, origin, site, class)


class ReleaseArrays(NamedTuple):
    """Releases, collections and the rules that stop a release."""

    release_site: np.ndarray  # int64 (row,)
    release_class: np.ndarray  # int64 (row,)
    release_number: np.ndarray  # float64 (row, year) planned
    release_delivered: np.ndarray  # float64 (row, 3) mean, link mean, link SD (0 = exact)
    release_survival_slot: np.ndarray  # int64 (row,) -1 = that of the class
    release_times_survival: np.ndarray  # bool (row,)
    release_from: np.ndarray  # int64 (row,) site animals are taken from, -1 hatchery
    release_from_class: np.ndarray  # bool (row, class)
    release_cost: np.ndarray  # float64 (row,)
    collect_site: np.ndarray  # int64 (row,)
    collect_class: np.ndarray  # bool (row, class)
    collect_number: np.ndarray  # float64 (row, year)
    until_row: np.ndarray  # int64 (rule,) release row it stops
    until_measure: np.ndarray  # int64 (rule,)
    until_value: np.ndarray  # float64 (rule,)
    until_running: np.ndarray  # int64 (rule,)
    until_site: np.ndarray  # bool (rule, site)
    delivery_address: np.ndarray  # uint64 (row,)
    release_address: np.ndarray  # uint64 (row, class)
    release_grow_address: np.ndarray  # uint64 (row, step)
    take_address: np.ndarray  # uint64 (row, origin, class) donor animals of release rows
    collect_address: np.ndarray  # uint64 (row, origin, class)


class Plan(NamedTuple):
    """Everything that is the same in every draw and replicate."""

    switches: np.ndarray  # int64 (4,) years, individuals, census after breeding, model years
    effects: YearEffectArrays
    bad: BadYearArrays
    life: LifeArrays
    recruits: RecruitArrays
    space: SpaceArrays
    releases: ReleaseArrays


def plan_of(parts: dict) -> Plan:
    """Group flat arrays by name into the records of a plan.

    Raises
    ------
    KeyError
        If an array is missing; ``TypeError`` if one belongs nowhere.
    """
    known = {"switches"}
    records = {}
    for name, kind in _GROUPS.items():
        records[name] = kind(**{f: _plain(parts[f]) for f in kind._fields})
        known |= set(kind._fields)
    if set(parts) - known:
        raise TypeError(f"arrays that belong to no record: {sorted(set(parts) - known)}")
    return Plan(switches=_plain(parts["switches"]), **records)


_GROUPS = {
    "effects": YearEffectArrays, "bad": BadYearArrays, "life": LifeArrays,
    "recruits": RecruitArrays, "space": SpaceArrays, "releases": ReleaseArrays,
}  # fmt: skip


def _plain(value):
    """Writable, contiguous arrays: one compiled form serves every scenario."""
    return np.array(value, order="C") if isinstance(value, np.ndarray) else value


class Draws(NamedTuple):
    """What differs between parameter draws."""

    value: np.ndarray  # float64 (draw, period, slot) natural or link scale, by slot_kind
    start: np.ndarray  # float64 (draw, site, class)
    female_share: np.ndarray  # float64 (draw, site)

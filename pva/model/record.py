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
STOCKS = frozenset(range(T_BREEDERS + 1))  # animals alive at the census
# forms of recruitment and of fertilisation
ENTRIES, CHAIN = 0, 1
NOT_LIMITED, HALF_DENSITY, SCALE = 0, 1, 2
# numbers of a site that stay the same
S_AREA, S_DISPERSION, S_FERTILISED, S_BEVERTON_HOLT, S_RICKER = range(5)
# a release row: site, class, survival slot (-1 usual), times usual survival, donor site (-1 none)
R_SITE, R_CLASS, R_SURVIVAL, R_TIMES, R_FROM = range(5)
# measures an `until` rule may watch
UNTIL_MEASURES = (
    "adults", "animals", "wild_adults", "stocked_adults", "females", "recruits", "adults_per_m2",
    "sites_occupied", "replacement_ratio", "wild_share", "glochidia_per_host", "cost",
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

    bad_chance: np.ndarray  # float64 (kind,) 0 never
    bad_threshold: np.ndarray  # float64 (kind,) its normal quantile
    bad_common: np.ndarray  # float64 (kind,) correlation of strikes between sites
    bad_length: np.ndarray  # float64 (kind,) years
    bad_fixed: np.ndarray  # bool (kind, year)
    bad_survival: np.ndarray  # float64 (class, kind)
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
    site_number: np.ndarray  # float64 (site, 5) see S_AREA and so on
    host_slot: np.ndarray  # int64 (site, host, 4) suitability contact capacity(-1) density
    host_factor: np.ndarray  # float64 (year, site, host) 0 blocked .. 1 full
    host_immunity: np.ndarray  # float64 (site, host, 2) most, half load
    recruit_address: np.ndarray  # uint64 (site, recruit class)
    disperse_address: np.ndarray  # uint64 (site,)


class SpaceArrays(NamedTuple):
    """Movement between sites, recruits carried by hosts, ceilings (inf = none)."""

    move_row: np.ndarray  # int64 (row, 3) from, to (-1 lost), slot
    move_class: np.ndarray  # bool (row, class)
    carried: np.ndarray  # float64 (site from, site to) share of recruits
    ceiling: np.ndarray  # float64 (limit, site): on adults, on all animals
    ceiling_class: np.ndarray  # bool (limit, class) whom it counts and removes
    move_address: np.ndarray  # uint64 (origin, row, class)
    carry_address: np.ndarray  # uint64 (site, site, recruit class)
    ceiling_address: np.ndarray  # uint64 (limit, origin, site, class)


class ReleaseArrays(NamedTuple):
    """Releases."""

    release_row: np.ndarray  # int64 (row, 5) see R_SITE and so on
    release_number: np.ndarray  # float64 (row, year) planned
    release_share: np.ndarray  # float64 (row, 4) delivered mean, link mean, link SD (0 exact), cost
    release_again: np.ndarray  # int64 (row, 3) its rule among those that repeat (-1: none), last
    # planned year, last year it may be repeated, as model years
    release_from_class: np.ndarray  # bool (row, class) classes taken from a donor site
    delivery_address: np.ndarray  # uint64 (row,)
    release_address: np.ndarray  # uint64 (row, class)
    release_grow_address: np.ndarray  # uint64 (row, step)
    take_address: np.ndarray  # uint64 (row, origin, class) donor animals


class CollectArrays(NamedTuple):
    """Collections."""

    collect_site: np.ndarray  # int64 (row,)
    collect_class: np.ndarray  # bool (row, class)
    collect_number: np.ndarray  # float64 (row, year)
    collect_address: np.ndarray  # uint64 (row, origin, class)


class UntilArrays(NamedTuple):
    """Rules that end or repeat a release."""

    until_rule: np.ndarray  # int64 (rule, 5) release row, measure, years running, which of the
    # rules that repeat it is (-1: it ends the release), years from order to release
    until_value: np.ndarray  # float64 (rule,)
    until_site: np.ndarray  # bool (rule, site)
    until_area: np.ndarray  # float64 (site,) m2


class Plan(NamedTuple):
    """Everything that is the same in every draw and replicate."""

    switches: np.ndarray  # int64 (4,) years, individuals, census after breeding, model years
    effects: YearEffectArrays
    bad: BadYearArrays
    life: LifeArrays
    recruits: RecruitArrays
    space: SpaceArrays
    releases: ReleaseArrays
    collections: CollectArrays
    until: UntilArrays


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
    "collections": CollectArrays, "until": UntilArrays,
}  # fmt: skip


def _plain(value):
    """Writable, contiguous arrays: one compiled form serves every scenario."""
    return np.array(value, order="C") if isinstance(value, np.ndarray) else value


class Draws(NamedTuple):
    """What differs between parameter draws."""

    value: np.ndarray  # float64 (draw, period, slot) natural or link scale, by slot_kind
    start: np.ndarray  # float64 (draw, site, class)
    female_share: np.ndarray  # float64 (draw, site)

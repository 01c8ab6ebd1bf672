"""From the resolved scenario to one record of plain arrays and its parameter draws."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, fields, is_dataclass

import numpy as np

from pva.lifehistory.rates import Rate
from pva.lifehistory.year_effects import mix, rate_correlation, site_factors
from pva.model import events, recruit_arrays
from pva.model.addresses import address_array
from pva.model.analysis import stable_stages
from pva.model.classes import Classes, dies_at_the_end, expand, growth_steps
from pva.model.draws import DrawTable
from pva.model.matrix import site_matrix
from pva.model.record import Draws, Plan, plan_of
from pva.model.recruit_arrays import Calibrations
from pva.model.slots import Slots, drawn_means, period_starts
from pva.model.start import start_numbers
from pva.scenario.resolved import AFTER, BOTH_SEXES, Resolved
from pva.scenario.size import refuse_too_large

ORIGINS = ("wild", "stocked")


@dataclass(frozen=True)
class Model:
    """A scenario as numbers, and the labels that belong to their dimensions."""

    plan: Plan
    draws: Draws
    classes: Classes
    sites: tuple[str, ...]
    stages: tuple[str, ...]
    drawn: dict[str, np.ndarray]  # uncertain rate -> its drawn means over years, shape (draw,)
    warnings: tuple[str, ...] = ()

    @property
    def doubtful(self) -> bool:
        """Whether parameter draws differ: some rate is uncertain and `unknown` is on."""
        return bool(self.drawn) and len(self.draws.start) > 1

    @property
    def certain(self) -> bool:
        """Whether nothing is left to chance: every replicate is the same."""
        years, individuals = self.plan.switches[:2]
        return not (self.doubtful or years or individuals)

    def independent_runs(self, replicates: int) -> int:
        """Runs that count one by one: replicates of one draw share its rates where draws differ."""
        return len(self.draws.start) * (1 if self.doubtful else replicates)


def assemble(resolved: Resolved, *, seed: int, held: Mapping | None = None,
             points: Mapping | None = None) -> Model:
    """Build the record of plain arrays.

    Parameters
    ----------
    resolved : Resolved
    seed : int
        Seed of the parameter draws, 0 .. 2**64 - 1.
    held : mapping of rate key to float or ndarray, shape (draw,), or None
        What if these rates had these means over years? The yearly spread on the link scale, shares
        of stages and calibrations stay as at the best values; calibrations follow a held attachment
        or target only.
    points : mapping of str to ndarray, shape (draw,), or None
        Uniform numbers in place of the hypercube's; see `DrawTable`.

    Returns
    -------
    Model

    Raises
    ------
    CannotCompute
        If a calibration has no solution, or the run needs more memory or time than there is.
    """
    refuse_too_large(resolved)
    classes = expand(resolved.stages)
    table = DrawTable(draws=resolved.runs.draws, seed=seed, unknown=resolved.chance.unknown,
                      covariance=resolved.covariance, held=held, points=points)
    starts = period_starts(list(rates_in(resolved.sites)) + list(rates_in(resolved.releases))
                           + list(rates_in(resolved.movement)), resolved.first, resolved.last)
    slots = Slots(table, starts, years=resolved.chance.years)
    calibrations = Calibrations(resolved, table)
    parts = _life(resolved, classes, slots)
    parts |= _recruitment(resolved, classes, slots, calibrations)
    parts |= events.bad_year_arrays(resolved, classes)
    parts |= events.release_arrays(resolved, classes, slots)
    parts |= events.collection_arrays(resolved, classes)
    parts |= events.until_arrays(resolved)
    parts |= events.movement_arrays(resolved, classes, slots)
    parts |= _ceilings(resolved, classes)
    parts |= _addresses(resolved, classes)
    parts |= _year_effects(resolved, slots)
    parts |= _switches(resolved, starts)
    draws = Draws(
        value=np.ascontiguousarray(np.stack(slots.values, axis=2)),
        start=start_numbers(resolved, classes, table, _shares(resolved, calibrations)),
        female_share=female_share(resolved, table),
    )
    return Model(plan_of(parts), draws, classes, tuple(s.name for s in resolved.sites),
                 tuple(s.name for s in resolved.stages), _drawn(resolved, table),
                 _warnings(calibrations, table.draws))


def _warnings(calibrations, draws):
    return tuple(
        f"in {count} of {draws} parameter draws {name} would have to exceed 1 to reach its target; "
        "it was cut at 1, so these draws have fewer recruits than the target says"
        for name, count in calibrations.cut.items())


def _drawn(resolved, table):
    """What every uncertain rate was in each draw: what the outcome may depend on."""
    if not resolved.chance.unknown:
        return {}
    parts = (resolved.sites, resolved.releases, resolved.movement)  # start numbers among them
    return {rate.key: drawn_means(rate, table) for part in parts for rate in rates_in(part)
            if rate.is_uncertain}


def rates_in(thing) -> Iterator[Rate]:
    """Every rate inside resolved dataclasses, tuples and mappings, in their order."""
    if isinstance(thing, Rate):
        yield thing
    elif isinstance(thing, dict):
        for value in thing.values():
            yield from rates_in(value)
    elif isinstance(thing, (tuple, list)):
        for value in thing:
            yield from rates_in(value)
    elif is_dataclass(thing):
        for one in fields(thing):
            yield from rates_in(getattr(thing, one.name))


def _steps(resolved, classes):
    """Ways to grow at any site, so that a site may write one that others lack."""
    ways = {}
    for site in resolved.sites:
        for stage, reached in site.growth.items():
            ways[stage] = {**ways.get(stage, {}), **reached}
    return growth_steps(resolved.stages, classes, ways)


def _growth_slots(site, steps, slots, certain, never):
    rates = [None if s.stage_to is None else site.growth.get(s.stage_from, {}).get(s.stage_to, 0)
             for s in steps]
    return [certain if r is None else slots.add(r, site.name) if r else never for r in rates]


def _life(resolved, classes, slots):
    steps = _steps(resolved, classes)
    ends = dies_at_the_end(resolved.stages, classes)
    certain, never = (slots.add_fixed(np.full(resolved.runs.draws, x)) for x in (1.0, 0.0))
    survival = [[-1 if ends[c] else slots.add(site.survival[resolved.stages[i].name], site.name)
                 for c, i in enumerate(classes.stage)] for site in resolved.sites]
    grow = [_growth_slots(site, steps, slots, certain, never) for site in resolved.sites]
    counts = np.bincount([s.from_class for s in steps], minlength=len(classes))
    return {
        "survival_slot": np.array(survival, dtype=np.int64),
        "grow_start": np.concatenate([[0], np.cumsum(counts)]).astype(np.int64),
        "grow_to": np.array([s.to_class for s in steps], dtype=np.int64),
        "grow_slot": np.array(grow, dtype=np.int64).reshape(len(resolved.sites), len(steps)),
        "adult": classes.adult.copy(),
        "breeds": classes.breeds.copy(),
    }


def _recruitment(resolved, classes, slots, calibrations):
    if resolved.sites[0].recruitment.form == "hosts":
        parts = recruit_arrays.chain_arrays(resolved, classes, slots, calibrations)
    else:
        parts = recruit_arrays.entry_arrays(resolved, classes, slots)
        parts |= recruit_arrays.no_chain_arrays(len(resolved.sites))
    parts |= recruit_arrays.host_constants(resolved)
    parts |= recruit_arrays.fertility_arrays(resolved, classes)
    return parts


def _ceilings(resolved, classes):
    limits = [s.limits for s in resolved.sites]
    ceiling = np.array([[_or_none(x.ceiling_adults) for x in limits],
                        [_or_none(x.ceiling_animals) for x in limits]])
    if resolved.chance.individuals:  # whole animals: a ceiling is rounded down
        ceiling = np.floor(ceiling)
    everyone = np.ones(len(classes), dtype=bool)
    return {"ceiling": ceiling, "ceiling_class": np.array([classes.adult, everyone])}


def _or_none(limit):
    return np.inf if limit is None else float(limit)


def _addresses(resolved, classes):
    sites = [s.name for s in resolved.sites]
    steps = [f"{classes.names[s.from_class]} to {classes.names[s.to_class]}"
             for s in _steps(resolved, classes)]
    releases = [r.name for r in resolved.releases]
    collections = [r.name for r in resolved.collections]
    moves = [f"{m.stage} from {m.from_site} to {m.to}" for m in resolved.movement]
    kinds = [k.name for k in resolved.bad_years]
    entered = list(classes.names)
    form = _recruit_classes(resolved, classes)
    return {
        "survive_address": address_array("survival", ORIGINS, sites, entered),
        "grow_address": address_array("growth", ORIGINS, sites, steps),
        "recruit_address": address_array("recruitment", sites, [entered[c] for c in form]),
        "disperse_address": address_array("dispersion", sites),
        "carry_address": address_array("carried", sites, sites, [entered[c] for c in form]),
        "move_address": address_array("movement", ORIGINS, moves, entered),
        "ceiling_address": address_array("ceiling", ("adults", "animals"), ORIGINS, sites, entered),
        "bad_address": address_array("bad year", kinds, [*sites, "the whole river"]),
        "delivery_address": address_array("delivery", releases),
        "release_address": address_array("release survival", releases, entered),
        "release_grow_address": address_array("release growth", releases, steps),
        "take_address": address_array("donor", releases, ORIGINS, entered),
        "collect_address": address_array("collection", collections, ORIGINS, entered),
    }


def _recruit_classes(resolved, classes):
    recruitment = resolved.sites[0].recruitment
    names = [s.name for s in resolved.stages]
    if recruitment.form == "entries":
        return sorted({int(classes.first[names.index(to)]) for to, _ in recruitment.entries})
    return [int(classes.first[names.index(recruitment.enters)])]


def _year_effects(resolved, slots):
    pairs = list(dict.fromkeys(p for p in slots.pair if p is not None))
    effects = list(dict.fromkeys(e for e, _ in pairs))
    sites = [s.name for s in resolved.sites]
    effects_of = resolved.year_effects
    places = site_factors(sites, river_km=[s.river_km for s in resolved.sites],
                          between_sites=effects_of.between_sites,
                          distance_km=effects_of.distance_km)
    mixing = mix(effects, rate_correlation(effects, effects_of.between_rates), places)
    used = sorted({cell for pair in pairs for cell, _ in mixing.pairs[pair]})
    new = {cell: i for i, cell in enumerate(used)}
    weights = [mixing.pairs[pair] for pair in pairs]
    addresses = [address_array("year effect", [mixing.cells[c][0]], [mixing.cells[c][1]])[0, 0]
                 for c in used]
    return {
        "cell_address": np.array(addresses, dtype=np.uint64),
        "pair_start": np.concatenate([[0], np.cumsum([len(w) for w in weights])]).astype(np.int64),
        "pair_cell": np.array([new[c] for row in weights for c, _ in row], dtype=np.int64),
        "pair_weight": np.array([w for row in weights for _, w in row], dtype=float),
        "carry_over": float(effects_of.carry_over),
        "slot_kind": np.array(slots.kind, dtype=np.int64),
        "slot_sd": np.array(slots.sd, dtype=float),
        "slot_pair": np.array([-1 if p is None else pairs.index(p) for p in slots.pair],
                              dtype=np.int64),
    }


def _switches(resolved, starts):
    years = np.array(list(resolved.years)[:-1])
    period = np.searchsorted(np.array(starts), years, side="right") - 1
    switches = [resolved.chance.years, resolved.chance.individuals, resolved.census == AFTER,
                len(years)]
    return {
        "switches": np.array(switches, dtype=np.int64),
        "period": period.astype(np.int64),
    }


def _shares(resolved, calibrations):
    result = []
    for site in resolved.sites:
        attachment, settlement = calibrations.best_of(site)
        a = site_matrix(resolved, site, attachment=attachment, settlement=settlement).a
        result.append(stable_stages(a) if a.any() else np.ones(len(a)) / len(a))
    return result


def female_share(resolved: Resolved, table: DrawTable) -> np.ndarray:
    """Females among adults, shape (draw, site): drawn where written, .5 for a matrix, or 1."""
    result = np.full((table.draws, len(resolved.sites)), 0.5)
    for s, site in enumerate(resolved.sites):
        if resolved.numbers != BOTH_SEXES:
            result[:, s] = 1.0
        elif site.recruitment.females is not None:
            result[:, s] = drawn_means(site.recruitment.females, table)
    return result

"""Growth in the long run: of the matrix, and of varying years by simulation and small noise."""

from __future__ import annotations

import itertools
from dataclasses import dataclass, replace

import numpy as np

from pva.engine.run import simulate
from pva.lifehistory.rates import POSITIVE, Rate
from pva.lifehistory.year_effects import rate_correlation
from pva.model.analysis import (
    MatrixAnalysis,
    analyse,
    entry_slopes,
    growth_rate,
    rate_effects,
    small_noise_log_growth,
)
from pva.model.assemble import assemble, rates_in
from pva.model.matrix import SiteMatrix, best, site_matrix
from pva.model.record import T_STOCKED_ANIMALS, T_WILD_ANIMALS
from pva.model.recruit_arrays import Calibrations
from pva.scenario.resolved import (
    AFTER,
    Calibration,
    Chance,
    Limits,
    Resolved,
    Runs,
    Site,
    Start,
)

_BURN_IN, _LONGEST, _CHAINS = 50, 400, 512


@dataclass(frozen=True)
class LongRun:
    """The deterministic companion of the site that grows fastest.

    Parameters
    ----------
    matrix : SiteMatrix
    analysis : MatrixAnalysis
    rates : tuple of str
        Underlying rates, in the order of the two arrays that follow.
    rate_values, rate_elasticities : ndarray, shape (rate,)
    """

    matrix: SiteMatrix
    analysis: MatrixAnalysis
    rates: tuple[str, ...]
    rate_values: np.ndarray
    rate_elasticities: np.ndarray


def fastest_site(resolved: Resolved) -> tuple[Site, SiteMatrix]:
    """The site whose matrix grows fastest, without limits and bad years."""
    calibrations = Calibrations(resolved)
    best_of = None
    for site in resolved.sites:
        attachment, settlement = calibrations.best_of(site)
        matrix = site_matrix(resolved, site, attachment=attachment, settlement=settlement)
        rate = growth_rate(matrix.a)
        if best_of is None or rate > best_of[0]:
            best_of = rate, site, matrix
    return best_of[1], best_of[2]


def long_run(resolved: Resolved) -> LongRun:
    """Analysis of the fastest site's matrix and of the rates beneath it."""
    site, matrix = fastest_site(resolved)
    young = matrix.f @ matrix.u if resolved.census == AFTER else matrix.f
    analysis = analyse(matrix.u, young, adults=matrix.classes.adult)
    names, values, build = matrix_of_rates(resolved, site)
    elasticities = rate_effects(build, values).elasticities
    return LongRun(matrix, analysis, names, values, elasticities)


def matrix_of_rates(resolved: Resolved, site: Site):
    """The projection matrix as a function of its rates.

    Returns
    -------
    tuple
        Keys of the rates, best values, and a function of such values giving A. Calibrated numbers
        stay as they are.
    """
    attachment, settlement = Calibrations(resolved).best_of(site)
    known: dict[str, Rate] = {}
    for rate in rates_in((site.survival, site.growth, site.recruitment)):
        known.setdefault(rate.key, rate)
    targets = {r.rate.key for r in (site.recruitment.attachment, site.recruitment.settlement)
               if isinstance(r, Calibration)}
    keys = [k for k in known if k not in targets]

    def build(values):
        at = dict(zip(keys, values, strict=True))
        now = {name: at.get(getattr(rate, "key", None), given) for name, rate, given in (
            ("attachment", site.recruitment.attachment, attachment),
            ("settlement", site.recruitment.settlement, settlement))}
        return site_matrix(resolved, site, **now, value=lambda r: at.get(r.key, best(r))).a

    return tuple(keys), np.array([best(known[k]) for k in keys]), build


def small_noise(resolved: Resolved) -> float | None:
    """Log stochastic growth rate of the fastest site when years differ little.

    Covers year effects, carried over as written, and random bad years as if independent from year
    to year; a bad year of several years counts by its share of years.
    """
    site, matrix = fastest_site(resolved)
    names, values, build = matrix_of_rates(resolved, site)
    rates = {r.key: r for r in rates_in((site.survival, site.growth, site.recruitment))}
    sd = np.array([_natural_year_sd(rates[n]) if resolved.chance.years else 0.0 for n in names])
    varying = np.flatnonzero(sd)
    slopes = entry_slopes(build, values, only=varying)
    effects = [rates[names[i]].effect or names[i] for i in varying]
    spread = np.tensordot(_root(resolved, effects, sd[varying]), slopes, axes=([0], [0]))
    mean, bad = _with_bad_years(resolved, matrix)
    if growth_rate(mean) <= 0:
        return None
    return small_noise_log_growth(mean, carried=spread, independent=bad,
                                  carry_over=resolved.year_effects.carry_over)


def _root(resolved, effects, sd):
    """Square root of the covariance of rates between years, (rate, factor)."""
    distinct = list(dict.fromkeys(effects))
    between = rate_correlation(distinct, resolved.year_effects.between_rates)
    if np.ndim(between) == 0:
        between = np.where(np.eye(len(distinct), dtype=bool), 1.0, between)
    place = [distinct.index(e) for e in effects]
    values, vectors = np.linalg.eigh(between[np.ix_(place, place)] * np.outer(sd, sd))
    return vectors * np.sqrt(np.maximum(values, 0))


def _natural_year_sd(rate):
    if rate.link is None:
        return rate.year_sd
    centre = best(rate)
    slope = centre if rate.kind == POSITIVE else centre * (1 - centre)
    return slope * rate.link.year_sd


def _with_bad_years(resolved, matrix):
    """Mean matrix over combinations of random bad years, and deviations from it, (case, to, from).

    Deviations are scaled by the root of their chance, so that squares add up to variances.
    """
    kinds = [k for k in resolved.bad_years if k.chance > 0 and resolved.chance.years]
    size = len(matrix.a)
    names = [s.name for s in resolved.stages]
    matrices, weights = [], []
    for struck in itertools.product((False, True), repeat=len(kinds)):
        survival, recruitment, weight = np.ones(size), 1.0, 1.0
        for kind, on in zip(kinds, struck, strict=True):
            share = 1 - (1 - kind.chance) ** kind.length
            weight *= share if on else 1 - share
            if on:
                survival *= [kind.survival.get(names[i], 1.0) for i in matrix.classes.stage]
                recruitment *= kind.recruitment
        u, f = matrix.u * survival, matrix.f * recruitment
        matrices.append((np.eye(size) + f) @ u if resolved.census == AFTER else u + f)
        weights.append(weight)
    stack, weights = np.array(matrices), np.array(weights)
    mean = np.tensordot(weights, stack, axes=1)
    return mean, np.sqrt(weights)[:, None, None] * (stack - mean)


def simulated_growth(resolved: Resolved, *, seed: int,
                     chains: int = _CHAINS) -> tuple[float, float]:
    """Log stochastic growth rate of the fastest site and its Monte Carlo SE, by simulation.

    Expected numbers (individuals off), best values, no limits, releases, movement or fixed bad
    years; the host chain is made linear at the density its matrix is stated at.
    """
    site, matrix = fastest_site(resolved)
    growth = growth_rate(matrix.a)
    if growth <= 0:
        return float("-inf"), 0.0
    years = int(np.clip(250 / max(abs(np.log10(growth)), 0.1), 2 * _BURN_IN, _LONGEST))
    alone = _alone(resolved, site, matrix, years)
    model = assemble(alone, seed=seed)
    logs = []
    for block in simulate(model.plan, model.draws, seed=seed, replicates=chains):
        totals = (block.tallies[:, :, 0, T_WILD_ANIMALS]
                  + block.tallies[:, :, 0, T_STOCKED_ANIMALS])
        with np.errstate(divide="ignore", invalid="ignore"):
            logs.append((np.log(totals[:, -1]) - np.log(totals[:, _BURN_IN]))
                        / (years - _BURN_IN))
    logs = np.concatenate(logs)
    return float(logs.mean()), float(logs.std(ddof=1) / np.sqrt(len(logs)))


def _alone(resolved, site, matrix, years):
    stages = resolved.stages
    start = Start({s.name: Rate(f"start/{s.name}", POSITIVE, 1.0) for s in stages})
    lonely = replace(site, start=start, limits=Limits(),
                     recruitment=_linear(resolved, site, matrix),
                     hosts=tuple(replace(h, blocked_until=None) for h in site.hosts))
    return replace(
        resolved, first=0, last=years, sites=(_without_tables(lonely),), releases=(),
        collections=(), movement=(), carried=(), goals=(),
        bad_years=tuple(replace(k, years=()) for k in resolved.bad_years),
        chance=Chance(unknown=False, years=resolved.chance.years, individuals=False),
        runs=Runs(draws=1, replicates=1))


def _linear(resolved, site, matrix):
    """Host chain without saturation, scaled to the matrix's average recruits per adult."""
    recruitment = site.recruitment
    if recruitment.form != "hosts":
        return recruitment
    attachment, settlement = Calibrations(resolved).best_of(site)
    plain = replace(recruitment, fertilised=None, attachment=_constant("attachment", attachment),
                    settlement=_constant("settlement", 1.0),
                    hosts=tuple(replace(h, capacity=None, immunity_most=0.0)
                                for h in recruitment.hosts))
    few = site_matrix(resolved, replace(site, recruitment=plain), attachment=attachment,
                      settlement=1.0)
    ratio = matrix.f.sum() / few.f.sum() if few.f.sum() > 0 else 0.0
    return replace(plain, settlement=_constant("settlement", ratio))


def _constant(name, value):
    return Rate(f"linear/{name}", POSITIVE, value)


def _without_tables(thing):
    """The same rates at their best values for ever."""
    if isinstance(thing, Rate):
        return replace(thing, value=best(thing), by_year={}) if thing.by_year else thing
    if isinstance(thing, dict):
        return {k: _without_tables(v) for k, v in thing.items()}
    if isinstance(thing, tuple):
        return tuple(_without_tables(v) for v in thing)
    if hasattr(thing, "__dataclass_fields__") and not isinstance(thing, Start):
        return replace(thing, **{f: _without_tables(getattr(thing, f))
                                 for f in thing.__dataclass_fields__})
    return thing

"""The package against a blind second simulation in plain NumPy (blind_numpy.py).

Both simulate the same scenario with their own luck. Compared are, census by census, means,
variances and spread of adults, animals by stage, origin and site, all measures, the risks and the
chances of goals, each in standard errors. The 7,100 comparisons of the eight scenarios alarm at 5
standard errors, each by chance once in 1.7 million: a correct pair of simulations raises a false
alarm with at most 0.4 % of the seeds. A wrong model must pass 10 standard errors.
"""

from __future__ import annotations

from dataclasses import dataclass, fields, is_dataclass, replace

import numpy as np
import pytest
from blind_answers import below, gone, measure, met
from blind_numpy import Blind
from blind_scenarios import DOUBTFUL, SCENARIOS

from pva.lifehistory.rates import Rate
from pva.results.run import run
from pva.scenario.scenario import Scenario, read_scenario

REPLICATES = 8000
ALARM = 5.0
MEASURES = ("animals", "wild_adults", "stocked_adults", "recruits", "sites_occupied",
            "replacement_ratio", "wild_share", "cost")
RUNS = """
runs: {draws: %i, replicates: %i, seed: 11, keep_trajectories: %i}
"""


@dataclass(frozen=True)
class Pair:
    """A scenario and what the package made of it."""

    scenario: Scenario
    answer: object


@pytest.fixture(scope="module")
def pairs(tmp_path_factory):
    """Name -> Pair, run when first asked for."""
    known = {}

    def pair(name):
        if name not in known:
            path = tmp_path_factory.mktemp("blind") / "scenario.yaml"
            draws = REPLICATES if name in DOUBTFUL else 1
            runs = RUNS % (draws, REPLICATES // draws, REPLICATES)
            path.write_text(SCENARIOS[name].strip() + runs, encoding="utf-8")
            scenario = read_scenario(path)
            known[name] = Pair(scenario, run(scenario, threads=1))
        return known[name]

    return pair


# how far two answers lie apart, in standard errors


def of_means(mean, other, variance):
    """Means of as many replicates each; what is rare has at least the variance of a rare count."""
    least = np.minimum(np.abs(mean) + np.abs(other), 25 / REPLICATES)
    error = np.sqrt(2 * np.maximum(variance, least) / REPLICATES)
    apart = np.where(np.abs(mean - other) <= 1e-9 * np.abs(other), 0.0, mean - other)
    return np.divide(apart, error, out=np.zeros(np.shape(apart)), where=apart != 0)


def of_samples(one, other):
    return of_means(one.mean(axis=-1), other.mean(axis=-1),
                    (one.var(axis=-1) + other.var(axis=-1)) / 2)


def of_chances(one, other):
    middle = (np.asarray(one) + other) / 2
    return of_means(one, other, middle * (1 - middle))


def of_measure(means, values):
    """Means over the replicates in which a measure is not null; where nearly all are, 0."""
    share = (~np.isnan(values)).mean(axis=-1)
    seen = share > 0.05
    mean, variance = (np.where(seen, f(np.where(seen[:, None], values, 0.0), axis=-1), 0.0)
                      for f in (np.nanmean, np.nanvar))
    apart = of_means(np.where(seen, means, 0.0), mean, variance / np.maximum(share, 0.05))
    wrongly_null = seen & np.isnan(means)
    wrongly_null[0] |= np.isnan(means[0]) != (share[0] == 0)  # the first census: all or none
    return np.where(wrongly_null, np.inf, apart)


def of_adults(kept, mine):
    """Mean, variance, spread and the tie to the year before, each by census."""
    for one, other in ((kept, mine), (np.log1p(kept), np.log1p(mine))):
        yield of_samples(one, other)
        middle = np.concatenate([one, other], axis=-1).mean(axis=-1, keepdims=True)
        one, other = one - middle, other - middle
        yield of_samples(one**2, other**2)
        yield of_samples(one[1:] * one[:-1], other[1:] * other[:-1])
    for level in (0.05, 0.25, 0.5, 0.75, 0.95):
        limit = np.quantile(np.concatenate([kept, mine], axis=-1), level, axis=-1)[:, None]
        yield of_chances((kept <= limit).mean(axis=-1), (mine <= limit).mean(axis=-1))


def apart(pair, question, *, seed):
    """All distances between the package's answer and a blind run of a question."""
    answer, blind = pair.answer, Blind(question, REPLICATES, seed).run()
    found = list(of_adults(answer.adults_kept.values.T,
                           measure(blind, "wild_adults", blind.sites)
                           + measure(blind, "stocked_adults", blind.sites)))
    stages = answer.animals_by_stage.transpose("year", "origin", "site", "stage").values
    mean, square = np.moveaxis(blind.stages, -1, 0)
    found.append(of_means(stages, mean, square - mean**2))
    hosts = question.sites[0].recruitment.hosts
    for name in (*MEASURES, *(["glochidia_per_host"] if hosts else [])):
        found.append(of_measure(answer[f"{name}_mean"].values, measure(blind, name, blind.sites)))
        found += [of_measure(answer[f"{name}_at_site"].values[i], measure(blind, name, [site]))
                  for i, site in enumerate(blind.sites)]
    collected = blind.tally["collected"]
    found.append(of_means(answer.collected_mean.values.T, collected.mean(axis=-1),
                          collected.var(axis=-1)))
    found.append(of_chances(answer.extinction_chance.values, gone(blind).mean(axis=-1)))
    found.append(of_chances(answer.quasi_extinction_chance.values, below(blind).mean(axis=-1)))
    found.append(of_chances(answer.goal_chance.values,
                            np.array([met(blind, g).mean() for g in question.goals])))
    return np.concatenate([np.ravel(f) for f in found])


@pytest.mark.parametrize("name", SCENARIOS)
def test_two_simulations_agree(pairs, name):
    pair = pairs(name)
    distances = apart(pair, pair.scenario.resolved, seed=5)
    assert len(distances) > 300
    assert np.abs(distances).max() < ALARM


# a wrong model must be found out


def bad_years(question, **changes):
    return replace(question, bad_years=tuple(replace(k, **changes) for k in question.bad_years))


def year_effects(question, **changes):
    return replace(question, year_effects=replace(question.year_effects, **changes))


def recruitment(question, change):
    return replace(question, sites=tuple(replace(s, recruitment=change(s.recruitment))
                                         for s in question.sites))


def never_immune(known):
    return replace(known, hosts=tuple(replace(h, immunity_most=0.0) for h in known.hosts))


def every_release(question, **changes):
    return replace(question, releases=tuple(replace(r, **changes) for r in question.releases))


def limits(question, change):
    return replace(question, sites=tuple(replace(s, limits=change(s.limits))
                                         for s in question.sites))


def never_in_doubt(tree):
    """A tree of data classes, tuples and mappings in which every rate is known."""
    if isinstance(tree, Rate):
        return replace(tree, se=None, interval=None)
    if isinstance(tree, tuple):
        return tuple(never_in_doubt(part) for part in tree)
    if isinstance(tree, dict):
        return {key: never_in_doubt(part) for key, part in tree.items()}
    if not is_dataclass(tree):
        return tree
    return replace(tree, **{f.name: never_in_doubt(getattr(tree, f.name)) for f in fields(tree)})


def mixed_with_years(rate):
    """What is not known of a rate taken for a difference of years, as it must not be."""
    if rate.se is None:
        return rate
    return replace(rate, se=None, year_sd=float(np.hypot(rate.se, rate.year_sd)))


def survival(question, change):
    return replace(question, sites=tuple(
        replace(site, survival={k: change(r) for k, r in site.survival.items()})
        for site in question.sites))


WRONG = {
    "no doubt about rates": ("what is not known", never_in_doubt),
    "doubt that averages out over years": ("what is not known", lambda q: survival(
        q, mixed_with_years)),
    "all breed before they survive": ("all at once", lambda q: replace(
        q, census="before breeding")),
    "breeding on the other side of survival": ("few animals of one stage", lambda q: replace(
        q, census="before breeding")),
    "years that keep nothing of the last": ("luck of years", lambda q: year_effects(
        q, carry_over=0.0)),
    "sites with luck of their own": ("luck of years", lambda q: year_effects(
        q, distance_km=0.01)),
    "rates with luck of their own": ("luck of years", lambda q: year_effects(
        q, between_rates=0.0)),
    "Poisson young": ("luck of years", lambda q: recruitment(
        q, lambda r: replace(r, dispersion=None))),
    "bad years always together": ("bad years", lambda q: bad_years(q, strikes=1.0)),
    "bad years of one year": ("bad years", lambda q: bad_years(q, length=1)),
    "hosts never immune": ("hosts", lambda q: recruitment(q, never_immune)),
    "all glochidia fertilised": ("hosts", lambda q: recruitment(
        q, lambda r: replace(r, fertilised=None))),
    "a ceiling on adults in place of animals": ("space", lambda q: limits(
        q, lambda x: replace(x, ceiling_animals=None, ceiling_adults=x.ceiling_animals))),
    "crowding forgotten": ("space", lambda q: limits(q, lambda x: replace(x, ricker=None))),
    "young stay where they are born": ("space", lambda q: replace(q, carried=())),
    "deliveries that never vary": ("stocking", lambda q: every_release(q, delivered_sd=0.0)),
    "the survival of the stage in the first year": ("stocking", lambda q: every_release(
        q, first_year_survival=None)),
    "releases that never stop": ("stocking", lambda q: every_release(q, until=None)),
}


@pytest.mark.parametrize("name", WRONG)
def test_a_wrong_model_is_found_out(pairs, name):
    scenario, change = WRONG[name]
    pair = pairs(scenario)
    distance = np.abs(apart(pair, change(pair.scenario.resolved), seed=6)).max()
    assert distance > 2 * ALARM

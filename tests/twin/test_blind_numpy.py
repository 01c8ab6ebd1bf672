"""The package against a blind second simulation in plain NumPy (blind_numpy.py).

Both simulate the same scenario with their own luck. Compared are, census by census, means,
variances and spread of adults, animals by stage, origin and site, all measures, the risks and the
chances of goals, each in standard errors. The 5,300 comparisons of the six scenarios alarm at 5
standard errors, each by chance once in 1.7 million: a correct pair of simulations raises a false
alarm with at most 0.3 % of the seeds. A wrong model must pass 10 standard errors.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
import pytest
from blind_answers import below, gone, measure, met
from blind_numpy import Blind

from pva.results.run import run
from pva.scenario.scenario import Scenario, read_scenario

REPLICATES = 8000
ALARM = 5.0
MEASURES = ("animals", "wild_adults", "stocked_adults", "recruits", "sites_occupied",
            "replacement_ratio", "wild_share", "cost")
RUNS = f"""
runs: {{draws: 1, replicates: {REPLICATES}, seed: 11, keep_trajectories: {REPLICATES}}}
"""
STAGES = """
stages: [{name: juvenile, years: 2}, {name: sub}, {name: adult, breeds: true}]
survival:
  juvenile: {value: 0.6, year_sd: 0.12}
  sub: 0.8
  adult: {value: 0.9, year_sd: 0.05}
growth: {sub: {value: 0.5, year_sd: 0.1}}
"""
SCENARIOS = {"few animals of one stage": """
title: Individual chance alone
years: {first: 2000, last: 2015}
census: after breeding
stages: [{name: adult, breeds: true}]
survival: {adult: 0.75}
recruitment: {per_adult: 0.3}
start: {adult: 6}
bad_years: {none: a check}
quasi_extinction: {adults_below: 3}
goals: [{name: three years, measure: adults, at_least: 6, in_years: [2004, 2014], running: 3}]
""", "luck of years": """
title: How years differ
years: {first: 2000, last: 2014}
census: after breeding
""" + STAGES + """
recruitment: {per_adult: {value: 0.9, year_sd: 0.6, by_year: {2005: 0.6}}, dispersion: 0.8}
year_effects: {between_rates: 0.5, between_sites: {river_km: 20}, carry_over: 0.5}
sites:
  - {name: Upper, river_km: 30, start: {sub: 20, adult: 50}}
  - {name: Middle, river_km: 24, start: {adult: 60}, survival: {adult: {value: 0.82, year_sd: 0.1}}}
  - {name: Lower, river_km: 5, start: {sub: 40, adult: 20}}
bad_years: {none: a check}
quasi_extinction: {adults_below: 30, where: 2}
goals: [{name: each, measure: adults, at_least: 25, in: 2012, where: each site}]
""", "bad years": """
title: Bad years of four kinds
years: {first: 2000, last: 2014}
census: before breeding
""" + STAGES + """
recruitment: {per_adult: 0.7}
sites:
  - {name: Upper, start: {sub: 20, adult: 50}}
  - {name: Lower, start: {adult: 60}}
bad_years:
  - {name: drought, chance: 0.15, length: 2, survival: {sub: 0.6, adult: 0.7}, strikes: together}
  - {name: spill, chance: 0.1, survival: 0.6, recruitment: 0.3, strikes: separately}
  - {name: flood, chance: 0.15, survival: {juvenile: 0.5}, length: 3, strikes: 0.6}
  - {name: works, years: [2003, 2004], length: 2, recruitment: 0.4}
releases:
  - {site: Lower, stage: sub, number: 40, first: 2001, last: 2004, first_year_survival: 0.7}
quasi_extinction: {adults_below: 40}
goals: [{name: rest, measure: adults, at_least: 25, in_years: [2005, 2014], of_years: 6, where: 2}]
""", "hosts": """
title: Two hosts, one of them blocked
years: {first: 2000, last: 2014}
census: before breeding
stages: [{name: young, years: 2}, {name: sub, length_mm: [30, 50]},
         {name: adult, length_mm: [50, 90], breeds: true}]
survival: {young: 0.6, sub: 0.8, adult: 0.85}
growth: {sub: 0.4}
recruitment:
  females: 0.45
  gravid: {value: 0.8, year_sd: 0.1}
  glochidia: {at_1_mm: 0.8, power: 2.6}
  fertilised: {half_density: 0.03}
  attachment: {calibrate: {glochidia_per_host: 20, hosts_per_100m2: 8, adults_per_m2: 0.1}}
  settlement: {calibrate: {recruits_per_adult: 0.9, hosts_per_100m2: 8, adults_per_m2: 0.1}}
  hosts:
    - {name: drum, suitability: 0.6, capacity: 40, contact: 0.06,
       immunity: {most: 0.8, half_load: 15}}
    - {name: bass, suitability: {value: 0.2, year_sd: 0.05}, contact: 0.02}
sites:
  - {name: Upper, area_m2: 700, start: {sub: 20, adult: 60},
     hosts: {drum: {per_100m2: {value: 6, year_sd: 3}}, bass: {per_100m2: 3}}}
  - {name: Lower, area_m2: 1500, start: {adult: 90},
     hosts: {drum: {until: 2003, blocked: true, then_per_100m2: 9, ramp_years: 4},
             bass: {per_100m2: {by_year: {2000: 1, 2008: 4}}}}}
bad_years: [{name: few fish, chance: 0.2, hosts: 0.3, strikes: separately}]
quasi_extinction: {adults_below: 90}
goals: [{name: load, measure: glochidia_per_host, at_most: 15, in_years: [2006, 2014], of_years: 4}]
""", "space": """
title: Limits, movement, young carried by hosts
years: {first: 2000, last: 2014}
census: before breeding
stages: [{name: juvenile, years: 2}, {name: sub}, {name: adult, breeds: true}]
survival: {juvenile: 0.6, sub: 0.8, adult: 0.9}
growth: {sub: 0.5}
recruitment:
  per_adult: 1.6
  carried: [{from: A, to: B, share: 0.2}, {from: B, to: C, share: 0.3}]
sites:
  - {name: A, start: {sub: 20, adult: 30}, limits: {beverton_holt: {adults: 40}}}
  - {name: B, start: {sub: 20, adult: 30}, limits: {ricker: {adults: 50}}}
  - {name: C, area_m2: 101, start: {adult: 30}, capacity_per_m2: 0.4}
  - {name: D, start: {adult: 30}, limits: {ceiling: {animals: 75.8}}}
movement:
  - {stage: all, from: A, to: B, share: 0.08}
  - {stage: sub, from: A, to: C, share: 0.05}
  - {stage: adult, from: D, to: lost, share: 0.04}
releases: [{site: D, stage: sub, number: 12, first: 2002, last: 2006}]
bad_years: {none: a check}
quasi_extinction: {adults_below: 24, where: 2}
goals: [{name: wild, measure: wild_share, at_least: 0.8, in: 2010, where: [D]}]
""", "stocking": """
title: Releases, collections, a donor bed, rules
years: {first: 2000, last: 2014}
census: before breeding
""" + STAGES + """
recruitment: {per_adult: 0.6}
sites:
  - {name: Upper, start: {sub: 20, adult: 50}}
  - {name: Middle, start: {juvenile: 0, sub: 16, adult: 20}, role: donor}
  - {name: Lower, start: {sub: 10}}
releases:
  - {name: young, site: Upper, stage: juvenile, age: 2, number: {2001: 160, 2003: 35},
     delivered: {mean: 0.6, sd: 0.35}, first_year_survival: {value: 0.5, year_sd: 0.15}}
  - {name: subs, site: Lower, stage: sub, number: 25, first: 2000, last: 2009, interval: 3,
     delivered: {mean: 0.7}, cost_each: 3, until: {measure: adults, at_least: 85, running: 2}}
  - {name: again, site: Upper, stage: sub, number: 30, first: 2001, order_lead: 2,
     cost_each: 2, repeat: {measure: adults, at_most: 75, running: 2, last: 2012}}
  - {name: moved, site: Lower, stage: adult, source: Middle, number: 7, first: 2000, last: 2005,
     first_year_survival: 0.85}
collections:
  - {site: Middle, stage: juvenile, number: 5, first: 2001, last: 2006}
  - {site: Upper, stage: adult, number: 6, first: 2000, last: 2008, interval: 2}
bad_years: [{name: drought, chance: 0.1, survival: {juvenile: 0.7, sub: 0.75, adult: 0.8}}]
quasi_extinction: {adults_below: 60}
goals:
  - {name: wild, measure: wild_adults, at_least: 50, in: 2014}
  - {name: stocked, measure: stocked_adults, at_least: 20, in_years: [2006, 2010], where: [Lower]}
  - {name: many, measure: animals, at_least: 160, in: 2002, where: [Upper]}
"""}


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
            path.write_text(SCENARIOS[name].strip() + RUNS, encoding="utf-8")
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


WRONG = {
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

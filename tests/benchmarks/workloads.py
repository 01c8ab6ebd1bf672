"""The four workloads of the benchmark, as scenarios and as bare numbers for the other programs.

W1: one site, five stages, releases for ten years, limits. W2: ten such sites, regional and local
year effects, a tenth of the recruits carried to the nine others. W3: W1 with what we do not know,
many parameter draws. W4: everything at once at three sites. All numbers are invented; the
conventions are those of the package.
"""

import math
from dataclasses import dataclass

import numpy as np

from pva.lifehistory.links import match_positive, match_probability
from pva.scenario.scenario import Scenario

YEARS = 50
STAGES = ("age 1", "age 2", "age 3", "subadult", "adult")
SURVIVAL = (0.40, 0.60, 0.70, 0.85, 0.92)
SURVIVAL_SD = (0.13, 0.09, 0.08, 0.04, 0.025)
SURVIVAL_SE = (0.05, 0.04, 0.03, 0.02, 0.01)
GROWTH = (0.8, 0.25)
RECRUITS, RECRUITS_LOG_SD = 2.2, 0.6
CORRELATION, BETWEEN_SITES = 0.5, 0.5
BAD_CHANCE, BAD_SURVIVAL = 0.04, 0.6
HALF, CEILING = 500.0, 5000.0
START = (60, 25, 15, 30, 80)
RELEASED, RELEASE_YEARS = 50, 10
CARRIED = 0.1
SITES = tuple(f"bend {i + 1}" for i in range(10))
ADULTS_BELOW = 300


def _scenario(sites, *, draws, replicates, unknown, **more):
    survival = {
        stage: {"value": mean, "year_sd": sd} | ({"se": se} if unknown else {})
        for stage, mean, sd, se in zip(STAGES, SURVIVAL, SURVIVAL_SD, SURVIVAL_SE, strict=True)
    }
    year_sd = RECRUITS * math.sqrt(math.expm1(RECRUITS_LOG_SD**2))
    start = dict(zip(STAGES, START, strict=True))
    return Scenario.from_dict({
        "title": "benchmark", "census": "before breeding",
        "years": {"first": 2000, "last": 2000 + YEARS},
        "stages": [{"name": s, "breeds": True} if s == "adult" else {"name": s} | (
            {"years": 1} if s in STAGES[:2] else {}) for s in STAGES],
        "survival": survival,
        "growth": {"age 3": GROWTH[0], "subadult": GROWTH[1]},
        "recruitment": {"per_adult": {"value": RECRUITS, "year_sd": year_sd}} | more.pop(
            "recruitment", {}),
        "bad_years": [{"name": "drought", "chance": BAD_CHANCE, "survival": BAD_SURVIVAL}],
        "limits": {"beverton_holt": {"adults": HALF}, "ceiling": {"animals": CEILING}},
        "sites": [{"name": s, "area_m2": 5000, "start": start} for s in sites],
        "releases": [{"name": f"{s} plan", "site": s, "stage": "subadult", "number": RELEASED,
                      "first": 2000, "last": 2000 + RELEASE_YEARS - 1} for s in sites],
        "year_effects": {"between_rates": CORRELATION, **more.pop("year_effects", {})},
        "quasi_extinction": {"adults_below": 20},
        "goals": [{"name": "enough", "measure": "adults", "at_least": ADULTS_BELOW,
                   "in": 2000 + YEARS}],
        "chance": {"unknown": "on" if unknown else "off"},
        "runs": {"draws": draws, "replicates": replicates, "seed": 1},
        **more,
    })


def w1(replicates=1000, draws=1):
    """One site; every draw holds the same rates."""
    return _scenario(SITES[:1], draws=draws, replicates=replicates, unknown=False)


def w2(replicates=1000):
    """Ten sites that share years in part and send a tenth of their recruits to the nine others."""
    carried = [{"from": a, "to": b, "share": CARRIED / 9} for a in SITES for b in SITES if a != b]
    return _scenario(SITES, draws=1, replicates=replicates, unknown=False,
                     recruitment={"carried": carried},
                     year_effects={"between_sites": BETWEEN_SITES})


def w3(draws=1000, replicates=1000):
    """One site; rates drawn from what we do not know."""
    return _scenario(SITES[:1], draws=draws, replicates=replicates, unknown=True)


def w4(replicates=1000):
    """Three sites with every feature: hosts, movement, two origins, limits, four kinds of bad year.

    Two hosts with capacity, immunity and densities that differ between years; animals move between
    all neighbours and recruits are carried; releases from a hatchery and from a bed of the river;
    collections; a release that ends when there are enough; goals of several forms.
    """
    sites = SITES[:3]
    years = {"first": 2000, "last": 2000 + RELEASE_YEARS - 1}
    density = {"per_100m2": {"value": 10, "year_sd": 3}}
    written = _scenario(sites, draws=1, replicates=replicates, unknown=False).written
    changed = {
        "recruitment": {
            "females": 0.5, "gravid": 0.8, "glochidia": {"value": 50_000, "year_sd": 10_000},
            "attachment": 2e-3, "dispersion": 5, "fertilised": {"half_density": 0.005},
            "settlement": {"calibrate": {"recruits_per_adult": RECRUITS, "hosts_per_100m2": 10,
                                         "adults_per_m2": 0.02}},
            "hosts": [{"name": name, "suitability": share, "capacity": 400, "contact": 0.05,
                       "immunity": {"most": 0.5, "half_load": 100}}
                      for name, share in (("drum", 0.8), ("perch", 0.3))],
            "carried": [{"from": a, "to": b, "share": CARRIED / 2}
                        for a in sites for b in sites if a != b],
        },
        "movement": [{"stage": "all", "from": a, "to": b, "share": {"value": 0.02, "year_sd": 0.01}}
                     for a, b in zip(sites, sites[1:], strict=False)],
        "bad_years": [
            {"name": "drought", "chance": BAD_CHANCE, "survival": BAD_SURVIVAL},
            {"name": "flood", "chance": 0.05, "survival": 0.8, "recruitment": 0.3, "strikes": 0.5},
            {"name": "spill", "chance": 0.02, "survival": 0.5, "strikes": "separately"},
            {"name": "fish kill", "chance": 0.05, "hosts": 0.2, "length": 2},
        ],
        "releases": [
            {"name": f"{s} plan", "site": s, "stage": "subadult", "number": RELEASED, **years,
             "delivered": {"mean": 0.9, "sd": 0.05}, "first_year_survival": 0.7, "cost_each": 20}
            for s in sites[1:]] + [
            {"name": "moved", "site": sites[2], "stage": "adult", "number": 5, **years,
             "source": sites[0],
             "until": {"measure": "adults", "at_least": 600, "where": [sites[2]]}}],
        "collections": [{"name": "brood", "site": sites[0], "stage": "adult", "number": 4,
                         **years}],
        "year_effects": {"between_rates": CORRELATION, "between_sites": BETWEEN_SITES,
                         "carry_over": 0.2},
        "limits": {"ceiling": {"animals": CEILING}},
        "sites": [site | {"hosts": {"drum": density, "perch": density}}
                  for site in written["sites"]],
        "goals": [*written["goals"],
                  {"name": "young", "measure": "recruits", "at_least": 20,
                   "in_years": [2020, 2000 + YEARS], "of_years": 15},
                  {"name": "everywhere", "measure": "adults", "at_least": 20, "in": 2000 + YEARS,
                   "where": "each site"}],
    }
    return Scenario.from_dict(written | changed)


@dataclass(frozen=True)
class Numbers:
    """W1 on the link scale, for programs that know no scenario."""

    logit_mean: np.ndarray  # (stage,)
    logit_sd: np.ndarray  # (stage,)
    log_mean: float
    log_sd: float


def link_numbers(survival=SURVIVAL):
    """Link means and SDs of the survival rates given, shape (stage,), and of recruitment."""
    pairs = [match_probability(m, s) for m, s in zip(survival, SURVIVAL_SD, strict=True)]
    year_sd = RECRUITS * math.sqrt(math.expm1(RECRUITS_LOG_SD**2))
    mean, sd = match_positive(RECRUITS, year_sd)
    return Numbers(np.array([p[0] for p in pairs], float), np.array([p[1] for p in pairs], float),
                   float(mean), float(sd))

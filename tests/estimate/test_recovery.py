"""Simulated studies with every truth known: bias and coverage of what a study reports.

Each study: two sources released in four years, seven yearly visits with two methods, years that
differ, release survival, lost tags with a second mark on every animal, heard-only and removed
animals. Rates are estimated as a study's are: retention from the double marks, years as random
effects, what retention does not know carried into the errors. Survival is the mean over years.
"""

import numpy as np
import pytest
from scipy.special import expit, logit
from simulated import batches, simulate, yearly_visits

from pva.estimate.contrasts import average_detection, joint, release_contrast, survival_contrast
from pva.estimate.link_scale import mean_over_years
from pva.estimate.models import Model
from pva.estimate.survival import fit_model
from pva.estimate.tag_loss import CONSTANT, retention
from pva.estimate.year_effects import again, random_years

SURVIVAL, YEAR_SD, KEPT, SECOND, HEARD = 0.9, 0.35, 0.95, 0.92, 0.1
RELEASE = {"hatchery": 0.7, "Osprey Shoal": 0.85}
FOUND = {"hand search": 0.65, "raft": 0.45}
MODEL = Model((), ("method",), ("source",), True)
POOLED = Model((), ("method",), (), False)
MEAN_SURVIVAL = float(mean_over_years(logit(SURVIVAL), YEAR_SD))  # over years: what is printed
TRUTH = {"survival": MEAN_SURVIVAL, "retention": KEPT,
         **{f"release of {s}": x for s, x in RELEASE.items()},
         **{f"detection by {m}": x * (1 - HEARD) for m, x in FOUND.items()}}


def one_study(rng):
    return simulate(
        rng, animals=batches(range(2010, 2014), 75, sources=tuple(RELEASE)),
        visits=yearly_visits(2011, 2018, method=["hand search", "raft"] * 4),
        survival=SURVIVAL, year_sd=YEAR_SD, detection=lambda a, v: FOUND[v["method"]],
        release=lambda a: a["source"].map(RELEASE).to_numpy(), tag_kept=KEPT, second_kept=SECOND,
        heard=HEARD, removed=0.02)


def estimates(made):
    """Value and interval (logit scale) of every rate, with the SD of years and pooled survival."""
    kept = retention(made.meetings)
    kept = kept if kept.name == CONSTANT else kept.rival  # the loss is known to be constant
    data = made.data(kept.tag)
    chosen = fit_model(MODEL, data)
    years = random_years(chosen, data)
    contrasts = {"survival": survival_contrast(years.fitted),
                 **{f"release of {s}": release_contrast(years.fitted, s) for s in RELEASE}}
    told = joint(years.fitted, contrasts)
    less = again(years.fitted, made.data(expit(kept.logit[0] - np.sqrt(kept.covariance[0, 0]))))
    moved = joint(less, contrasts).mean - told.mean
    out = {key: (told.mean[i], np.hypot(told.se[i], moved[i]))
           for i, key in enumerate(told.keys)}
    out["retention"] = kept.logit[0], np.sqrt(kept.covariance[0, 0])
    for method in FOUND:
        value, se = average_detection(chosen, chosen.steps["method"].eq(method).to_numpy())
        out[f"detection by {method}"] = logit(value), se / (value * (1 - value))
    pooled = fit_model(POOLED, data, near=chosen).fit
    return out, years, (pooled.beta[0], np.sqrt(pooled.covariance[0, 0]))


def run(studies, seed):
    rng = np.random.default_rng(seed)
    values = {key: [] for key in TRUTH}
    held = dict.fromkeys([*TRUTH, "SD of years", "pooled survival"], 0)
    sds = []
    for _ in range(studies):
        told, years, pooled = estimates(one_study(rng))
        for key, truth in TRUTH.items():
            middle, se = told[key]
            ends = middle + np.array([-1.96, 0.0, 1.96]) * se
            sd = years.sd if key == "survival" else 0.0
            low, value, high = mean_over_years(ends, sd)
            values[key].append(value)
            held[key] += low <= truth <= high
        sds.append(years.sd)
        held["SD of years"] += years.interval[0] <= YEAR_SD <= years.interval[1]
        held["pooled survival"] += abs(pooled[0] - logit(MEAN_SURVIVAL)) < 1.96 * pooled[1]
    return values, np.array(sds), held


def bias_and_error(values, truth):
    values = np.asarray(values)
    return values.mean() - truth, values.std(ddof=1) / np.sqrt(values.size)


@pytest.mark.slow
def test_two_hundred_studies():
    """Bias within 1 % or three Monte Carlo standard errors; 95 % intervals hold the truth in 179 to
    198 of 200. SD of years: its mean square within three Monte Carlo errors or 20 %, its interval
    holds in at least 179 (a profile cut at 0 may hold more). Pooling release survival must miss."""
    values, sds, held = run(200, 2026)
    for key, truth in TRUTH.items():
        gap, error = bias_and_error(values[key], truth)
        print(f"{key}: true {truth:.4f}, mean {truth + gap:.4f} (Monte Carlo error {error:.4f}), "
              f"interval held {held[key]} of 200")
    gap, error = bias_and_error(np.square(sds), YEAR_SD**2)
    print(f"SD of years: true {YEAR_SD}, root mean square {np.sqrt(YEAR_SD**2 + gap):.3f}, mean "
          f"{sds.mean():.3f}, interval held {held['SD of years']} of 200; survival with release "
          f"survival pooled held {held['pooled survival']} of 200")
    for key, truth in TRUTH.items():
        bias, spread = bias_and_error(values[key], truth)
        assert abs(bias) < max(0.01 * truth, 3 * spread), key
        assert 179 <= held[key] <= 198, key
    assert abs(gap) < max(3 * error, 0.2 * YEAR_SD**2)
    assert held["SD of years"] >= 179
    assert held["pooled survival"] < 100


def test_ten_studies():
    """The same with ten studies: every interval holds at least 7 times (one false alarm in 1,000
    each), no mean off by more than 5 % or four Monte Carlo errors; pooling misses."""
    values, _, held = run(10, 4)
    for key, truth in TRUTH.items():
        bias, spread = bias_and_error(values[key], truth)
        assert abs(bias) < max(0.05 * truth, 4 * spread), key
        assert held[key] >= 7, key
    assert held["SD of years"] >= 7
    assert held["pooled survival"] <= 5

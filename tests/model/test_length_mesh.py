"""Sixty length classes of 1 mm: the same engine projects a mesh over length."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.stats import norm

from pva.results.growth import fastest_site
from pva.results.run import run
from pva.scenario.scenario import Scenario

CLASSES = 60
LOW = 20 + np.arange(CLASSES)
MIDDLE = LOW + 0.5
SURVIVAL = 0.6 + 0.34 * (1 - np.exp(-(MIDDLE - 20) / 15))


def yearly_growth():
    """Chance of each length next year, (to, from): a curve towards 82 mm, spread 1.5 mm."""
    reached = MIDDLE + (82 - MIDDLE) * (1 - np.exp(-0.2))
    edges = np.append(LOW, LOW[-1] + 1.0)
    shares = np.diff(norm.cdf(edges[:, None], reached, 1.5), axis=0)
    shares = np.where(shares < 1e-6, 0.0, shares)
    return shares / shares.sum(axis=0)


def mesh():
    names = [f"{mm} mm" for mm in LOW]
    shares = yearly_growth()
    growth = {names[j]: {names[i]: float(shares[i, j]) for i in range(CLASSES)
                         if i != j and shares[i, j] > 0} for j in range(CLASSES)}
    return Scenario.from_dict({
        "title": "a mesh over length", "years": {"first": 0, "last": 10},
        "census": "before breeding",
        "stages": [{"name": n, "length_mm": [int(mm), int(mm) + 1], "breeds": bool(mm >= 50)}
                   for n, mm in zip(names, LOW, strict=True)],
        "survival": {n: float(s) for n, s in zip(names, SURVIVAL, strict=True)},
        "growth": growth, "recruitment": {"per_adult": 0.5}, "bad_years": {"none": "a test"},
        "start": {names[0]: 40, names[35]: 30}, "quasi_extinction": {"adults_below": 1},
        "chance": {"unknown": False, "years": False},
        "runs": {"draws": 1, "replicates": 2000, "seed": 8},
    })


def plain_matrix():
    matrix = yearly_growth() * SURVIVAL
    matrix[0] += np.where(LOW >= 50, 0.5, 0.0)
    return matrix


def test_the_matrix_of_the_mesh():
    _, found = fastest_site(mesh().resolved)
    assert found.a == pytest.approx(plain_matrix(), abs=1e-12)


def test_simulated_means_are_those_of_the_matrix():
    data = run(mesh())
    n = np.zeros(CLASSES)
    n[0], n[35] = 40, 30
    for year in range(11):
        total = data.animals_by_stage.isel(year=year).sum(["origin", "site"]).values
        # each class a mean of 2,000 runs with variance near its mean; five standard errors for
        # 660 comparisons: a false alarm in about 2,500 seeds
        assert np.all(np.abs(total - n) < 5 * np.sqrt((n + 1) * 1.5 / 2000) + 1e-9)
        n = plain_matrix() @ n

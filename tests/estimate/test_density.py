"""Density: published counts, the limit when none is found, coverage on clumped beds, blanks."""

import numpy as np
import pytest

from pva.estimate.density import blanks_doubt, density, negative_binomial
from pva.files import read_yaml, shipped


def test_mites_on_leaves():
    """Bliss & Fisher 1953, Biometrics 9:176-200 (from memory, checked): k 1.02459 by maximum
    likelihood, mean 1.14667."""
    case, _ = read_yaml(shipped("shared/checks/mites.yaml"))
    counts = np.repeat(np.arange(8), [70, 38, 17, 10, 9, 3, 2, 1])
    assert case["case"]
    mean, k = negative_binomial(counts, np.ones(counts.size))
    assert mean == pytest.approx(1.14667, abs=1e-5)
    assert k == pytest.approx(1.02459, abs=2e-4)


def test_none_in_a_hundred_quadrats_still_allows_a_twelfth():
    """0 in 100 x 0.25 m2: -ln(0.05) / 25 m2 = 0.1198 per m2 at 95 %."""
    told = density(np.zeros(100), 0.25)
    assert (told.value, told.low) == (0.0, 0.0)
    assert told.high == pytest.approx(0.1198, abs=1e-4)
    assert told.blanks == 100


def test_even_scatter_has_exact_poisson_limits():
    """10 animals: exact 95 % limits 4.795 and 18.39 (Garwood, from memory)."""
    told = density(np.repeat([0, 1], [30, 10]), 0.5)
    assert told.method == "Poisson"
    assert (told.low * 20, told.high * 20) == pytest.approx((4.795, 18.39), abs=0.005)


def coverage(rng, runs, units=60, mean=1.5, k=0.4):
    inside = naive = 0
    for _ in range(runs):
        counts = rng.negative_binomial(k, k / (k + mean), units)
        told = density(counts, 0.25)
        inside += told.low <= mean / 0.25 <= told.high
        total = max(counts.sum(), 1)
        naive += abs(total - mean * units) < 1.96 * np.sqrt(total)
    return inside, naive


def test_intervals_hold_the_truth_on_clumped_beds():
    """150 runs: at least 133 hold it (95 %, false alarm 1 in 2,000); taking the animals for evenly
    scattered must hold it in fewer than 120."""
    inside, naive = coverage(np.random.default_rng(4), 150)
    assert inside >= 133
    assert naive < 120


def test_units_without_a_blank_raise_doubt():
    assert blanks_doubt([1, 2, 1, 1, 3, 1, 2, 1], np.ones(8)) < 0.02
    assert blanks_doubt([1, 2, 0, 1], np.ones(4)) == 1.0
    assert blanks_doubt([9, 12, 8, 14, 11, 9], np.ones(6)) > 0.9

"""Laws of what we do not know: mean and SD, or interval, are those asked for."""

from __future__ import annotations

import numpy as np
import pytest
from scipy import stats

from pva.lifehistory.laws import DISTRIBUTIONS, drawn_values, law_median
from pva.lifehistory.rates import POSITIVE, PROBABILITY, Rate

# midpoints of 200,000 equal slices: moments of smooth laws good to about 1e-4 of the SD
EVEN = (np.arange(200_000) + 0.5) / 200_000
OF_PROBABILITY = ("logit-normal", "beta", "normal", "uniform", "triangular")
OF_POSITIVE = ("lognormal", "normal", "uniform", "triangular")


def rate(kind, **words):
    return Rate("x", kind, words.pop("value", 0.6), **words)


@pytest.mark.parametrize(("kind", "law"), [(PROBABILITY, x) for x in OF_PROBABILITY]
                         + [(POSITIVE, x) for x in OF_POSITIVE])
def test_mean_and_sd_are_those_asked_for(kind, law):
    values = drawn_values(rate(kind, se=0.07, distribution=law), EVEN)
    assert values.mean() == pytest.approx(0.6, abs=2e-5)
    assert values.std() == pytest.approx(0.07, rel=2e-3)


def test_without_a_name_a_probability_is_logit_normal_and_a_positive_rate_lognormal():
    for kind, law in ((PROBABILITY, "logit-normal"), (POSITIVE, "lognormal")):
        assert np.array_equal(drawn_values(rate(kind, se=0.07), EVEN[::1000]),
                              drawn_values(rate(kind, se=0.07, distribution=law), EVEN[::1000]))


def test_beta_by_moments():
    # C9 of the check cases: figures read in an open course book on capture-recapture
    values = drawn_values(rate(PROBABILITY, value=0.57, se=0.073, distribution="beta"),
                          np.array([0.1, 0.5, 0.9]))
    assert values == pytest.approx(stats.beta.ppf([0.1, 0.5, 0.9], 25.646, 19.347), abs=1e-5)


@pytest.mark.parametrize(("kind", "law"), [(PROBABILITY, "logit-normal"), (POSITIVE, "lognormal"),
                                           (PROBABILITY, "normal")])
def test_an_interval_holds_19_draws_in_20(kind, law):
    values = drawn_values(rate(kind, interval=(0.4, 0.7), distribution=law),
                          np.array([0.025, 0.975]))
    assert values == pytest.approx([0.4, 0.7], abs=1e-3)


def test_an_interval_alone_sets_a_beta_law_whatever_the_best_value():
    for best in (0.3, 0.5, 0.7):
        values = drawn_values(rate(PROBABILITY, value=best, interval=(0.2, 0.9),
                                   distribution="beta"), np.array([0.025, 0.975]))
        assert values == pytest.approx([0.2, 0.9], abs=1e-6)


def test_bounded_laws_stop_at_their_interval():
    for law in ("uniform", "triangular"):
        values = drawn_values(rate(PROBABILITY, interval=(0.4, 0.7), distribution=law), EVEN)
        assert 0.4 <= values.min() < 0.402
        assert 0.698 < values.max() <= 0.7
    triangular = drawn_values(rate(PROBABILITY, interval=(0.4, 0.7), distribution="triangular"),
                              EVEN)
    assert triangular.mean() == pytest.approx((0.4 + 0.6 + 0.7) / 3, abs=1e-4)
    wide = drawn_values(rate(POSITIVE, value=1e-5, interval=(1e-6, 1e-3),
                             distribution="log-uniform"), np.array([1e-9, 0.5, 1 - 1e-9]))
    assert wide == pytest.approx([1e-6, 10**-4.5, 1e-3], rel=1e-6)


def test_a_normal_law_is_cut_at_what_is_possible():
    values = drawn_values(rate(PROBABILITY, value=0.95, se=0.05, distribution="normal"), EVEN)
    assert values.max() <= 1
    assert drawn_values(rate(POSITIVE, value=0.1, se=0.2, distribution="normal"),
                        EVEN).min() >= 0


def test_a_rate_that_is_known_is_drawn_as_it_is():
    assert np.array_equal(drawn_values(rate(PROBABILITY), EVEN[:3]), [0.6, 0.6, 0.6])
    assert np.array_equal(drawn_values(rate(PROBABILITY, se=0.0), EVEN[:3]), [0.6, 0.6, 0.6])


def test_middle_of_every_law():
    for law in DISTRIBUTIONS:
        kind = POSITIVE if law in ("lognormal", "log-uniform") else PROBABILITY
        middle = law_median(rate(kind, interval=(0.4, 0.7), distribution=law))
        assert 0.4 < middle < 0.7

"""Process variance apart from sampling variance: published figures and simulation."""

import numpy as np
import pytest

from pva.estimate.year_variance import shared_years, year_variance
from pva.files import read_yaml, shipped


@pytest.fixture(scope="module")
def case():
    """Kacker 2004, Metrologia 41:132-136, table 1 (cited in the file)."""
    return read_yaml(shipped("shared/checks/process_variance.yaml"))[0]


def test_published_process_variance(case):
    told = year_variance(case["estimates"], np.diag(case["sampling_variances"]))
    published = case["process_sd"]["weighted_residuals_equal_degrees_of_freedom"]
    assert told.variance**0.5 == pytest.approx(published, abs=5e-5)
    assert told.mean == pytest.approx(case["mean"], abs=5e-5)
    assert told.se == pytest.approx(case["mean_se"], abs=5e-5)
    np.testing.assert_allclose(told.interval, case["process_variance_interval_95"], atol=1e-4)


def test_sampling_error_alone_gives_zero(case):
    edge = case["no_process_variance"]
    told = year_variance(edge["estimates"], np.diag(np.square(edge["standard_errors"])))
    assert told.variance == 0.0
    assert told.mean == pytest.approx(edge["mean"], abs=6e-4)
    assert told.se == pytest.approx(edge["mean_se"], abs=6e-4)


def test_two_year_intervals_hold_the_mean_of_two_years():
    shared = shared_years([2017.7, 2018.7, 2020.7], [2018.7, 2020.7, 2021.7], turn=0.7)
    np.testing.assert_allclose(shared, np.diag([1.0, 0.5, 1.0]), atol=1e-9)


def test_year_spread_is_recovered_where_intervals_are_longer_than_a_year():
    """400 runs of 12 two-year intervals, true SD .4: mean variance within 4 SE (1 false alarm in
    16,000); taking each interval for one year must fail, at about half the variance."""
    rng, error = np.random.default_rng(8), 0.1
    shared = shared_years(2000.0 + 2 * np.arange(12), 2002.0 + 2 * np.arange(12), turn=0.0)
    told, naive = [], []
    for _ in range(400):
        years = rng.normal(2.0, 0.4, 24).reshape(12, 2).mean(axis=1)
        seen = years + rng.normal(0, error, 12)
        told.append(year_variance(seen, error**2 * np.eye(12), shared).variance)
        naive.append(year_variance(seen, error**2 * np.eye(12)).variance)
    assert np.mean(told) == pytest.approx(0.16, abs=4 * np.std(told) / 20)
    assert np.mean(naive) < 0.16 - 8 * np.std(naive) / 20

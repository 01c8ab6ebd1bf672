"""Years as random effects: Laplace's method against quadrature, and recovery of the spread."""

import itertools

import numpy as np
import pytest
from scipy.optimize import minimize_scalar
from simulated import batches, simulate, yearly_visits

from pva.estimate.fit import Design, fit, hessian, objective
from pva.estimate.histories import from_table
from pva.estimate.models import Model
from pva.estimate.survival import fit_model, prepare
from pva.estimate.year_effects import (
    log_marginal,
    random_years,
    read_profile,
    towards_marginal,
    years_of_luck,
)
from pva.estimate.year_variance import year_variance


def quadrature(negative, beta, over, nodes):
    """Log of the integral by a product of Gauss-Hermite rules, placed by the curvature: plain and
    independent of Laplace's method but for where it looks."""
    x, w = np.polynomial.hermite_e.hermegauss(nodes)
    at = np.flatnonzero(over)
    values, vectors = np.linalg.eigh(hessian(negative, beta)[np.ix_(at, at)])
    spread = vectors / np.sqrt(values)
    base, total = negative(beta)[0], 0.0
    for point in itertools.product(range(nodes), repeat=at.size):
        z = x[list(point)]
        whole = beta.copy()
        whole[at] += spread @ z
        total += np.prod(w[list(point)]) * np.exp(base - negative(whole)[0] + 0.5 * z @ z)
    # the rule's weights sum to (2 pi)^(k/2), which Laplace's value leaves out
    return -base - 0.5 * np.log(values).sum() + np.log(total) - at.size / 2 * np.log(2 * np.pi)


@pytest.fixture(scope="module")
def small():
    """90 animals, three years of very different survival."""
    rng = np.random.default_rng(3)
    table = np.zeros((90, 4), int)
    table[:, 0] = 1
    alive = np.ones(90, bool)
    for k, survival in enumerate((0.9, 0.55, 0.8)):
        alive &= rng.random(90) < survival
        table[:, k + 1] = alive & (rng.random(90) < 0.7)
    return from_table(table)


def with_years(small, sd):
    design = Design(survival=np.column_stack([np.ones(3), sd * np.eye(3)]),
                    detection=np.ones((3, 1)))
    return objective(small, design, np.array([0.0, 1.0, 1.0, 1.0, 0.0]))


@pytest.mark.parametrize(("sd", "error"), [(0.1, 0.001), (0.4, 0.01), (1.0, 0.1)])
def test_integral_over_years_is_that_of_quadrature(small, sd, error):
    """Error of Laplace's method in the log, over the three years alone; it grows with the SD."""
    years = np.array([False, True, True, True, False])
    value, beta = log_marginal(with_years(small, sd), np.array([1.2, 0, 0, 0, 0.8]), years)
    exact = quadrature(with_years(small, sd), beta, years, 9)
    assert value == pytest.approx(exact, abs=error)


def test_likelihood_of_the_spread_is_that_of_quadrature_over_everything(small):
    """With level and detection integrated too: the log likelihood gained by an SD of .3, .8 and
    1.5 within 4 % in so small a study; leaving the curvature out must fail."""
    everything = np.ones(5, bool)
    told, exact, naive = [], [], []
    for sd in (0.01, 0.3, 0.8, 1.5):
        negative = with_years(small, sd)
        value, beta = log_marginal(negative, np.array([1.2, 0, 0, 0, 0.8]), everything)
        told.append(value)
        exact.append(quadrature(negative, beta, everything, 5))
        naive.append(-negative(beta)[0])
    told, exact, naive = (np.array(x) - x[0] for x in (told, exact, naive))
    np.testing.assert_allclose(told, exact, rtol=0.04)
    assert np.abs(naive[1:] / exact[1:] - 1).max() > 0.2


def test_level_is_that_of_the_likelihood_with_years_integrated_out(small):
    """At an SD of 0.8 the level that is reported lies nearer to the highest point of the likelihood
    with the years integrated out by quadrature than the joint highest point does, and is within a
    tenth of a standard error of it."""
    years = np.array([False, True, True, True, False])
    design = Design(survival=np.column_stack([np.ones(3), 0.8 * np.eye(3)]),
                    detection=np.ones((3, 1)))
    negative = with_years(small, 0.8)
    found = fit(small, design, pull=years.astype(float))
    moved = towards_marginal(negative, found, years)

    def marginal(level):
        beta = moved.copy()
        beta[0] = level
        _, beta = log_marginal(negative, beta, years)
        return -quadrature(negative, beta, years, 7)

    best = minimize_scalar(marginal, bounds=(0.0, 3.0), method="bounded").x
    se = found.along[0, 0] ** 0.5
    assert abs(moved[0] - best) < 0.1 * se
    assert abs(moved[0] - best) < 0.5 * abs(found.beta[0] - best)


def test_a_profile_read_off_its_grid():
    """A parabola in the root of the SD: its top and its ends are known."""
    grid = np.linspace(0, 3, 13) ** 2
    top, half = 0.7, 0.25
    sd, (low, high) = read_profile(grid, -0.5 * ((np.sqrt(grid) - top) / half) ** 2)
    assert sd == pytest.approx(top**2, abs=1e-5)
    assert (low, high) == pytest.approx(((top - 1.96 * half) ** 2, (top + 1.96 * half) ** 2),
                                        abs=1e-4)
    sd, (low, high) = read_profile(grid, -grid)
    assert (sd, low) == (0.0, 0.0) and high == pytest.approx(1.92, abs=0.01)
    assert read_profile(grid, -np.exp(-grid))[1][1] == np.inf


def test_shares_of_years_follow_the_visits():
    """Visits in late summer: a year of luck runs from one to the next; a step of two years feels
    both alike."""
    made = simulate(np.random.default_rng(1), animals=batches([2010], 5),
                    visits=yearly_visits(2011, 2014).iloc[[0, 2, 3]])
    luck = years_of_luck(made.steps)
    assert list(luck) == ["2010-2011", "2011-2012", "2012-2013", "2013-2014"]
    np.testing.assert_allclose(luck[made.steps["visit"] == "v1"].to_numpy()[0], [0, 0.5, 0.5, 0])


def study(rng, sd, years=10, animals=150):
    made = simulate(rng, animals=batches(range(2010, 2010 + years - 2), animals),
                    visits=yearly_visits(2011, 2010 + years), survival=0.85, year_sd=sd,
                    detection=0.7)
    return made.data()


CONSTANT = Model()


def test_spread_of_ten_years_is_recovered():
    """One study of 1,200 animals, SD .5: the truth lies in the interval, which excludes 0; fixed
    seed. Sampling error alone (SD 0) must not exclude 0."""
    data = study(np.random.default_rng(12), 0.5)
    told = random_years(fit_model(CONSTANT, data), data)
    assert told.interval[0] > 0.1
    assert told.interval[0] < 0.5 < told.interval[1]
    alike = study(np.random.default_rng(13), 0.0)
    none = random_years(fit_model(CONSTANT, alike), alike)
    assert none.interval[0] == 0.0
    assert none.sd < 0.2


def test_overdispersed_records_leave_less_to_the_years():
    data = study(np.random.default_rng(12), 0.5)
    chosen = fit_model(CONSTANT, data)
    plain, wide = (random_years(chosen, data, inflation=c) for c in (1.0, 3.0))
    assert wide.interval[0] < plain.interval[0]
    assert wide.fitted.fit.covariance[0, 0] > plain.fitted.fit.covariance[0, 0]


@pytest.mark.slow
def test_coverage_and_bias_of_the_spread():
    """200 studies of ten years, SD .4: intervals hold the truth in 179 to 200 (95 %; a profile
    cut at 0 covers a little more); the mean of the squared SD is within 15 % or three Monte Carlo
    errors. The mean over years is held by its interval in 179-198; the fit without random years,
    whose interval knows sampling error only, must miss often."""
    rng = np.random.default_rng(77)
    sds, held, level, naive = [], 0, 0, 0
    for _ in range(200):
        data = study(rng, 0.4, animals=80)
        chosen = fit_model(CONSTANT, data)
        told = random_years(chosen, data)
        sds.append(told.sd)
        held += told.interval[0] <= 0.4 <= told.interval[1]
        truth = np.log(0.85 / 0.15)
        for fitted in (told.fitted, chosen):
            inside = abs(fitted.fit.beta[0] - truth) < 1.96 * fitted.fit.along[0, 0] ** 0.5
            level += inside and fitted is told.fitted
            naive += inside and fitted is chosen
    variance = np.square(sds)
    error = variance.std(ddof=1) / np.sqrt(200)
    print(f"SD .4: mean of squares {variance.mean():.4f} (truth .16, Monte Carlo error "
          f"{error:.4f}), root mean square {np.sqrt(variance.mean()):.3f}; interval held {held} of "
          f"200; mean over years held {level} of 200, without random years {naive}")
    assert abs(variance.mean() - 0.16) < max(0.15 * 0.16, 3 * error)
    assert 179 <= held
    assert 179 <= level <= 198
    assert naive < 150


def test_prepared_years_are_known_by_name():
    data = study(np.random.default_rng(1), 0.2, years=4, animals=20)
    ready = prepare(CONSTANT, data, luck=years_of_luck(data.steps))
    assert ready.lucky.sum() == 4
    assert fit(ready.histories, ready.laid.design, pull=ready.lucky * 1.0).beta.size == 6


def test_moments_and_likelihood_agree_where_there_are_many_years(small):
    """Twenty years with exact yearly values: both SDs near the spread of the values."""
    rng = np.random.default_rng(4)
    values = rng.normal(2.0, 0.4, 20)
    told = year_variance(values, 1e-6 * np.eye(20))
    assert np.sqrt(told.variance) == pytest.approx(values.std(ddof=1), rel=1e-3)

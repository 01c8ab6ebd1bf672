"""Closed forms against enumeration and simulation; published cases stand in tests/published."""

import numpy as np
import pytest
from scipy.stats import multivariate_normal, norm

from pva.model.closed_forms import (
    AFTER,
    ceiling_chain,
    chain_reaches_by_year,
    extinction_by_year,
    extinction_from_one,
    moments,
    walk_below_by_year,
)

U = np.array([[0.4, 0, 0], [0.3, 0.25, 0], [0, 0.55, 0.9]])
F = np.array([[0, 0, 0.35], [0, 0, 0], [0, 0, 0]])
START = np.array([10, 5, 3])


def followed_after_breeding(years, replicates, seed):
    """Whole animals through survival, growth, then breeding of survivors in the stage reached."""
    rng = np.random.default_rng(seed)
    state = np.tile(START, (replicates, 1))
    for _ in range(years):
        reached = np.zeros_like(state)
        for stage in range(3):
            fates = rng.multinomial(state[:, stage], [*U[:, stage], 1 - U[:, stage].sum()])
            reached += fates[:, :3]
        state = reached
        state[:, 0] += rng.poisson(F[0, 2] * reached[:, 2])
    return state


def test_moments_and_extinction_with_the_census_after_breeding():
    # 60,000 runs of 6 years; bands of 4.5 standard errors, false-alarm rate 7e-6 each
    runs = followed_after_breeding(6, 60_000, seed=21)
    found = moments(U, F, start=START, years=6, census=AFTER)
    total = runs.sum(axis=1)
    assert abs(total.mean() - found.total_mean[6]) < 4.5 * total.std() / np.sqrt(60_000)
    fourth = ((total - total.mean()) ** 4).mean() - total.var() ** 2
    assert abs(total.var() - found.total_variance[6]) < 4.5 * np.sqrt(fourth / 60_000)
    before = moments(U, F, start=START, years=6)
    assert abs(total.mean() - before.total_mean[6]) > 4.5 * total.std() / np.sqrt(60_000)
    lines = extinction_from_one(U, F, years=2, census=AFTER)
    # an adult's line after one year: it dies, 0.1; after two by hand
    assert lines[1, 2] == pytest.approx(0.1)
    assert lines[2, 2] == pytest.approx(0.1 + 0.9 * 0.1 * np.exp(-0.35 * (1 - 0.3)))


def test_one_year_by_hand():
    # one adult: survives with 0.9 and leaves Poisson(0.35) young whether or not it survives
    found = moments(U, F, start=[0, 0, 1], years=1)
    assert found.mean[1] == pytest.approx([0.35, 0, 0.9])
    assert found.covariance[1] == pytest.approx(np.diag([0.35, 0, 0.09]))
    assert extinction_by_year(U, F, start=[0, 0, 1], years=1)[1] == pytest.approx(
        0.1 * np.exp(-0.35)
    )


def test_one_juvenile_moves_or_stays_but_never_both():
    found = moments(U, F, start=[1, 0, 0], years=1)
    assert found.covariance[1, 0, 1] == pytest.approx(-0.4 * 0.3)
    assert found.total_variance[1] == pytest.approx(0.7 * 0.3)


def test_no_animals_are_extinct_from_the_start():
    assert extinction_by_year(U, F, start=[0, 0, 0], years=3) == pytest.approx([1, 1, 1, 1])


def test_inputs_are_left_as_they_were():
    start, survival, births = START.copy(), U.copy(), F.copy()
    moments(survival, births, start=start, years=3)
    extinction_by_year(survival, births, start=start, years=3)
    assert (start == START).all() and (survival == U).all() and (births == F).all()


def test_ceiling_chain_far_from_its_ceiling_is_the_branching_process():
    chain = ceiling_chain(0.8, 0.2, ceiling=120)
    found = chain_reaches_by_year(chain, start=4, at_or_below=0, years=12)
    free = extinction_by_year(np.array([[0.8]]), np.array([[0.2]]), start=[4], years=12)
    assert found == pytest.approx(free, abs=1e-9)


def test_walk_in_its_first_two_years_is_the_normal_distribution():
    drop, mean, sd = np.log(3), -0.02, 0.6
    found = walk_below_by_year(mean, sd, start=3, threshold=1, years=2)
    once = norm.cdf((-drop - mean) / sd)
    both = multivariate_normal([mean, 2 * mean], sd**2 * np.array([[1, 1], [1, 2]]))
    twice = once + norm.cdf((-drop - 2 * mean) / (sd * np.sqrt(2))) - both.cdf([-drop, -drop])
    assert found[0] == 0
    assert found[1] == pytest.approx(once, abs=1e-12)
    assert found[2] == pytest.approx(twice, abs=1e-6)


@pytest.mark.parametrize("ceiling", [None, 4.0])
def test_walk_against_simulated_years(ceiling):
    # 100,000 runs; 4.5 standard errors, false-alarm rate 7e-6 per year looked at;
    # the textbook formula in continuous time must fail
    rng = np.random.default_rng(8)
    found = walk_below_by_year(-0.02, 0.3, start=3, threshold=1, years=20, ceiling=ceiling)
    state, was_below, shares = np.full(100_000, np.log(3.0)), np.zeros(100_000, bool), [0.0]
    for _ in range(20):
        state = state + rng.normal(-0.02, 0.3, 100_000)
        state = state if ceiling is None else np.minimum(state, np.log(ceiling))
        was_below |= state < 0
        shares.append(was_below.mean())
    error = np.sqrt(found * (1 - found) / 100_000)
    assert (np.abs(np.array(shares) - found)[[5, 10, 20]] < 4.5 * error[[5, 10, 20]]).all()
    if ceiling is None:
        spread = 0.3 * np.sqrt(20)
        continuous = norm.cdf((-np.log(3) + 0.4) / spread) + np.exp(
            0.04 * np.log(3) / 0.09
        ) * norm.cdf((-np.log(3) - 0.4) / spread)
        assert abs(continuous - shares[20]) > 20 * error[20]


def test_walk_under_a_ceiling_below_the_threshold_is_below_at_once():
    found = walk_below_by_year(0.0, 0.1, start=50, threshold=20, years=3, ceiling=10)
    assert found == pytest.approx([0, 1, 1, 1])


def test_walk_never_falls_and_hardly_depends_on_the_mesh():
    coarse = walk_below_by_year(0.01, 0.05, start=30, threshold=20, years=60)
    assert (np.diff(coarse) >= -1e-14).all()
    scaled = walk_below_by_year(0.01, 0.05, start=3000, threshold=2000, years=60)
    assert coarse == pytest.approx(scaled, abs=1e-12)
    longer = walk_below_by_year(0.01, 0.05, start=30, threshold=20, years=90)
    assert longer[:61] == pytest.approx(coarse, abs=1e-9)


def test_walk_too_wide_for_the_mesh_is_refused():
    with pytest.raises(ValueError, match="yearly SD is too small"):
        walk_below_by_year(0.1, 0.001, start=30, threshold=20, years=50)

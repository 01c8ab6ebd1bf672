"""Exact samplers against exact chances: chi-square with a stated chance of a false alarm.

Every verdict uses a fixed seed and cells with at least 10 expected; a sampler that is right fails a
single comparison with chance 1e-5. The same test must reject a wrong switch point.
"""

import numpy as np
import pytest
from numba import njit
from scipy.stats import binom, chi2, gamma, hypergeom, kstest, poisson

from pva.engine import rejection, rows, samplers
from pva.engine.random_numbers import counter, replicate_keys
from pva.engine.space import LANES

ALARM = 1e-5
KEY = np.uint64(20260721)


def in_blocks(draw, count, key, *rows_of):
    """Rows of lanes, one key a lane, until there are `count` numbers."""
    keys = replicate_keys(seed=int(key), layer=1, draw=np.zeros(count, dtype=int),
                          replicate=np.arange(count))
    out, space = np.empty(count), rows.make_space()
    for first in range(0, count, LANES):
        part = slice(first, first + LANES)
        draw(*(np.ascontiguousarray(np.broadcast_to(r, count)[part], dtype=float)
               for r in rows_of), keys[part], out[part], space)
    return out


@njit
def _binomial_block(n, p, keys, out, space):
    rows.binomials(n, p, keys, np.uint64(7), 0, out, space)


@njit
def _poisson_block(mean, keys, out, space):
    rows.poissons(mean, keys, np.uint64(7), 0, out, space)


@njit
def _rejection_block(kind, n, p, keys, out, space):
    rows._large(kind, n, p, keys, np.uint64(7), 0, out, space)


def binomials(n, p, count, key):
    return in_blocks(_binomial_block, count, key, n, p)


def poissons(mean, count, key):
    return in_blocks(_poisson_block, count, key, mean)


def binomials_by_rejection(n, p, count, key):
    """What a lower switch point would give: transformed rejection whatever the mean."""
    return in_blocks(lambda *a: _rejection_block(rejection.BINOMIAL, *a), count, key, n, p)


@njit
def hypergeometrics(good, bad, taken, count, key):
    out = np.empty(count)
    for i in range(count):
        out[i] = samplers.hypergeometric(good, bad, taken, key, np.uint64(i), 0)
    return out


@njit
def gammas(shape, count, key):
    out = np.empty(count)
    for i in range(count):
        out[i] = samplers.gamma(shape, key, np.uint64(i), 0)
    return out


def alarm(sample, law):
    """Chance of a chi-square as large, over cells of at least 10 expected; 0 outside the range."""
    low, high = law.support()
    if sample.min() < low or sample.max() > high or (sample != np.floor(sample)).any():
        return 0.0
    span = np.arange(law.ppf(1e-9), law.ppf(1 - 1e-9) + 1)
    edges, expected, below = [], [], 0.0
    for k, chance in zip(span, law.cdf(span), strict=True):
        if len(sample) * (chance - below) >= 10 and len(sample) * (1 - chance) >= 10:
            edges.append(k)
            expected.append(chance - below)
            below = chance
    if not edges:
        return 1.0
    expected = len(sample) * np.array([*expected, 1 - below])
    seen = np.bincount(np.searchsorted(edges, sample, side="left"), minlength=len(expected))
    return float(chi2.sf(((seen - expected) ** 2 / expected).sum(), len(expected) - 1))


BINOMIALS = [
    (n, p) for n in (1, 2, 7, 19, 21, 40, 150, 600, 5000, 100_000)
    for p in (0.02, 0.1, 0.3, 0.5, 0.52, 0.85, 0.98, 0.999)
]


@pytest.mark.parametrize(("n", "p"), BINOMIALS)
def test_binomial(n, p):
    sample = binomials(float(n), p, 20_000, KEY)
    assert alarm(sample, binom(n, p)) > ALARM


@pytest.mark.parametrize(("n", "p"), [(20, 0.4999), (20, 0.5), (21, 0.5), (100, 0.0999),
                                      (100, 0.1001), (1000, 0.0101), (40, 0.74), (40, 0.76)])
def test_binomial_on_both_sides_of_the_switch(n, p):
    sample = binomials(float(n), p, 300_000, KEY)
    assert alarm(sample, binom(n, p)) > ALARM


@pytest.mark.parametrize(("n", "p"), [(4, 0.5), (20, 0.1), (100, 0.02)])
def test_a_lower_switch_point_is_found_out(n, p):
    # n p = 2: transformed rejection is not valid there (Hörmann 1993: from 10 on)
    assert alarm(binomials_by_rejection(float(n), p, 1_000_000, KEY), binom(n, p)) < ALARM / 1000
    assert alarm(binomials(float(n), p, 1_000_000, KEY), binom(n, p)) > ALARM


@pytest.mark.parametrize(
    "mean", [1e-6, 0.01, 0.4, 1.0, 3.7, 9.99, 10.0, 10.01, 14.0, 55.0, 400.0, 5e4, 3e6]
)
def test_poisson(mean):
    assert alarm(poissons(mean, 100_000, KEY), poisson(mean)) > ALARM


def test_the_poisson_test_can_fail():
    # one in a hundred too many, on both sides of the switch
    for mean in (2.0, 50.0):
        assert alarm(poissons(1.01 * mean, 1_000_000, KEY), poisson(mean)) < ALARM / 1000


@pytest.mark.parametrize(
    ("good", "bad", "taken"),
    [(1, 1, 1), (3, 5, 4), (10, 2, 11), (2, 90, 30), (50, 50, 50), (400, 700, 350),
     (5000, 30_000, 2000), (40_000, 60_000, 99_000)],
)
def test_hypergeometric(good, bad, taken):
    sample = hypergeometrics(float(good), float(bad), float(taken), 20_000, KEY)
    assert alarm(sample, hypergeom(good + bad, good, taken)) > ALARM


@pytest.mark.parametrize("shape", [0.05, 0.3, 0.99, 1.0, 1.5, 4.0, 60.0])
def test_gamma(shape):
    assert kstest(gammas(shape, 50_000, KEY), gamma(shape).cdf).pvalue > ALARM


def test_the_gamma_test_can_fail():
    assert kstest(gammas(1.0, 50_000, KEY), gamma(1.04).cdf).pvalue < ALARM


def test_ends_of_the_range():
    assert (binomials(0.0, 0.4, 5, KEY) == 0).all()
    assert (binomials(9.0, 0.0, 5, KEY) == 0).all() and (binomials(9.0, 1.0, 5, KEY) == 9).all()
    assert (poissons(0.0, 5, KEY) == 0).all()
    assert (hypergeometrics(4.0, 0.0, 3.0, 5, KEY) == 3).all()
    assert (hypergeometrics(4.0, 6.0, 10.0, 5, KEY) == 4).all()
    assert (hypergeometrics(0.0, 6.0, 3.0, 5, KEY) == 0).all()
    assert (hypergeometrics(4.0, 6.0, 0.0, 5, KEY) == 0).all()


@pytest.mark.parametrize("kind", [rejection.BINOMIAL, rejection.POISSON])
def test_bounds_settle_what_the_full_ratio_would(kind):
    """Proposals settled by the bounds alone are judged in full: never another verdict."""
    generator = np.random.default_rng(4)
    count = 400_000
    mean = 10 ** generator.uniform(1, 4, count)
    p = np.minimum(0.5, 10 ** generator.uniform(-3, 0, count))
    n = np.ceil(mean / p) if kind == rejection.BINOMIAL else mean
    p = p if kind == rejection.BINOMIAL else mean
    keys = replicate_keys(seed=9, layer=1, draw=np.zeros(count, dtype=int),
                          replicate=np.arange(count))
    quick, full = _both_ways(kind, n, p, keys)
    settled = quick != rejection.DOUBTFUL
    assert (quick == full)[settled].all()
    assert settled.mean() > 0.9  # else the bounds would be worth nothing
    assert (full == rejection.REFUSED).mean() < 0.3


@njit
def _both_ways(kind, n, p, keys):
    first, second = counter(np.uint64(7), 0, 0), counter(np.uint64(7), 0, 1)
    quick, full = np.empty(len(n)), np.empty(len(n))
    rejection.propose(kind, n, p, keys, first, second, quick)
    rejection.judge(kind, n, p, keys, first, second, full)
    return quick, full


def test_a_lane_does_not_feel_its_neighbours():
    generator = np.random.default_rng(8)
    n, p = np.floor(10 ** generator.uniform(0, 3.5, 400)), generator.uniform(0, 1, 400)
    together = binomials(n, p, 400, KEY)
    keys = replicate_keys(seed=int(KEY), layer=1, draw=np.zeros(400, dtype=int),
                          replicate=np.arange(400))
    alone, space = np.empty(400), rows.make_space()
    for i in range(400):
        _binomial_block(n[i:i + 1], p[i:i + 1], keys[i:i + 1], alone[i:i + 1], space)
    assert (alone == together).all()


def test_p_values_of_many_samples_are_even():
    """300 right samples give even p-values; 300 of a law off by 2 % do not."""
    generator = np.random.default_rng(3)
    right, wrong = [], []
    for _ in range(300):
        n = int(10 ** generator.uniform(0.5, 4))
        p = generator.uniform(0.05, 0.95)
        sample = binomials(float(n), p, 4000, np.uint64(generator.integers(2**60)))
        right.append(alarm(sample, binom(n, p)))
        wrong.append(alarm(sample, binom(n, p * 0.98)))
    inner = [x for x in right if x < 1]
    assert kstest(inner, "uniform").pvalue > ALARM
    assert kstest([x for x in wrong if x < 1], "uniform").pvalue < ALARM / 1000


def test_small_counts_rise_with_their_luck():
    """One uniform decides, and more of it never gives fewer: 50 and 55 animals share their luck."""
    fewer, more = binomials(50.0, 0.12, 2000, KEY), binomials(55.0, 0.12, 2000, KEY)
    assert (more >= fewer).all()
    low, high = binomials(12.0, 0.3, 2000, KEY), binomials(12.0, 0.8, 2000, KEY)
    assert (high >= low).all()

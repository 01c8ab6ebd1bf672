"""Addressed random numbers: known answers, the normal quantile, keys."""

import numpy as np
import pytest
from numba import njit
from scipy.special import ndtri
from scipy.stats import kstest

from pva.engine.random_numbers import (
    ENVIRONMENT,
    INDIVIDUALS,
    OTHER_INDIVIDUALS,
    counter,
    inverse_normal,
    mixed,
    normals,
    replicate_keys,
    uniform,
)

GOLDEN = 0x9E3779B97F4A7C15
# the first five numbers of SplitMix64 from seed 1234567, as printed in public collections of
# algorithms; typed from memory, and that the implementation gives all five confirms them
SPLITMIX = [6457827717110365317, 3203168211198807973, 9817491932198370423, 4593380528125082431,
            16408922859458223821]


@njit
def mixed_alone(x):
    return mixed(x)


@njit
def many_uniforms(keys, addresses, year, number):
    """Uniform numbers, shape (address, key)."""
    out = np.empty((len(addresses), len(keys)))
    for a in range(len(addresses)):
        count = counter(addresses[a], year, number)
        for i in range(len(keys)):
            out[a, i] = uniform(keys[i], count)
    return out


@njit
def row_of_normals(keys, address):
    out = np.empty(len(keys))
    normals(keys, address, 3, out)
    return out


@njit
def quantiles(p):
    out = np.empty(len(p))
    for i in range(len(p)):
        out[i] = inverse_normal(p[i])
    return out


def keys_of(count, seed=11):
    return replicate_keys(seed=seed, layer=INDIVIDUALS, draw=np.zeros(count, dtype=int),
                          replicate=np.arange(count))


def test_known_answers_of_the_mixing_function():
    states = [np.uint64((1234567 + GOLDEN * (k + 1)) % 2**64) for k in range(5)]
    assert [int(mixed_alone(x)) for x in states] == SPLITMIX


def test_uniform_numbers_are_even_apart_and_never_0_or_1():
    keys, address = keys_of(100_000), np.arange(2, dtype=np.uint64)
    first, address_next = many_uniforms(keys, address, 3, 0)
    others = {
        "the second number": many_uniforms(keys, address, 3, 1)[0],
        "the next address": address_next,
        "the next year": many_uniforms(keys, address, 4, 0)[0],
        "the next attempt": many_uniforms(keys, address, 3, 2)[0],
        "the next replicate": np.roll(first, 1),
        "the other layer": many_uniforms(
            replicate_keys(seed=11, layer=OTHER_INDIVIDUALS, draw=np.zeros(100_000, dtype=int),
                           replicate=np.arange(100_000)), address, 3, 0)[0],
    }
    # false alarm 1e-6 each; a generator that repeats an address or a year fails the correlations
    assert kstest(first, "uniform").pvalue > 1e-6
    for name, other in others.items():
        assert kstest(other, "uniform").pvalue > 1e-6, name
        assert abs(np.corrcoef(first, other)[0, 1]) < 4.9 / np.sqrt(len(keys)), name
        assert 0 < other.min() and other.max() < 1


def test_the_largest_uniform_is_below_1():
    # 53 bits in the middle of their cell round to 1 at the top, which has no normal quantile
    top = (2**64 - 1 >> 12) + 0.5
    assert top * 2.0**-52 < 1
    assert ((2**64 - 1 >> 11) + 0.5) * 2.0**-53 == 1  # the wrong way


def test_normal_quantile_against_scipy():
    # relative accuracy of a few units of the last place, tails included
    p = np.concatenate([np.linspace(1e-4, 1 - 1e-4, 20_001), 10.0 ** -np.arange(4, 300, 7),
                        1 - 10.0 ** -np.arange(4, 15)])
    p = p[p != 0.5]
    assert quantiles(p) == pytest.approx(ndtri(p), rel=2e-14)
    assert quantiles(np.array([0.5]))[0] == 0


def test_a_row_of_normals_is_the_quantile_of_its_uniform_numbers():
    keys, address = keys_of(200_000), np.uint64(5)
    p = many_uniforms(keys, np.array([address]), 3, 0)[0]
    assert row_of_normals(keys, address) == pytest.approx(ndtri(p), rel=2e-14)
    assert (np.abs(p - 0.5) > 0.4995).sum() > 100  # the tails go another way and were among them


def test_keys_differ_by_every_part_and_seed_0_is_a_seed():
    draw, replicate = np.repeat(np.arange(50), 40), np.tile(np.arange(40), 50)
    seen = []
    for seed in (0, 1, 2**64 - 1):
        for layer in (ENVIRONMENT, INDIVIDUALS, OTHER_INDIVIDUALS):
            seen.append(replicate_keys(seed=seed, layer=layer, draw=draw, replicate=replicate))
    everything = np.concatenate(seen)
    assert len(np.unique(everything)) == 9 * 2000
    alone = replicate_keys(seed=0, layer=INDIVIDUALS, draw=np.array([7]), replicate=np.array([31]))
    assert alone[0] == seen[1][7 * 40 + 31]

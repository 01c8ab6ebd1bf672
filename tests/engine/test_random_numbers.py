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
    bits,
    inverse_normal,
    replicate_keys,
    uniforms,
)

# Salmon, Moraes, Dror & Shaw 2011 (distribution of the authors): counter, key, answer. Typed from
# memory; that the implementation gives all three confirms them.
KNOWN = [
    ([0] * 4, [0] * 2, [0x6627E8D5, 0xE169C58D, 0xBC57AC4C, 0x9B00DBD8]),
    ([0xFFFFFFFF] * 4, [0xFFFFFFFF] * 2, [0x408F276D, 0x41C83B0E, 0xA20BC7C6, 0x6D5451FD]),
    ([0x243F6A88, 0x85A308D3, 0x13198A2E, 0x03707344], [0xA4093822, 0x299F31D0],
     [0xD16CFE09, 0x94FDCCEB, 0x5001E420, 0x24126EA1]),
]


@njit
def two_words(key, address, year, attempt):
    return bits(key, address, year, attempt)


@njit
def many_uniforms(key, addresses, year, attempt):
    out = np.empty((len(addresses), 2))
    for i in range(len(addresses)):
        out[i, 0], out[i, 1] = uniforms(key, addresses[i], year, attempt)
    return out


@njit
def quantiles(p):
    out = np.empty(len(p))
    for i in range(len(p)):
        out[i] = inverse_normal(p[i])
    return out


def joined(low, high):
    return np.uint64(low | high << 32)


@pytest.mark.parametrize(("counter", "key", "answer"), KNOWN)
def test_known_answers_of_philox(counter, key, answer):
    address = joined(*counter[:2])
    first, second = two_words(joined(*key), address, np.uint64(counter[2]), np.uint64(counter[3]))
    got = [first >> 32, first & 0xFFFFFFFF, second >> 32, second & 0xFFFFFFFF]
    assert [hex(int(x)) for x in got] == [hex(x) for x in answer]


def test_uniform_numbers_are_even_apart_and_never_0_or_1():
    key, addresses = np.uint64(7), np.arange(100_000, dtype=np.uint64)
    first = many_uniforms(key, addresses, 3, 0)
    # false alarm 1e-6 each; a generator that repeats an address or a year fails the correlations
    for column in first.T:
        assert kstest(column, "uniform").pvalue > 1e-6
    others = {
        "the second number": first[:, 1],
        "the next address": np.roll(first[:, 0], 1),
        "the next year": many_uniforms(key, addresses, 4, 0)[:, 0],
        "the next attempt": many_uniforms(key, addresses, 3, 1)[:, 0],
        "the next key": many_uniforms(np.uint64(8), addresses, 3, 0)[:, 0],
    }
    for name, other in others.items():
        assert abs(np.corrcoef(first[:, 0], other)[0, 1]) < 4.9 / np.sqrt(len(addresses)), name
    assert (first > 0).all() and (first < 1).all()


def test_the_largest_uniform_is_below_1():
    # 53 bits in the middle of their cell round to 1 at the top, which has no normal quantile
    top = (2**64 - 1 >> 12) + 0.5
    assert top * 2.0**-52 < 1
    assert ((2**64 - 1 >> 11) + 0.5) * 2.0**-53 == 1  # the wrong way


def test_normal_quantile_against_scipy():
    # Wichura 1988 claims about 1e-16; here within 4 units of the last place of scipy's own
    p = np.concatenate([np.linspace(1e-4, 1 - 1e-4, 20_001), 10.0 ** -np.arange(4, 300, 7),
                        1 - 10.0 ** -np.arange(4, 15)])
    p = p[p != 0.5]
    assert quantiles(p) == pytest.approx(ndtri(p), rel=2e-14)
    assert quantiles(np.array([0.5]))[0] == 0


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

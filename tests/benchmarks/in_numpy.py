"""The workloads as a competent practitioner writes them in NumPy: all replicates side by side."""

import numpy as np

from tests.benchmarks import workloads as w

BLOCK = 10_000  # replicates at once: faster than all at once, which leaves the cache


def one_site(replicates, seed, numbers, block=BLOCK):
    """W1. Adults by census, shape (replicate, census)."""
    generator = np.random.default_rng(seed)
    parts = [_block(min(block, replicates - first), generator, numbers, 1)[:, 0]
             for first in range(0, replicates, block)]
    return np.concatenate(parts)


def ten_sites(replicates, seed, numbers, block=BLOCK // 10):
    """W2. Adults of the river by census, shape (replicate, census)."""
    generator = np.random.default_rng(seed)
    parts = [_block(min(block, replicates - first), generator, numbers, len(w.SITES)).sum(axis=1)
             for first in range(0, replicates, block)]
    return np.concatenate(parts)


def many_draws(draws, replicates, seed, numbers):
    """W3: rates of every draw, `numbers` one for each; adults, shape (draw x replicate, census)."""
    generator = np.random.default_rng(seed)
    return np.concatenate([_block(replicates, generator, numbers[d], 1)[:, 0]
                           for d in range(draws)])


def _block(lanes, generator, numbers, sites):
    """Adults by site and census, shape (replicate, site, census)."""
    adults = np.empty((lanes, sites, w.YEARS + 1))
    wild = np.zeros((5, lanes, sites), dtype=np.int64)
    stocked = np.zeros((5, lanes, sites), dtype=np.int64)
    wild[:] = np.array(w.START)[:, None, None]
    adults[..., 0] = wild[4] + stocked[4]
    for year in range(w.YEARS):
        survival, young = _rates(lanes, sites, generator, numbers)
        bad = generator.random((lanes, 1)) < w.BAD_CHANCE
        survival *= np.where(bad, w.BAD_SURVIVAL, 1.0)
        breeders = wild[4] + stocked[4]
        recruits = generator.poisson(young * breeders / (1 + breeders / w.HALF))
        wild = _live(wild, survival, generator)
        stocked[3:] = _live_old(stocked[3:], survival[3:], generator)
        if year < w.RELEASE_YEARS:
            put = np.zeros((2, lanes, sites), dtype=np.int64)
            put[0] = w.RELEASED
            stocked[3:] += _live_old(put, survival[3:], generator)
        if sites > 1:
            recruits = _carry(recruits, sites, generator)
        wild[0] += recruits
        _crowd(wild, stocked, generator)
        adults[..., year + 1] = wild[4] + stocked[4]
    return adults


def _rates(lanes, sites, generator, numbers):
    """Survival, shape (stage, replicate, site), and recruits per adult, (replicate, site)."""
    shared = np.sqrt(w.CORRELATION) * _by_site(1, lanes, sites, generator)
    z = shared + np.sqrt(1 - w.CORRELATION) * _by_site(6, lanes, sites, generator)
    x = numbers.logit_mean[:, None, None] + numbers.logit_sd[:, None, None] * z[:5]
    return 1 / (1 + np.exp(-x)), np.exp(numbers.log_mean + numbers.log_sd * z[5])


def _by_site(count, lanes, sites, generator):
    if sites == 1:
        return generator.standard_normal((count, lanes, 1))
    regional = generator.standard_normal((count, lanes, 1))
    local = generator.standard_normal((count, lanes, sites))
    return np.sqrt(w.BETWEEN_SITES) * regional + np.sqrt(1 - w.BETWEEN_SITES) * local


def _live(n, survival, generator):
    """Survival and growth of all five stages."""
    alive = generator.binomial(n, survival)
    up = generator.binomial(alive[2:4], np.array(w.GROWTH)[:, None, None])
    after = np.empty_like(alive)
    after[0] = 0
    after[1] = alive[0]
    after[2] = alive[1] + alive[2] - up[0]
    after[3] = up[0] + alive[3] - up[1]
    after[4] = up[1] + alive[4]
    return after


def _live_old(n, survival, generator):
    """Survival and growth of subadults and adults."""
    alive = generator.binomial(n, survival)
    up = generator.binomial(alive[0], w.GROWTH[1])
    return np.stack([alive[0] - up, alive[1] + up])


def _carry(recruits, sites, generator):
    """A tenth leaves, to any of the nine others alike."""
    leaving = generator.binomial(recruits, w.CARRIED)
    arriving = recruits - leaving
    to_others = generator.multinomial(leaving, np.full(sites - 1, 1 / (sites - 1)))
    for home in range(sites):
        others = [s for s in range(sites) if s != home]
        arriving[:, others] += to_others[:, home]
    return arriving


def _crowd(wild, stocked, generator):
    """Random removal down to the ceiling."""
    both = np.concatenate([wild, stocked])
    full = both.sum(axis=0) > w.CEILING
    if not full.any():
        return
    n = both[:, full]
    others, keep = n.sum(axis=0), np.full(full.sum(), int(w.CEILING))
    for i in range(len(n)):
        others = others - n[i]
        kept = generator.hypergeometric(n[i], others, keep)
        keep = keep - kept
        n[i] = kept
    wild[:, full], stocked[:, full] = n[:5], n[5:]

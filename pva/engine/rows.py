"""Binomial and Poisson counts for a row of lanes.

Lanes with a small mean go by inversion, the others by transformed rejection. Where a row holds
both, each kind is gathered side by side in scratch space, so that the loops stay wide. What a lane
gets depends on its own numbers alone, never on its neighbours.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np

from pva.engine.compiled import inner
from pva.engine.inversion import SWITCH, small_counts
from pva.engine.random_numbers import counter
from pva.engine.rejection import BINOMIAL, DOUBTFUL, POISSON, REFUSED, judge, propose
from pva.engine.space import PITCH, WIDE

# rows of scratch: of counts, of one size of means, of attempts after the first, of lanes in doubt
_RARE, _MEAN, _N, _P, _Q, _OUT, _N_AGAIN, _Q_AGAIN, _OUT_AGAIN = range(9)
_N_DOUBT, _Q_DOUBT, _OUT_DOUBT, _ROWS = range(9, 13)
_AGAIN, _DOUBT, _SIZE, _LISTS = range(4)


class Space(NamedTuple):
    """Scratch of the samplers."""

    step: np.ndarray  # float64 (4 x PITCH,) of the inversion
    row: np.ndarray  # float64 (row, PITCH)
    key: np.ndarray  # uint64 (list, PITCH)
    place: np.ndarray  # int64 (list, PITCH) lanes


def make_space() -> Space:
    """Scratch for one block at a time."""
    return Space(np.zeros(4 * PITCH), np.zeros((_ROWS, PITCH)),
                 np.zeros((_LISTS, PITCH), dtype=np.uint64),
                 np.zeros((_LISTS, PITCH), dtype=np.int64))


@inner()
def binomials(n, p, key, address, year, out, space):
    """Successes in n trials of chance p, into `out`; all shapes (lane,)."""
    rare, mean = space.row[_RARE, :len(n)], space.row[_MEAN, :len(n)]
    for i in range(len(n)):
        chance = max(min(p[i], 1.0 - p[i]), 0.0)
        rare[i] = chance
        mean[i] = n[i] * chance
    _counts(BINOMIAL, n, p, rare, mean, key, address, year, out, space)
    for i in range(len(n)):
        out[i] = n[i] - out[i] if p[i] > 0.5 else out[i]


@inner()
def poissons(mean, key, address, year, out, space):
    """Poisson counts, into `out`; all shapes (lane,)."""
    _counts(POISSON, mean, mean, mean, mean, key, address, year, out, space)


@inner()
def _counts(kind, n, p, q, mean, key, address, year, out, space):
    """Counts of the rarer outcome, chance q (Poisson: mean q), into `out`."""
    lanes = len(mean)
    most, least = 0.0, SWITCH
    for i in range(lanes):
        most = max(most, mean[i])
        least = min(least, mean[i])
    if most < SWITCH:
        if most > 0.0:
            small_counts(kind, n, p, q, key, counter(address, year, 0), space.step, out)
        else:
            for i in range(lanes):
                out[i] = 0.0
    elif least >= SWITCH:
        _large(kind, n, q, key, address, year, out, space)
    else:
        _mixed(kind, n, p, q, mean, key, address, year, out, space)


@inner()
def _mixed(kind, n, p, q, mean, key, address, year, out, space):
    """Small and large means side by side: gathered, drawn apart, put back."""
    place = space.place[_SIZE]
    small, ahead = 0, 0
    for i in range(len(mean)):
        place[small] = i
        small += 1 if mean[i] < SWITCH else 0
    for i in range(len(mean)):
        place[small + ahead] = i
        ahead += 1 if mean[i] >= SWITCH else 0
    for first, last in ((0, small), (small, len(mean))):
        many = last - first
        full = many + (-many) % WIDE
        ns, ps = space.row[_N, :full], space.row[_P, :full]
        qs, got = space.row[_Q, :full], space.row[_OUT, :full]
        keys = space.key[_SIZE, :full]
        for j in range(full):
            i = place[first + min(j, many - 1)]
            ns[j], ps[j], qs[j], keys[j] = n[i], p[i], q[i], key[i]
        if first == 0:
            small_counts(kind, ns, ps, qs, keys, counter(address, year, 0), space.step, got)
        else:
            _large(kind, ns, qs, keys, address, year, got, space)
        for j in range(many):
            out[place[first + j]] = got[j]


@inner()
def _gather(n, q, key, place, many, ns, qs, keys):
    """Lanes named in `place`, side by side; what is spare repeats the last."""
    for j in range(len(ns)):
        i = place[min(j, many - 1)]
        ns[j], qs[j], keys[j] = n[i], q[i], key[i]


@inner()
def _large(kind, n, q, key, address, year, out, space):
    """Transformed rejection until every lane has its count."""
    _attempt(kind, n, q, key, counter(address, year, 0), counter(address, year, 1), out, space)
    place = space.place[_AGAIN]
    left = 0
    for i in range(len(out)):
        place[left] = i
        left += 1 if out[i] == REFUSED else 0
    attempt = 1
    while left > 0:
        full = left + (-left) % WIDE
        ns, qs = space.row[_N_AGAIN, :full], space.row[_Q_AGAIN, :full]
        got, keys = space.row[_OUT_AGAIN, :full], space.key[_AGAIN, :full]
        _gather(n, q, key, place, left, ns, qs, keys)
        first = counter(address, year, 2 * attempt)
        second = counter(address, year, 2 * attempt + 1)
        _attempt(kind, ns, qs, keys, first, second, got, space)
        again = 0
        for j in range(left):
            i = place[j]
            out[i] = got[j]
            place[again] = i
            again += 1 if got[j] == REFUSED else 0
        left = again
        attempt += 1


@inner()
def _attempt(kind, n, q, key, first, second, out, space):
    """One attempt for every lane: a count or `REFUSED`."""
    if propose(kind, n, q, key, first, second, out) == 0:
        return
    place = space.place[_DOUBT]
    many = 0
    for i in range(len(out)):
        place[many] = i
        many += 1 if out[i] == DOUBTFUL else 0
    full = many + (-many) % WIDE
    ns, qs = space.row[_N_DOUBT, :full], space.row[_Q_DOUBT, :full]
    got, keys = space.row[_OUT_DOUBT, :full], space.key[_DOUBT, :full]
    _gather(n, q, key, place, many, ns, qs, keys)
    judge(kind, ns, qs, keys, first, second, got)
    for j in range(many):
        out[place[j]] = got[j]

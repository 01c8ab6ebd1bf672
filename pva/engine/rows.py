"""Binomial and Poisson counts for a row of lanes.

Lanes with a small mean go by inversion, the others by transformed rejection. Where a row holds
both, each kind is gathered side by side in scratch space, so that the loops stay wide. What a lane
gets depends on its own numbers alone, never on its neighbours.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np

from pva.compiled import inner
from pva.engine.inversion import SWITCH, small_counts
from pva.engine.random_numbers import FIRST, SECOND, counter
from pva.engine.rejection import BINOMIAL, DOUBTFUL, POISSON, REFUSED, judge, propose
from pva.engine.space import PITCH, WIDE

# rows of scratch: of counts, of few lanes of the other size, of attempts after the first, of doubt
_RARE, _MEAN, _N, _Q, _N_FEW, _P_FEW, _Q_FEW, _OUT_FEW = range(8)
_N_AGAIN, _Q_AGAIN, _OUT_AGAIN, _N_DOUBT, _Q_DOUBT, _OUT_DOUBT, _ROWS = range(8, 15)
_AGAIN, _DOUBT, _FEW, _LISTS = range(4)
_NONE = np.int64(0)  # typed: a bare 0 would compile what is called with it twice
_NEUTRAL_N, _NEUTRAL_P, _NEUTRAL_MEAN = 2000.0, 0.5, 1000.0  # fit for rejection; not used


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
    some, large = _NONE, _NONE
    for i in range(len(n)):
        chance = max(min(p[i], 1.0 - p[i]), 0.0)
        rare[i] = chance
        mean[i] = n[i] * chance
        some += 1 if mean[i] > 0.0 else 0
        large += 1 if mean[i] >= SWITCH else 0
    if some == 0:
        for i in range(len(n)):
            out[i] = n[i] if p[i] > 0.5 else 0.0
        return
    _counts(BINOMIAL, n, p, rare, mean, large, key, address, year, out, space)
    for i in range(len(n)):
        out[i] = n[i] - out[i] if p[i] > 0.5 else out[i]


@inner()
def poissons(mean, key, address, year, out, space):
    """Poisson counts, into `out`; all shapes (lane,)."""
    large = _NONE
    for i in range(len(mean)):
        large += 1 if mean[i] >= SWITCH else 0
    _counts(POISSON, mean, mean, mean, mean, large, key, address, year, out, space)


@inner()
def _counts(kind, n, p, q, mean, large, key, address, year, out, space):
    """Counts of the rarer outcome, chance q (Poisson: mean q); `large` lanes have large means."""
    if large == 0:
        small_counts(kind, n, p, q, key, counter(address, year, FIRST), space.step, out)
    elif large == len(out):
        _large(kind, n, q, key, address, year, out, space)
    else:
        _mixed(kind, n, p, q, mean, large, key, address, year, out, space)


@inner()
def _mixed(kind, n, p, q, mean, large, key, address, year, out, space):
    """Most lanes go as if all were of their size, with numbers put in for the few; then the few."""
    lanes = len(mean)
    mostly_large = 2 * large > lanes
    ns, qs, place = space.row[_N, :lanes], space.row[_Q, :lanes], space.place[_FEW]
    spare_n, spare_q = 0.0, 0.0
    if mostly_large:
        spare_n, spare_q = _NEUTRAL_N, _NEUTRAL_P if kind == BINOMIAL else _NEUTRAL_MEAN
    many = _NONE
    for i in range(lanes):
        usual = (mean[i] >= SWITCH) == mostly_large
        ns[i] = n[i] if usual else spare_n
        qs[i] = q[i] if usual else spare_q
    for i in range(lanes):
        place[many] = i
        many += 0 if (mean[i] >= SWITCH) == mostly_large else 1
    full = many + (-many) % WIDE
    few_n, few_q = space.row[_N_FEW, :full], space.row[_Q_FEW, :full]
    few_p, got, keys = space.row[_P_FEW, :full], space.row[_OUT_FEW, :full], space.key[_FEW, :full]
    first = counter(address, year, FIRST)
    _gather(n, q, key, place, many, few_n, few_q, keys)
    for j in range(full):
        few_p[j] = p[place[min(j, many - 1)]]
    if mostly_large:
        _large(kind, ns, qs, key, address, year, out, space)
        small_counts(kind, few_n, few_p, few_q, keys, first, space.step, got)
    else:
        small_counts(kind, ns, p, qs, key, first, space.step, out)
        _large(kind, few_n, few_q, keys, address, year, got, space)
    for j in range(many):
        out[place[j]] = got[j]


@inner()
def _gather(n, q, key, place, many, ns, qs, keys):
    """Lanes named in `place`, side by side; what is spare repeats the last."""
    for j in range(len(ns)):
        i = place[min(j, many - 1)]
        ns[j], qs[j], keys[j] = n[i], q[i], key[i]


@inner()
def _large(kind, n, q, key, address, year, out, space):
    """Transformed rejection until every lane has its count."""
    first, second = counter(address, year, FIRST), counter(address, year, SECOND)
    _attempt(kind, n, q, key, first, second, out, space)
    place = space.place[_AGAIN]
    left = _NONE
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
    many = _NONE
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

"""Sums over the replicates of a block, taken at every census while its numbers are at hand.

Sums of a row are taken in an order that no machine changes; those of whole animals are exact.
"""

from __future__ import annotations

import math

import numpy as np

from pva.compiled import inner
from pva.engine.asked import (
    A_BOTTOM,
    A_COUNT,
    A_DIVISOR,
    A_END,
    A_FLOW,
    A_KIND,
    A_START,
    A_TOP,
    A_YEARS,
    LASTING,
    LATEST,
    LEAST,
    LEFT,
    MET,
    OCCUPIED,
    RATIO,
    SEEN,
    SUCCESS,
    SUM,
    VALUE,
    W_EVERY,
    W_FIRST,
    W_FROM,
    W_LAST,
    W_NEEDED,
    W_RUNNING,
    W_TIMES,
    W_TO,
)
from pva.engine.lanes import add, copy, fill, sum_of


@inner()
def sum_up(asked, found, tally, work, year, last):
    """Fold a census into what was found; `last` is the number of the last census."""
    if len(asked.row) == 0:
        return
    if year == 0:
        for k in range(len(asked.watched)):
            fill(found.score[0, k], 0.0)
            fill(found.score[1, k], 0.0)
    sites, tallies = tally.shape[0], tally.shape[1]
    for k in range(len(asked.summed)):
        t = asked.summed[k]
        for site in range(sites):
            _by_part(tally[site, t], found.part, work.some, found.tally,
                     (year * sites + site) * tallies + t)
    for row in range(len(asked.row)):
        _value(asked, found, tally, work, year, row)
        counted = asked.row[row, A_COUNT]
        if counted >= 0:
            _count_values(found, year, counted, found.value[VALUE, row])
        if counted == 0:
            _hold(asked, found, year, found.value[VALUE, row])
    for w in range(len(asked.watch)):
        every = asked.watch[w, W_EVERY] == 1
        if asked.watch[w, W_FROM] <= year <= asked.watch[w, W_TO]:
            _look(asked, found, w)
        if not every:
            _success(asked, found, work.factor, year, w, last)
        if year == last or (every and year >= asked.watch[w, W_FROM]):
            _meet(asked, found, w, year)


@inner()
def _by_part(row, part, scratch, out, cell):
    for p in range(len(out)):
        out[p, cell] = sum_of(row, part[p], part[p + 1], scratch)


@inner()
def _terms(asked, tally, first, last, out):
    """Tallies summed, in the order of the terms."""
    for term in range(first, last):
        more = tally[asked.term[term, 0], asked.term[term, 1]]
        if term > first + 1:
            add(out, more)
        elif term > first:
            one = tally[asked.term[first, 0], asked.term[first, 1]]
            for i in range(len(out)):
                out[i] = one[i] + more[i]
        elif last == first + 1:
            copy(out, more)


@inner()
def _value(asked, found, tally, work, year, row):
    """The row's numbers at a census, NaN where not defined; their sums, unless they are sums."""
    value, known = found.value[VALUE, row], work.total
    kind, number = asked.row[row, A_KIND], asked.number[row]
    top, bottom, end = asked.row[row, A_TOP], asked.row[row, A_BOTTOM], asked.row[row, A_END]
    if asked.row[row, A_FLOW] == 1 and year == 0:
        fill(value, math.nan)
        return
    _terms(asked, tally, top, bottom, value)
    if kind == SUM:
        if number[A_DIVISOR] != 1.0:
            for i in range(len(value)):
                value[i] /= number[A_DIVISOR]
        return
    if kind == OCCUPIED:
        _occupied(asked, tally, bottom, end, value)
        known = value
    else:
        _terms(asked, tally, bottom, end, known)
        if kind == RATIO:
            for i in range(len(value)):
                there = known[i] > 0.0
                ratio = value[i] / known[i]
                value[i] = ratio if there else math.nan
                known[i] = ratio if there else 0.0
        else:
            _lose(number, value, known, found.value[LEFT, row], found.value[SEEN, row], year)
    cell = 2 * (year * len(asked.row) + row)
    _by_part(known, found.part, work.some, found.total, cell)
    for p in range(len(found.part) - 1):
        many, here = 0, value[found.part[p]:found.part[p + 1]]
        for i in range(len(here)):
            many += 1 if here[i] == here[i] else 0
        found.total[p, cell + 1] = many


@inner()
def _occupied(asked, tally, first, last, value):
    """Sites that hold any animal: terms in pairs, the animals of two origins."""
    fill(value, 0.0)
    for term in range(first, last, 2):
        one = tally[asked.term[term, 0], asked.term[term, 1]]
        other = tally[asked.term[term + 1, 0], asked.term[term + 1, 1]]
        for i in range(len(value)):
            value[i] += 1.0 if one[i] + other[i] > 0.0 else 0.0


@inner()
def _lose(number, value, known, left, seen, year):
    """Share left: every census with a size takes 1 / (2 size) of it; none without any animal.

    `value` comes with the animals that make the size, `known` with all animals.
    """
    if year == 0:
        fill(left, 1.0)
        fill(seen, 0.0)
    for i in range(len(value)):
        size = value[i] * number[A_DIVISOR] * number[A_YEARS]
        seen[i] = 1.0 if known[i] > 0.0 else seen[i]
        gone = (seen[i] > 0.0) & (known[i] == 0.0)
        known[i] = 0.0 if gone else number[A_START] * left[i]
        value[i] = math.nan if gone else known[i]
        left[i] *= max(1.0 - 1.0 / (2.0 * size), 0.0) if size > 0.0 else 1.0


@inner()
def _look(asked, found, w):
    """A census inside the window of a watch: times each of its rows held, or running."""
    side, limit = asked.limit[w, 0], asked.limit[w, 1]
    for k in range(asked.watch[w, W_FIRST], asked.watch[w, W_LAST]):
        value = found.value[VALUE, asked.watched[k]]
        score, most = found.score[0, k], found.score[1, k]
        if asked.watch[w, W_RUNNING] == 1:
            for i in range(len(value)):
                score[i] = score[i] + 1.0 if side * value[i] <= limit else 0.0  # 0 for a null
                most[i] = max(most[i], score[i])
        else:
            for i in range(len(value)):
                most[i] += 1.0 if side * value[i] <= limit else 0.0


@inner()
def _meet(asked, found, w, year):
    """Lanes in which enough rows of a watch held often enough."""
    met = found.watch[MET, w]
    times = np.float64(asked.watch[w, W_TIMES])
    needed = np.float64(asked.watch[w, W_NEEDED])
    fill(met, 0.0)
    for k in range(asked.watch[w, W_FIRST], asked.watch[w, W_LAST]):
        most = found.score[1, k]
        for i in range(len(met)):
            met[i] += 1.0 if most[i] >= times else 0.0
    for p in range(len(found.part) - 1):
        many, here = 0, met[found.part[p]:found.part[p + 1]]
        for i in range(len(here)):
            enough = here[i] >= needed
            here[i] = 1.0 if enough else 0.0
            many += 1 if enough else 0
        found.met[p, year * len(asked.watch) + w] = many


@inner()
def _success(asked, found, holds, year, w, last):
    """First census at which enough rows hold, and first from which they hold to the end."""
    first, lasting = found.watch[SUCCESS, w], found.watch[LASTING, w]
    never, now, needed = last + 1.0, np.float64(year), np.float64(asked.watch[w, W_NEEDED])
    side, limit = asked.limit[w, 0], asked.limit[w, 1]
    if year == 0:
        fill(first, never)
        fill(lasting, never)
    fill(holds, 0.0)
    for k in range(asked.watch[w, W_FIRST], asked.watch[w, W_LAST]):
        value = found.value[VALUE, asked.watched[k]]
        for i in range(len(holds)):
            holds[i] += 1.0 if side * value[i] <= limit else 0.0
    for i in range(len(holds)):
        begun, kept, on = first[i], lasting[i], holds[i] >= needed
        first[i] = now if on & (now < begun) else begun
        kept = now if now < kept else kept
        lasting[i] = kept if on else never


@inner()
def _count_values(found, year, counted, value):
    """Count the values of a row at a census; those the table has no place for are listed."""
    count, large = found.count[counted, year], found.large[counted, year]
    width = len(count) - 1
    widest, before = np.uint64(width), count[width]
    for i in range(len(value)):  # beyond all whole numbers is beyond the table too
        count[min(np.uint64(np.int64(value[i])), widest)] += 1
    found.larger[counted, year] = 0
    if count[width] == before:
        return
    many = 0
    for i in range(len(value)):
        if value[i] >= width:
            large[many] = value[i]
            many += 1
    found.larger[counted, year] = many


@inner()
def _hold(asked, found, year, value):
    """The first row counted: its least, its last value, trajectories of some lanes."""
    least, kept = found.end[LEAST], found.kept[year]
    if year <= asked.start:
        copy(least, value)
    else:
        for i in range(len(least)):
            least[i] = min(least[i], value[i])
    copy(found.end[LATEST], value)
    for i in range(len(kept)):
        kept[i] = value[i]

"""What a block is asked to sum up while its years go by, and what it finds; arrays only.

A *row* is a number of every replicate at every census, made of tallies: a sum, a ratio of two sums,
sites that hold anything, or what is left after a yearly loss. A *watch* looks at some rows and
counts the replicates in which they stand on one side of a limit often enough. A *part* is a run of
neighbouring lanes of one parameter draw. What the rows mean is known to `pva.results` alone.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np

from pva.model.record import TALLIES

# kinds of row
SUM, RATIO, OCCUPIED, LOSS = range(4)
# a row: kind, 1 = not defined at the first census, where the terms of its upper sum begin, those of
# the lower sum, where they end; where its values are kept (-1: nowhere)
A_KIND, A_FLOW, A_TOP, A_BOTTOM, A_END, A_KEEP = range(6)
# numbers of a row. SUM: divisor. LOSS: size per animal, years, what is left at the start
A_DIVISOR, A_YEARS, A_START = range(3)
# a watch: first and last census of its window, times needed, 1 = running, where its rows begin and
# end, rows needed, 1 = counted at every census (0: at the last, and years of success are kept)
W_FROM, W_TO, W_TIMES, W_RUNNING, W_FIRST, W_LAST, W_NEEDED, W_EVERY = range(8)
# what is kept of a watch in every lane
SUCCESS, LASTING, MET = range(3)
# numbers of a row in every lane: its value; of a loss: what is left, whether animals were ever seen
VALUE, LEFT, SEEN = range(3)


class Asked(NamedTuple):
    """What is summed up."""

    summed: np.ndarray  # int64 (summed,) tallies of which sums are wanted
    row: np.ndarray  # int64 (row, 6) see A_KIND and so on
    number: np.ndarray  # float64 (row, 3) see A_DIVISOR and so on
    term: np.ndarray  # int64 (term, 2) site, tally
    watch: np.ndarray  # int64 (watch, 8) see W_FROM and so on
    limit: np.ndarray  # float64 (watch, 2) holds where the first times the value is at most second
    watched: np.ndarray  # int64 (watched,) rows


class Found(NamedTuple):
    """What a block found, and the scratch it needed for it."""

    part: np.ndarray  # int64 (part + 1,) lanes where the parts begin, and the end
    tally: np.ndarray  # float64 (part, census x site x tally) sums over lanes of those wanted
    total: np.ndarray  # float64 (part, census x row x 2) of rows that are no sums: sums over the
    # lanes where defined, and how many they are
    met: np.ndarray  # float64 (part, census x watch) lanes that have met a watch
    kept: np.ndarray  # float64 (kept row, census, lane)
    watch: np.ndarray  # float64 (3, watch, lane) see SUCCESS and so on
    value: np.ndarray  # float64 (3, row, lane) see VALUE and so on
    score: np.ndarray  # float64 (2, watched, lane) times or years running, the most of them


def nothing_asked() -> Asked:
    """For runs whose tallies are read by themselves."""
    return Asked(np.zeros(0, np.int64), np.zeros((0, 6), np.int64), np.zeros((0, 3)),
                 np.zeros((0, 2), np.int64), np.zeros((0, 8), np.int64), np.zeros((0, 2)),
                 np.zeros(0, np.int64))


def make_found(asked: Asked, draw: np.ndarray, *, censuses: int, sites: int,
               used: Found | None = None) -> Found:
    """Empty answers for a block of lanes of the draws given, shape (lane,), rising.

    The scratch of answers `used` before, of as many lanes, serves again.
    """
    lanes, rows, watches = len(draw), len(asked.row), len(asked.watch)
    part = np.flatnonzero(np.diff(draw, prepend=-1, append=-1)) if rows else np.zeros(1, np.int64)
    parts = len(part) - 1
    kept = int((asked.row[:, A_KEEP] >= 0).sum())
    value, score = (used.value, used.score) if used is not None else (
        np.empty((3, rows, lanes)), np.empty((2, len(asked.watched), lanes)))
    return Found(
        part,
        np.zeros((parts, censuses * sites * len(TALLIES))),
        np.zeros((parts, censuses * rows * 2)),
        np.zeros((parts, censuses * watches)),
        np.empty((kept, censuses, lanes)),
        np.empty((3, watches, lanes)),
        value,
        score,
    )

"""What a block is asked to sum up while its years go by, and what it finds; arrays only.

A *row* is a number of every replicate at every census, made of tallies: a sum, a ratio of two sums,
sites that hold anything, or what is left after a yearly loss. A *watch* looks at some rows and
counts the replicates in which they stand on one side of a limit often enough. A *part* is a run of
neighbouring lanes of one parameter draw. Of some rows every value is *counted*, while it is at
hand, in a table that serves block after block. What the rows mean is known to `pva.results` alone.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np

from pva.model.record import TALLIES

# kinds of row
SUM, RATIO, OCCUPIED, LOSS = range(4)
# a row: kind, 1 = not defined at the first census, where the terms of its upper sum begin, those of
# the lower sum, where they end; which of the rows it is whose values are counted (-1: none)
A_KIND, A_FLOW, A_TOP, A_BOTTOM, A_END, A_COUNT = range(6)
# numbers of a row. SUM: divisor. LOSS: size per animal, years, what is left at the start
A_DIVISOR, A_YEARS, A_START = range(3)
# a watch: first and last census of its window, times needed, 1 = running, where its rows begin and
# end, rows needed, 1 = counted at every census (0: at the last, and years of success are kept)
W_FROM, W_TO, W_TIMES, W_RUNNING, W_FIRST, W_LAST, W_NEEDED, W_EVERY = range(8)
# what is kept of a watch in every lane
SUCCESS, LASTING, MET = range(3)
# numbers of a row in every lane: its value; of a loss: what is left, whether animals were ever seen
VALUE, LEFT, SEEN = range(3)
# numbers of the first row counted in every lane: the least since a census, that of the last census
LEAST, LATEST = range(2)
_FIRST_WIDTH, _MOST_CELLS = 1024, 1 << 21  # of a table, for one row
MOST_COUNTED = (1 << 16) - 1  # lanes, in a table


class Asked(NamedTuple):
    """What is summed up."""

    summed: np.ndarray  # int64 (summed,) tallies of which sums are wanted; those of stocks of whole
    # animals come with the census
    row: np.ndarray  # int64 (row, 6) see A_KIND and so on
    number: np.ndarray  # float64 (row, 3) see A_DIVISOR and so on
    term: np.ndarray  # int64 (term, 2) site, tally
    watch: np.ndarray  # int64 (watch, 8) see W_FROM and so on
    limit: np.ndarray  # float64 (watch, 2) holds where the first times the value is at most second
    watched: np.ndarray  # int64 (watched,) rows
    whole: int  # 1 = what is counted are whole numbers
    start: int  # first census at which the first row counted may be least
    keep: int  # trajectories of the first row counted, those of the first replicates


class Found(NamedTuple):
    """What a block found, and the scratch it needed for it."""

    part: np.ndarray  # int64 (part + 1,) lanes where the parts begin, and the end
    piece: np.ndarray  # int64 (piece + 1,) the same for stocks of whole animals; without them, or
    # with nothing asked, all lanes
    tally: np.ndarray  # float64 (part, census x site x tally) sums over lanes of those wanted
    total: np.ndarray  # float64 (part, census x row x 2) of rows that are no sums: sums over the
    # lanes where defined, and how many they are
    met: np.ndarray  # float64 (part, census x watch) lanes that have met a watch
    kept: np.ndarray  # float64 (census, kept lane) trajectories of the first row counted
    end: np.ndarray  # float64 (2, lane) see LEAST and so on
    large: np.ndarray  # float64 (counted row, census, lane) values that the table has no place for
    larger: np.ndarray  # int64 (counted row, census) how many they are
    count: np.ndarray  # uint16 (counted row, census, number) how often it occurred; this block adds
    # to those before, and the last number stands for larger ones. 16 bits stay near the processor
    before: np.ndarray  # int32, the same: counts put away when 16 bits would hold no more
    watch: np.ndarray  # float64 (3, watch, lane) see SUCCESS and so on
    value: np.ndarray  # float64 (3, row, lane) see VALUE and so on
    score: np.ndarray  # float64 (2, watched, lane) times or years running, the most of them


def nothing_asked() -> Asked:
    """For runs whose tallies are read by themselves."""
    return Asked(np.zeros(0, np.int64), np.zeros((0, 6), np.int64), np.zeros((0, 3)),
                 np.zeros((0, 2), np.int64), np.zeros((0, 8), np.int64), np.zeros((0, 2)),
                 np.zeros(0, np.int64), 0, 0, 0)


def make_found(asked: Asked, draw: np.ndarray, *, first: int, censuses: int, sites: int,
               used: Found | None = None) -> Found:
    """Room for the answers of a block of lanes of the draws given, shape (lane,), rising.

    `first` is the number of its first replicate. Answers `used` before, of as many lanes, make
    room for the next if they have the same shapes: what is written there is always written. If not,
    their table may still serve.
    """
    lanes, rows, watches = len(draw), len(asked.row), len(asked.watch)
    part = _parts(draw) if rows else np.zeros(1, np.int64)
    piece = part if asked.whole else np.array([0, lanes])
    parts, keep = len(part) - 1, min(max(asked.keep - first, 0), lanes)
    counted = int((asked.row[:, A_COUNT] >= 0).sum())
    width = _width(asked, censuses, used)
    shape = (counted, censuses, width)
    same = used is not None and used.count.shape == shape
    if same and len(used.part) == len(part) and used.kept.shape[1] == keep:
        used.part[:] = part
        return used
    return Found(
        part,
        piece,
        np.zeros((max(parts, 1), censuses * sites * len(TALLIES))),
        np.zeros((parts, censuses * rows * 2)),
        np.zeros((parts, censuses * watches)),
        np.empty((censuses, keep)),
        np.empty((2, lanes)),
        np.empty((counted, censuses, lanes)),
        np.zeros((counted, censuses), np.int64),
        used.count if same else np.zeros(shape, np.uint16),
        used.before if same else np.zeros(shape, np.int32),
        np.empty((3, watches, lanes)),
        np.empty((3, rows, lanes)),
        np.empty((2, len(asked.watched), lanes)),
    )


def handed_out(found: Found) -> Found:
    """Answers of a block by themselves: what was found may serve the next block."""
    none = found.large[..., :0]
    return Found(found.part.copy(), none, found.tally.copy(), found.total.copy(), found.met.copy(),
                 found.kept.copy(), found.end.copy(),
                 found.large.copy() if found.larger.any() else none, found.larger.copy(),
                 found.count, found.before, found.watch.copy(), none, none)


def _parts(draw):
    if draw[0] == draw[-1]:
        return np.array([0, len(draw)])
    return np.flatnonzero(np.diff(draw, prepend=-1, append=-1))


def put_away(found: Found) -> None:
    """Make the table ready for `MOST_COUNTED` lanes more."""
    np.add(found.before, found.count, out=found.before)
    found.count[:] = 0


def _width(asked, censuses, used):
    """Width of the table used before; wider if it was too narrow for its last block."""
    widest = _MOST_CELLS // censuses if asked.whole else 0
    if used is None:
        return min(_FIRST_WIDTH, widest) + 1
    width = used.count.shape[2]
    if width > widest or not used.larger.any():
        return width
    listed = np.arange(used.large.shape[2]) < used.larger[..., None]
    most = np.max(used.large, where=listed, initial=0.0)
    return max(min(2 * int(most), widest) + 1, width)

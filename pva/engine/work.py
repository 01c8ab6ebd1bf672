"""Scratch arrays of one block; nothing is allocated inside the year loop.

The last dimension is the lane: one lane is one replicate; every step of the model year runs over
all lanes of the block before the next step begins.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np

from pva.engine.rows import Space, make_space
from pva.model.record import Plan


class Work(NamedTuple):
    """State and scratch of a block; counts are floats that hold whole numbers."""

    draw: np.ndarray  # int64 (lane,) parameter draw
    env_key: np.ndarray  # uint64 (lane,) key of the environment
    own_key: np.ndarray  # uint64 (lane,) key of single animals
    n: np.ndarray  # (origin, site, class, lane) animals
    grown: np.ndarray  # (origin, site, class, lane) animals after a step
    released: np.ndarray  # (row, class, lane) this year's releases
    recruits: np.ndarray  # (site, recruit class, lane)
    arriving: np.ndarray  # (site, recruit class, lane)
    cell: np.ndarray  # (cell, lane) standard normals of the year
    rate: np.ndarray  # (slot, lane) natural values of the year
    middle: np.ndarray  # (slot, lane) link values of a middling year
    female_share: np.ndarray  # (site, lane)
    bad_left: np.ndarray  # (kind, site, lane) years a bad year still lasts
    struck: np.ndarray  # (kind, site, lane) 1 where it holds this year
    fish: np.ndarray  # (host, lane) of the site at hand
    load: np.ndarray  # (site, host, lane) offered last year
    streak: np.ndarray  # (rule, lane) years a rule has held
    ordered: np.ndarray  # (rule that repeats, model year, lane) 1 where animals come once more
    stopped: np.ndarray  # (row, lane) 1 where releases have ended
    chance: np.ndarray  # (lane,) scratch
    left: np.ndarray  # (lane,) scratch
    share: np.ndarray  # (lane,) scratch
    some: np.ndarray  # (lane,) scratch
    total: np.ndarray  # (lane,) scratch
    factor: np.ndarray  # (lane,) scratch
    space: Space  # scratch of the samplers


def make_work(plan: Plan, lanes: int) -> Work:
    """Scratch for blocks of so many replicates, one after the other."""
    origins, sites, classes = plan.life.survive_address.shape
    rows = len(plan.releases.release_row)
    entering = len(plan.recruits.recruit_class)
    kinds = len(plan.bad.bad_length)
    hosts = plan.recruits.host_slot.shape[1]
    scratch = [np.zeros(lanes) for _ in range(6)]
    return Work(
        np.zeros(lanes, dtype=np.int64),
        np.zeros(lanes, dtype=np.uint64),
        np.zeros(lanes, dtype=np.uint64),
        np.zeros((origins, sites, classes, lanes)),
        np.zeros((origins, sites, classes, lanes)),
        np.zeros((rows, classes, lanes)),
        np.zeros((sites, entering, lanes)),
        np.zeros((sites, entering, lanes)),
        np.zeros((len(plan.effects.cell_address), lanes)),
        np.zeros((len(plan.effects.slot_kind), lanes)),
        np.zeros((len(plan.effects.slot_kind), lanes)),
        np.zeros((sites, lanes)),
        np.zeros((kinds, sites, lanes)),
        np.zeros((kinds, sites, lanes)),
        np.zeros((hosts, lanes)),
        np.zeros((sites, hosts, lanes)),
        np.zeros((len(plan.until.until_rule), lanes), dtype=np.int64),
        np.zeros((int((plan.until.until_rule[:, 3] >= 0).sum()), plan.switches[3], lanes),
                 dtype=np.int64),
        np.zeros((rows, lanes), dtype=np.int64),
        *scratch,
        make_space(),
    )

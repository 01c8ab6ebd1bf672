"""Scratch arrays of one thread; nothing is allocated inside the year loop."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np

from pva.model.record import Plan


class Work(NamedTuple):
    """State and scratch of one replicate; counts are floats that hold whole numbers."""

    n: np.ndarray  # (origin, site, class) animals
    grown: np.ndarray  # (origin, site, class) animals after survival, growth or movement
    released: np.ndarray  # (row, class) this year's releases
    recruits: np.ndarray  # (site, recruit class)
    arriving: np.ndarray  # (site, recruit class)
    cell: np.ndarray  # (cell,) standard normals of the year
    rate: np.ndarray  # (slot,) natural values of the year
    bad_left: np.ndarray  # (kind, site) years a bad year still lasts
    bad_survival: np.ndarray  # (site, class) product of multipliers
    bad_recruitment: np.ndarray  # (site,)
    bad_hosts: np.ndarray  # (site,)
    load: np.ndarray  # (site, host) offered last year
    streak: np.ndarray  # (rule,) years a stop rule has held
    stopped: np.ndarray  # (row,) 1 where releases have ended


def make_work(plan: Plan) -> Work:
    """Scratch for one thread."""
    origins, sites, classes = plan.life.survive_address.shape
    rows = len(plan.releases.release_site)
    entering = len(plan.recruits.recruit_class)
    kinds = len(plan.bad.bad_length)
    return Work(
        n=np.zeros((origins, sites, classes)),
        grown=np.zeros((origins, sites, classes)),
        released=np.zeros((rows, classes)),
        recruits=np.zeros((sites, entering)),
        arriving=np.zeros((sites, entering)),
        cell=np.zeros(len(plan.effects.cell_address)),
        rate=np.zeros(len(plan.effects.slot_kind)),
        bad_left=np.zeros((kinds, sites), dtype=np.int64),
        bad_survival=np.ones((sites, classes)),
        bad_recruitment=np.ones(sites),
        bad_hosts=np.ones(sites),
        load=np.zeros((sites, plan.recruits.host_slot.shape[1])),
        streak=np.zeros(len(plan.releases.until_row), dtype=np.int64),
        stopped=np.zeros(rows, dtype=np.int64),
    )

"""Blocks of replicates over threads; the same numbers for any number of threads."""

from __future__ import annotations

import os
from collections import deque
from collections.abc import Iterator
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass

import numpy as np

from pva.engine import asked as a
from pva.engine.asked import Asked, Found, handed_out, make_found, nothing_asked
from pva.engine.held import Held
from pva.engine.kernel import simulate_block
from pva.engine.random_numbers import (
    ENVIRONMENT,
    INDIVIDUALS,
    OTHER_INDIVIDUALS,
    replicate_keys,
)
from pva.engine.space import LANES
from pva.engine.work import make_work
from pva.model.record import TALLIES, Draws, Plan

_BLOCK_CELLS = 1 << 21  # numbers of the yearly buffer of one block


@dataclass(frozen=True)
class Block:
    """Simulated replicates, in order.

    Parameters
    ----------
    first : int
        Number of the first replicate over all draws (draw x replicates + replicate).
    draw : ndarray of int, shape (replicate,)
        Counted from the scenario's first draw.
    tallies : ndarray, shape (replicate, census, site, tally)
        No census where something was asked: then nothing else is kept.
    stage_sum : ndarray, shape (census, origin, site, class)
        Animals summed over the block.
    found : Found
        Answers to what was asked.
    """

    first: int
    draw: np.ndarray
    tallies: np.ndarray
    stage_sum: np.ndarray
    found: Found


def default_threads() -> int:
    """Cores this process may use."""
    return len(os.sched_getaffinity(0)) if hasattr(os, "sched_getaffinity") else os.cpu_count() or 1


def block_size(plan: Plan) -> int:
    """Replicates in a block: fixed by the shape of the model, so runs can be repeated."""
    years, sites = plan.switches[3] + 1, plan.life.survive_address.shape[1]
    return int(np.clip(_BLOCK_CELLS // (years * sites * len(TALLIES)), 16, LANES))


def simulate(plan: Plan, draws: Draws, *, seed: int, replicates: int, threads: int | None = None,
             other_individuals: bool = False, same_luck: bool = False, first_replicate: int = 0,
             first_draw: int = 0, size: int | None = None,
             asked: Asked | None = None) -> Iterator[Block]:
    """Simulate every draw `replicates` times, block by block in order.

    Parameters
    ----------
    plan, draws : Plan, Draws
    seed : int
        0 .. 2**64 - 1.
    replicates : int
        Per parameter draw.
    threads : int or None
        None = every core.
    other_individuals : bool
        Same draws and environments, other chances of single animals (for variance shares).
    same_luck : bool
        Every draw meets the luck of the first: draws differ by their rates alone.
    first_replicate : int
        Number of the first replicate of every draw: any replicate can be had by itself.
    first_draw : int
        Number of the first of `draws`, where they are a part of a scenario's.
    size : int or None
        Replicates of a block; None = by the model's shape. Numbers do not depend on it.
    asked : Asked or None
        What is summed up as the years go by, in place of tallies for every replicate; None = the
        tallies.

    Yields
    ------
    Block
    """
    total = len(draws.value) * replicates
    size = min(size or block_size(plan), LANES)
    threads = threads or default_threads()
    layer = OTHER_INDIVIDUALS if other_individuals else INDIVIDUALS
    starts = range(0, total, size)
    idle = deque()  # scratch of finished blocks, used again
    given = Held(plan), Held(draws), Held(asked or nothing_asked())

    def block(first):
        number = np.arange(first, min(first + size, total))
        draw, replicate = number // replicates, number % replicates + first_replicate
        luck = np.zeros_like(draw) if same_luck else draw + first_draw
        scratch = _scratch(idle, plan, len(draw))
        work = scratch.work
        work.draw[:] = draw
        for keys, of in ((work.env_key, ENVIRONMENT), (work.own_key, layer)):
            keys[:] = replicate_keys(seed=seed, layer=of, draw=luck, replicate=replicate)
        done = _block(plan, given, first, draw + first_draw, asked, scratch)
        idle.append(scratch)
        return done

    if threads == 1 or total <= size:
        yield from map(block, starts)
        return
    with ThreadPoolExecutor(threads) as pool:
        waiting = deque()
        for first in starts:
            waiting.append(pool.submit(block, first))
            if len(waiting) > threads + 1:
                yield waiting.popleft().result()
        while waiting:
            yield waiting.popleft().result()


class _Scratch:
    """State of a block, room for two censuses and for answers, one block after the other."""

    def __init__(self, plan, lanes):
        sites = plan.life.survive_address.shape[1]
        self.work = make_work(plan, lanes)
        self.held = Held(self.work)
        self.yearly = np.empty((2, sites, len(TALLIES), lanes))
        self.found, self.held_found, self.counted = None, None, 0

    def room(self, asked, draw, **shape):
        """Room for answers, as compiled code is given it."""
        found = make_found(asked, draw, used=self.found, **shape)
        if found is not self.found:
            if self.found is None or found.count is not self.found.count:
                self.counted = 0
            self.found, self.held_found = found, Held(found)
        if self.counted + len(draw) > a.MOST_COUNTED:
            a.put_away(found)
            self.counted = 0
        self.counted += len(draw)
        return self.held_found


def _scratch(idle, plan, lanes):
    """Scratch that lies idle, if it fits. Threads may ask at once."""
    try:
        found = idle.pop()
    except IndexError:
        found = None
    return found if found and len(found.work.draw) == lanes else _Scratch(plan, lanes)


def _block(plan, given, first, draw, asked, scratch):
    censuses = int(plan.switches[3]) + 1
    origins, sites, classes = plan.life.survive_address.shape
    stage_sum = np.zeros((censuses, origins, sites, classes))
    if asked is None:
        asked = nothing_asked()
        tallies = kept = np.empty((censuses, sites, len(TALLIES), len(draw)))
    else:
        tallies = scratch.yearly
        kept = tallies[:0]
    room = scratch.room(asked, draw, first=first, censuses=censuses, sites=sites)
    simulate_block(*given, scratch.held, room, tallies, stage_sum)
    return Block(first, draw, np.moveaxis(kept, 3, 0), stage_sum, handed_out(scratch.found))

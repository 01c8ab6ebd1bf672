"""When goals begin to hold, replicate by replicate: the engine's own counts, told plainly."""

from __future__ import annotations

import numpy as np

from pva.results.goals import site_groups, yearly
from pva.scenario.resolved import Goal


def success_years(goal: Goal, tallies, places, resolved) -> tuple[np.ndarray, np.ndarray]:
    """First census at which the yearly condition holds, and first from which it holds to the end.

    Returns
    -------
    tuple of ndarray, shape (replicate,)
        Census indices; the number of censuses where it never happens.
    """
    groups, needed = site_groups(goal.where, [s.name for s in resolved.sites])
    good = sum(yearly(goal, tallies, places, sites).astype(int) for sites in groups) >= needed
    censuses = good.shape[1]
    first = np.where(good.any(axis=1), good.argmax(axis=1), censuses)
    bad_from_end = (~good)[:, ::-1]
    lasting = np.where(bad_from_end.any(axis=1), censuses - bad_from_end.argmax(axis=1), 0)
    return first, lasting

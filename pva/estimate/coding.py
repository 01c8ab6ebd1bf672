"""What was seen, as the likelihood takes it: tags heard but not seen have three readings."""

from __future__ import annotations

import numpy as np
import pandas as pd

from pva.estimate.likelihood import ALIVE, DEAD, SHELL, UNSEEN
from pva.field.records import ALIVE as SEEN_ALIVE
from pva.field.records import HEARD, REMOVED
from pva.field.records import SHELL as SEEN_SHELL

NOT_COUNTED, HEARD_ALIVE, HEARD_DEAD = "not counted", "alive", "dead"


def code(steps: pd.DataFrame, reading: str = NOT_COUNTED) -> tuple[np.ndarray, np.ndarray]:
    """Codes of the steps, and which steps the reading keeps.

    A heard-only tag of an animal seen alive later tells nothing new. After the last live sighting
    it is left out (`not counted`), proof of life (`alive`: the upper reading) or proof of death in
    the step before (`dead`: the lower reading; the history ends there).

    Parameters
    ----------
    steps : DataFrame
        With `follow` and `status`, in order.
    reading : {'not counted', 'alive', 'dead'}

    Returns
    -------
    seen : int array (step)
    kept : bool array (step)
    """
    status = steps["status"].fillna("").to_numpy(object)
    follow = steps["follow"].to_numpy()
    seen = np.full(len(steps), UNSEEN)
    alive = (status == SEEN_ALIVE) | (status == REMOVED)
    seen[alive] = ALIVE
    seen[status == SEEN_SHELL] = SHELL
    kept = np.ones(len(steps), bool)
    heard = status == HEARD
    if reading == HEARD_ALIVE:
        seen[heard] = ALIVE
    elif reading == HEARD_DEAD:
        after = heard & ~_alive_later(follow, alive)
        place = np.flatnonzero(after)
        first = place[np.unique(follow[place], return_index=True)[1]]
        for i in first:
            seen[i] = DEAD
            kept[i + 1 :][follow[i + 1 :] == follow[i]] = False
    return seen, kept


def _alive_later(follow, alive) -> np.ndarray:
    """Whether the animal is seen alive at a later step of the same history."""
    later = np.zeros(follow.size, bool)
    coming = False
    for i in range(follow.size - 1, -1, -1):
        if i + 1 < follow.size and follow[i + 1] != follow[i]:
            coming = False
        later[i] = coming
        coming = coming or bool(alive[i])
    return later

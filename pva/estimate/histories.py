"""Building and collapsing histories, array level."""

from __future__ import annotations

import numpy as np

from pva.estimate.likelihood import ALIVE, NONE, Histories

STEP_FIELDS = (
    "years", "survival_row", "release_row", "event_row", "detection_row", "shell_row", "keep",
    "seen",
)
PRECISION = 6  # decimals at which two step lengths are one


def from_table(table, *, years=None, shell_loss: float = 0.0) -> Histories:
    """Histories of a plain table of captures, one row an animal, one column a visit.

    Parameters
    ----------
    table : int array (animal, visit)
        1 seen alive, 0 not seen. Each animal is followed from its first 1.
    years : float array (visit - 1), optional
        Length of each interval; 1 year where left out.
    shell_loss : float
        See `Histories`.

    Returns
    -------
    Histories
        Survival rows are intervals (0 = first to second visit), detection rows are visits
        less one.
    """
    table = np.asarray(table)
    n_visits = table.shape[1]
    years = np.ones(n_visits - 1) if years is None else np.asarray(years, float)
    steps, first = [], [0]
    for row in table:
        begun = int(np.argmax(row))
        for k in range(begun, n_visits - 1):
            steps.append((years[k], k, NONE, NONE, k, NONE, 1.0, ALIVE if row[k + 1] else 0))
        first.append(len(steps))
    return collapse(_pack(steps, first, np.ones(len(table)), shell_loss))


def _pack(steps, first, count, shell_loss) -> Histories:
    columns = list(zip(*steps, strict=True)) if steps else [()] * len(STEP_FIELDS)
    arrays = {
        name: np.array(column, float if name in ("years", "keep") else np.int64)
        for name, column in zip(STEP_FIELDS, columns, strict=True)
    }
    return Histories(
        first=np.array(first, np.int64), count=np.asarray(count, float),
        shell_loss=float(shell_loss), **arrays,
    )


def pack(histories, *, shell_loss: float = 0.0) -> Histories:
    """Histories from a list, one entry an animal, each a list of steps.

    Parameters
    ----------
    histories : list of list of tuple
        A step is (years, survival_row, release_row, event_row, detection_row, shell_row,
        keep, seen).
    shell_loss : float
        See `Histories`.
    """
    steps, first = [], [0]
    for one in histories:
        steps.extend(one)
        first.append(len(steps))
    return collapse(_pack(steps, first, np.ones(len(histories)), shell_loss))


def from_steps(follow, years, rows, keep, seen, *, shell_loss: float = 0.0) -> Histories:
    """Histories from columns of steps in order.

    Parameters
    ----------
    follow : int array (step)
        Number of the history; steps of one history lie together.
    years, keep : float array (step)
    rows : dict of str to int array (step)
        Rows of survival, release, event, detection and shell.
    seen : int array (step)
    shell_loss : float
        See `Histories`.
    """
    follow = np.asarray(follow)
    first = np.flatnonzero(np.concatenate([[True], follow[1:] != follow[:-1]]))
    named = {f"{kind}_row": np.asarray(r, np.int64) for kind, r in rows.items()}
    return collapse(Histories(
        first=np.append(first, follow.size).astype(np.int64), years=np.asarray(years, float),
        keep=np.asarray(keep, float), seen=np.asarray(seen, np.int64),
        count=np.ones(first.size), shell_loss=float(shell_loss), **named,
    ))


def collapse(h: Histories) -> Histories:
    """Join identical histories, adding their counts; those without steps are dropped."""
    step = np.column_stack([np.round(getattr(h, name), PRECISION) for name in STEP_FIELDS])
    groups: dict[bytes, list] = {}
    for i in range(h.count.size):
        rows = step[h.first[i] : h.first[i + 1]]
        if len(rows):
            groups.setdefault(rows.tobytes(), [rows, 0.0])[1] += h.count[i]
    kept = list(groups.values())
    joined = np.concatenate([rows for rows, _ in kept]) if kept else np.empty((0, step.shape[1]))
    first = np.concatenate([[0], np.cumsum([len(rows) for rows, _ in kept])]).astype(np.int64)
    arrays = {
        name: joined[:, c].astype(getattr(h, name).dtype) for c, name in enumerate(STEP_FIELDS)
    }
    return Histories(first=first, count=np.array([n for _, n in kept]),
                     shell_loss=h.shell_loss, **arrays)

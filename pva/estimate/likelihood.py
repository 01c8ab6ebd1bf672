"""Likelihood of recapture histories and its exact gradient: arrays only, no labels.

A history begins at a release (or first capture) and is a chain of steps, one from each visit to the
next. An animal is alive, newly dead, dead since an earlier step, or lost from view because its tag
was shed. The likelihood is conditional on the release; what follows the last step is not looked at,
so an animal that was removed alive simply ends there.

References
----------
Conditioning on the release: Cormack 1964, Biometrika 51:429-438, and Jolly 1965, Biometrika
52:225-247 (from memory). Joint live and dead encounters: Burnham 1993 (from memory).
"""

from __future__ import annotations

from typing import NamedTuple

import numba as nb
import numpy as np

UNSEEN, ALIVE, SHELL, DEAD = 0, 1, 2, 3
NONE = -1  # no visit, no release, no search for shells at this step


class Histories(NamedTuple):
    """Recapture histories as plain arrays; steps of all histories lie end to end.

    Parameters
    ----------
    first : int array (history + 1)
        Where the steps of each history begin; the last entry closes the last history.
    years : float array (step)
        Length of the step in years.
    survival_row, release_row, event_row, detection_row, shell_row : int array (step)
        Row of the design that holds; `NONE` where there is no release, bad year, visit or search
        for shells. Release and bad-year survival multiply the step once, whatever its length.
    keep : float array (step)
        Chance that at least one tag is kept over the step, given one at its start.
    seen : int array (step)
        At the end of the step: `UNSEEN`, `ALIVE`, `SHELL` (found dead) or `DEAD` (taken as dead in
        this step without a shell: the lower coding of heard-only tags). Steps after `SHELL` and
        `DEAD` do not exist.
    count : float array (history)
        Animals that share the history.
    old_shells : float
        Findability of a shell after its first visit, relative to that visit: 1 shells last,
        0 only fresh shells are found.
    """

    first: np.ndarray
    years: np.ndarray
    survival_row: np.ndarray
    release_row: np.ndarray
    event_row: np.ndarray
    detection_row: np.ndarray
    shell_row: np.ndarray
    keep: np.ndarray
    seen: np.ndarray
    count: np.ndarray
    old_shells: float = 1.0


@nb.njit(cache=True, fastmath=False)
def loglik_and_gradient(h, survival, release, event, detection, shell):
    """Log likelihood and its derivatives with respect to the rates of each row.

    Parameters
    ----------
    h : Histories
    survival, release, event, detection, shell : float array (row)
        Annual survival, release survival, survival of a bad year relative to an ordinary one,
        chance of being seen if alive, chance that a shell is found; each in (0, 1).

    Returns
    -------
    loglik : float
        -inf where a history is impossible.
    d_survival, d_release, d_event, d_detection, d_shell : float array (row)
    """
    d_survival, d_release = np.zeros_like(survival), np.zeros_like(release)
    d_event = np.zeros_like(event)
    d_detection, d_shell = np.zeros_like(detection), np.zeros_like(shell)
    n_histories = h.count.size
    longest = 0
    for i in range(n_histories):
        longest = max(longest, h.first[i + 1] - h.first[i])
    forward = np.zeros((longest + 1, 4))
    live = np.zeros(longest)
    shown = np.zeros((longest, 4))
    total = 0.0
    for i in range(n_histories):
        start, steps = h.first[i], h.first[i + 1] - h.first[i]
        total += h.count[i] * _forward(h, start, steps, survival, release, event, detection,
                                       shell, forward, live, shown)
        if total == -np.inf:
            break
        _backward(h, start, steps, h.count[i], survival, release, event, forward, live, shown,
                  d_survival, d_release, d_event, d_detection, d_shell)
    return total, d_survival, d_release, d_event, d_detection, d_shell


@nb.njit(cache=True)
def _forward(h, start, steps, survival, release, event, detection, shell, forward, live, shown):
    """Scaled chances of each state after each step; returns the log likelihood of the history."""
    forward[0, 0], forward[0, 1], forward[0, 2], forward[0, 3] = 1.0, 0.0, 0.0, 0.0
    loglik = 0.0
    for k in range(steps):
        j = start + k
        s = survival[h.survival_row[j]] ** h.years[j]
        if h.release_row[j] != NONE:
            s *= release[h.release_row[j]]
        if h.event_row[j] != NONE:
            s *= event[h.event_row[j]]
        live[k] = s
        p = detection[h.detection_row[j]] if h.detection_row[j] != NONE else 0.0
        f = shell[h.shell_row[j]] if h.shell_row[j] != NONE else 0.0
        _emission(shown, k, h.seen[j], p, f, h.old_shells)
        a, keep = forward[k, 0], h.keep[j]
        forward[k + 1, 0] = a * s * keep * shown[k, 0]
        forward[k + 1, 1] = a * (1.0 - s) * keep * shown[k, 1]
        forward[k + 1, 2] = (forward[k, 1] + forward[k, 2]) * shown[k, 2]
        forward[k + 1, 3] = (forward[k, 3] + a * (1.0 - keep)) * shown[k, 3]
        scale = forward[k + 1].sum()
        if not scale > 0.0:
            return -np.inf
        forward[k + 1] /= scale
        loglik += np.log(scale)
    return loglik


@nb.njit(cache=True)
def _emission(shown, k, seen, p, f, old):
    """Chance of what was seen, given alive, newly dead, long dead, tag shed."""
    if seen == UNSEEN:
        shown[k, 0], shown[k, 1], shown[k, 2], shown[k, 3] = 1.0 - p, 1.0 - f, 1.0 - f * old, 1.0
    elif seen == ALIVE:
        shown[k, 0], shown[k, 1], shown[k, 2], shown[k, 3] = p, 0.0, 0.0, 0.0
    elif seen == SHELL:
        shown[k, 0], shown[k, 1], shown[k, 2], shown[k, 3] = 0.0, f, f * old, 0.0
    else:
        shown[k, 0], shown[k, 1], shown[k, 2], shown[k, 3] = 0.0, 1.0, 0.0, 0.0


@nb.njit(cache=True)
def _backward(h, start, steps, count, survival, release, event, forward, live, shown,
              d_survival, d_release, d_event, d_detection, d_shell):
    """Add the derivatives of the log likelihood of one history to the rows."""
    ba, bn, bo, bl = 1.0, 1.0, 1.0, 1.0
    for k in range(steps - 1, -1, -1):
        j = start + k
        s, keep, a = live[k], h.keep[j], forward[k, 0]
        dead = forward[k, 1] + forward[k, 2]
        ea, en, eo, el = shown[k, 0] * ba, shown[k, 1] * bn, shown[k, 2] * bo, shown[k, 3] * bl
        lost = forward[k, 3] + a * (1.0 - keep)
        whole = a * keep * (s * ea + (1.0 - s) * en) + dead * eo + lost * el
        weight = count / whole
        d_live = weight * a * keep * (ea - en)
        row = h.survival_row[j]
        d_survival[row] += d_live * s * h.years[j] / survival[row]
        if h.release_row[j] != NONE:
            d_release[h.release_row[j]] += d_live * s / release[h.release_row[j]]
        if h.event_row[j] != NONE:
            d_event[h.event_row[j]] += d_live * s / event[h.event_row[j]]
        if h.detection_row[j] != NONE:
            if h.seen[j] == UNSEEN:
                d_detection[h.detection_row[j]] -= weight * a * s * keep * ba
            elif h.seen[j] == ALIVE:
                d_detection[h.detection_row[j]] += weight * a * s * keep * ba
        if h.shell_row[j] != NONE:
            change = a * (1.0 - s) * keep * bn + h.old_shells * dead * bo
            if h.seen[j] == UNSEEN:
                d_shell[h.shell_row[j]] -= weight * change
            elif h.seen[j] == SHELL:
                d_shell[h.shell_row[j]] += weight * change
        ba = keep * (s * ea + (1.0 - s) * en) + (1.0 - keep) * el
        bn, bo, bl = eo, eo, el
        scale = ba + bn + bo + bl
        ba, bn, bo, bl = ba / scale, bn / scale, bo / scale, bl / scale

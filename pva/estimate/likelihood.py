"""Likelihood of recapture histories and its exact gradient: arrays only, no labels.

A history begins at a release (or first capture) and is a chain of steps, one from each visit to the
next. An animal is alive, dead with its shell in the bed, or lost from view because its tag was shed
or its shell is gone. Those that do not get over their release die at its beginning, others evenly
over the step, which matters for shells. The likelihood is conditional on the release; what follows
the last step is not looked at, so an animal that was removed alive simply ends there.

References
----------
Conditioning on the release: Cormack 1964, Biometrika 51:429-438, and Jolly 1965, Biometrika
52:225-247 (from memory). Joint live and dead encounters: Burnham 1993 (from memory).
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np

from pva.compiled import kept, part

UNSEEN, ALIVE, SHELL, DEAD = 0, 1, 2, 3
SMALL = 1e-200
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
    shell_loss : float
        Rate (per year) at which shells leave the bed; 0 where they last.
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
    shell_loss: float = 0.0


@kept()
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
    forward = np.zeros((longest + 1, 3))
    step = np.zeros((longest, 8))
    total = 0.0
    for i in range(n_histories):
        start, steps = h.first[i], h.first[i + 1] - h.first[i]
        total += h.count[i] * _forward(h, start, steps, survival, release, event, detection,
                                       shell, forward, step)
        if total == -np.inf:
            break
        _backward(h, start, steps, h.count[i], survival, release, event, forward, step,
                  d_survival, d_release, d_event, d_detection, d_shell)
    return total, d_survival, d_release, d_event, d_detection, d_shell


@part()
def _forward(h, start, steps, survival, release, event, detection, shell, forward, step):
    """Scaled chances of each state after each step; returns the log likelihood of the history.

    `step` keeps for each step: survival without release, release survival; chance that a shell is
    still there at its end if the animal died during it, with its release, before it; and the
    chance of what was seen given alive, dead with a shell, lost from view.
    """
    forward[0, 0], forward[0, 1], forward[0, 2] = 1.0, 0.0, 0.0
    loglik, product = 0.0, 1.0
    alive, dead, lost = 1.0, 0.0, 0.0
    for k in range(steps):
        j = start + k
        s, years = survival[h.survival_row[j]], h.years[j]
        if years != 1.0:
            s **= years
        if h.event_row[j] != NONE:
            s *= event[h.event_row[j]]
        r = release[h.release_row[j]] if h.release_row[j] != NONE else 1.0
        p = detection[h.detection_row[j]] if h.detection_row[j] != NONE else 0.0
        f = shell[h.shell_row[j]] if h.shell_row[j] != NONE else 0.0
        step[k, 0], step[k, 1] = s, r
        _shells_and_sight(step, k, h.shell_loss * years, h.seen[j], p, f)
        there = alive * h.keep[j]
        died, failed = there * r * (1.0 - s), there * (1.0 - r)
        shells = died * step[k, 2] + failed * step[k, 3] + dead * step[k, 4]
        gone = died + failed + dead - shells
        lost = (lost + alive - there + gone) * step[k, 7]
        alive = there * r * s * step[k, 5]
        dead = shells * step[k, 6]
        scale = alive + dead + lost
        if not scale > 0.0:
            return -np.inf
        alive, dead, lost = alive / scale, dead / scale, lost / scale
        forward[k + 1, 0], forward[k + 1, 1], forward[k + 1, 2] = alive, dead, lost
        product *= scale
        if product < SMALL:  # a logarithm for every step would cost as much as the rest
            loglik += np.log(product)
            product = 1.0
    return loglik + np.log(product)


@part()
def _shells_and_sight(step, k, loss, seen, p, f):
    """Shells that last over the step, and the chance of what was seen in each state."""
    step[k, 2] = step[k, 3] = step[k, 4] = 1.0
    if loss > 1e-9:
        lasts = np.exp(-loss)
        step[k, 2] = (1.0 - lasts) / loss
        step[k, 3] = step[k, 4] = lasts
    if seen == UNSEEN:
        step[k, 5], step[k, 6], step[k, 7] = 1.0 - p, 1.0 - f, 1.0
    elif seen == ALIVE:
        step[k, 5], step[k, 6], step[k, 7] = p, 0.0, 0.0
    elif seen == SHELL:
        step[k, 5], step[k, 6], step[k, 7] = 0.0, f, 0.0
    else:  # died in this very step, with or without a shell
        step[k, 2], step[k, 3], step[k, 4] = 1.0, 1.0, 0.0
        step[k, 5], step[k, 6], step[k, 7] = 0.0, 1.0, 0.0


@part()
def _backward(h, start, steps, count, survival, release, event, forward, step,
              d_survival, d_release, d_event, d_detection, d_shell):
    """Add the derivatives of the log likelihood of one history to the rows."""
    ba, bd, bl = 1.0, 1.0, 1.0
    for k in range(steps - 1, -1, -1):
        j = start + k
        s, r, keep = step[k, 0], step[k, 1], h.keep[j]
        a, dead = forward[k, 0], forward[k, 1]
        ea, ed, el = step[k, 5] * ba, step[k, 6] * bd, step[k, 7] * bl
        if_dies = el + step[k, 2] * (ed - el)
        if_lost = el + step[k, 3] * (ed - el)
        if_dead = el + step[k, 4] * (ed - el)
        stays = s * ea + (1.0 - s) * if_dies
        from_alive = keep * (r * stays + (1.0 - r) * if_lost) + (1.0 - keep) * el
        weight = count / (a * from_alive + dead * if_dead + forward[k, 2] * el)
        d_live = weight * a * keep * r * (ea - if_dies) * s
        row = h.survival_row[j]
        d_survival[row] += d_live * h.years[j] / survival[row]
        if h.release_row[j] != NONE:
            d_release[h.release_row[j]] += weight * a * keep * (stays - if_lost)
        if h.event_row[j] != NONE:
            d_event[h.event_row[j]] += d_live / event[h.event_row[j]]
        if h.detection_row[j] != NONE and (h.seen[j] == UNSEEN or h.seen[j] == ALIVE):
            sign = 1.0 if h.seen[j] == ALIVE else -1.0
            d_detection[h.detection_row[j]] += sign * weight * a * keep * r * s * ba
        if h.shell_row[j] != NONE and (h.seen[j] == UNSEEN or h.seen[j] == SHELL):
            sign = 1.0 if h.seen[j] == SHELL else -1.0
            new = a * keep * (r * (1.0 - s) * step[k, 2] + (1.0 - r) * step[k, 3])
            d_shell[h.shell_row[j]] += sign * weight * (new + dead * step[k, 4]) * bd
        ba, bd, bl = from_alive, if_dead, el
        scale = ba + bd + bl
        ba, bd, bl = ba / scale, bd / scale, bl / scale

"""Likelihood of live and dead encounters together, for animals that may leave the site for good.

As `pva.estimate.likelihood`, with one state more: alive away from the site. An animal that has left
does not come back and is never seen alive again, but its shell may be found like any other: shells
are looked for, or reported by people, wherever they lie. That is what tells leaving from dying.
A `shell_loss` of infinity means that a shell is found in the step of its death or never (its date
of death is known, or only fresh shells are taken).

References
----------
Burnham 1993, A theory for combined analysis of ring recovery and recapture data (from memory).
"""

from __future__ import annotations

import numpy as np

from pva.compiled import kept, part
from pva.estimate.likelihood import ALIVE, DEAD, NONE, SHELL, UNSEEN


@kept()
def joint_loglik_and_gradient(h, survival, release, event, detection, shell, staying):
    """Log likelihood and its derivatives with respect to the rates of each row.

    Parameters
    ----------
    h : Histories
    survival, release, event, detection, shell : float array (row)
        As in `pva.estimate.likelihood.loglik_and_gradient`.
    staying : float array (1 or 0)
        Chance that a living animal does not leave the site within a year; empty: none leaves.

    Returns
    -------
    loglik : float
        -inf where a history is impossible.
    d_survival, d_release, d_event, d_detection, d_shell, d_staying : float array (row)
    """
    d_survival, d_release = np.zeros_like(survival), np.zeros_like(release)
    d_event, d_staying = np.zeros_like(event), np.zeros_like(staying)
    d_detection, d_shell = np.zeros_like(detection), np.zeros_like(shell)
    stays = staying[0] if staying.size else 1.0
    longest = 0
    for i in range(h.count.size):
        longest = max(longest, h.first[i + 1] - h.first[i])
    forward = np.zeros((longest + 1, 4))
    step = np.zeros((longest, 9))
    total = 0.0
    for i in range(h.count.size):
        start, steps = h.first[i], h.first[i + 1] - h.first[i]
        total += h.count[i] * _forward(h, start, steps, survival, release, event, detection, shell,
                                       stays, forward, step)
        if total == -np.inf:
            break
        d_stays = _backward(h, start, steps, h.count[i], survival, event, stays, forward, step,
                            d_survival, d_release, d_event, d_detection, d_shell)
        if staying.size:
            d_staying[0] += d_stays
    return total, d_survival, d_release, d_event, d_detection, d_shell, d_staying


@part()
def _forward(h, start, steps, survival, release, event, detection, shell, stays, forward, step):
    """Scaled chances of each state (here, away, shell, lost) after each step; log likelihood.

    `step` keeps for each step: survival without release, release survival, chance of staying;
    shells that last (died in the step, with the release, before it); chance of what was seen given
    alive here, dead with a shell, lost from view or away.
    """
    forward[0, 0], forward[0, 1], forward[0, 2], forward[0, 3] = 1.0, 0.0, 0.0, 0.0
    loglik = 0.0
    for k in range(steps):
        j = start + k
        s = survival[h.survival_row[j]] ** h.years[j]
        if h.event_row[j] != NONE:
            s *= event[h.event_row[j]]
        r = release[h.release_row[j]] if h.release_row[j] != NONE else 1.0
        p = detection[h.detection_row[j]] if h.detection_row[j] != NONE else 0.0
        f = shell[h.shell_row[j]] if h.shell_row[j] != NONE else 0.0
        here, keep = stays ** h.years[j], h.keep[j]
        step[k, 0], step[k, 1], step[k, 2] = s, r, here
        _shells_and_sight(step[k], h.shell_loss * h.years[j], h.seen[j], p, f)
        a, away, dead = forward[k, 0], forward[k, 1], forward[k, 2]
        died, lost = (a * r + away) * keep * (1.0 - s), a * keep * (1.0 - r)
        shells = died * step[k, 3] + lost * step[k, 4] + dead * step[k, 5]
        gone = died + lost + dead - shells
        gone_from_view = (a + away) * (1.0 - keep) + gone
        forward[k + 1, 0] = a * keep * r * s * here * step[k, 6]
        forward[k + 1, 1] = (a * r * (1.0 - here) + away) * keep * s * step[k, 8]
        forward[k + 1, 2] = shells * step[k, 7]
        forward[k + 1, 3] = (forward[k, 3] + gone_from_view) * step[k, 8]
        scale = forward[k + 1, 0] + forward[k + 1, 1] + forward[k + 1, 2] + forward[k + 1, 3]
        if not scale > 0.0:
            return -np.inf
        for state in range(4):  # whole rows would double the time of compiling
            forward[k + 1, state] /= scale
        loglik += np.log(scale)
    return loglik


@part()
def _shells_and_sight(step, loss, seen, p, f):
    """Shells that last over the step, and the chance of what was seen in each state."""
    if seen == DEAD or loss == np.inf:
        step[3], step[4], step[5] = 1.0, 1.0, 0.0
    else:
        step[3] = (1.0 - np.exp(-loss)) / loss if loss > 1e-9 else 1.0
        step[4] = step[5] = np.exp(-loss)
    if seen == UNSEEN:
        step[6], step[7], step[8] = 1.0 - p, 1.0 - f, 1.0
    elif seen == ALIVE:
        step[6], step[7], step[8] = p, 0.0, 0.0
    elif seen == SHELL:
        step[6], step[7], step[8] = 0.0, f, 0.0
    else:
        step[6], step[7], step[8] = 0.0, 1.0, 0.0


@part()
def _backward(h, start, steps, count, survival, event, stays, forward, step,
              d_survival, d_release, d_event, d_detection, d_shell):
    """Add the derivatives of one history to the rows; returns that of the chance of staying."""
    bh, ba, bd, bl = 1.0, 1.0, 1.0, 1.0
    d_stays = 0.0
    for k in range(steps - 1, -1, -1):
        j = start + k
        s, r, here, keep = step[k, 0], step[k, 1], step[k, 2], h.keep[j]
        a, away, dead = forward[k, 0], forward[k, 1], forward[k, 2]
        eh, ea, ed, el = step[k, 6] * bh, step[k, 8] * ba, step[k, 7] * bd, step[k, 8] * bl
        if_dies = el + step[k, 3] * (ed - el)
        if_lost = el + step[k, 4] * (ed - el)
        if_dead = el + step[k, 5] * (ed - el)
        if_lives = here * eh + (1.0 - here) * ea
        over = s * if_lives + (1.0 - s) * if_dies
        from_here = keep * (r * over + (1.0 - r) * if_lost) + (1.0 - keep) * el
        from_away = keep * (s * ea + (1.0 - s) * if_dies) + (1.0 - keep) * el
        weight = count / (a * from_here + away * from_away + dead * if_dead + forward[k, 3] * el)
        d_live = weight * keep * s * (a * r * (if_lives - if_dies) + away * (ea - if_dies))
        row = h.survival_row[j]
        d_survival[row] += d_live * h.years[j] / survival[row]
        d_stays += weight * a * keep * r * s * (eh - ea) * here * h.years[j] / stays
        if h.release_row[j] != NONE:
            d_release[h.release_row[j]] += weight * a * keep * (over - if_lost)
        if h.event_row[j] != NONE:
            d_event[h.event_row[j]] += d_live / event[h.event_row[j]]
        if h.detection_row[j] != NONE and (h.seen[j] == UNSEEN or h.seen[j] == ALIVE):
            sign = 1.0 if h.seen[j] == ALIVE else -1.0
            d_detection[h.detection_row[j]] += sign * weight * a * keep * r * s * here * bh
        if h.shell_row[j] != NONE and (h.seen[j] == UNSEEN or h.seen[j] == SHELL):
            sign = 1.0 if h.seen[j] == SHELL else -1.0
            new = keep * ((a * r + away) * (1.0 - s) * step[k, 3] + a * (1.0 - r) * step[k, 4])
            d_shell[h.shell_row[j]] += sign * weight * (new + dead * step[k, 5]) * bd
        bh, ba, bd, bl = from_here, from_away, if_dead, el
        scale = bh + ba + bd + bl
        bh, ba, bd, bl = bh / scale, ba / scale, bd / scale, bl / scale
    return d_stays

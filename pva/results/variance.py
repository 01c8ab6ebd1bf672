"""How much of an outcome's variance is not knowing, years, and single animals.

Every replicate is run twice with the same draw and environment but other chances of single animals.
Within a draw the covariance of such a pair is the part of years; the rest of the variance within a
draw is that of individuals; the variance of draw means beyond their own noise is not knowing.
"""

from __future__ import annotations

import numpy as np

MOST_REPLICATES = 20_000


def variance_parts(first: np.ndarray, second: np.ndarray) -> dict[str, float | None]:
    """Shares of variance of one outcome.

    Parameters
    ----------
    first, second : ndarray, shape (draw, replicate)
        The outcome in both members of every pair; at least two replicates.

    Returns
    -------
    dict
        ``unknown``, ``years``, ``individuals``: shares that sum to 1, or None where the outcome
        never varies or one replicate a draw cannot tell.
    """
    draws, replicates = first.shape
    nothing = dict.fromkeys(("unknown", "years", "individuals"))
    if replicates < 2:
        return nothing
    a = first - first.mean(axis=1, keepdims=True)
    b = second - second.mean(axis=1, keepdims=True)
    free = draws * (replicates - 1)
    years = float((a * b).sum() / free)
    within = float(((a**2).sum() + (b**2).sum()) / (2 * free))
    unknown = 0.0
    if draws > 1:
        # covariance of the two means: individual noise drops out, noise of years is taken off
        unknown = float(np.cov(first.mean(axis=1), second.mean(axis=1))[0, 1] - years / replicates)
    parts = {"unknown": max(unknown, 0.0), "years": max(years, 0.0),
             "individuals": max(within - years, 0.0)}
    total = sum(parts.values())
    return {k: v / total for k, v in parts.items()} if total > 0 else nothing

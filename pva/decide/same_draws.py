"""Two scenarios with the same estimates, brought to draw them together.

Estimates that belong together are drawn jointly, and the root of their covariance depends on which
of them a scenario uses. A baseline without releases uses one fewer, and so its survival would be
drawn differently from that of the plan: what is not known of the rates would no longer cancel.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from pva.scenario.resolved import JointCovariance, Resolved

NOT_ALIKE = ("the two take estimates of the same name from different doubts, so what is not known "
             "of these rates does not cancel in the difference")


def drawn_together(pair: Sequence[Resolved]) -> tuple[tuple[Resolved, ...], tuple[str, ...]]:
    """Both scenarios with one joint covariance, and warnings.

    Between estimates that only one of them uses nothing is stated; they are taken as independent,
    given those that both use. What either scenario draws keeps its own distribution.
    """
    first, second = (one.covariance for one in pair)
    if first is None or second is None or not set(first.keys) & set(second.keys):
        return tuple(pair), ()
    joint = joined(first, second)
    if joint is None:
        return tuple(pair), (NOT_ALIKE,)
    return tuple(replace(one, covariance=joint) for one in pair), ()


def joined(first: JointCovariance, second: JointCovariance) -> JointCovariance | None:
    """Covariance of the keys of both, None where they differ over those they share."""
    shared = [k for k in first.keys if k in second.keys]
    here, there = ([one.keys.index(k) for k in shared] for one in (first, second))
    known = first.matrix[np.ix_(here, here)]
    if not np.allclose(known, second.matrix[np.ix_(there, there)], rtol=1e-9, atol=1e-12):
        return None
    more = [i for i, k in enumerate(second.keys) if k not in shared]
    if not more:
        return first
    size = len(first.keys)
    matrix = np.zeros((size + len(more),) * 2)
    matrix[:size, :size] = first.matrix
    matrix[size:, size:] = second.matrix[np.ix_(more, more)]
    slopes = np.linalg.pinv(known, hermitian=True) @ second.matrix[np.ix_(there, more)]
    matrix[:size, size:] = first.matrix[:, here] @ slopes
    matrix[size:, :size] = matrix[:size, size:].T
    return JointCovariance((*first.keys, *(second.keys[i] for i in more)), matrix)

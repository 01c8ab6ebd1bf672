"""Where a projection matrix leads: growth rate, stable stages, reproductive values.

Matrices are (to, from). They need not be connected: the class of stages that grows fastest decides.
"""

from __future__ import annotations

import numpy as np

TIE = 1e-9
"""Relative distance below which two eigenvalues count as one."""


def growth_rate(matrix: np.ndarray) -> float:
    """Largest eigenvalue of a non-negative matrix, (to, from); 0 if every lineage ends."""
    size = float(np.abs(np.linalg.eigvals(matrix)).max())
    return 0.0 if not _reaches(matrix).diagonal().any() else size


def stable_stages(matrix: np.ndarray) -> np.ndarray:
    """Shares of stages, (stage,), sum 1, that `matrix` (to, from) leaves unchanged.

    Where several classes of stages grow equally fast, the shares reached from equal numbers; all 0
    where every lineage ends.
    """
    if growth_rate(matrix) == 0:
        return np.zeros(len(matrix))
    direction = _dominant_direction(np.asarray(matrix, float))
    return direction / direction.sum()


def reproductive_values(matrix: np.ndarray) -> np.ndarray:
    """Worth of an animal of each stage, (stage,); the first stage with any worth = 1."""
    direction = _dominant_direction(np.asarray(matrix, float).T)
    return direction / direction[np.flatnonzero(direction)[0]]


def entry_sensitivities(stable: np.ndarray, reproductive: np.ndarray) -> np.ndarray | None:
    """Change of the growth rate per unit of each entry, (to, from).

    None where two classes that feed each other grow equally fast: the derivative is infinite.
    """
    worth = float(reproductive @ stable)
    if worth <= TIE * reproductive.max() * stable.max():
        return None
    return np.outer(reproductive, stable) / worth


def next_eigenvalue(matrix: np.ndarray) -> tuple[float | None, tuple[float, float] | None]:
    """Damping ratio and next eigenvalue (real, non-negative imaginary); None if there is none."""
    values = np.linalg.eigvals(matrix)
    growth = np.abs(values).max()
    rest = np.delete(values, np.argmin(np.abs(values - growth)))
    if not len(rest) or np.abs(rest).max() <= 1e-12:
        return None, None
    second = rest[np.argmax(np.abs(rest))]
    return float(growth / abs(second)), (float(second.real), float(abs(second.imag)))


def _reaches(matrix: np.ndarray) -> np.ndarray:
    """Whether a lineage can get from stage (column) to stage (row) in one year or more."""
    reach = np.asarray(matrix) > 0
    for _ in range(max(1, int(np.ceil(np.log2(len(reach) + 1))))):
        reach = reach | (reach @ reach)
    return reach


def _dominant_direction(matrix: np.ndarray) -> np.ndarray:
    """Non-negative eigenvector of the growth rate; of ties, the one reached from equal numbers."""
    values, vectors = np.linalg.eig(matrix)
    growth = np.abs(values).max()
    ties = np.flatnonzero(np.abs(values - growth) <= TIE * growth)
    if len(ties) == 1:
        return np.where(
            _fed_by_dominant_class(matrix, growth), np.abs(vectors[:, ties[0]].real), 0.0
        )
    power = matrix / growth + np.eye(len(matrix))
    for _ in range(60):  # repeated squaring ends on the eigenvector even where ties feed each other
        power = power @ power
        power /= power.max()
    direction = power.sum(axis=1)
    return np.where(direction > 1e-12 * direction.max(), direction, 0.0)


def _fed_by_dominant_class(matrix: np.ndarray, growth: float) -> np.ndarray:
    """Stages in or downstream of the class that sets the growth rate, (stage,).

    Numerical noise in the others must not pass for a small number.
    """
    reach = _reaches(matrix) | np.eye(len(matrix), dtype=bool)
    mutual = reach & reach.T
    best, stages = np.inf, np.ones(len(matrix), bool)
    for row in np.unique(mutual, axis=0):
        own = np.abs(np.linalg.eigvals(matrix[np.ix_(row, row)])).max()
        if abs(own - growth) < best:
            best, stages = abs(own - growth), row
    return reach[:, stages].any(axis=1)

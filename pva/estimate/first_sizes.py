"""How the true first sizes of measured animals are spread, estimated together with their growth.

Animals of one release batch begin at much the same size: one hump each. Animals first met in the
river may have any size: a free shape.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

DEGREE = 7  # of a free log density; 5 was too stiff for sizes cut off sharply
RIDGE = 1e-3  # weak pull of a free shape towards an even spread
HUMP_PULL = 0.25  # weak pull of the log width of a hump (mm) towards 1 mm, SD 2


@dataclass(frozen=True)
class FirstSizes:
    """Shapes of the groups on a grid of first size over the mean asymptote.

    Parameters
    ----------
    humps : bool array (group)
        Groups that begin at much the same size.
    share : float array (node)
        The grid.
    narrowest_mm : float
        Least width (SD) of a hump that the grid can hold.
    """

    humps: np.ndarray
    share: np.ndarray
    narrowest_mm: float

    @property
    def basis(self) -> np.ndarray:
        """Polynomials of the free shapes (node, degree)."""
        even = np.linspace(-1, 1, self.share.size)
        return np.polynomial.chebyshev.chebvander(even, DEGREE)[:, 1:]

    @property
    def places(self) -> list[slice]:
        """Where the parameters of each group stand."""
        sizes = np.where(self.humps, 2, DEGREE)
        ends = np.cumsum(sizes)
        return [slice(int(e - n), int(e)) for e, n in zip(ends, sizes, strict=True)]

    def start(self, first_mm: np.ndarray, group: np.ndarray) -> np.ndarray:
        """Where to begin: each hump at the mean measured first length of its group."""
        theta = np.zeros(self.places[-1].stop)
        for g, place in enumerate(self.places):
            if self.humps[g]:
                own = first_mm[group == g]
                theta[place] = (own.mean(), 0.0) if own.size else (30.0, 0.0)
        return theta

    def log_weights(self, theta: np.ndarray, asymptote: float) -> np.ndarray:
        """Log weights (group, node)."""
        basis = self.basis
        log = np.empty((self.humps.size, self.share.size))
        for g, place in enumerate(self.places):
            if self.humps[g]:
                off, width = self._hump(theta[place], asymptote)
                log[g] = -0.5 * (off / width) ** 2
            else:
                log[g] = basis @ theta[place]
        top = log.max(axis=1, keepdims=True)
        return log - top - np.log(np.exp(log - top).sum(axis=1, keepdims=True))

    def _hump(self, theta, asymptote):
        width = np.sqrt(np.exp(2 * np.clip(theta[1], -5, 5)) + self.narrowest_mm**2)
        return self.share * asymptote - theta[0], width

    def gradient(self, theta, asymptote: float, excess: np.ndarray) -> tuple[np.ndarray, float]:
        """Derivatives of the log likelihood by the shapes, and by the asymptote through them.

        Parameters
        ----------
        theta : float array
        asymptote : float
        excess : float array (group, node)
            Posterior weights summed over animals, less those expected.
        """
        out, by_asymptote = np.zeros_like(theta), 0.0
        basis = self.basis
        for g, place in enumerate(self.places):
            if not self.humps[g]:
                out[place] = excess[g] @ basis
                continue
            off, width = self._hump(theta[place], asymptote)
            pulled = off / width**2
            own = np.exp(2 * np.clip(theta[place][1], -5, 5)) / width**2
            out[place] = excess[g] @ pulled, excess[g] @ (off * pulled) * own
            by_asymptote -= float(excess[g] @ (pulled * self.share))
        return out, by_asymptote

    def penalty(self, theta: np.ndarray) -> tuple[float, np.ndarray]:
        """Weak pulls that keep every shape finite, and their derivatives."""
        value, out = 0.0, np.zeros_like(theta)
        for g, place in enumerate(self.places):
            if self.humps[g]:
                value += 0.5 * HUMP_PULL * theta[place][1] ** 2
                out[place.start + 1] = HUMP_PULL * theta[place][1]
            else:
                value += 0.5 * RIDGE * float(theta[place] @ theta[place])
                out[place] = RIDGE * theta[place]
        return value, out

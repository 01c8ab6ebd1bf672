"""How the true first sizes of measured animals are spread, estimated together with their growth.

Animals of one hatchery batch begin at much the same size: one hump each. Animals from the river may
have any size: a free shape. Where they were chosen by length the shape is that of the bed they came
from, and the choice is part of the likelihood: among animals of one length the slow and old are
mixed with the fast and young in other shares than in the bed, so that leaving the choice out makes
their asymptotes look too small.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.special import ndtr

from pva.estimate.likelihood_growth import NEVER, Rates

DEGREE = 7  # of a free log density; 5 was too stiff for sizes cut off sharply
RIDGE = 1e-3  # weak pull of a free shape towards an even spread
HUMP_PULL = 0.25  # weak pull of the log width of a hump (mm) towards 1 mm, SD 2
BESIDE = 3.0  # SDs beyond the chosen lengths that a true first size may lie
EVEN = np.sqrt(2 * np.pi)


@dataclass(frozen=True)
class Groups:
    """Groups of animals that share a distribution of first sizes.

    Parameters
    ----------
    humps : bool array (group)
        Groups that begin at much the same size.
    chosen : float array (group, 2)
        Smallest and largest length (mm) at which an animal could enter the group; infinite where
        lengths had no part in it. Not used for humps.
    curve : int array (group)
        Growth curve of the animals of each group.
    names : tuple of str
    """

    humps: np.ndarray
    chosen: np.ndarray
    curve: np.ndarray
    names: tuple[str, ...] = ()


@dataclass(frozen=True)
class FirstSizes:
    """Shapes of the groups on a grid of first size over the mean asymptote of their curve.

    Parameters
    ----------
    groups : Groups
    share : float array (node)
        The grid.
    narrowest_mm : float
        Least width (SD) of a hump that the grid can hold.
    windows : float array (group, 2)
        Least and largest share at which a free shape has any animals.
    """

    groups: Groups
    share: np.ndarray
    narrowest_mm: float
    windows: np.ndarray

    @classmethod
    def on_grid(cls, groups: Groups, nodes: int, rates: Rates) -> FirstSizes:
        """Shapes on a grid of so many nodes; windows from rough rates."""
        share = np.linspace(0.01, 1.0, nodes)
        top = rates.asymptote[groups.curve]
        spread = np.sqrt(rates.error_variance)
        beside = np.array([1.0, -1.0]) * BESIDE * np.sqrt(rates.asymptote_variance) / top[:, None]
        lengths = groups.chosen + np.array([-1.0, 1.0]) * BESIDE * spread
        windows = np.clip(lengths / (top[:, None] * np.maximum(1 + beside, 0.3)), 0.01, 1.0)
        windows[:, 0] = np.minimum(windows[:, 0], 0.9 * windows[:, 1])
        windows[groups.humps] = (0.0, 1.0)
        return cls(groups, share, 0.6 * float(np.mean(top)) * (share[1] - share[0]), windows)

    def basis(self, group: int) -> np.ndarray:
        """Polynomials of a free shape (node, degree), over its window."""
        low, high = self.windows[group]
        even = np.clip(2 * (self.share - low) / (high - low) - 1, -1.2, 1.2)
        return np.polynomial.chebyshev.chebvander(even, DEGREE)[:, 1:]

    def _beside(self, group: int) -> np.ndarray:
        """Nodes where a free shape has no animals."""
        low, high = self.windows[group]
        half = 0.5 * (self.share[1] - self.share[0])
        return (self.share < low - half) | (self.share > high + half)

    @property
    def places(self) -> list[slice]:
        """Where the parameters of each group stand."""
        sizes = np.where(self.groups.humps, 2, DEGREE)
        ends = np.cumsum(sizes)
        return [slice(int(e - n), int(e)) for e, n in zip(ends, sizes, strict=True)]

    def start(self, first_mm: np.ndarray, group: np.ndarray) -> np.ndarray:
        """Where to begin: each hump at the mean measured first length of its group."""
        theta = np.zeros(self.places[-1].stop)
        for g, place in enumerate(self.places):
            if self.groups.humps[g]:
                own = first_mm[group == g]
                theta[place] = (own.mean(), 0.0) if own.size else (30.0, 0.0)
        return theta

    def log_weights(self, theta: np.ndarray, asymptotes: np.ndarray) -> np.ndarray:
        """Log weights (group, node); `asymptotes` by curve, mm."""
        log = np.empty((self.groups.humps.size, self.share.size))
        for g, place in enumerate(self.places):
            if self.groups.humps[g]:
                off, width = self._hump(theta[place], asymptotes[self.groups.curve[g]])
                log[g] = -0.5 * (off / width) ** 2
            else:
                log[g] = np.where(self._beside(g), 2 * NEVER, self.basis(g) @ theta[place])
        top = log.max(axis=1, keepdims=True)
        log = log - top - np.log(np.exp(log - top).sum(axis=1, keepdims=True))
        return np.maximum(log, 2 * NEVER)

    def _hump(self, theta, asymptote):
        width = np.sqrt(np.exp(2 * np.clip(theta[1], -5, 5)) + self.narrowest_mm**2)
        return self.share * asymptote - theta[0], width

    def gradient(self, theta, asymptotes, excess: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
        """Derivatives of the log likelihood by the shapes, and by asymptotes through them.

        Parameters
        ----------
        theta : float array
        asymptotes : float array (curve)
        excess : float array (group, node)
            Posterior weights summed over animals, less those expected.
        """
        out, by_asymptote = np.zeros_like(theta), np.zeros_like(asymptotes)
        for g, place in enumerate(self.places):
            if not self.groups.humps[g]:
                out[place] = excess[g] @ self.basis(g)
                continue
            curve = self.groups.curve[g]
            off, width = self._hump(theta[place], asymptotes[curve])
            pulled = off / width**2
            own = np.exp(2 * np.clip(theta[place][1], -5, 5)) / width**2
            out[place] = excess[g] @ pulled, excess[g] @ (off * pulled) * own
            by_asymptote[curve] -= float(excess[g] @ (pulled * self.share))
        return out, by_asymptote

    def penalty(self, theta: np.ndarray) -> tuple[float, np.ndarray]:
        """Weak pulls that keep every shape finite, and their derivatives."""
        value, out = 0.0, np.zeros_like(theta)
        for g, place in enumerate(self.places):
            if self.groups.humps[g]:
                value += 0.5 * HUMP_PULL * theta[place][1] ** 2
                out[place.start + 1] = HUMP_PULL * theta[place][1]
            else:
                value += 0.5 * RIDGE * float(theta[place] @ theta[place])
                out[place] = RIDGE * theta[place]
        return value, out

    def chance_chosen(self, group: int, rates: Rates) -> tuple[np.ndarray, np.ndarray]:
        """Chance that an animal of each first size measures within the chosen lengths.

        Returns
        -------
        chance : float array (node)
        by : float array (4, node)
            Derivatives by asymptote, asymptote variance, error variance and tie.
        """
        x, tie = self.share, rates.tie[group]
        low, high = self.groups.chosen[group]
        mean = x * rates.asymptote[self.groups.curve[group]]
        sd = np.sqrt(rates.error_variance + rates.asymptote_variance * (tie * x) ** 2)
        z = np.clip((np.array([[low], [high]]) - mean) / sd, -40, 40)
        density = np.exp(-0.5 * z**2) / EVEN
        by_mean, by_sd = -np.diff(density, axis=0)[0] / sd, -np.diff(z * density, axis=0)[0] / sd
        by = np.array([by_mean * x, by_sd * (tie * x) ** 2 / (2 * sd), by_sd / (2 * sd),
                       by_sd * rates.asymptote_variance * tie * x**2 / sd])
        return np.maximum(np.diff(ndtr(z), axis=0)[0], 1e-300), by

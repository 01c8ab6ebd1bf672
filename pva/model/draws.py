"""Parameter draws: what we do not know, drawn once per draw, jointly where the estimates say so."""

from __future__ import annotations

from collections.abc import Mapping
from functools import lru_cache

import numpy as np
from scipy.special import ndtri

from pva.lifehistory.laws import drawn_values
from pva.lifehistory.rates import Rate
from pva.model.addresses import address
from pva.scenario.resolved import JointCovariance

SCRAMBLES = 8


def scramble_of_draw(draws: int) -> np.ndarray:
    """Scramble each draw belongs to: at least eight independent sets where there are draws enough.

    Returns
    -------
    ndarray of int, shape (draw,)
    """
    groups = SCRAMBLES if draws >= SCRAMBLES else 1
    return np.arange(draws) * groups // draws


@lru_cache(maxsize=256)
def column(name: str, *, draws: int, seed: int) -> np.ndarray:
    """Uniform numbers of one parameter: Latin-hypercube points within each scramble.

    The column depends on its name alone, so a new parameter leaves the others as they were. It is
    kept, since a search assembles the same scenario hundreds of times.

    Returns
    -------
    ndarray, shape (draw,)
        In (0, 1); not to be written to.
    """
    scramble = scramble_of_draw(draws)
    parts = []
    for group in range(scramble[-1] + 1):
        points = int((scramble == group).sum())
        generator = np.random.default_rng([address(name), seed, group])
        parts.append(_one_in_each_slice(points, generator))
    found = np.clip(np.concatenate(parts), 1e-12, 1 - 1e-12)
    found.flags.writeable = False
    return found


def _one_in_each_slice(points, generator):
    """A Latin hypercube of one dimension, to the bit what `scipy.stats.qmc` makes of a generator.

    Written out because loading scipy.stats takes longer than all else that a short run computes.
    """
    own = generator.spawn(1)[0]
    within, slices = own.uniform(size=points), np.arange(1, points + 1)
    own.shuffle(slices)
    return (slices - within) / points


class DrawTable:
    """Draws of rates by key, each made once and kept.

    Parameters
    ----------
    draws : int
        Number of parameter draws.
    seed : int
    unknown : bool
        Off: every draw holds the best values.
    covariance : JointCovariance or None
        Of the estimates, link scale.
    held : mapping of str to float or ndarray, shape (draw,)
        Means over years that rates, by key, are to have whatever is known about them.
    points : mapping of str to ndarray, shape (draw,)
        Uniform numbers of named parameters, in place of the hypercube's.
    """

    def __init__(self, *, draws: int, seed: int, unknown: bool,
                 covariance: JointCovariance | None = None, held: Mapping | None = None,
                 points: Mapping | None = None):
        self.points = dict(points or {})
        self.draws, self.seed, self.unknown = draws, seed, unknown
        self.held = {k: np.broadcast_to(np.asarray(v, float), draws).copy()
                     for k, v in (held or {}).items()}
        self._joint = self._joint_normals(covariance) if covariance is not None else {}

    def _joint_normals(self, covariance):
        """Deviations of every estimate on the link scale, correlated as estimated."""
        variances, vectors = np.linalg.eigh(covariance.matrix)
        root = vectors * np.sqrt(np.maximum(variances, 0)) @ vectors.T  # symmetric: order is free
        normals = np.array([ndtri(self.uniform(f"estimate {k}")) for k in covariance.keys])
        return dict(zip(covariance.keys, root @ normals.reshape(len(covariance.keys), -1),
                        strict=True))

    def uniform(self, name: str) -> np.ndarray:
        """Uniform numbers of a named parameter, shape (draw,)."""
        if name in self.points:
            return np.clip(self.points[name], 1e-12, 1 - 1e-12)
        return column(name, draws=self.draws, seed=self.seed)

    def columns_of(self, rate: Rate) -> tuple[str, ...]:
        """Names of the uniform numbers that an uncertain rate is drawn from."""
        if rate.link is not None and rate.estimate in self._joint:
            return tuple(f"estimate {key}" for key in self._joint)
        return (rate.key,)

    def link_means(self, rate: Rate) -> np.ndarray:
        """Drawn link means of a rate that comes from estimates, shape (draw,)."""
        if not self.unknown or rate.link.se == 0:
            return np.full(self.draws, rate.link.mean)
        if rate.estimate in self._joint:
            return rate.link.mean + self._joint[rate.estimate]
        return rate.link.mean + rate.link.se * ndtri(self.uniform(rate.key))

    def means(self, rate: Rate) -> np.ndarray:
        """Drawn means over years of a rate without link moments, natural scale, shape (draw,)."""
        if not self.unknown or not rate.is_uncertain:
            return np.full(self.draws, rate.value)
        return drawn_values(rate, self.uniform(rate.key))

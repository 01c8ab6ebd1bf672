"""How many quadrats a survey needs, before anybody digs."""

from __future__ import annotations

import numpy as np

# variance of counts against their mean over surveys of freshwater mussels: Downing & Downing 1992,
# Canadian Journal of Fisheries and Aquatic Sciences 49:985-991, doi:10.1139/f92-110
FACTOR, POWER = 1.49, 1.17


def quadrats_for_precision(mean: float, *, precision: float, clumping: float | None = None
                           ) -> float:
    """Quadrats after which the standard error is a wanted part of the mean.

    Parameters
    ----------
    mean : float
        Animals per quadrat that are expected.
    precision : float
        Standard error over mean, such as 0.2.
    clumping : float, optional
        Dispersion k of the negative binomial, where known from earlier counts; without it the
        variance follows the published law of mussel surveys.

    Returns
    -------
    float
        Not rounded.
    """
    if clumping is None:
        return FACTOR * mean ** (POWER - 2) / precision**2
    return (1 / mean + 1 / clumping) / precision**2


def quadrats_for_precision_short(mean: float, *, precision: float) -> float:
    """The published rule of thumb: the mean to the power -0.5 over the squared precision."""
    return mean**-0.5 / precision**2


def quadrats_to_find_one(density: float, *, quadrat_m2: float, chance: float,
                         efficiency: float = 1.0, clumping: float | None = None) -> float:
    """Quadrats that find at least one animal with a wanted chance, where it lives at a density.

    Parameters
    ----------
    density : float
        Animals per m2.
    quadrat_m2 : float
    chance : float
        Above 0, below 1.
    efficiency : float
        Share of the animals in a quadrat that is found.
    clumping : float, optional
        Dispersion k of a quadrat's count; even scatter where left out.
    """
    mean = density * quadrat_m2 * efficiency
    each = mean if clumping is None else clumping * np.log1p(mean / clumping)
    return float(-np.log(1 - chance) / each)

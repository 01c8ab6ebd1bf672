"""How good and bad years go together between rates and between sites.

The correlation of a pair (rate, site) with another is the product of the rate part and the site
part, so the standard normals of a year are made in *cells* (rate factor x site factor) and mixed.
With a single number as correlation, a factor shared by all and one of its own are enough: a new
rate or site leaves all others as they were.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

SHARED = "\0shared by all"  # no name of a rate or site can be this


@dataclass(frozen=True)
class Mixing:
    """Cells of standard normals and their weights in every (effect, site) pair.

    Parameters
    ----------
    cells : tuple of (str, str)
        Names (rate factor, site factor).
    pairs : dict of (str, str) to list of (int, float)
        (effect, site) -> (cell, weight); squared weights sum to 1.
    """

    cells: tuple[tuple[str, str], ...]
    pairs: dict[tuple[str, str], list[tuple[int, float]]]


def factors(names: list[str], correlation) -> dict[str, dict[str, float]]:
    """Weights of named factors in each of `names`.

    Parameters
    ----------
    names : list of str
    correlation : float or ndarray, shape (name, name)
        One number for every pair, or a matrix.

    Returns
    -------
    dict of str to dict of str to float
        name -> {factor: weight}, weights not 0.

    Raises
    ------
    ValueError
        If the correlations are not those of any set of numbers (not positive definite).
    """
    if np.ndim(correlation) == 0 and correlation >= 0:
        own, shared = np.sqrt(1 - correlation), np.sqrt(correlation)
        weights = {n: {SHARED: float(shared), n: float(own)} for n in names}
    else:
        matrix = np.asarray(correlation, float)
        if matrix.ndim == 0:
            matrix = np.full((len(names),) * 2, float(matrix))
            np.fill_diagonal(matrix, 1.0)
        lower = _cholesky(matrix, names)
        weights = {n: dict(zip(names, map(float, lower[i]), strict=True))
                   for i, n in enumerate(names)}
    return {n: {f: w for f, w in row.items() if w != 0} for n, row in weights.items()}


def _cholesky(matrix, names):
    smallest = np.linalg.eigvalsh(matrix).min() if len(matrix) else 1.0
    if smallest < 1e-10:
        raise ValueError(
            f"the correlations of {', '.join(names)} contradict each other: their matrix is not "
            f"positive definite (smallest eigenvalue {smallest:.2g})"
        )
    return np.linalg.cholesky(matrix)


def rate_correlation(effects: list[str], between_rates: float | dict):
    """Correlation between rates as a number or a matrix over `effects`; unwritten pairs are 0."""
    if not isinstance(between_rates, dict):
        return between_rates
    matrix = np.eye(len(effects))
    for (a, b), value in between_rates.items():
        if a in effects and b in effects and a != b:
            i, j = effects.index(a), effects.index(b)
            matrix[i, j] = matrix[j, i] = value
    return matrix


def site_correlation(river_km: list, between_sites: float | None, distance_km: float | None):
    """Correlation between sites as a number, or a matrix falling with distance along the river."""
    if distance_km is None:
        return between_sites
    place = np.asarray(river_km, float)
    return np.exp(-np.abs(place[:, None] - place[None, :]) / distance_km)


def mix(effects: list[str], sites: list[str], rates, places) -> Mixing:
    """Cells and weights for every pair of effect and site.

    Parameters
    ----------
    effects, sites : list of str
    rates, places : float or ndarray
        Correlations from `rate_correlation` and `site_correlation`.
    """
    rate_factors, site_factors = factors(effects, rates), factors(sites, places)
    cells: dict[tuple[str, str], int] = {}
    pairs = {}
    for effect in effects:
        for site in sites:
            pairs[effect, site] = [
                (cells.setdefault((a, b), len(cells)), wa * wb)
                for a, wa in rate_factors[effect].items()
                for b, wb in site_factors[site].items()
            ]
    return Mixing(tuple(cells), pairs)

"""How good and bad years go together between rates and between sites.

The correlation of a pair (rate, site) with another is the product of the rate part and the site
part, so the standard normals of a year are made in *cells* (rate factor x site factor) and mixed.
With a single number as correlation, a factor shared by all and one of its own are enough. Along a
river every place is filled in between fixed marks, so its factors depend on the place alone. In
both cases a new rate or site leaves all others as they were, wherever it is written.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

SHARED = "\0shared by all"  # no name of a rate or site can be this
_APART = 32.0  # marks this many scales apart share nothing: their correlation would be 1e-14
_NOTHING = 1e-13  # weights below this are left out


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
        _check_positive_definite(matrix, names)
        by_name = sorted(range(len(names)), key=names.__getitem__)  # not the order of writing
        lower = np.linalg.cholesky(matrix[np.ix_(by_name, by_name)])
        weights = {names[i]: {names[j]: float(w) for j, w in zip(by_name, row, strict=True)}
                   for i, row in zip(by_name, lower, strict=True)}
    return {n: {f: w for f, w in row.items() if w != 0} for n, row in weights.items()}


def _check_positive_definite(matrix, names):
    smallest = np.linalg.eigvalsh(matrix).min() if len(matrix) else 1.0
    if smallest < 1e-10:
        raise ValueError(
            f"the correlations of {', '.join(names)} contradict each other: their matrix is not "
            f"positive definite (smallest eigenvalue {smallest:.2g})"
        )


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


def site_factors(names: list[str], *, river_km: list, between_sites: float | None,
                 distance_km: float | None) -> dict[str, dict[str, float]]:
    """Weights of named factors at every site.

    Parameters
    ----------
    names : list of str
    river_km : list of float or None, one a site
        Place along the river, taken to the metre.
    between_sites : float or None
        One correlation for every pair of sites.
    distance_km : float or None
        In its place: the scale of a correlation exp(-distance / scale) along the river.

    Returns
    -------
    dict of str to dict of str to float
        site -> {factor: weight}; with a scale, the weights of a site depend on its place and the
        scale alone, never on which other sites there are.

    Raises
    ------
    ValueError
        If one negative number is more than so many sites can go against each other.
    """
    if distance_km is None:
        return factors(names, between_sites)
    return {n: _along_river(round(km * 1000), distance_km * 1000)
            for n, km in zip(names, river_km, strict=True)}


def _along_river(place: int, scale: float) -> dict[str, float]:
    """Weights of marks along the river at a place, both in metres.

    A correlation that falls exponentially forgets what lies beyond the nearest known place on
    either side. So luck is laid down at marks too far apart to share any, then half-way between,
    and so on down to the place; half-way, at distance h from both ends, it is their sum times
    a / (1 + a^2) and luck of its own with variance (1 - a^2) / (1 + a^2), a = exp(-h / scale).
    """
    step = 1
    while step < _APART * scale:
        step *= 2
    low = place // step * step
    at = {low: {_mark(low): 1.0}, low + step: {_mark(low + step): 1.0}}
    while place not in at:
        step //= 2
        middle, a = low + step, np.exp(-step / scale)
        ends = at[low], at[low + 2 * step]
        share = a / (1 + a * a)
        at[middle] = {_mark(middle): float(np.sqrt((1 - a * a) / (1 + a * a)))}
        for mark in dict.fromkeys([*ends[0], *ends[1]]):
            weight = float(share * sum(end.get(mark, 0.0) for end in ends))
            if weight > _NOTHING:
                at[middle][mark] = weight
        low = middle if place >= middle else low
    return at[place]


def _mark(metre: int) -> str:
    return f"\0river metre {metre}"  # no name of a site can be this


def mix(effects: list[str], rates, places: dict[str, dict[str, float]]) -> Mixing:
    """Cells and weights for every pair of effect and site.

    Parameters
    ----------
    effects : list of str
    rates : float or ndarray
        Correlations from `rate_correlation`.
    places : dict of str to dict of str to float
        From `site_factors`.
    """
    rate_factors = factors(effects, rates)
    cells: dict[tuple[str, str], int] = {}
    pairs = {}
    for effect in effects:
        for site, weights in places.items():
            pairs[effect, site] = [
                (cells.setdefault((a, b), len(cells)), wa * wb)
                for a, wa in rate_factors[effect].items()
                for b, wb in weights.items()
            ]
    return Mixing(tuple(cells), pairs)

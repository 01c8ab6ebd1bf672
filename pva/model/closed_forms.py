"""Exact chances and moments of simple populations, the yardstick of the simulation.

Matrices have column = from, row = to. Every function says for which model it is exact.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.stats import binom, norm, poisson

BEFORE, AFTER = "before breeding", "after breeding"


@dataclass(frozen=True)
class Moments:
    """Mean and covariance of whole-animal numbers at each census.

    Parameters
    ----------
    mean : ndarray, (year, stage)
    covariance : ndarray, (year, stage, stage)
        Due to the luck of single animals only; the years are all alike.
    """

    mean: np.ndarray
    covariance: np.ndarray

    @property
    def total_mean(self) -> np.ndarray:
        """Mean of all animals, (year,)."""
        return self.mean.sum(axis=1)

    @property
    def total_variance(self) -> np.ndarray:
        """Variance of all animals, (year,)."""
        return self.covariance.sum(axis=(1, 2))


def moments(
    survival_and_growth: np.ndarray,
    recruitment: np.ndarray,
    *,
    start: np.ndarray,
    years: int,
    census: str = BEFORE,
) -> Moments:
    """Mean and covariance of the linear model with binomial, multinomial and Poisson luck.

    Parameters
    ----------
    survival_and_growth : ndarray, (to, from)
        Chances of an animal; it lives and moves independently of its young.
    recruitment : ndarray, (to, from)
        Mean of the Poisson number of young: per animal counted (census before breeding) or per
        survivor in the stage reached (census after breeding).
    start : ndarray, (stage,)
        Whole animals at the first census, known exactly.
    years : int
        Years to project, 0 or more.
    census : {'before breeding', 'after breeding'}

    Returns
    -------
    Moments
        Years 0 to `years`. Exact without limits, bad years, year effects and dispersion.

    References
    ----------
    Pollard 1966, Biometrika 53:397-415, doi:10.2307/2333647.
    """
    U, F = np.asarray(survival_and_growth, float), np.asarray(recruitment, float)
    matrix, luck = _one_year(U, F, census=census)
    mean, covariance = [np.asarray(start, float)], [np.zeros_like(U)]
    for _ in range(years):
        covariance.append(
            matrix @ covariance[-1] @ matrix.T + np.einsum("jkl,j->kl", luck, mean[-1])
        )
        mean.append(matrix @ mean[-1])
    return Moments(np.array(mean), np.array(covariance))


def extinction_from_one(
    survival_and_growth: np.ndarray,
    recruitment: np.ndarray,
    *,
    years: int,
    census: str = BEFORE,
) -> np.ndarray:
    """Chance that the line of one animal has died out, by year and stage of that animal.

    Arguments as in `moments`.

    Returns
    -------
    ndarray, (year, stage)
        Years 0 to `years`. Exact for the linear model whose years are all alike.

    References
    ----------
    Iterated multi-type generating functions: Pollard 1966; Caswell 2001, chapter 15 (memory).
    """
    U, F = np.asarray(survival_and_growth, float), np.asarray(recruitment, float)
    gone = [np.zeros(len(U))]
    for _ in range(years):
        gone.append(_generating(U, F, gone[-1], census=census))
    return np.array(gone)


def extinction_by_year(
    survival_and_growth: np.ndarray,
    recruitment: np.ndarray,
    *,
    start: np.ndarray,
    years: int,
    census: str = BEFORE,
) -> np.ndarray:
    """Chance that no animal is left, (year,), years 0 to `years`; arguments as in `moments`."""
    gone = extinction_from_one(survival_and_growth, recruitment, years=years, census=census)
    return np.prod(gone ** np.asarray(start, float), axis=1)


def extinction_ever_from_one(
    survival_and_growth: np.ndarray,
    recruitment: np.ndarray,
    *,
    census: str = BEFORE,
    most_years: int = 200_000,
) -> np.ndarray:
    """Chance, (stage,), that the line of one animal dies out at any time.

    The smallest fixed point of the generating function; a population that neither grows nor falls
    comes near 1 only slowly, so its chance is that after `most_years`.
    """
    U, F = np.asarray(survival_and_growth, float), np.asarray(recruitment, float)
    gone = np.zeros(len(U))
    for _ in range(most_years):
        later = _generating(U, F, gone, census=census)
        if np.abs(later - gone).max() < 1e-16:
            return later
        gone = later
    return gone


def ceiling_chain(survival: float, recruits: float, *, ceiling: int) -> np.ndarray:
    """Transition chances of whole animals of one stage under a ceiling, (to, from).

    Next year's number is min(ceiling, binomial survivors + Poisson recruits); states are 0 to
    `ceiling` animals.

    Parameters
    ----------
    survival : float
        Chance of living one year, 0 to 1.
    recruits : float
        Mean Poisson recruits per animal counted, 0 or more.
    ceiling : int
        Most animals there is room for, 1 or more.
    """
    states = np.arange(ceiling + 1)
    chain = np.zeros((ceiling + 1, ceiling + 1))
    for now in states:
        stay = binom.pmf(states, now, survival)
        born = poisson.pmf(states, recruits * now)
        chain[:, now] = np.convolve(stay, born)[: ceiling + 1]
        chain[ceiling, now] = max(0.0, 1.0 - chain[:ceiling, now].sum())
    return chain


def chain_reaches_by_year(
    chain: np.ndarray, *, start: int, at_or_below: int, years: int
) -> np.ndarray:
    """Chance that a chain has been at or below a number at some census after the first, (year,).

    Parameters
    ----------
    chain : ndarray, (to, from)
        As from `ceiling_chain`; states are numbers of animals from 0.
    start : int
        Animals at the first census.
    at_or_below : int
        0 for extinction.
    years : int
    """
    above = np.arange(len(chain)) > at_or_below
    state = np.eye(len(chain))[start]
    reached = [0.0]
    for _ in range(years):
        state = chain @ state
        reached.append(reached[-1] + float(state[~above].sum()))
        state = np.where(above, state, 0.0)
    return np.array(reached)


def chain_mean_years(chain: np.ndarray, *, at_or_below: int = 0) -> np.ndarray:
    """Mean years until a chain is at or below a number, by number now, (state,); 0 if it is."""
    above = np.arange(len(chain)) > at_or_below
    inner = chain[np.ix_(above, above)]
    years = np.zeros(len(chain))
    years[above] = np.linalg.solve((np.eye(len(inner)) - inner).T, np.ones(len(inner)))
    return years


def walk_below_by_year(
    mean_log: float,
    sd_log: float,
    *,
    start: float,
    threshold: float,
    years: int,
    ceiling: float | None = None,
) -> np.ndarray:
    """Chance that a number with lognormal yearly growth was below a threshold at some census.

    The number is looked at once a year, as a survey or a simulation does. The first-passage formula
    of a walk in continuous time also counts dips between two looks and is far too high.

    Parameters
    ----------
    mean_log, sd_log : float
        Mean and SD of the yearly change of the logarithm; `sd_log` above 0.
    start, threshold : float
        Animals, above 0; the census of the start does not count.
    years : int
    ceiling : float, optional
        Numbers above it are cut to it each year.

    Returns
    -------
    ndarray, (year,)
        Years 0 to `years`; error below 1e-9.

    Raises
    ------
    ValueError
        Where the logarithm may wander over more than 750 SD, too wide for the mesh.

    Notes
    -----
    The density of the logarithm above the threshold is carried from year to year by Gauss-Legendre
    quadrature in panels of 1.5 SD; the share at the ceiling is a point of its own.
    """
    height = np.log(start / threshold)
    top = np.inf if ceiling is None else np.log(ceiling / threshold)
    if top <= 0:
        return np.array([0.0] + [1.0] * years)
    height = min(height, top)
    drift = max(mean_log, 0.0) * years
    nodes, weights = _panels(min(top, height + drift + 9 * sd_log * np.sqrt(years + 1)), sd_log)
    kernel = norm.pdf(nodes[:, None] - nodes[None, :], mean_log, sd_log) * weights[None, :]
    from_top = norm.pdf(nodes, top + mean_log, sd_log) if np.isfinite(top) else 0.0 * nodes
    onto_top = norm.sf(top - nodes, mean_log, sd_log) * weights
    density = norm.pdf(nodes, height + mean_log, sd_log)
    at_top = float(norm.sf(top - height, mean_log, sd_log))
    below = [0.0]
    for year in range(years):
        if year:
            stayed = at_top * float(norm.sf(0.0, mean_log, sd_log))
            density, at_top = (
                kernel @ density + at_top * from_top,
                float(onto_top @ density) + stayed,
            )
        below.append(1.0 - float(weights @ density) - at_top)
    return np.clip(below, 0.0, 1.0)


def _one_year(U: np.ndarray, F: np.ndarray, *, census: str) -> tuple[np.ndarray, np.ndarray]:
    """Projection matrix and covariance of one animal's successors, (from, stage, stage)."""
    moves = np.array([np.diag(u) - np.outer(u, u) for u in U.T])
    if census == BEFORE:
        return U + F, moves + np.array([np.diag(f) for f in F.T])
    self_and_young = np.eye(len(U)) + F
    births = np.array([np.diag(F @ u) for u in U.T])
    return self_and_young @ U, self_and_young @ moves @ self_and_young.T + births


def _generating(U: np.ndarray, F: np.ndarray, s: np.ndarray, *, census: str) -> np.ndarray:
    """Generating function of the successors of one animal of each stage at `s`, (stage,)."""
    none_of_young = np.exp((s - 1) @ F)
    if census == BEFORE:
        return (1 - U.sum(axis=0) + s @ U) * none_of_young
    return 1 - U.sum(axis=0) + (s * none_of_young) @ U


def _panels(top: float, sd: float) -> tuple[np.ndarray, np.ndarray]:
    """Nodes and weights from 0 to `top`, twelve in each panel of at most 1.5 `sd`."""
    points, weights = np.polynomial.legendre.leggauss(12)
    if top > 750 * sd:
        raise ValueError("the yearly SD is too small for the years and growth asked for")
    edges = np.linspace(0.0, top, max(2, int(np.ceil(top / (1.5 * sd))) + 1))
    half = np.diff(edges) / 2
    middle = (edges[:-1] + edges[1:]) / 2
    return (middle[:, None] + half[:, None] * points).ravel(), (half[:, None] * weights).ravel()

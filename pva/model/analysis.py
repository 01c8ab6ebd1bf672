"""What a projection matrix says by itself: growth, stages, values, sensitivities, lives, years.

Column = stage an animal comes from, row = stage it is in one year later. Survival-and-growth `U`
and recruitment `F` are kept apart. With the census before breeding the projection matrix is
``U + F``. With the census after breeding it is ``(I + F) U``: hand over ``F @ U`` as recruitment.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from pva.model.long_run import (
    entry_sensitivities,
    growth_rate,
    next_eigenvalue,
    reproductive_values,
    stable_stages,
)

__all__ = [
    "MatrixAnalysis", "RateEffects", "analyse", "entry_sensitivities",
    "entry_slopes", "fundamental_matrix", "growth_rate", "keyfitz_entropy", "life_expectancy",
    "net_reproductive_rate", "rate_effects", "reproductive_values", "small_noise_log_growth",
    "stable_stages", "years_to_maturity",
]


@dataclass(frozen=True)
class MatrixAnalysis:
    """Deterministic companion of a projection matrix; None where a thing does not apply.

    Parameters
    ----------
    growth_rate : float
        Factor a year in the long run, largest over the classes of stages that reach each other.
    stable_stages : ndarray, (stage,)
        Shares in the long run, sum 1.
    reproductive_values : ndarray, (stage,)
        First stage that has any = 1; a stage past breeding has 0.
    sensitivities, elasticities : ndarray, (to, from)
        Of the growth rate, by matrix entry; elasticities sum to 1.
    damping_ratio : float
        Growth rate over the size of the next eigenvalue; None if there is none.
    subdominant : tuple of float
        Real and (non-negative) imaginary part of the next eigenvalue.
    net_reproductive_rate : float
        Young per newborn over a lifetime.
    generation_time_years : float
        Mean age of parents at the stable structure.
    generation_time_from_replacement_years : float
        ln(net reproductive rate) / ln(growth rate).
    life_expectancy_years, life_variance_years2 : ndarray, (stage,)
        Of the number of yearly censuses an animal of the stage will be counted at, this one among
        them.
    years_to_maturity : float
        Mean years from the first stage to the first adult stage, for animals that get there.
    keyfitz_entropy : float
        Proportional loss of life expectancy from the first stage per proportional rise of
        mortality.
    """

    growth_rate: float
    stable_stages: np.ndarray | None
    reproductive_values: np.ndarray | None
    sensitivities: np.ndarray | None
    elasticities: np.ndarray | None
    damping_ratio: float | None
    subdominant: tuple[float, float] | None
    net_reproductive_rate: float | None
    generation_time_years: float | None
    generation_time_from_replacement_years: float | None
    life_expectancy_years: np.ndarray | None
    life_variance_years2: np.ndarray | None
    years_to_maturity: float | None
    keyfitz_entropy: float | None


@dataclass(frozen=True)
class RateEffects:
    """Change of the growth rate with the vital rates beneath the matrix.

    Parameters
    ----------
    sensitivities : ndarray, (rate,)
        Change of the growth rate per unit of the rate.
    elasticities : ndarray, (rate,)
        Proportional change per proportional change of the rate.
    """

    sensitivities: np.ndarray
    elasticities: np.ndarray


def analyse(
    survival_and_growth: np.ndarray, recruitment: np.ndarray, *, adults: np.ndarray | None = None
) -> MatrixAnalysis:
    """Everything in `MatrixAnalysis` from survival-and-growth and recruitment.

    Parameters
    ----------
    survival_and_growth : ndarray, (to, from)
        Chances in a year; columns sum to at most 1.
    recruitment : ndarray, (to, from)
        Young alive at the next census per animal counted at this one, 0 or more.
    adults : ndarray of bool, (stage,), optional
        Adult stages; those with recruitment if not given.

    Returns
    -------
    MatrixAnalysis

    References
    ----------
    Caswell 2001, Matrix Population Models.
    """
    U = np.asarray(survival_and_growth, float)
    F = np.asarray(recruitment, float)
    A = U + F
    adult = F.any(axis=0) if adults is None else np.asarray(adults, bool)
    growth = growth_rate(A)
    stable = reproductive = sensitivity = elasticity = parents_age = None
    if growth > 0:
        stable, reproductive = stable_stages(A), reproductive_values(A)
        sensitivity = entry_sensitivities(stable, reproductive)
    if sensitivity is not None:
        elasticity = sensitivity * A / growth
        parents_age = _mean_age_of_parents(F, sensitivity, growth=growth)
    ratio, subdominant = next_eigenvalue(A)
    replacement = net_reproductive_rate(U, F)
    expectancy, variance = life_expectancy(U)
    return MatrixAnalysis(
        growth_rate=growth,
        stable_stages=stable,
        reproductive_values=reproductive,
        sensitivities=sensitivity,
        elasticities=elasticity,
        damping_ratio=ratio,
        subdominant=subdominant,
        net_reproductive_rate=replacement,
        generation_time_years=parents_age,
        generation_time_from_replacement_years=_years_per_replacement(
            replacement, growth, parents_age
        ),
        life_expectancy_years=expectancy,
        life_variance_years2=variance,
        years_to_maturity=years_to_maturity(U, adults=adult),
        keyfitz_entropy=keyfitz_entropy(U),
    )


def net_reproductive_rate(survival_and_growth: np.ndarray, recruitment: np.ndarray) -> float | None:
    """Young per newborn over a lifetime; None where animals may live for ever."""
    lives = fundamental_matrix(survival_and_growth)
    return None if lives is None else float(np.abs(np.linalg.eigvals(recruitment @ lives)).max())


def fundamental_matrix(survival_and_growth: np.ndarray) -> np.ndarray | None:
    """Expected censuses spent in stage (row) by an animal now in stage (column).

    None where some animals may live for ever.
    """
    U = np.asarray(survival_and_growth, float)
    if np.abs(np.linalg.eigvals(U)).max() >= 1 - 1e-12:
        return None
    return np.linalg.inv(np.eye(len(U)) - U)


def life_expectancy(
    survival_and_growth: np.ndarray,
) -> tuple[np.ndarray | None, np.ndarray | None]:
    """Mean and variance, (stage,) each, of the censuses an animal will be counted at."""
    lives = fundamental_matrix(survival_and_growth)
    if lives is None:
        return None, None
    mean = lives.sum(axis=0)
    return mean, mean @ (2 * lives - np.eye(len(mean))) - mean**2


def years_to_maturity(survival_and_growth: np.ndarray, *, adults: np.ndarray) -> float | None:
    """Mean years from the first stage to the first adult stage, for animals that get there.

    Parameters
    ----------
    survival_and_growth : ndarray, (to, from)
    adults : ndarray of bool, (stage,)

    Returns
    -------
    float or None
        0 if the first stage is adult; None if no animal gets there.
    """
    U, adult = np.asarray(survival_and_growth, float), np.asarray(adults, bool)
    if adult[0]:
        return 0.0
    lives = fundamental_matrix(U[np.ix_(~adult, ~adult)])
    if lives is None:
        return None
    reaches = U[np.ix_(adult, ~adult)].sum(axis=0) @ lives
    if reaches[0] <= 0:
        return None
    # an animal that will mature passes stage i as often as any, weighted by the chance from i
    return float(reaches @ lives[:, 0] / reaches[0])


def keyfitz_entropy(survival_and_growth: np.ndarray, *, first: int = 0) -> float | None:
    """Proportional loss of life expectancy per proportional rise of mortality in all stages.

    Parameters
    ----------
    survival_and_growth : ndarray, (to, from)
    first : int
        Stage whose life expectancy is meant.

    Returns
    -------
    float or None
        Mortality of a stage is minus the logarithm of its yearly survival; with the same survival
        in all stages this is the entropy of the survivorship curve.
    """
    U = np.asarray(survival_and_growth, float)
    lives = fundamental_matrix(U)
    if lives is None:
        return None
    survival = U.sum(axis=0)
    expectancy = lives.sum(axis=0)
    mortality = -np.log(np.where(survival > 0, survival, 1.0))
    years_lost = (expectancy @ U) * mortality
    return float(years_lost @ lives[:, first] / expectancy[first])


def rate_effects(build: Callable[[np.ndarray], np.ndarray], rates: np.ndarray) -> RateEffects:
    """Sensitivities and elasticities of the growth rate to the rates a matrix is built from.

    The growth rate's derivative by entry is exact; that of entries by rate is a central difference,
    itself exact where entries are products of rates of at most second degree in each.

    Parameters
    ----------
    build : callable
        Takes rates, (rate,), gives the projection matrix, (to, from).
    rates : ndarray, (rate,)

    Returns
    -------
    RateEffects
    """
    at = np.asarray(rates, float)
    matrix = np.asarray(build(at), float)
    by_entry = entry_sensitivities(stable_stages(matrix), reproductive_values(matrix))
    if by_entry is None:
        by_entry = np.full(matrix.shape, np.nan)
    slopes = entry_slopes(build, at)
    sensitivities = np.tensordot(slopes, by_entry, axes=2)
    return RateEffects(sensitivities, sensitivities * at / growth_rate(matrix))


def entry_slopes(build: Callable[[np.ndarray], np.ndarray], rates: np.ndarray, *,
                 only: np.ndarray | None = None) -> np.ndarray:
    """Derivative of every matrix entry by every rate, (rate, to, from), by central differences.

    `only` : ndarray of int, the rates wanted; all if not given.
    """
    at = np.asarray(rates, float)
    places = np.arange(len(at)) if only is None else only
    slopes = np.zeros((len(places), *np.shape(build(at))))
    for row, place in enumerate(places):
        step = np.zeros_like(at)
        step[place] = 1e-5 * abs(at[place]) if at[place] else 1e-8
        slopes[row] = (build(at + step) - build(at - step)) / (2 * step[place])
    return slopes


def small_noise_log_growth(
    mean: np.ndarray, *, carried: np.ndarray | None = None, independent: np.ndarray | None = None,
    carry_over: float = 0.0,
) -> float:
    """Log of the stochastic growth rate when years differ little.

    Parameters
    ----------
    mean : ndarray, (to, from)
        Mean projection matrix over years.
    carried, independent : ndarray, (factor, to, from), or None
        How entries differ between years, as deviations whose outer products add up to the
        covariance of entries; the first kind is carried over from year to year.
    carry_over : float, -1 to 1
        Correlation of one year with the next; it falls geometrically with the years between.

    Returns
    -------
    float
        Good to the second order of the spread of years.

    References
    ----------
    Tuljapurkar 1982, 1990; Lima & Rahibe 1994, J. Phys. A 27:3427. The carried-over part needs the
    projection ``I - w v'`` that takes out the stable structure; without it the effect of
    correlation has the wrong sign.
    """
    A = np.asarray(mean, float)
    growth = growth_rate(A)
    w = stable_stages(A)
    v = reproductive_values(A)
    v = v / (v @ w)
    variance = lasting = 0.0
    for deviations in (carried, independent):
        if deviations is not None:
            variance += float((((v @ deviations) @ w) ** 2).sum())
    if carry_over and carried is not None:
        across = np.eye(len(A)) - np.outer(w, v)
        path = np.linalg.inv(np.eye(len(A)) - carry_over * (A / growth) @ across) @ across
        lasting = carry_over * float((((v @ carried) @ path) * (carried @ w)).sum())
    return float(np.log(growth) + (lasting - variance / 2) / growth**2)


def _mean_age_of_parents(F: np.ndarray, sensitivity: np.ndarray, *, growth: float) -> float | None:
    """Inverse of the summed elasticity to recruitment (Bienvenu & Legendre 2015, memory)."""
    share = float((sensitivity * F).sum())
    # with next to no young there are next to no parents, and their mean age says nothing
    return growth / share if share > 1e-6 * growth else None


def _years_per_replacement(
    replacement: float | None, growth: float, parents_age: float | None
) -> float | None:
    if not replacement or growth <= 0:
        return None
    if abs(growth - 1) < 1e-9:
        return parents_age  # the two agree in a stationary population, where this is 0 / 0
    return float(np.log(replacement) / np.log(growth))

"""Where limits on recruitment bring a population to rest, in closed form.

All are deterministic: no luck, no bad years, years alike. Equilibria of stage-structured models
follow from one number, the young per newborn over a lifetime when few animals compete.
"""

from __future__ import annotations

import numpy as np
from scipy.special import lambertw

from pva.model.analysis import fundamental_matrix
from pva.model.long_run import stable_stages


def beverton_holt_adults(net_reproductive_rate: float, *, crowding_adults: float) -> float:
    """Adults at rest when recruits per adult are ``f / (1 + A / K)``.

    Parameters
    ----------
    net_reproductive_rate : float
        Young per newborn over a lifetime with no crowding.
    crowding_adults : float
        K: adults at which recruits per adult are halved.

    Returns
    -------
    float
        ``K (R0 - 1)``, or 0 where R0 is at most 1.

    References
    ----------
    Beverton & Holt 1957 (memory).
    """
    return crowding_adults * max(net_reproductive_rate - 1.0, 0.0)


def ricker_adults(net_reproductive_rate: float, *, crowding_adults: float) -> float:
    """Adults at rest when recruits per adult are ``f exp(-A / K)``: ``K ln R0``, or 0.

    A rest point is only approached while its slope lies within -1 and 1; without survival of adults
    that is ``ln R0`` below 2.

    References
    ----------
    Ricker 1954 (memory).
    """
    return crowding_adults * max(float(np.log(max(net_reproductive_rate, 1.0))), 0.0)


def stages_at_rest(
    survival_and_growth: np.ndarray,
    recruitment: np.ndarray,
    *,
    adults: np.ndarray,
    adults_at_rest: float,
    net_reproductive_rate: float,
) -> np.ndarray:
    """All stages at rest, (stage,), given how many adults there are at rest.

    Parameters
    ----------
    survival_and_growth, recruitment : ndarray, (to, from)
    adults : ndarray of bool, (stage,)
        The stages counted by the limit.
    adults_at_rest : float
        From `beverton_holt_adults` or `ricker_adults`.
    net_reproductive_rate : float
        Of `recruitment` before crowding.
    """
    if adults_at_rest <= 0:
        return np.zeros(len(adults))
    shares = stable_stages(survival_and_growth + recruitment / net_reproductive_rate)
    return shares * adults_at_rest / shares[np.asarray(adults, bool)].sum()


def adult_years_per_recruit(
    survival_and_growth: np.ndarray, *, adults: np.ndarray, enters: int = 0
) -> float:
    """Censuses at which one recruit is expected to be counted as an adult.

    Raises
    ------
    ValueError
        Where some animals may live for ever.
    """
    lives = fundamental_matrix(survival_and_growth)
    if lives is None:
        raise ValueError("animals that may live for ever have no expected number of years")
    return float(lives[np.asarray(adults, bool), enters].sum())


def host_limited_adults(
    *,
    adult_years: float,
    glochidia_per_adult: float,
    attached_share: float,
    capacity: float,
    hosts: float,
    settled_share: float,
) -> float:
    """Adults at rest when each host can carry only so many glochidia.

    Each of H hosts is offered ``L = G x attached_share / H`` glochidia and carries
    ``c (1 - exp(-L / c))``; the share `settled_share` of those become recruits.

    Parameters
    ----------
    adult_years : float
        Censuses a recruit is counted as an adult, from `adult_years_per_recruit`; in one stage
        ``1 / (1 - survival)``.
    glochidia_per_adult : float
        Both sexes unless the model counts females.
    attached_share : float
        Share of glochidia that meets a host and attaches, 0 to 1.
    capacity : float
        c: glochidia one host can carry.
    hosts : float
        H: fish at the site.
    settled_share : float
        Suitability times settlement, 0 to 1.

    Returns
    -------
    float
        0 where a recruit does not replace itself even with empty hosts. Otherwise it does not hang
        on where the population began and is proportional to the hosts.

    References
    ----------
    The share filled is the root of ``x = 1 - exp(-strength x)``, by the Lambert W function.
    """
    strength = adult_years * glochidia_per_adult * attached_share * settled_share
    if strength <= 1 or hosts <= 0:
        return 0.0
    filled = 1 + float(lambertw(-strength * np.exp(-strength)).real) / strength
    return filled * adult_years * settled_share * capacity * hosts


def fertilisation_threshold(
    net_reproductive_rate: float, *, half_density: float | None = None, scale: float | None = None
) -> float | None:
    """Density of mature animals below which too few eggs are fertilised to replace the parents.

    Parameters
    ----------
    net_reproductive_rate : float
        Young per newborn over a lifetime with all eggs fertilised.
    half_density : float, optional
        Share fertilised ``D / (D + half_density)``.
    scale : float, optional
        Share fertilised ``1 - exp(-D / scale)``. Exactly one of the two is given.

    Returns
    -------
    float or None
        In the unit of the one given; None where even full fertilisation does not replace.

    Raises
    ------
    ValueError
        Where both or neither of the two are given.

    References
    ----------
    Allee effect by lack of mates; exact because parents are replaced where the share fertilised is
    one over the net reproductive rate.
    """
    if (half_density is None) == (scale is None):
        raise ValueError("give either half_density or scale")
    if net_reproductive_rate <= 1:
        return None
    if half_density is not None:
        return half_density / (net_reproductive_rate - 1)
    return -scale * float(np.log1p(-1 / net_reproductive_rate))

"""Attachment and settlement solved for a stated target at a stated host and adult density.

Solved at the best values of the base file (design: a scenario that changes survival, growth or a
host inherits the number). In a parameter draw only that draw's attachment and target differ.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from pva.errors import CannotCompute, Problem
from pva.model.analysis import growth_rate, stable_stages
from pva.model.classes import Classes, expand
from pva.model.matrix import (
    ChainNumbers,
    best,
    chain_numbers,
    projection,
    split_density,
    survival_and_growth,
)
from pva.scenario.resolved import Calibration, CalibrationBase

_AREA = 100.0  # every term of the chain is per area: any area gives the same answer


@dataclass(frozen=True)
class Place:
    """Where a calibration is solved: the base file's life cycle at one density of hosts and adults.

    Parameters
    ----------
    chain : ChainNumbers
        Base-file best values; attachment and settlement are set per solution.
    classes : Classes
    u : ndarray, shape (class, class)
    enters : int
        Class that recruits enter.
    density : ndarray, shape (host,)
        Fish per 100 m2.
    adults_per_m2 : float
    census : str
    """

    chain: ChainNumbers
    classes: Classes
    u: np.ndarray
    enters: int
    density: np.ndarray
    adults_per_m2: float
    census: str


def place_of(base: CalibrationBase, calibration: Calibration) -> Place:
    """The place a calibration names, from the base file."""
    classes = expand(base.stages)
    names = [s.name for s in base.stages]
    like = np.array([best(h.density) for h in base.first_site_hosts])
    if not len(like):
        like = np.ones(len(base.recruitment.hosts))
    return Place(
        chain=chain_numbers(base.stages, classes, base.recruitment, attachment=np.nan,
                            settlement=np.nan),
        classes=classes,
        u=survival_and_growth(base.stages, classes, base.survival, base.growth),
        enters=int(classes.first[names.index(base.recruitment.enters)]),
        density=split_density(calibration.hosts_per_100m2, like),
        adults_per_m2=calibration.adults_per_m2,
        census=base.census,
    )


def recruit_row(place: Place, per_adult: float) -> tuple[np.ndarray, np.ndarray]:
    """F and the stable shares of breeding classes for an average of `per_adult` recruits.

    Fecundity differs between classes as in the chain; the average is over the stable shares, which
    depend on F, so both are iterated together.
    """
    fecundity = place.chain.glochidia
    shares = place.classes.breeds / place.classes.breeds.sum()
    even = np.ptp(fecundity[place.classes.breeds]) == 0
    for _ in range(500):
        f = np.zeros_like(place.u)
        f[place.enters] = per_adult * fecundity / (fecundity @ shares)
        if even:
            break
        stable = stable_stages(projection(place.u, f, place.census)) * place.classes.breeds
        new = stable / stable.sum() if stable.sum() > 0 else shares
        if np.abs(new - shares).max() < 1e-14:
            break
        shares = new
    return f, shares


def per_adult_for_growth(place: Place, target: float) -> float:
    """Recruits per adult at which the base life cycle grows at the rate `target`.

    Raises
    ------
    CannotCompute
        If survival alone already gives more than that growth rate.
    """

    def excess(per_adult):
        f, _ = recruit_row(place, per_adult)
        return growth_rate(projection(place.u, f, place.census)) - target

    if excess(0.0) >= 0:
        raise CannotCompute(Problem(
            what=f"A growth rate of {target:g} cannot be the target of a calibration: with no "
                 f"recruits at all the population already has {excess(0.0) + target:.4f}",
            todo="Name a larger growth rate, or recruits_per_adult", code="target-out-of-reach"))
    high = 1.0
    while excess(high) < 0 and high < 1e12:
        high *= 4
    return _root(excess, high, error=1e-15)


def shares_for_target(place: Place, calibration: Calibration) -> np.ndarray:
    """Stable shares among breeding classes at the best value of a target of recruits or growth."""
    per_adult = best(calibration.rate)
    if calibration.target == "growth_rate":
        per_adult = per_adult_for_growth(place, per_adult)
    return recruit_row(place, per_adult)[1]


def shares_for_settlement(place: Place, attachment: Calibration | float,
                          settlement: float) -> np.ndarray:
    """The same where settlement is a given number: shares, attachment and recruits together."""
    shares = place.classes.breeds / place.classes.breeds.sum()
    for _ in range(200):
        rate = attachment
        if isinstance(attachment, Calibration):
            rate = min(solve_attachment(place, best(attachment.rate), shares), 1.0)
        new = recruit_row(place, settlement * _juveniles_per_adult(place, rate, shares))[1]
        if np.abs(new - shares).max() < 1e-12:
            break
        shares = new
    return shares


def _juveniles_per_adult(place, attachment, shares):
    animals, number = _adults(place, shares)
    chain = replace(place.chain, attachment=attachment)
    released = chain.released(animals, place.adults_per_m2)
    return chain.juveniles(released, _AREA, place.density) / number


def solve_attachment(place: Place, glochidia_per_host: float, shares: np.ndarray) -> float:
    """Attachment at which fish carry `glochidia_per_host` on average; inf where none is enough.

    `shares` : ndarray, shape (class,), of the breeding animals.
    """
    animals, _ = _adults(place, shares)

    def carried(attachment):
        chain = replace(place.chain, attachment=attachment)
        released = chain.released(animals, place.adults_per_m2)
        return chain.carried_per_fish(released, _AREA, place.density)

    if carried(1.0) < glochidia_per_host:
        return np.inf
    return _root(lambda a: carried(a) - glochidia_per_host, 1.0, error=1e-18)


def _root(excess, high: float, *, error: float) -> float:
    """Where a rising function crosses zero between zero and `high`."""
    from scipy.optimize import brentq  # slow to load, and few targets need it

    return float(brentq(excess, 0.0, high, xtol=error, rtol=1e-14))


def solve_settlement(place: Place, calibration: Calibration, attachment: float, target: float,
                     shares: np.ndarray) -> float:
    """Settlement at which the target holds, given this draw's attachment; may exceed 1.

    `shares` : ndarray, shape (class,), of the breeding animals.
    """
    per_adult = target
    if calibration.target == "growth_rate":
        per_adult = per_adult_for_growth(place, target)
    juveniles = _juveniles_per_adult(place, attachment, shares)
    return per_adult / juveniles if juveniles > 0 else np.inf


def _adults(place, shares):
    number = place.adults_per_m2 * _AREA
    return shares * number, number


def refuse_above_one(value: float, name: str, calibration: Calibration) -> None:
    """Refuse a calibrated probability above 1 at the best values.

    Raises
    ------
    CannotCompute
        With the target, its place and what to change.
    """
    if value <= 1:
        return
    needed = "more than every one of them" if np.isinf(value) else f"{value:.3g} of them"
    raise CannotCompute(Problem(
        what=f"recruitment.{name} cannot be calibrated: to reach "
             f"{calibration.target} {best(calibration.rate):g} with "
             f"{calibration.hosts_per_100m2:g} hosts per 100 m2 and "
             f"{calibration.adults_per_m2:g} adults per m2, {needed} would have to survive",
        why="A share cannot exceed 1, so some earlier step of the chain is set too low",
        todo="Raise attachment, glochidia, suitability or capacity, or lower the target",
        code="calibration-above-one"))

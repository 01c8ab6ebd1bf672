"""The projection matrix of a site: survival and growth U, recruitment F, by age class.

Where recruitment is not linear in adults, the matrix holds the average recruits per adult at a
stated host and adult density; with no such density, the limit of few adults and the hosts as
configured.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from pva.estimate.link_scale import mean_over_years
from pva.lifehistory.hosts import glochidia_on_hosts, mean_power, share_fertilised
from pva.lifehistory.rates import PROBABILITY, Rate
from pva.model.analysis import stable_stages
from pva.model.classes import Classes, dies_at_the_end, expand, growth_steps
from pva.scenario.resolved import AFTER, Calibration, Recruitment, Resolved, Site, Stage

Value = Callable[[Rate], float]


def best(rate: Rate) -> float:
    """Best value of a rate: its mean over ordinary years, whatever a table by year says."""
    if rate.link is not None:
        if rate.kind == PROBABILITY:
            return float(mean_over_years(rate.link.mean, rate.link.year_sd))
        return float(np.exp(rate.link.mean + rate.link.year_sd**2 / 2))
    return rate.value


def survival_and_growth(stages: tuple[Stage, ...], classes: Classes, survival: dict,
                        growth: dict, value: Value = best) -> np.ndarray:
    """U, shape (class to, class from): chance that an animal is alive and where next year.

    Parameters
    ----------
    survival : dict of str to Rate
        By stage.
    growth : dict of str to dict of str to Rate
        Stage -> stage reached -> share of survivors.
    """
    size = len(classes)
    shares = np.zeros((size, size))
    left = np.ones(size)
    for step in growth_steps(stages, classes, growth):
        share = 1.0
        if step.stage_to is not None:
            share = value(growth[step.stage_from][step.stage_to])
        share = min(share, left[step.from_class])
        left[step.from_class] -= share
        shares[step.to_class, step.from_class] += share
    shares[np.arange(size), np.arange(size)] += left
    alive = np.array([value(survival[stages[i].name]) for i in classes.stage])
    alive[dies_at_the_end(stages, classes)] = 0.0
    return shares * alive


def fecundity_shape(stages: tuple[Stage, ...], classes: Classes,
                    recruitment: Recruitment) -> np.ndarray:
    """What multiplies the glochidia rate in every class: mean power of length, 1, or 0."""
    shape = np.zeros(len(classes))
    for index in np.flatnonzero(classes.breeds):
        stage = stages[classes.stage[index]]
        shape[index] = 1.0
        if recruitment.power is not None:
            shape[index] = mean_power(1.0, recruitment.power, stage.length_mm)
    return shape


@dataclass(frozen=True)
class ChainNumbers:
    """The host chain of one site as numbers; arrays run over hosts or classes."""

    females: float
    gravid: float
    glochidia: np.ndarray
    attachment: float
    settlement: float
    suitability: np.ndarray
    contact: np.ndarray
    capacity: np.ndarray
    fertilised: tuple[str, float] | None

    def released(self, breeders: np.ndarray, adults_per_m2: float) -> float:
        """Glochidia released by `breeders`, shape (class,)."""
        share = share_fertilised(self.fertilised, adults_per_m2)
        return self.females * self.gravid * share * float(self.glochidia @ breeders)

    def juveniles(self, glochidia: float, area_m2: float, density: np.ndarray) -> float:
        """Metamorphosed juveniles of a site, without immunity."""
        fish = density * area_m2 / 100
        _, carried = glochidia_on_hosts(
            glochidia, self.attachment, fish, density, self.contact, self.capacity
        )
        return float((fish * carried * self.suitability).sum())

    def carried_per_fish(self, glochidia: float, area_m2: float, density: np.ndarray) -> float:
        """Glochidia carried per fish, averaged over all fish of the site."""
        fish = density * area_m2 / 100
        _, carried = glochidia_on_hosts(
            glochidia, self.attachment, fish, density, self.contact, self.capacity
        )
        return float((fish * carried).sum() / fish.sum())


def chain_numbers(stages, classes, recruitment: Recruitment, *, attachment: float,
                  settlement: float, value: Value = best) -> ChainNumbers:
    """The chain with every rate at `value` and the two calibrated numbers as given."""
    hosts = recruitment.hosts
    return ChainNumbers(
        females=value(recruitment.females),
        gravid=value(recruitment.gravid),
        glochidia=value(recruitment.glochidia) * fecundity_shape(stages, classes, recruitment),
        attachment=attachment,
        settlement=settlement,
        suitability=np.array([value(h.suitability) for h in hosts]),
        contact=np.array([value(h.contact) for h in hosts]),
        capacity=np.array([np.inf if h.capacity is None else value(h.capacity) for h in hosts]),
        fertilised=recruitment.fertilised,
    )


def chain_matrix(chain: ChainNumbers, classes: Classes, enters: int, density: np.ndarray,
                 adults_per_m2: float | None, shares: np.ndarray | None) -> np.ndarray:
    """F of the host chain.

    Parameters
    ----------
    density : ndarray, shape (host,)
        Fish per 100 m2.
    adults_per_m2 : float or None
        Density of breeding animals; None = few adults (the slope at zero).
    shares : ndarray, shape (class,) or None
        Shares of the classes among breeding animals, needed where fecundity differs; None = equal.
    """
    matrix = np.zeros((len(classes), len(classes)))
    breeders = classes.breeds / classes.breeds.sum() if shares is None else shares
    area = 100.0  # every term is per area, so any area will do
    few = 1e-9
    d = few if adults_per_m2 is None else adults_per_m2
    animals = breeders * d * area
    recruits = chain.settlement * chain.juveniles(chain.released(animals, d), area, density)
    output = float(chain.glochidia @ animals)
    if output > 0:
        matrix[enters] = recruits * chain.glochidia / output
    return matrix


def linear_matrix(stages, classes: Classes, recruitment: Recruitment,
                  value: Value = best) -> np.ndarray:
    """F of the two linear forms: recruits per adult, or entries of a published matrix."""
    matrix = np.zeros((len(classes), len(classes)))
    for to, origin, rate in linear_entries(stages, classes, recruitment):
        matrix[to, origin] += value(rate)
    return matrix


def linear_entries(stages, classes: Classes, recruitment: Recruitment):
    """(class entered, class of the parent, rate) of the two linear forms, in life order."""
    number = {s.name: i for i, s in enumerate(stages)}
    if recruitment.form == "entries":
        return [
            (int(classes.first[number[to]]), int(origin), rate)
            for (to, parent), rate in recruitment.entries.items()
            for origin in np.flatnonzero(classes.of_stage(number[parent]))
        ]
    enters = int(classes.first[number[recruitment.enters]])
    return [(enters, int(c), recruitment.per_adult) for c in np.flatnonzero(classes.breeds)]


def projection(u: np.ndarray, f: np.ndarray, census: str) -> np.ndarray:
    """A = U + F before breeding, (I + F) U after breeding."""
    return (np.eye(len(u)) + f) @ u if census == AFTER else u + f


def reference_state(resolved: Resolved, site: Site, value: Value = best):
    """Host densities and adult density at which a site's matrix is stated.

    Returns
    -------
    tuple of ndarray (host,) and float or None
        Calibration densities where a calibration names them, else the hosts as configured and few
        adults (None).
    """
    configured = np.array([value(h.density) for h in site.hosts])
    target = calibration_of(site.recruitment)
    if target is None or target.hosts_per_100m2 is None:
        return configured, None
    reference = configured
    if resolved.base is not None and resolved.base.first_site_hosts:
        reference = np.array([value(h.density) for h in resolved.base.first_site_hosts])
    return split_density(target.hosts_per_100m2, reference), target.adults_per_m2


def split_density(total: float, like: np.ndarray) -> np.ndarray:
    """A total host density split as in `like`; evenly where that holds no fish."""
    if like.sum() > 0:
        return total * like / like.sum()
    return np.full(len(like), total / max(len(like), 1))


def calibration_of(recruitment: Recruitment) -> Calibration | None:
    """The calibration that states a reference density, if any: settlement first."""
    for rate in (recruitment.settlement, recruitment.attachment):
        if isinstance(rate, Calibration):
            return rate
    return None


@dataclass(frozen=True)
class SiteMatrix:
    """Matrices of one site at best values; shapes (class to, class from)."""

    site: str
    classes: Classes
    u: np.ndarray
    f: np.ndarray
    a: np.ndarray


def site_matrix(resolved: Resolved, site: Site, *, attachment: float | None = None,
                settlement: float | None = None, value: Value = best) -> SiteMatrix:
    """Projection matrix of a site; the calibrated numbers are passed in (see `calibrate`)."""
    classes = expand(resolved.stages)
    u = survival_and_growth(resolved.stages, classes, site.survival, site.growth, value)
    recruitment = site.recruitment
    if recruitment.form != "hosts":
        f = linear_matrix(resolved.stages, classes, recruitment, value)
    else:
        chain = chain_numbers(resolved.stages, classes, recruitment, attachment=attachment,
                              settlement=settlement, value=value)
        enters = int(classes.first[[s.name for s in resolved.stages].index(recruitment.enters)])
        density, adults = reference_state(resolved, site, value)
        f = settled_chain_matrix(chain, classes, enters, density, adults, u, resolved.census)
    return SiteMatrix(site.name, classes, u, f, projection(u, f, resolved.census))


def settled_chain_matrix(chain, classes, enters, density, adults_per_m2, u, census):
    """F of the chain at the stable shares of its own breeding classes, iterated."""
    shares = None
    f = chain_matrix(chain, classes, enters, density, adults_per_m2, shares)
    fecundities = chain.glochidia[classes.breeds]
    if adults_per_m2 is None or len(fecundities) < 2 or np.ptp(fecundities) == 0:
        return f
    for _ in range(200):
        stable = stable_stages(projection(u, f, census)) * classes.breeds
        new = stable / stable.sum() if stable.sum() > 0 else None
        if shares is not None and new is not None and np.abs(new - shares).max() < 1e-13:
            break
        shares = new
        f = chain_matrix(chain, classes, enters, density, adults_per_m2, shares)
    return f

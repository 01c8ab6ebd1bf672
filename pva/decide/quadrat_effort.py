"""How many quadrats: to show recruitment, for a wanted precision, to see a change."""

from __future__ import annotations

from dataclasses import asdict, dataclass

import numpy as np
from scipy.optimize import brentq
from scipy.stats import norm

from pva.decide.effort import Digging, Quadrats, check_parts, check_positive, whole_up
from pva.estimate.survey_size import (
    quadrats_for_precision,
    quadrats_for_precision_short,
    quadrats_to_find_one,
)
from pva.results.summary import plain

CHANCES = (0.8, 0.9, 0.95, 0.99)
DENSITIES = (0.5, 1.0, 2.0)  # times the density asked about
PRECISIONS = (0.1, 0.2, 0.3, 0.5)
LEAST_LEFT = 1e-6  # share of the density beyond which a fall is not told from loss of all


@dataclass(frozen=True)
class FindingOne:
    """Quadrats that find at least one animal with a wanted chance.

    Parameters
    ----------
    density : float
        Animals per m2 that are there.
    chance : float
        Wanted.
    quadrats : Quadrats
    exact : float
        Before rounding up.
    effort : Digging
        For the number rounded up.
    table : tuple of dict
        ``density, chance, quadrats`` around what was asked.
    given : dict or None
        For a number of quadrats that is given: ``quadrats, chance`` of finding one, and
        ``limit``, the density above which one would have been found with the chance wanted.
    """

    density: float
    chance: float
    quadrats: Quadrats
    exact: float
    effort: Digging
    table: tuple[dict, ...]
    given: dict | None = None

    def summary(self) -> dict:
        """Plain dictionary for JSON."""
        return plain(asdict(self) | {"question": "recruits"})


def finding_one(density: float, *, quadrats: Quadrats, chance: float = 0.95,
                number: int | None = None) -> FindingOne:
    """Quadrats that show an animal (a recruit) where it lives at a density.

    Animals in a quadrat follow Poisson's law, or with `clumping` the negative binomial: none in n
    quadrats has the chance ``(1 + m / k) ** (-k n)``, m those a quadrat would show.

    Parameters
    ----------
    density : float
        Animals per m2 to be shown, above 0.
    quadrats : Quadrats
    chance : float
        0 to 1, both left out.
    number : int or None
        Quadrats that are given, to ask what they can show.

    Raises
    ------
    MeaningError
        If a number lies outside its range.
    """
    quadrats.check()
    check_positive(density=density)
    check_parts(chance=chance)
    exact = _to_find(density, quadrats, chance)
    rows = tuple({"density": density * times, "chance": c,
                  "quadrats": whole_up(_to_find(density * times, quadrats, c))}
                 for times in DENSITIES for c in sorted({*CHANCES, chance}))
    given = None
    if number is not None:
        given = {"quadrats": number, "limit": limit_if_none(number, quadrats, chance),
                 "chance": float(chance_to_find(number, density, quadrats))}
    return FindingOne(density, chance, quadrats, exact, quadrats.digging(whole_up(exact)), rows,
                      given)


def _to_find(density, quadrats, chance):
    return quadrats_to_find_one(density, quadrat_m2=quadrats.area_m2, chance=chance,
                                efficiency=quadrats.found, clumping=quadrats.clumping)


def chance_to_find(number, density: float, quadrats: Quadrats):
    """Chance that a number (or array) of quadrats shows at least one animal."""
    mean, k = quadrats.mean(density), quadrats.clumping
    each = mean if k is None else k * np.log1p(mean / k)
    return -np.expm1(-np.asarray(number, float) * each)


def limit_if_none(number: int, quadrats: Quadrats, chance: float) -> float:
    """Largest density (animals per m2) that a survey without a find does not rule out."""
    each, k = -np.log1p(-chance) / number, quadrats.clumping
    mean = each if k is None else k * np.expm1(each / k)
    return float(mean / (quadrats.area_m2 * quadrats.found))


@dataclass(frozen=True)
class Precision:
    """Quadrats after which the standard error is a wanted part of the density.

    Parameters
    ----------
    density, mean : float
        Animals per m2, and found in a quadrat on average.
    precision : float
        Standard error over density, wanted.
    quadrats : Quadrats
    exact : float
        The number advised, before rounding up.
    by : str
        What it rests on.
    even_scatter, variance_law, rule_of_thumb : float
        Numbers if animals were scattered evenly, by the published variance law of mussel surveys,
        and by its published short form; not rounded.
    clumped : float or None
        By the dispersion given.
    effort : Digging
    table : tuple of dict
        ``precision, quadrats``.
    given : dict or None
        ``quadrats`` that are given and the ``precision`` they reach.
    """

    density: float
    mean: float
    precision: float
    quadrats: Quadrats
    exact: float
    by: str
    even_scatter: float
    variance_law: float
    rule_of_thumb: float
    clumped: float | None
    effort: Digging
    table: tuple[dict, ...]
    given: dict | None = None

    def summary(self) -> dict:
        """Plain dictionary for JSON."""
        return plain(asdict(self) | {"question": "density"})


def density_precision(density: float, *, quadrats: Quadrats, precision: float = 0.2,
                      number: int | None = None) -> Precision:
    """Quadrats for a wanted precision of a density.

    With `clumping`, the negative binomial; without it the larger of the published variance law
    and even scatter, because the law, extrapolated to few animals a quadrat, promises more than
    evenly scattered animals allow.

    Parameters
    ----------
    density : float
        Animals per m2 that are expected.
    quadrats : Quadrats
    precision : float
        Standard error over density; 0.2 is usual (common practice).
    number : int or None
        Quadrats that are given, to ask which precision they reach.

    Raises
    ------
    MeaningError
        If a number lies outside its range.

    References
    ----------
    Downing & Downing 1992, Canadian Journal of Fisheries and Aquatic Sciences 49:985-991,
    doi:10.1139/f92-110.
    """
    quadrats.check()
    check_positive(density=density, precision=precision)
    mean = quadrats.mean(density)
    spread, by = relative_variance(mean, quadrats.clumping)
    exact = spread / precision**2
    clumped = None
    if quadrats.clumping is not None:
        clumped = quadrats_for_precision(mean, precision=precision, clumping=quadrats.clumping)
    given = None
    if number is not None:
        given = {"quadrats": number, "precision": float(np.sqrt(spread / number))}
    rows = tuple({"precision": p, "quadrats": whole_up(spread / p**2)}
                 for p in sorted({*PRECISIONS, precision}))
    return Precision(
        density, mean, precision, quadrats, exact, by, even_scatter=1 / mean / precision**2,
        variance_law=quadrats_for_precision(mean, precision=precision),
        rule_of_thumb=quadrats_for_precision_short(mean, precision=precision), clumped=clumped,
        effort=quadrats.digging(whole_up(exact)), table=rows, given=given)


def relative_variance(mean: float, clumping: float | None) -> tuple[float, str]:
    """Variance of a quadrat's count over its squared mean, and what it rests on."""
    if clumping is not None:
        return 1 / mean + 1 / clumping, f"clumping k = {clumping:g}"
    law = quadrats_for_precision(mean, precision=1.0)
    if law >= 1 / mean:
        return law, "published variance law of mussel surveys"
    return 1 / mean, "even scatter, more than the published variance law asks for at so few animals"


@dataclass(frozen=True)
class SeeingChange:
    """Quadrats, in each of two surveys, that see a change of density.

    Parameters
    ----------
    before, after : float
        Animals per m2.
    power : float
        Chance wanted that the change is found.
    alarm : float
        Chance of finding a change, up or down, where there is none (two-sided).
    quadrats : Quadrats
    exact : float
        In each survey, before rounding up.
    by : str
        What the spread of the counts rests on.
    effort : Digging
        Of each survey.
    given : dict or None
        For ``quadrats`` that are given: ``power`` and ``smallest_fall``, the share by which the
        density must fall to be seen with the chance wanted (None: no fall is).
    """

    before: float
    after: float
    power: float
    alarm: float
    quadrats: Quadrats
    exact: float
    by: str
    effort: Digging
    given: dict | None = None

    def summary(self) -> dict:
        """Plain dictionary for JSON."""
        return plain(asdict(self) | {"question": "change"})


def seeing_change(before: float, after: float, *, quadrats: Quadrats, power: float = 0.8,
                  alarm: float = 0.05, number: int | None = None) -> SeeingChange:
    """Quadrats in each of two independent surveys that tell a change of density from chance.

    The logarithm of the ratio of the two densities is held against its standard error, two-sided.
    The share found is taken to be the same in both surveys.

    Parameters
    ----------
    before, after : float
        Animals per m2, different, above 0.
    quadrats : Quadrats
    power, alarm : float
        0 to 1, both left out.
    number : int or None
        Quadrats in each survey that are given, to ask what they can see.

    Raises
    ------
    MeaningError
        If a number lies outside its range, or nothing changes.
    """
    quadrats.check()
    check_positive(before=before, after=after)
    check_parts(power=power, alarm=alarm)
    check_positive(**{"the change": abs(after / before - 1)})
    spread, by = _log_ratio_variance(before, after, quadrats)
    needed = (norm.ppf(1 - alarm / 2) + norm.ppf(power)) / np.log(after / before)
    exact = float(max(needed**2 * spread, 1.0))
    given = None
    if number is not None:
        given = {"quadrats": number,
                 "power": change_power(number, before, after, quadrats=quadrats, alarm=alarm),
                 "smallest_fall": _smallest_fall(number, before, quadrats, power, alarm)}
    return SeeingChange(before, after, power, alarm, quadrats, exact, by,
                        quadrats.digging(whole_up(exact)), given)


def change_power(number: int, before: float, after: float, *, quadrats: Quadrats,
                 alarm: float = 0.05) -> float:
    """Chance that two surveys of a number of quadrats each find the change."""
    spread, _ = _log_ratio_variance(before, after, quadrats)
    away = abs(np.log(after / before)) / np.sqrt(spread / number)
    edge = norm.ppf(1 - alarm / 2)
    return float(norm.cdf(away - edge) + norm.cdf(-away - edge))


def _log_ratio_variance(before, after, quadrats):
    """Variance of the log ratio of two surveys of one quadrat each."""
    (one, by), (other, _) = (relative_variance(quadrats.mean(d), quadrats.clumping)
                             for d in (before, after))
    return one + other, by


def _smallest_fall(number, before, quadrats, power, alarm):
    def lacking(log_left):
        return change_power(number, before, before * np.exp(log_left), quadrats=quadrats,
                            alarm=alarm) - power

    # beyond some fall so few animals are left that the second survey tells less again
    tried = np.linspace(-1e-3, np.log(LEAST_LEFT), 400)
    seen = next((i for i, x in enumerate(tried) if lacking(x) >= 0), None)
    if seen is None:
        return None
    if seen == 0:
        return float(-np.expm1(tried[0]))
    return float(-np.expm1(brentq(lacking, tried[seen], tried[seen - 1])))

"""Density of one site and survey by the design in which its units were laid out."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
from scipy.stats import chi2, t

from pva.estimate.combined import Told, weighted_sum
from pva.estimate.density import NONE_FOUND, Density, density
from pva.estimate.designs import (
    DesignMean,
    Stratum,
    double_ratio,
    double_regression,
    stratified,
    systematic,
)

STARTS_DIFFER = 0.05  # chance below which starts differ more than their counts explain
WIDENED = ", widened because the starts differ"


def systematic_density(counts, areas, starts, *, level: float = 0.95) -> Density:
    """Density from grids with one or several random starts.

    The interval takes units as spread at random. Where starts differ more than that allows, it is
    widened accordingly. One start cannot tell.

    Parameters
    ----------
    counts, areas : float array (unit)
    starts : array (unit)
        Which start each unit belongs to.
    level : float
    """
    told = density(counts, areas, level=level)
    between = systematic(counts, areas, starts)
    if told.animals == 0 or between.variance is None:
        return told
    ratio = between.variance / told.se**2
    if chi2.sf(ratio * between.degrees, between.degrees) >= STARTS_DIFFER:
        return told
    wider = float(np.sqrt(ratio))
    return replace(told, se=told.se * wider, method=told.method + WIDENED,
                   low=told.value * (told.low / told.value) ** wider,
                   high=told.value * (told.high / told.value) ** wider)


def stratified_density(strata: list[Stratum], *, level: float = 0.95) -> Density:
    """Density of a site from its strata, each with an interval of its own.

    Parameters
    ----------
    strata : list of Stratum
    level : float
    """
    parts = [density(s.counts, s.areas, level=level) for s in strata]
    whole = sum(s.area_m2 for s in strata)
    weights = [s.area_m2 / whole for s in strata]
    facts = {"units": sum(p.units for p in parts), "blanks": sum(p.blanks for p in parts),
             "animals": sum(p.animals for p in parts), "area_m2": sum(p.area_m2 for p in parts)}
    if facts["animals"] == 0:
        # as if all animals that may have been missed lived where the digging was thinnest
        high = max(w * p.high for w, p in zip(weights, parts, strict=True))
        return Density(0.0, 0.0, high, None, NONE_FOUND, **facts)
    told = weighted_sum(weights, [p.told for p in parts])
    se = stratified(strata).se
    if se is None:
        se = float(np.sqrt(sum((w * (p.se or 0.0)) ** 2
                               for w, p in zip(weights, parts, strict=True))))
    methods = dict.fromkeys(p.method for p in parts if p.animals)
    return Density(told.value, told.low, told.high, se, f"{' and '.join(methods)} by stratum",
                   **facts)


def double_density(surface, areas, dug, *, counts, by: str = "ratio",
                   level: float = 0.95) -> Density:
    """Density from surface counts everywhere, corrected by the units dug as well.

    Where nothing was seen at the surface of the units dug, these stand alone.

    Parameters
    ----------
    surface, areas : float array (unit)
    dug : bool array (unit)
    counts : float array (unit)
        All animals of the units dug.
    by : {'ratio', 'regression'}
    level : float
    """
    surface, dug = np.asarray(surface, float), np.asarray(dug, bool)
    areas = np.broadcast_to(np.asarray(areas, float), surface.shape)
    counts = np.where(dug, counts, 0)
    alone = density(counts[dug], areas[dug], level=level)
    method = double_ratio if by == "ratio" else double_regression
    try:
        told = method(surface, areas, dug, counts=counts)
    except ValueError:
        return replace(alone, method=f"{alone.method}, units dug alone")
    if told.se is None or told.value <= 0 or told.se == 0:
        return replace(alone, method=f"{alone.method}, units dug alone")
    ends = _double_interval(told, density(surface, areas, level=level), level)
    found = np.where(dug, counts, surface)
    return Density(told.value, ends.low, ends.high, told.se, f"double sampling by {by}",
                   units=int(dug.size), blanks=int((found == 0).sum()), animals=int(found.sum()),
                   area_m2=float(areas.sum()))


def _double_interval(told: DesignMean, seen: Density, level: float) -> Told:
    """Doubt of what is seen at the surface and of the relation, joined on the log scale."""
    half = float(t.ppf((1 + level) / 2, told.degrees)) * np.sqrt(told.relation) / told.value
    down = np.hypot(np.log(seen.value / seen.low), half)
    up = np.hypot(np.log(seen.high / seen.value), half)
    return Told(told.value, told.value * float(np.exp(-down)), told.value * float(np.exp(up)))


def t_interval(counts, areas, *, level: float = 0.95) -> Told:
    """Student's t interval of equal units: the textbook's, which covers too little on clumped beds.

    Parameters
    ----------
    counts, areas : float array (unit)
    level : float
    """
    counts = np.asarray(counts, float)
    area = float(np.mean(areas))
    value = counts.mean() / area
    half = t.ppf((1 + level) / 2, counts.size - 1) * counts.std(ddof=1) / np.sqrt(counts.size)
    return Told(float(value), max(float(value - half / area), 0.0), float(value + half / area))

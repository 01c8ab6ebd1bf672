"""Availability: the share of living animals that a search of the site can find at all.

Passes within one visit meet the same animals, none of which dies meanwhile. How often an animal met
on one pass is met on the others tells how well a pass finds what can be found; the chance of being
found at the visit, from recaptures over the years, is lower where some animals are out of reach
(buried deep). The ratio is the availability. Animals out of reach at random are part of detection
and do not bias survival; animals that stay out of reach count as dead.

References
----------
Detection within and between occasions: Pollock 1982, Journal of Wildlife Management 46:752-757
(from memory).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd
from scipy.optimize import minimize_scalar
from scipy.special import expit

from pva.estimate.link_scale import Z95
from pva.field.records import ALIVE, REMOVED, FieldRecords

FEWEST_MEETINGS = 20


@dataclass(frozen=True)
class PassDetection:
    """How well one pass finds an animal within reach.

    Parameters
    ----------
    value, se : float
        Chance on one pass.
    meetings : int
        Animals met, summed over the visits.
    visits : dict of (str, str) to int
        (visit, site) -> passes.
    """

    value: float
    se: float
    meetings: int
    visits: dict

    def whole_visit(self) -> tuple[float, float]:
        """Mean chance that a visit finds an animal within reach, and its SE."""
        passes = np.array(list(self.visits.values()), float)
        missed = (1 - self.value) ** passes
        slope = (passes * (1 - self.value) ** (passes - 1)).mean()
        return float((1 - missed).mean()), float(slope * self.se)


def pass_detection(records: FieldRecords, species: str | None = None) -> PassDetection | None:
    """Chance of being met on one pass; None where passes are not told apart or tell too little.

    At a visit where no animal was met twice they are taken to have been set aside until its end,
    and the pass that first met each is used; elsewhere how many passes met it.

    Parameters
    ----------
    records : FieldRecords
    species : str, optional
        Only animals of it.
    """
    met = records.encounters
    if "passes_met" not in met:
        return None
    met = met[met["animal"].notna() & met["passes_met"].notna()
              & met["status"].isin([ALIVE, REMOVED])]
    if species is not None:
        met = met[met["species"].eq(species)]
    met = met.drop_duplicates(["animal", "site", "visit"])
    visits = records.visits
    planned = {(v, s): p for v, s, p in zip(visits["visit"], visits["site"], visits["passes"],
                                            strict=True) if p == p and p > 1}
    parts, used = [], {}
    for key, rows in met.groupby(["visit", "site"]):
        if key not in planned:
            continue
        passes = max(int(planned[key]), int(rows["pass"].max()))
        used[key] = passes
        removed = rows["passes_met"].max() <= 1
        hits = np.ones(len(rows)) if removed else rows["passes_met"].to_numpy(float)
        misses = rows["pass"].to_numpy(float) - 1 if removed else passes - hits
        parts.append(pd.DataFrame({"hits": hits, "misses": misses, "passes": passes}))
    table = pd.concat(parts) if parts else pd.DataFrame()
    if len(table) < FEWEST_MEETINGS:
        return None
    value, se = _fit(table)
    return PassDetection(value, se, len(table), used)


def _fit(table: pd.DataFrame) -> tuple[float, float]:
    """Maximum likelihood, given that each animal was met at least once."""
    hits, misses, passes = (table[c].to_numpy(float) for c in ("hits", "misses", "passes"))

    def negative(x):
        p, q = expit(x), expit(-x)
        return -(hits * np.log(p) + misses * np.log(q) - np.log(-np.expm1(passes * np.log(q)))
                 ).sum()

    found = minimize_scalar(negative, bounds=(-8, 8), method="bounded", options={"xatol": 1e-8})
    step = 1e-3
    bend = (negative(found.x + step) - 2 * found.fun + negative(found.x - step)) / step**2
    value = float(expit(found.x))
    return value, float(value * (1 - value) / np.sqrt(max(bend, 1e-12)))


def availability(detection: tuple[float, float], told: PassDetection) -> tuple[float, float]:
    """Availability and its SE, from detection at the visits with passes (value, SE).

    The value is not limited to 1: above it, the search alone explains how many are met.
    """
    at_visit, se = detection
    within, se_within = told.whole_visit()
    value = at_visit / within
    return value, value * float(np.hypot(se / at_visit, se_within / within))


def chance_to_find(records: FieldRecords, species: str, within_reach) -> float | None:
    """Upper end of the chance that a visit finds a living animal; None where nothing is known.

    Parameters
    ----------
    records : FieldRecords
    species : str
    within_reach : Staying or None
        Availability given as a number; left out, every living animal is taken to be within reach,
        which can only lower the bound that is made of it.
    """
    told = pass_detection(records, species)
    if told is None:
        return None
    value, se = told.whole_visit()
    upper = min(value + Z95 * se, 1.0)
    if within_reach is not None:
        upper *= min(within_reach.value + Z95 * within_reach.se, 1.0)
    return upper

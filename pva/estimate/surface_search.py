"""Share of animals that a search of the surface finds, by stage, in units searched and dug."""

from __future__ import annotations

import pandas as pd
from scipy.stats import beta

from pva.estimate.combined import Told
from pva.estimate.stage_steps import LengthStage

FEWEST_ANIMALS = 10  # of a stage in units searched and dug, below which its share is not told


def share_found(found: int, there: int, *, level: float = 0.95) -> Told:
    """A share and its exact binomial interval (Clopper & Pearson 1934, from memory).

    Parameters
    ----------
    found, there : int
    level : float
    """
    tail = (1 - level) / 2
    low = float(beta.ppf(tail, found, there - found + 1)) if found else 0.0
    high = float(beta.ppf(1 - tail, found + 1, there - found)) if found < there else 1.0
    return Told(found / there, low, high)


def surface_search(animals: pd.DataFrame, units: pd.DataFrame,
                   stages: tuple[LengthStage, ...]) -> list[dict]:
    """Shares by stage, over all sites and surveys.

    Animals count that say how they were found (`excavated` no = at the surface, yes = by digging),
    in units dug. What digging misses too is not seen.

    Parameters
    ----------
    animals, units : DataFrame
    stages : tuple of LengthStage

    Returns
    -------
    list of dict
        stage, found, there, value, low, high; stages with few animals are left out.
    """
    if "excavated" not in animals:
        return []
    key = ["survey", "site", "unit"]
    dug = units.loc[units["excavated"].eq(True), key]
    told = animals[animals["excavated"].notna()].merge(dug, on=key)
    rows = []
    for stage in stages:
        own = told[(told["length_mm"] >= stage.low) & (told["length_mm"] < stage.high)]
        found, there = int(own["excavated"].eq(False).sum()), len(own)
        if there < FEWEST_ANIMALS:
            continue
        share = share_found(found, there)
        rows.append({"name": f"surface_search/{stage.name}", "stage": stage.name, "found": found,
                     "there": there, "value": share.value, "low": share.low, "high": share.high})
    return rows

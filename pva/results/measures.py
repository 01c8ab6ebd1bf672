"""Yearly measures of a place, from the engine's tallies.

A measure that is not defined (0 / 0, a flow in the first year) is NaN here and null outside.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from pva.model import record as r
from pva.scenario.resolved import Genetics

UNITS = {
    "adults": "animals",
    "animals": "animals",
    "wild_adults": "animals",
    "stocked_adults": "animals",
    "females": "animals",
    "recruits": "animals per year",
    "adults_per_m2": "animals m-2",
    "sites_occupied": "sites",
    "replacement_ratio": "1",
    "wild_share": "1",
    "heterozygosity": "1",
    "glochidia_per_host": "glochidia per fish",
    "cost": "money of the scenario",
}
WORDS = {
    "adults": "adults",
    "animals": "all animals",
    "wild_adults": "wild-born adults",
    "stocked_adults": "stocked adults",
    "females": "adult females",
    "recruits": "recruits counted at the census",
    "adults_per_m2": "breeding animals per m2",
    "sites_occupied": "sites with any animal",
    "replacement_ratio": "wild-born animals reaching adulthood per adult death",
    "wild_share": "wild-born share of adults",
    "heterozygosity": "heterozygosity kept",
    "glochidia_per_host": "glochidia carried per host fish",
    "cost": "cost of releases so far",
}
MEASURES = tuple(UNITS)
_ADULTS = (r.T_WILD_ADULTS, r.T_STOCKED_ADULTS)
_ANIMALS = (r.T_WILD_ANIMALS, r.T_STOCKED_ANIMALS)
# tallies summed, and those their sum is divided by
TERMS = {
    "adults": (_ADULTS, ()),
    "animals": (_ANIMALS, ()),
    "wild_adults": ((r.T_WILD_ADULTS,), ()),
    "stocked_adults": ((r.T_STOCKED_ADULTS,), ()),
    "females": ((r.T_FEMALES,), ()),
    "recruits": ((r.T_RECRUITS,), ()),
    "adults_per_m2": ((r.T_BREEDERS,), ()),
    "sites_occupied": ((), _ANIMALS),  # counted, not divided
    "replacement_ratio": ((r.T_REACHED_ADULT,), (r.T_ADULT_DEATHS,)),
    "wild_share": ((r.T_WILD_ADULTS,), _ADULTS),
    "heterozygosity": (_ADULTS, _ANIMALS),
    "glochidia_per_host": ((r.T_ATTACHED,), (r.T_FISH,)),
    "cost": ((r.T_COST,), ()),
}
# flows of the year that ended at the census: null at the first census
FLOWS = ("recruits", "replacement_ratio", "glochidia_per_host")
# measures of which a sum over replicates is the measure of the summed tallies
SUMMED = ("adults", "animals", "wild_adults", "stocked_adults", "females", "recruits",
          "adults_per_m2", "cost")


@dataclass(frozen=True)
class Places:
    """What measures need beside the tallies.

    Parameters
    ----------
    area : ndarray, shape (site,)
        m2, NaN unknown.
    genetics : Genetics or None
    generation_years : float or None
        Generation time for the loss of heterozygosity.
    """

    area: np.ndarray
    genetics: Genetics | None = None
    generation_years: float | None = None


def measure(name: str, tallies: np.ndarray, places: Places,
            sites: np.ndarray | None = None) -> np.ndarray:
    """A measure of some sites summed (ratios are ratios of sums).

    Parameters
    ----------
    name : str
        One of `MEASURES`.
    tallies : ndarray, shape (replicate, census, site, tally)
    places : Places
    sites : ndarray of int or None
        Sites summed; None = the river.

    Returns
    -------
    ndarray, shape (replicate, census)
    """
    sites = np.arange(tallies.shape[2]) if sites is None else sites
    here = _Sums(tallies, sites)
    if name == "sites_occupied":
        total = tallies[:, :, sites, r.T_WILD_ANIMALS] + tallies[:, :, sites, r.T_STOCKED_ANIMALS]
        return (total > 0).sum(axis=2).astype(float)
    top, bottom = TERMS[name]
    if name == "heterozygosity":
        return _heterozygosity(here[top], here[bottom], places)
    values = here[top]
    if name == "adults_per_m2":
        values = values / places.area[sites].sum()
    if bottom:
        values = _ratio(values, here[bottom])
    return _flow(values) if name in FLOWS else values


class _Sums:
    """Tallies summed over the sites asked for, each once."""

    def __init__(self, tallies, sites):
        self._tallies, self._sites = tallies, sites

    def __getitem__(self, terms):
        return sum(map(self._one, terms[1:]), self._one(terms[0]))

    def _one(self, which):
        if len(self._sites) == 1:
            return self._tallies[:, :, self._sites[0], which]
        return self._tallies[:, :, self._sites, which].sum(axis=2)


def _ratio(top, bottom):
    return np.divide(top, bottom, out=np.full_like(top, np.nan, dtype=float), where=bottom > 0)


def _flow(values):
    """A flow of the year that ended at the census: null at the first census."""
    values = np.array(values, dtype=float)  # order kept: replicates of a census lie side by side
    values[:, 0] = np.nan
    return values


def _heterozygosity(adults, animals, places):
    """Kept share of heterozygosity: each year 1 - 1 / (2 Ne T), founders first.

    A year without adults but with younger animals loses nothing; without any animal nothing is
    kept.
    """
    if places.genetics is None or not places.generation_years:
        return np.full(adults.shape, np.nan)
    effective = adults * places.genetics.ne_over_n * places.generation_years
    factor = np.ones_like(adults)
    np.divide(1.0, 2 * effective, out=factor, where=effective > 0)
    factor = np.where(effective > 0, np.maximum(1 - factor, 0.0), 1.0)
    kept = np.empty_like(adults)
    kept[:, 0] = 1 - 1 / (2 * places.genetics.founders)
    kept[:, 1:] = kept[:, :1] * np.cumprod(factor[:, :-1], axis=1)
    seen = np.maximum.accumulate(animals > 0, axis=1)
    return np.where(seen & (animals == 0), np.nan, kept)

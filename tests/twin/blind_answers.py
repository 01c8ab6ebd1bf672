"""Measures, goals and risks of the blind simulation (blind_numpy.py), replicate by replicate.

Written from the model's description alone; shares no code with the package.
"""

from __future__ import annotations

import numpy as np

RATIOS = {
    "replacement_ratio": ("reached", "deaths"),
    "glochidia_per_host": ("carried", "fish"),
    "wild_share": ("wild_adults", "adults"),
}


def measure(blind, name: str, sites: list[str], last: int | None = None) -> np.ndarray:
    """A measure of sites summed, shape (census, replicate); NaN where it is null.

    Parameters
    ----------
    blind : Blind
    name : str
    sites : list of str
    last : int or None
        Last census wanted.
    """
    where = [blind.sites.index(s) for s in sites]
    censuses = slice(None if last is None else last + 1)
    known = {k: v[censuses, where].sum(axis=1) for k, v in blind.tally.items()}
    known["adults"] = known["wild_adults"] + known["stocked_adults"]
    if name in RATIOS:
        top, bottom = (known[k] for k in RATIOS[name])
        return np.divide(top, bottom, out=np.full(top.shape, np.nan), where=bottom > 0)
    if name == "sites_occupied":
        return (blind.tally["animals"][censuses, where] > 0).sum(axis=1).astype(float)
    if name == "adults_per_m2":
        return known["breeders"] / sum(blind.question.sites[i].area_m2 for i in where)
    if name == "cost":
        return known["cost"].cumsum(axis=0)
    if name == "recruits":
        known["recruits"][0] = np.nan
    return known[name]


def groups(blind, where) -> tuple[list[list[str]], int]:
    """Groups of sites judged one by one, and how many of them must succeed."""
    if where == "river":
        return [blind.sites], 1
    if where == "each site" or isinstance(where, int):
        return [[s] for s in blind.sites], len(blind.sites) if where == "each site" else where
    return [list(where)], 1


def met(blind, goal) -> np.ndarray:
    """Whether every replicate meets a goal."""
    first, last = (year - blind.question.first for year in goal.years)
    judged, needed = groups(blind, goal.where)
    succeeded = np.zeros(blind.size, dtype=int)
    for sites in judged:
        values = measure(blind, goal.measure, sites)[first:last + 1]
        good = values <= goal.value if goal.at_most else values >= goal.value
        if goal.running:
            starts = range(len(good) - goal.running + 1)
            done = np.any([good[k:k + goal.running].all(axis=0) for k in starts], axis=0)
        else:
            done = good.sum(axis=0) >= (goal.of_years or len(good))
        succeeded += done
    return succeeded >= needed


def gone(blind) -> np.ndarray:
    """No animal left at some census from the stated year on, shape (census, replicate)."""
    return _since(blind, measure(blind, "animals", blind.sites) == 0)


def below(blind) -> np.ndarray:
    """Adults below the threshold at some census from the stated year on."""
    rule = blind.question.quasi_extinction
    judged, needed = groups(blind, rule.where)
    passed = [_since(blind, measure(blind, "adults", sites) < rule.adults_below)
              for sites in judged]
    return np.sum(passed, axis=0) >= needed


def _since(blind, happens):
    early = blind.question.quasi_extinction.from_year - blind.question.first
    happens[:early] = False
    return np.logical_or.accumulate(happens)

"""Goals and extinction judged replicate by replicate, in the same run."""

from __future__ import annotations

import numpy as np

from pva.model import record as r
from pva.results.measures import Places, measure
from pva.scenario.resolved import EACH_SITE, RIVER, Goal, Resolved


def site_groups(where, names: list[str]) -> tuple[list[np.ndarray], int]:
    """Groups of sites a goal is judged on, and how many of them must succeed.

    Parameters
    ----------
    where : str, int or tuple of str
        ``river``, ``each site``, a number of sites, or names summed.
    names : list of str
        Site names in order.
    """
    every = np.arange(len(names))
    if where == RIVER:
        return [every], 1
    if where == EACH_SITE:
        return [every[i:i + 1] for i in every], len(every)
    if isinstance(where, int):
        return [every[i:i + 1] for i in every], where
    return [np.array([names.index(n) for n in where])], 1


def yearly(goal: Goal, tallies: np.ndarray, places: Places, sites: np.ndarray) -> np.ndarray:
    """Whether the measure stands on the right side of the value, shape (replicate, census)."""
    values = measure(goal.measure, tallies, places, sites)
    with np.errstate(invalid="ignore"):  # a null is not met, whichever way the goal looks
        return values <= goal.value if goal.at_most else values >= goal.value


def judge(goal: Goal, tallies: np.ndarray, places: Places, resolved: Resolved) -> np.ndarray:
    """Whether every replicate meets the goal, shape (replicate,), bool."""
    groups, needed = site_groups(goal.where, [s.name for s in resolved.sites])
    first, last = (y - resolved.first for y in goal.years)
    met = np.zeros(len(tallies), dtype=int)
    for sites in groups:
        good = yearly(goal, tallies, places, sites)[:, first:last + 1]
        met += _window(goal, good)
    return met >= needed


def _window(goal, good):
    if goal.running is not None:
        return longest_run(good) >= goal.running
    if goal.of_years is not None:
        return good.sum(axis=1) >= goal.of_years
    return good.all(axis=1)


def longest_run(good: np.ndarray) -> np.ndarray:
    """Longest unbroken row of true years, shape (replicate,)."""
    run = np.zeros(len(good), dtype=int)
    longest = np.zeros(len(good), dtype=int)
    for year in range(good.shape[1]):
        run = np.where(good[:, year], run + 1, 0)
        longest = np.maximum(longest, run)
    return longest


def extinct_by(tallies: np.ndarray, resolved: Resolved) -> np.ndarray:
    """No animal anywhere at some census from the stated year on, shape (replicate, census)."""
    gone = True
    for site in range(tallies.shape[2]):
        for which in (r.T_WILD_ANIMALS, r.T_STOCKED_ANIMALS):
            gone = (tallies[:, :, site, which] == 0) & gone
    return _from_year(gone, resolved)


def below_by(tallies: np.ndarray, resolved: Resolved) -> np.ndarray:
    """Adults below the threshold at some census from the stated year on."""
    rule = resolved.quasi_extinction
    groups, needed = site_groups(rule.where, [s.name for s in resolved.sites])
    adults = tallies[..., r.T_WILD_ADULTS] + tallies[..., r.T_STOCKED_ADULTS]
    passed = sum(_from_year(adults[:, :, sites].sum(axis=2) < rule.adults_below,
                            resolved).astype(int) for sites in groups)
    return passed >= needed


def _from_year(happens, resolved):
    happens = happens.copy()
    happens[:, :resolved.quasi_extinction.from_year - resolved.first] = False
    return np.logical_or.accumulate(happens, axis=1)

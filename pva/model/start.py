"""Animals at the first census, spread over age classes."""

from __future__ import annotations

import numpy as np

from pva.model.classes import Classes
from pva.model.draws import DrawTable
from pva.model.slots import Slots
from pva.scenario.resolved import Resolved, Site

ALL = "animals"


def start_numbers(resolved: Resolved, classes: Classes, table: DrawTable,
                  shares: list[np.ndarray]) -> np.ndarray:
    """Animals of every site and class, shape (draw, site, class).

    Parameters
    ----------
    shares : list of ndarray, shape (class,)
        Stable shares of each site's matrix at best values, over which totals are spread.
    """
    whole = resolved.chance.individuals
    result = np.zeros((table.draws, len(resolved.sites), len(classes)))
    for s, site in enumerate(resolved.sites):
        for mask, totals in _groups(resolved, site, classes, table):
            weight = shares[s] * mask
            weight = weight / weight.sum() if weight.sum() > 0 else mask / mask.sum()
            result[:, s] += spread(totals, weight, whole=whole)
    return result


def _groups(resolved: Resolved, site: Site, classes: Classes, table: DrawTable):
    names = [s.name for s in resolved.stages]
    slots = Slots(table, [resolved.first], years=False)
    for name, rate in site.start.numbers.items():
        mask = np.ones(len(classes), dtype=bool)
        if name != ALL:
            mask = classes.of_stage(names.index(name))
        yield mask, slots.means_by_period(rate)[:, 0]


def spread(totals: np.ndarray, weight: np.ndarray, *, whole: bool) -> np.ndarray:
    """Spread totals by weights that sum to 1; whole animals by largest remainder.

    Parameters
    ----------
    totals : ndarray, shape (draw,)
    weight : ndarray, shape (class,)

    Returns
    -------
    ndarray, shape (draw, class)
        Rows sum to the totals, rounded to whole numbers with `whole`.
    """
    if not whole:
        return totals[:, None] * weight
    wanted = np.floor(totals + 0.5)[:, None] * weight
    result = np.floor(wanted)
    missing = np.rint(wanted.sum(axis=1) - result.sum(axis=1))
    order = np.argsort(result - wanted, axis=1, kind="stable")
    rank = np.argsort(order, axis=1, kind="stable")
    return result + (rank < missing[:, None])

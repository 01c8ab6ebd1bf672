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
            result[:, s] += [spread(t, weight, whole=whole) for t in totals]
    return result


def _groups(resolved: Resolved, site: Site, classes: Classes, table: DrawTable):
    names = [s.name for s in resolved.stages]
    slots = Slots(table, [resolved.first], years=False)
    for name, rate in site.start.numbers.items():
        mask = np.ones(len(classes), dtype=bool)
        if name != ALL:
            mask = classes.of_stage(names.index(name))
        yield mask, slots.means_by_period(rate)[:, 0]


def spread(total: float, weight: np.ndarray, *, whole: bool) -> np.ndarray:
    """Spread a total by weights that sum to 1; whole animals by largest remainder.

    Returns
    -------
    ndarray, shape (class,)
        Sums to `total`, rounded to a whole number with `whole`.
    """
    if not whole:
        return total * weight
    wanted = np.floor(total + 0.5) * weight
    result = np.floor(wanted)
    missing = int(round(wanted.sum() - result.sum()))
    order = np.argsort(-(wanted - result), kind="stable")
    result[order[:missing]] += 1
    return result

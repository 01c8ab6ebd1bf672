"""Slots: every rate at every site as numbers by draw and period, with its link SD of years.

A slot without year effects holds natural values; one with year effects holds link means chosen so
that the mean over years is the drawn value, whatever the link SD (which all draws share).
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
from scipy.special import expit, logit

from pva.estimate.link_scale import mean_over_years
from pva.lifehistory.links import (
    centre_for_mean,
    match_positive,
    match_probability,
)
from pva.lifehistory.rates import PROBABILITY, Rate
from pva.model.draws import DrawTable
from pva.model.matrix import best
from pva.model.record import FIXED, LOG, LOGIT


def link_sd(rate: Rate) -> float:
    """Link-scale SD of years: from the estimates, or `year_sd` matched at the best value."""
    if rate.link is not None:
        return rate.link.year_sd
    if not rate.year_sd:
        return 0.0
    if rate.kind == PROBABILITY:
        return match_probability(_inner_best(rate), rate.year_sd)[1]
    return match_positive(_inner_best(rate), rate.year_sd)[1]


def _inner_best(rate):
    """Best value; where a table by year starts at 0 (or 1), its first value inside the range."""
    for value in [best(rate), *(rate.by_year[y] for y in sorted(rate.by_year))]:
        if value > 0 and (value < 1 or rate.kind != PROBABILITY):
            return value
    return best(rate)


def drawn_means(rate: Rate, table: DrawTable) -> np.ndarray:
    """Drawn means over years of a rate, natural scale, before any table by year, shape (draw,)."""
    if rate.key in table.held:
        return table.held[rate.key]
    if rate.link is None:
        return table.means(rate)
    centre = table.link_means(rate)
    if rate.kind == PROBABILITY:
        return mean_over_years(centre, rate.link.year_sd)
    return np.exp(centre + rate.link.year_sd**2 / 2)


def period_starts(rates: list[Rate], first: int, last: int) -> list[int]:
    """Years at which any table `by_year` changes within the model years; the first is `first`."""
    changes = {first}
    for rate in rates:
        changes |= {y for y in rate.by_year if first < y < last}
    return sorted(changes)


class Slots:
    """Collects slots while the plan is put together.

    Parameters
    ----------
    table : DrawTable
    starts : list of int
        First year of every period.
    years : bool
        Whether years differ.
    """

    def __init__(self, table: DrawTable, starts: list[int], *, years: bool):
        self._table, self._starts, self._years = table, starts, years
        self._known: dict = {}
        self.kind: list[int] = []
        self.sd: list[float] = []
        self.pair: list[tuple[str, str] | None] = []
        self.values: list[np.ndarray] = []  # (draw, period)

    def varies(self, rate: Rate) -> bool:
        """Whether the rate differs between years."""
        return self._years and link_sd(rate) > 0

    def add(self, rate: Rate, site: str) -> int:
        """Slot of a rate at a site; the same rate at the same site shares one slot."""
        place = site if self.varies(rate) else None
        key = (place, replace(rate, by_year=tuple(rate.by_year.items())))
        if key not in self._known:
            self._known[key] = self._new(rate, site)
        return self._known[key]

    def add_fixed(self, values: np.ndarray) -> int:
        """Slot of given natural values, shape (draw,)."""
        column = np.repeat(np.asarray(values, float)[:, None], len(self._starts), axis=1)
        return self._append(FIXED, 0.0, None, column)

    def _append(self, kind, sd, pair, values):
        self.kind.append(kind)
        self.sd.append(sd)
        self.pair.append(pair)
        self.values.append(values)
        return len(self.kind) - 1

    def _new(self, rate, site):
        means = self.means_by_period(rate)
        if not self.varies(rate):
            return self._append(FIXED, 0.0, None, means)
        sd = link_sd(rate)
        pair = (rate.effect or rate.key, site)
        with np.errstate(divide="ignore"):
            if rate.kind == PROBABILITY:
                inside = (means > 0) & (means < 1)
                link = np.where(means >= 1, np.inf, -np.inf)
                link[inside] = centre_for_mean(means[inside], sd)
                return self._append(LOGIT, sd, pair, link)
            return self._append(LOG, sd, pair, np.log(means) - sd**2 / 2)

    def means_by_period(self, rate: Rate) -> np.ndarray:
        """Drawn means over years, natural scale, shape (draw, period)."""
        means = drawn_means(rate, self._table)
        columns = [self._in_year(rate, means, year) for year in self._starts]
        return np.stack(columns, axis=1)

    def _in_year(self, rate, means, year):
        """The draw's value in a year of a table: the table shifted on the link scale."""
        if not rate.by_year:
            return means
        past = [y for y in rate.by_year if y <= year] or [min(rate.by_year)]
        value, reference = rate.by_year[max(past)], best(rate)
        if rate.kind != PROBABILITY:
            return means * (value / reference) if reference > 0 else np.full(means.shape, value)
        if value in (0.0, 1.0) or reference in (0.0, 1.0):
            return np.full(means.shape, float(value))
        return expit(logit(means) + logit(value) - logit(reference))

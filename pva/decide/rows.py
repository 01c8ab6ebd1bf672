"""The release rows a search varies, all scaled alike, and what a number of them costs."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from pva.scenario.resolved import Release, Resolved

_DEFAULT_MOST = 20.0  # times the written number, where the scenario sets no `most`


@dataclass(frozen=True)
class StockedRows:
    """Chosen release rows.

    Parameters
    ----------
    rows : tuple of Release
        All rows, in order.
    chosen : tuple of bool
        Rows that are varied.
    written : ndarray, shape (row, model year)
        Planned numbers as written; a chosen set with no animals at all counts one in each year.
    years : tuple of int
        Release years of the chosen rows.
    first : int
        First year of the scenario.
    vary : str
        Unit that is searched: ``number`` (per release year), ``total`` or ``mothers``.
    most : float
        Largest number tried, in that unit.
    """

    rows: tuple[Release, ...]
    chosen: tuple[bool, ...]
    written: np.ndarray
    years: tuple[int, ...]
    first: int
    vary: str
    most: float

    @classmethod
    def of(cls, resolved: Resolved, releases: Sequence[str] | None = None) -> StockedRows:
        """Rows that are varied.

        Parameters
        ----------
        resolved : Resolved
        releases : sequence of str or None
            Their names, where other rows that `solve` names are released not at all; None = those
            of `solve`, else all rows that were not released already.
        """
        solve, rows = resolved.solve, resolved.releases
        asked = solve.releases if solve and solve.releases else tuple(
            r.name for r in rows if not r.made)
        names = asked if releases is None else tuple(releases)
        chosen = tuple(r.name in names for r in rows)
        left_out = np.array([r.name in asked and r.name not in names for r in rows])
        model_years = list(resolved.years)[:-1]
        written = np.array([[float(r.numbers.get(y, 0)) for y in model_years] for r in rows])
        written[left_out] = 0.0
        varied = np.array(chosen)
        planned = np.array([[y in r.numbers for y in model_years] for r in rows])
        if written[varied].sum() == 0:
            written = np.where(varied[:, None] & planned, 1.0, written)
        used = (written[varied] > 0).any(axis=0)
        years = tuple(y for y, u in zip(model_years, used, strict=True) if u)
        vary = "number" if solve is None else solve.vary
        result = cls(rows, chosen, written, years, resolved.first, vary, 0.0)
        most = _DEFAULT_MOST * result.base if solve is None else solve.most
        return replace(result, most=most)

    @property
    def names(self) -> tuple[str, ...]:
        """Names of the varied rows."""
        return tuple(r.name for r, c in zip(self.rows, self.chosen, strict=True) if c)

    @property
    def base(self) -> float:
        """Animals per release year as written: mean over the release years of the varied rows."""
        return float(self.written[np.array(self.chosen)].sum() / len(self.years))

    def planned(self, number: float) -> np.ndarray:
        """Planned numbers of every row at `number` per release year, shape (row, model year)."""
        factor = np.where(self.chosen, number / self.base, 1.0)
        return self.written * factor[:, None]

    @property
    def most_per_year(self) -> float:
        """Largest number per release year tried."""
        return self.per_year(self.most)

    def per_year(self, value: float) -> float:
        """Number per release year that `value`, in the unit searched, means."""
        return value / self.unit(1.0)

    def unit(self, number: float) -> float:
        """What a number per release year is in the unit searched."""
        if self.vary == "total":
            return self.total(number)
        return self.mothers(number) if self.vary == "mothers" else number

    def _sum(self, number, weight):
        chosen = np.array(self.chosen)
        return float((self.planned(number)[chosen].sum(axis=1)
                      * [weight(r) for r in np.array(self.rows, dtype=object)[chosen]]).sum())

    def total(self, number: float) -> float:
        """Planned animals of the varied rows over all years."""
        return self._sum(number, lambda r: 1.0)

    def cost(self, number: float) -> float:
        """Cost of the planned animals of the varied rows."""
        return self._sum(number, lambda r: r.cost_each)

    def mothers(self, number: float) -> float:
        """Mothers needed for the planned animals of the varied rows."""
        return self._sum(number, lambda r: r.mothers_per_1000 / 1000)

    def stated(self, field: str, number: float) -> float | None:
        """Total of `cost_each` or `mothers_per_1000`; None where no varied row states it."""
        if not any(getattr(r, field) for r, c in zip(self.rows, self.chosen, strict=True) if c):
            return None
        return {"cost_each": self.cost, "mothers_per_1000": self.mothers}[field](number)

    def order_sheet(self, number: float) -> tuple[dict, ...]:
        """One line per row and release year: when to order, when to release, what and how many.

        Rows released already are left out; cost and mothers that nobody wrote are None.
        """
        lines = []
        planned = self.planned(number)
        for i, row in enumerate(self.rows):
            for k in np.flatnonzero(planned[i] > 0) if not row.made else ():
                year, animals = self.first + int(k), int(np.ceil(planned[i, k] - 1e-9))
                lines.append({
                    "order_year": year - row.order_lead, "release_year": year, "site": row.site,
                    "release": row.name, "stage": row.stage, "age": row.age,
                    "source": row.source, "number": animals,
                    "mothers": int(np.ceil(animals * row.mothers_per_1000 / 1000 - 1e-9)) or None,
                    "cost": animals * row.cost_each or None,
                })
        return tuple(sorted(lines, key=lambda x: (x["order_year"], x["release_year"],
                                                  x["release"])))

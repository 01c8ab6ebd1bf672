"""With two visits survival cannot be told apart from detection: bounds, not a point."""

from __future__ import annotations

from dataclasses import dataclass

import pandas as pd
from scipy.stats import beta

from pva.field.records import ALIVE, REMOVED, SHELL


@dataclass(frozen=True)
class Bounds:
    """Bounds of survival over one interval.

    Parameters
    ----------
    low : float
        Share seen alive again, lower end of its 95 % interval (one-sided): survival is at least
        this, were every living animal seen.
    high : float
        1 less the share found dead, upper end (one-sided 95 %); 1 where no shell was found.
    seen, dead, animals : int
    years : float
        Mean length of the interval.
    searched : float or None
        Chance that the second visit finds a living animal, upper end of its interval, from passes
        within it and a stated availability; None where not known.
    """

    low: float
    high: float
    seen: int
    dead: int
    animals: int
    years: float
    searched: float | None = None

    @property
    def raised(self) -> float:
        """Lower bound with what the search can have missed put back."""
        return self.low if self.searched is None else min(self.low / self.searched, self.high)

    def yearly(self) -> tuple[float, float]:
        """The bounds per year; use only for intervals of a quarter of a year and more."""
        return self.raised ** (1 / self.years), self.high ** (1 / self.years)


def two_visit_bounds(steps: pd.DataFrame, searched: float | None = None) -> Bounds:
    """Bounds over the first step of each animal.

    Parameters
    ----------
    steps : DataFrame
        Of `Following`.
    searched : float, optional
        See `Bounds`.
    """
    first = steps.drop_duplicates("follow")
    alive = int(first["status"].isin([ALIVE, REMOVED]).sum())
    dead, n = int(first["status"].eq(SHELL).sum()), len(first)
    low = float(beta.ppf(0.05, alive, n - alive + 1)) if alive else 0.0
    high = 1.0 - (float(beta.ppf(0.05, dead, n - dead + 1)) if dead else 0.0)
    years = float((first["end"] - first["start"]).mean() / 365.25)
    return Bounds(low, high, alive, dead, n, years, searched)

"""Do the animals behave as the model assumes? Tables named by their question.

New against earlier marked: among animals seen at a visit, is one met for the first time seen again
as often as one met before? Seen against missed: among animals known to be alive, does being seen at
a visit change when it is seen next? Only animals of one site and stage are compared, because the
models let stages differ.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd
from scipy.stats import chi2, fisher_exact

from pva.field.records import ALIVE, REMOVED

NEW, MISSED = "new against earlier marked", "seen against missed"
SMALL = 2.0  # expected count below which the exact test is used


@dataclass(frozen=True)
class FitTest:
    """All tables of a species.

    Parameters
    ----------
    tables : DataFrame
        question, site, stage, day, the four counts, chi_square.
    chi_square : float
    degrees : int
    """

    tables: pd.DataFrame
    chi_square: float
    degrees: int

    @property
    def overdispersion(self) -> float | None:
        """Sum of chi-square over its degrees of freedom; None without a usable table."""
        return self.chi_square / self.degrees if self.degrees else None

    @property
    def p_value(self) -> float | None:
        """Chance of a misfit this large when the model holds."""
        return float(chi2.sf(self.chi_square, self.degrees)) if self.degrees else None


def fit_test(steps: pd.DataFrame) -> FitTest:
    """Build and test all tables.

    Parameters
    ----------
    steps : DataFrame
        Of `Following`, before they are cut into stages; where there is a column `stage`, it is
        the stage at the end of the step.
    """
    cells: dict[tuple, np.ndarray] = {}
    for where, days, seen, removed in _sightings(steps):
        _add_new(cells, where, days, seen, removed)
        _add_missed(cells, where, days, seen)
    rows = []
    for (question, site, stage, day), table in sorted(cells.items()):
        if (table.sum(axis=0) == 0).any() or (table.sum(axis=1) == 0).any():
            continue
        rows.append((question, site, stage, day, *table.ravel(), chi_square(table)))
    columns = ["question", "site", "stage", "day", "first_again", "first_not", "second_again",
               "second_not", "chi_square"]
    tables = pd.DataFrame(rows, columns=columns)
    return FitTest(tables, float(tables["chi_square"].sum()), len(tables))


def chi_square(table: np.ndarray) -> float:
    """Chi-square of a 2 x 2 table; with small expected counts, that of the exact test's p."""
    expected = np.outer(table.sum(axis=1), table.sum(axis=0)) / table.sum()
    if expected.min() < SMALL:
        return float(chi2.isf(fisher_exact(table)[1], 1))
    return float(((table - expected) ** 2 / expected).sum())


def _sightings(steps: pd.DataFrame):
    """Of each history: site and stage at its visits, their days, whether the animal was seen."""
    follow = steps["follow"].to_numpy()
    start, end = steps["start"].to_numpy(float), steps["end"].to_numpy(float)
    alive = steps["status"].isin([ALIVE, REMOVED]).to_numpy()
    gone = steps["status"].eq(REMOVED).to_numpy()
    released = steps["released"].to_numpy(bool)
    site = steps["site"].to_numpy(object)
    stage = steps["stage"].to_numpy(object) if "stage" in steps else np.full(len(steps), "")
    first = np.flatnonzero(np.concatenate([[True], follow[1:] != follow[:-1]]))
    for i, j in zip(first, np.append(first[1:], len(steps)), strict=True):
        where = [(site[i], what) for what in (stage[i], *stage[i:j])]
        seen = np.concatenate([[not released[i]], alive[i:j]])
        yield where, np.concatenate([[start[i]], end[i:j]]), seen, bool(gone[j - 1])


def _add_new(cells, where, days, seen, removed) -> None:
    place = np.flatnonzero(seen)
    for order, k in enumerate(place):
        last = k == len(days) - 1
        if last or (removed and k == place[-1]):
            continue
        again = order < place.size - 1
        table = cells.setdefault((NEW, *where[k], days[k]), np.zeros((2, 2)))
        table[min(order, 1), 0 if again else 1] += 1


def _add_missed(cells, where, days, seen) -> None:
    place = np.flatnonzero(seen)
    for k in range(0 if seen[0] else 1, len(days) - 1):
        later = place[place > k]
        if not later.size:
            break
        next_visit = later[0] == k + 1
        table = cells.setdefault((MISSED, *where[k], days[k]), np.zeros((2, 2)))
        table[0 if seen[k] else 1, 0 if next_visit else 1] += 1

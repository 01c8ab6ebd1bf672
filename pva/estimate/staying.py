"""Chance of staying at the site: given as a number, or from animals met outside it."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
import pandas as pd
from scipy.optimize import minimize_scalar
from scipy.special import expit, logit

from pva.estimate.following import YEAR, day_numbers
from pva.field.records import ALIVE, REMOVED, FieldRecords

LEAVING, TAGS = "leaving the site", "lost tags"
FEWEST_MEETINGS = 20


@dataclass(frozen=True)
class Staying:
    """A yearly chance that a living animal is not lost from view.

    Parameters
    ----------
    value, se : float
        Natural scale.
    source : str
        Where the number comes from.
    what : str
        What it keeps the animal from: `LEAVING`, or `TAGS` for a tag retention given as a number.
    """

    value: float
    se: float
    source: str
    what: str = LEAVING

    def moved(self) -> Staying:
        """One SE lower, on the logit scale where the value lies inside (0, 1)."""
        if not 0 < self.value < 1:
            return replace(self, value=max(self.value - self.se, 1e-6))
        half = self.se / (self.value * (1 - self.value))
        return replace(self, value=float(expit(logit(self.value) - half)))


def met_in_and_out(records: FieldRecords, outside) -> pd.DataFrame:
    """Meetings in hand at the visit that follows the one (or the release) that knew the animal at
    its site.

    Parameters
    ----------
    records : FieldRecords
    outside : sequence of str
        Sites searched only for animals that left. Visits of one name are one round of search.

    Returns
    -------
    DataFrame
        animal, years since it was last known at its site, left (met outside).
    """
    visits = records.visits.assign(day=day_numbers(records.visits["first_date"]))
    begun = visits.groupby("visit")["day"].min().sort_values()
    order = {name: i for i, name in enumerate(begun.index)}
    released = records.releases[records.releases["animal"].notna()].drop_duplicates("animal")
    start = dict(zip(released["animal"], day_numbers(released["date"]), strict=True))
    met = records.encounters
    met = met[met["animal"].isin(list(start)) & met["status"].isin([ALIVE, REMOVED])
              & met["visit"].isin(list(order))]
    met = met.assign(day=day_numbers(met["date"]), round=met["visit"].map(order))
    met["day"] = met["day"].fillna(met["visit"].map(begun))
    rows = []
    for animal, group in met.sort_values(["round", "day"]).groupby("animal", sort=False):
        since = start[animal]
        known = int(np.searchsorted(begun.to_numpy(), since, side="right")) - 1
        for number, seen in group.drop_duplicates("round", keep="last").groupby("round"):
            left, day = seen["site"].iloc[0] in outside, seen["day"].iloc[0]
            if number == known + 1 and day > since:
                rows.append((animal, (day - since) / YEAR, left))
            if left:
                break
            known, since = number, day
    return pd.DataFrame(rows, columns=["animal", "years", "left"])


def staying_outside(table: pd.DataFrame, searched: float) -> Staying | None:
    """Chance of staying for a year, from where animals were met; None where too few were.

    An animal that left is met with `searched` times the chance of one at its site. Given that it
    was met, the chance of having left within t years is ``w (1 - F**t) / (F**t + w (1 - F**t))``.

    Parameters
    ----------
    table : DataFrame
        As made by `met_in_and_out`.
    searched : float
        w, above 0.
    """
    if len(table) < FEWEST_MEETINGS or not table["left"].any():
        return None
    years, left = table["years"].to_numpy(float), table["left"].to_numpy(bool)

    def negative(x):
        here = expit(x) ** years
        away = searched * (1 - here)
        return -np.log(np.where(left, away, here) / (here + away)).sum()

    found = minimize_scalar(negative, bounds=(-5, 12), method="bounded", options={"xatol": 1e-8})
    step = 1e-3
    bend = (negative(found.x + step) - 2 * found.fun + negative(found.x - step)) / step**2
    value = float(expit(found.x))
    return Staying(value, float(value * (1 - value) / np.sqrt(bend)),
                   f"{int(left.sum())} of {len(table)} meetings were outside the site")

"""Yearly chance that a tag is kept, from animals that carry two marks.

A mark is lost at a constant rate; the two are lost independently. Only animals met with at least
one mark are known, which the likelihood allows for. Meetings by a method that works by the tag (a
reader) are left out: it meets only animals that still have theirs. What is not corrected: animals
that lose both marks at once, losses right after marking, and marks that get worse with age.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd
from scipy.optimize import minimize
from scipy.special import expit

from pva.estimate.fit import hessian
from pva.estimate.following import YEAR, day_numbers
from pva.estimate.link_scale import Z95
from pva.field.records import ALIVE, REMOVED, FieldRecords

FEWEST_MEETINGS = 20
VAGUE = 0.75  # a lower limit of yearly retention below this corrects nothing
UNCORRECTED = ("loss of both marks at once, loss right after marking, and marks that get worse "
               "with age are not corrected")


@dataclass(frozen=True)
class TagRetention:
    """Chance that a mark still sits after one year.

    Parameters
    ----------
    tag, second_mark : float
        Yearly, 0 to 1.
    logit : float array (2)
        The same on the logit scale.
    covariance : float array (2, 2)
        Of `logit`.
    meetings, animals, lost : int
        Meetings of animals that had both marks before, animals, and meetings with one mark lost.
    """

    tag: float
    second_mark: float
    logit: np.ndarray
    covariance: np.ndarray
    meetings: int
    animals: int
    lost: int

    @property
    def se(self) -> float:
        """SE of the yearly retention of the tag, natural scale."""
        return float(np.sqrt(self.covariance[0, 0]) * self.tag * (1 - self.tag))

    @property
    def interval(self) -> tuple[float, float]:
        """95 % interval of the yearly retention of the tag."""
        half = Z95 * np.sqrt(self.covariance[0, 0])
        return float(expit(self.logit[0] - half)), float(expit(self.logit[0] + half))


def meetings(records: FieldRecords, animals=None) -> pd.DataFrame:
    """Meetings in hand of animals that had both marks when last met.

    Returns
    -------
    DataFrame
        animal, years since both marks were last seen, has_tag, has_second.
    """
    releases = records.releases
    double = releases[releases["animal"].notna() & releases["second_mark"].notna()
                      & releases["tag"].notna()]
    begun = dict(zip(double["animal"], day_numbers(double["date"]), strict=True))
    everything = with_methods(records)
    met = everything
    met = met[met["animal"].isin(list(begun)) & met["status"].isin([ALIVE, REMOVED])]
    if animals is not None:
        met = met[met["animal"].isin(set(animals))]
    met = met[~met["method"].isin(methods_by_tag(everything))]
    met = met.assign(day=day_numbers(met["date"])).dropna(subset=["day"])
    rows = []
    for animal, group in met.sort_values("day").groupby("animal", sort=False):
        since = begun[animal]
        for day, tag, second in _by_visit(group):
            if day <= since:
                continue
            rows.append((animal, (day - since) / YEAR, tag, second))
            if not (tag and second):
                break
            since = day
    return pd.DataFrame(rows, columns=["animal", "years", "has_tag", "has_second"])


def with_methods(records: FieldRecords) -> pd.DataFrame:
    """Encounters with the method of their visit where they name none of their own."""
    visits = records.visits.drop_duplicates(["visit", "site"])
    of_visit = dict(zip(zip(visits["visit"], visits["site"], strict=True), visits["method"],
                        strict=True))
    met = records.encounters
    keys = zip(met["visit"], met["site"], strict=True)
    stated = pd.Series([of_visit.get(key) for key in keys], met.index, dtype=object)
    return met.assign(method=met["method"].where(met["method"].notna(), stated))


def _by_visit(group: pd.DataFrame):
    """A mark seen once during a visit was there."""
    for _, rows in group.groupby("visit", sort=False):
        yield rows["day"].min(), rows["tag"].notna().any(), rows["second_mark"].notna().any()


def methods_by_tag(encounters: pd.DataFrame) -> set:
    """Methods that never met a living animal without a tag: they find tags, not animals."""
    living = encounters[encounters["status"].isin([ALIVE, REMOVED])]
    without = set(living.loc[living["tag"].isna(), "method"])
    return set(living["method"].dropna()) - without


def retention(table: pd.DataFrame) -> TagRetention | None:
    """Yearly retention of both marks by maximum likelihood; None where there is too little.

    Parameters
    ----------
    table : DataFrame
        As made by `meetings`.
    """
    usable = table[table["has_tag"] | table["has_second"]]
    if len(usable) < FEWEST_MEETINGS or not usable["has_second"].any():
        return None
    years = usable["years"].to_numpy(float)
    tag, second = usable["has_tag"].to_numpy(bool), usable["has_second"].to_numpy(bool)

    def negative(x):
        kept, kept_second = -years * np.log1p(np.exp(-x[0])), -years * np.log1p(np.exp(-x[1]))
        a, b = np.exp(kept), np.exp(kept_second)
        met = 1 - (1 - a) * (1 - b)
        loglik = (np.where(tag, kept, np.log1p(-a)) + np.where(second, kept_second, np.log1p(-b))
                  - np.log(met)).sum()
        da, db = years * a * expit(-x[0]), years * b * expit(-x[1])
        by_a = (np.where(tag, 1 / a, -1 / (1 - a)) - (1 - b) / met) * da
        by_b = (np.where(second, 1 / b, -1 / (1 - b)) - (1 - a) / met) * db
        # one lost tag in 2,000 a year: keeps the answer finite where no loss was seen
        pulled = 0.01 * (x - 4.0) @ (x - 4.0)
        return pulled - loglik, 0.02 * (x - 4.0) - np.array([by_a.sum(), by_b.sum()])

    found = minimize(negative, np.array([3.5, 2.5]), jac=True, method="BFGS")
    covariance = np.linalg.pinv(hessian(negative, found.x), hermitian=True)
    told = TagRetention(float(expit(found.x[0])), float(expit(found.x[1])), found.x, covariance,
                        len(usable), int(usable["animal"].nunique()), int((~(tag & second)).sum()))
    return told if told.interval[0] > VAGUE else None

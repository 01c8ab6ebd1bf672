"""Chance that a tag is kept, from animals that carry two marks.

Two models are fitted and shown, the one with the lower AICc is used: marks are lost at a constant
rate, or at a rate that changes with the age of the mark (worn glue, growing shells). The two marks
are lost independently. Only animals met with at least one mark are known, which the likelihood
allows for. Meetings by a method that works by the tag (a reader) are left out: it meets only
animals that still have theirs. What is not corrected: animals that lose both marks at once, and
losses right after marking.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
import pandas as pd
from scipy.optimize import minimize
from scipy.special import expit

from pva.estimate.fit import hessian
from pva.estimate.following import YEAR, day_numbers
from pva.estimate.link_scale import Z95
from pva.field.records import ALIVE, REMOVED, FieldRecords

FEWEST_MEETINGS = 20
FEWEST_LOOKED = 5  # animals with a tag, none with its second mark, that say nobody looked for it
VAGUE = 0.75  # a lower limit of first-year retention below this corrects nothing
UNCORRECTED = "loss of both marks at once and loss right after marking are not corrected"
CONSTANT, AGEING = "loss constant", "loss changing with the age of the mark"


@dataclass(frozen=True)
class TagRetention:
    """Chance that a mark still sits, by its age.

    Kept to age t: ``exp(-h t**k)``, with ``exp(-h)`` the retention of the first year and k 1 where
    the loss is constant, above 1 where old marks are lost faster.

    Parameters
    ----------
    logit : float array (2)
        First-year retention of the tag and of the second mark, logit scale.
    log_shape : float array (2)
        Log of k of both marks; zeros where the loss is constant.
    covariance : float array (2, 2) or (4, 4)
        Of `logit`, then `log_shape` where the loss changes with age.
    meetings, animals, lost : int
        Meetings of animals that had both marks before, animals, and meetings with one mark lost.
    loglik, aicc : float
    rival : TagRetention or None
        The other model, fitted to the same meetings.
    """

    logit: np.ndarray
    log_shape: np.ndarray
    covariance: np.ndarray
    meetings: int
    animals: int
    lost: int
    loglik: float = np.nan
    aicc: float = np.nan
    rival: TagRetention | None = None

    @property
    def name(self) -> str:
        """The model in words."""
        return CONSTANT if self.covariance.shape[0] == 2 else AGEING

    @property
    def tag(self) -> float:
        """Retention of the tag through its first year."""
        return float(expit(self.logit[0]))

    @property
    def second_mark(self) -> float:
        """Retention of the second mark through its first year."""
        return float(expit(self.logit[1]))

    @property
    def se(self) -> float:
        """SE of the first-year retention of the tag, natural scale."""
        return float(np.sqrt(self.covariance[0, 0]) * self.tag * (1 - self.tag))

    @property
    def interval(self) -> tuple[float, float]:
        """95 % interval of the first-year retention of the tag."""
        half = Z95 * np.sqrt(self.covariance[0, 0])
        return float(expit(self.logit[0] - half)), float(expit(self.logit[0] + half))

    def kept(self, start, end):
        """Chance that a tag that sat at age `start` (years) still sits at age `end`."""
        start, end = np.asarray(start, float), np.asarray(end, float)
        k = np.exp(self.log_shape[0])
        return np.exp(-np.log1p(np.exp(-self.logit[0])) * (end**k - start**k))

    def moved(self) -> list[TagRetention]:
        """Retention moved by one SE along each independent direction of the tag's doubt."""
        place = [0] if self.covariance.shape[0] == 2 else [0, 2]
        values, vectors = np.linalg.eigh(self.covariance[np.ix_(place, place)])
        out = []
        for value, vector in zip(values, vectors.T, strict=True):
            step = np.sqrt(max(value, 0.0)) * (-vector if vector[0] > 0 else vector)
            logit, shape = self.logit.copy(), self.log_shape.copy()
            logit[0] += step[0]
            shape[0] += step[1] if len(place) > 1 else 0.0
            out.append(replace(self, logit=logit, log_shape=shape))
        return out


def meetings(records: FieldRecords, animals=None) -> pd.DataFrame:
    """Meetings in hand of animals that had both marks when last met.

    Returns
    -------
    DataFrame
        animal, age of the marks (years) when both were last seen (`start`) and now (`end`),
        has_tag, has_second.
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
    met = met[~_keys(met).isin(_unwritten(met))]
    met = met.assign(day=day_numbers(met["date"])).dropna(subset=["day"])
    rows = []
    for animal, group in met.sort_values("day").groupby("animal", sort=False):
        since = begun[animal]
        for day, tag, second in _by_visit(group):
            if day <= since:
                continue
            ages = (since - begun[animal]) / YEAR, (day - begun[animal]) / YEAR
            rows.append((animal, *ages, tag, second))
            if not (tag and second):
                break
            since = day
    return pd.DataFrame(rows, columns=["animal", "start", "end", "has_tag", "has_second"])


def unwritten(records: FieldRecords) -> list[tuple[str, str]]:
    """Visits (visit, site) in hand at which nobody wrote down second marks: a blank is not a loss.

    Animals that had both marks were met with their tag, at least `FEWEST_LOOKED` of them, and not
    one with its second mark.
    """
    releases = records.releases
    double = releases.loc[releases["second_mark"].notna() & releases["tag"].notna(), "animal"]
    everything = with_methods(records)
    met = everything[everything["animal"].isin(set(double.dropna()))
                     & everything["status"].isin([ALIVE, REMOVED])
                     & ~everything["method"].isin(methods_by_tag(everything))]
    return sorted(_unwritten(met))


def _keys(met: pd.DataFrame) -> pd.Series:
    return pd.Series(list(zip(met["visit"], met["site"], strict=True)), met.index, dtype=object)


def _unwritten(met: pd.DataFrame) -> set[tuple[str, str]]:
    tagged = met[met["tag"].notna()]
    looked = tagged["second_mark"].notna().groupby([tagged["visit"], tagged["site"]]).agg(
        ["sum", "size"])
    return set(looked.index[(looked["sum"] == 0) & (looked["size"] >= FEWEST_LOOKED)])


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
    """Retention of both marks by maximum likelihood; None where there is too little.

    Parameters
    ----------
    table : DataFrame
        As made by `meetings`.
    """
    usable = table[table["has_tag"] | table["has_second"]]
    if len(usable) < FEWEST_MEETINGS or not usable["has_second"].any():
        return None
    constant, ageing = (_fitted(usable, ageing=a) for a in (False, True))
    told = min((constant, ageing), key=lambda model: model.aicc)
    if ageing.interval[0] <= VAGUE:
        told = constant
    other = ageing if told is constant else constant
    return replace(told, rival=other) if told.interval[0] > VAGUE else None


def _fitted(usable: pd.DataFrame, *, ageing: bool) -> TagRetention:
    """One model of loss."""
    negative = _objective(usable, ageing)
    start = np.array([3.5, 2.5, 0.0, 0.0])[: 4 if ageing else 2]
    bounds = [(-4.0, 14.0)] * 2 + [(-2.0, 2.0)] * (2 if ageing else 0)
    found = minimize(negative, start, jac=True, method="L-BFGS-B", bounds=bounds,
                     options={"ftol": 1e-13, "gtol": 1e-7})
    values, vectors = np.linalg.eigh(hessian(negative, found.x))
    # the pulls alone hold this much: less is rounding, or a shape at the end of its range
    covariance = (vectors / np.maximum(values, 0.02)) @ vectors.T
    loglik = -(found.fun - _pull(found.x)[0])
    n, k = len(usable), found.x.size
    aicc = -2 * loglik + 2 * k * n / (n - k - 1) if n > k + 1 else np.inf
    shape = found.x[2:] if ageing else np.zeros(2)
    lost = ~(usable["has_tag"].to_numpy(bool) & usable["has_second"].to_numpy(bool))
    return TagRetention(found.x[:2], shape, covariance, n, int(usable["animal"].nunique()),
                        int(lost.sum()), float(loglik), float(aicc))


def _pull(x):
    """Weak pulls that keep the answer finite: one lost tag in 2,000 a year, and loss constant."""
    value = 0.01 * (x[:2] - 4.0) @ (x[:2] - 4.0) + 0.5 * x[2:] @ x[2:]
    return value, np.concatenate([0.02 * (x[:2] - 4.0), x[2:]])


def _objective(usable: pd.DataFrame, ageing: bool):
    """Minus log likelihood with pulls, and gradient, of first-year retentions and shapes."""
    start, end = usable["start"].to_numpy(float), usable["end"].to_numpy(float)
    has = usable["has_tag"].to_numpy(bool), usable["has_second"].to_numpy(bool)
    log_start = np.log(np.where(start > 0, start, 1.0))
    log_end = np.log(end)

    def negative(x):
        shape = np.exp(x[2:]) if ageing else np.ones(2)
        passed = [end**k - start**k for k in shape]
        rate = np.log1p(np.exp(-x[:2]))
        kept = [np.exp(-rate[i] * passed[i]) for i in (0, 1)]
        met = np.maximum(1 - (1 - kept[0]) * (1 - kept[1]), 1e-300)
        loglik = -np.log(met).sum()
        gradient = np.zeros_like(x)
        for i in (0, 1):
            loglik += np.where(has[i], -rate[i] * passed[i], np.log(-np.expm1(-rate[i] * passed[i]))
                               ).sum()
            by_log = np.where(has[i], 1.0, -kept[i] / (1 - kept[i]))
            by_log = by_log - kept[i] * (1 - kept[1 - i]) / met
            gradient[i] = (by_log * passed[i]).sum() * expit(-x[i])
            if ageing:
                k = shape[i]
                turned = end**k * log_end - np.where(start > 0, start**k * log_start, 0.0)
                gradient[2 + i] = -(by_log * turned).sum() * rate[i] * k
        pulled, slope = _pull(x)
        return pulled - loglik, slope - gradient

    return negative

"""Survival of animals whose fate is known at every visit: cages, silos, telemetry.

Where every animal of a release is met at each visit, alive or as a shell, no detection has to be
estimated: the product-limit estimate with its standard error says all. It stands beside the
estimate from recaptures as a check. Time runs from the release (or first capture); a death counts
at the visit that found the shell, an animal taken away alive or alive at the last visit leaves the
sample alive.

References
----------
Kaplan & Meier 1958, Journal of the American Statistical Association 53:457-481; Greenwood's
standard error; log-rank test: Mantel 1966 (all from memory). Checked against the remission times of
Freireich et al. 1963.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd
from scipy.stats import CensoredData, ecdf, logrank

from pva.estimate.following import YEAR
from pva.estimate.link_scale import Z95
from pva.field.records import ALIVE, REMOVED, SHELL

FEWEST_ANIMALS = 5


@dataclass(frozen=True)
class KnownFate:
    """Survival of one group of animals with known fates.

    Parameters
    ----------
    group : str
        Source and site.
    animals, died : int
    table : DataFrame
        years (since the release), at_risk, died, survival, se, low, high: one row for each time of
        a death; 95 % interval on the log-log scale.
    times : float array (animal)
        Years to death or to the last time known alive.
    dead : bool array (animal)
    """

    group: str
    animals: int
    died: int
    table: pd.DataFrame
    times: np.ndarray
    dead: np.ndarray


def known_fate_survival(times, dead, group: str = "") -> KnownFate:
    """Product-limit survival.

    Parameters
    ----------
    times : float array (animal)
        Time to death, or to the last time known alive.
    dead : bool array (animal)
    group : str
    """
    times, dead = np.asarray(times, float), np.asarray(dead, bool)
    found = ecdf(CensoredData(uncensored=times[dead], right=times[~dead])).sf
    at = np.unique(times[dead])
    survival = found.evaluate(at)
    died = np.array([int((times[dead] == t).sum()) for t in at])
    risk = np.array([int((times >= t).sum()) for t in at])
    with np.errstate(divide="ignore", invalid="ignore"):
        se = survival * np.sqrt(np.cumsum(died / (risk * (risk - died))))
    table = pd.DataFrame({"years": at, "at_risk": risk, "died": died, "survival": survival,
                          "se": np.where(survival > 0, se, np.nan)})
    table["low"], table["high"] = _interval(survival, table["se"].to_numpy())
    return KnownFate(group, times.size, int(dead.sum()), table, times, dead)


def _interval(survival, se):
    """95 % interval on the log-log scale; NaN where survival is 0."""
    with np.errstate(divide="ignore", invalid="ignore"):
        scale = np.log(-np.log(survival))
        half = Z95 * se / np.abs(survival * np.log(survival))
        return np.exp(-np.exp(scale + half)), np.exp(-np.exp(scale - half))


def compare_fates(one: KnownFate, other: KnownFate) -> tuple[float, float]:
    """Log-rank test of two groups: chi-square with 1 degree of freedom, and its p value."""
    told = logrank(*(CensoredData(uncensored=g.times[g.dead], right=g.times[~g.dead])
                     for g in (one, other)))
    return float(told.statistic**2), float(told.pvalue)


def known_fates(steps: pd.DataFrame) -> list[KnownFate]:
    """Groups (source and site) of which every animal was accounted for at every visit.

    Parameters
    ----------
    steps : DataFrame
        Of `Following`.
    """
    out = []
    for (source, site), rows in steps.groupby(["source", "site"], sort=True):
        if not rows["status"].isin([ALIVE, SHELL, REMOVED]).all():
            continue
        each = rows.groupby("follow")
        start, end = each["start"].first(), each["end"].last()
        if len(start) < FEWEST_ANIMALS:
            continue
        dead = each["status"].last().eq(SHELL).to_numpy()
        out.append(known_fate_survival(np.round((end - start).to_numpy() / YEAR, 3), dead,
                                       f"{source} at {site}"))
    return [group for group in out if group.died]

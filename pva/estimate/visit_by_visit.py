"""Visit by visit, not limited to 1: closed-form estimates for an open population.

Numbers alive, survival from visit to visit and animals joining, each from sums over the tagged
animals. Nothing is smoothed: a survival above 1 or a negative number joining can come out, and is
printed as it is, because it shows how little the records of that visit tell. A cross-check beside
the fitted model, not a number to plan with.

References
----------
Jolly 1965, Biometrika 52:225-247, doi:10.1093/biomet/52.1-2.225; Seber 1965, Biometrika 52:249-259
(from memory). Checked against Jolly's capsids.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd

from pva.estimate.following import YEAR, Following
from pva.estimate.tag_loss import methods_by_tag, with_methods
from pva.field.records import ALIVE, REMOVED, FieldRecords

LABEL = "visit by visit, not limited to 1"


@dataclass(frozen=True)
class Sums:
    """What each visit adds up to, one entry a visit.

    Parameters
    ----------
    caught : float array (visit)
        Animals met alive, untagged ones too; NaN where untagged animals are not counted.
    released : float array (visit)
        Tagged animals at large right after the visit that were met at it or released since the
        visit before.
    marked : float array (visit)
        Tagged animals met alive that were tagged before the visit.
    seen_again : float array (visit)
        Of `released`, those met at a later visit.
    missed : float array (visit)
        Animals known before the visit, not met at it, met later.
    """

    caught: np.ndarray
    released: np.ndarray
    marked: np.ndarray
    seen_again: np.ndarray
    missed: np.ndarray


def open_population(sums: Sums) -> pd.DataFrame:
    """Closed-form estimates of every visit; NaN where there is none.

    Parameters
    ----------
    sums : Sums

    Returns
    -------
    DataFrame
        tagged_alive (before the visit), alive, survival (to the next visit), survival_se (large
        sample), joining (between this visit and the next), detection; one row a visit. Survival may
        exceed 1 and joining may be negative.
    """
    n, big_r, m, r, z = (np.asarray(getattr(sums, k), float) for k in (
        "caught", "released", "marked", "seen_again", "missed"))
    with np.errstate(divide="ignore", invalid="ignore"):
        tagged = np.where(r > 0, m + big_r * z / r, np.nan)  # none seen again: nothing is told
        tagged[0] = 0.0
        tagged[-1] = np.nan
        alive = np.where(m > 0, n * tagged / m, np.nan)
        survival = np.append(tagged[1:] / (tagged - m + big_r)[:-1], np.nan)
        alive_after = alive - n + big_r
        joining = np.append(alive[1:] - survival[:-1] * alive_after[:-1], np.nan)
        detection = np.where(tagged > 0, m / tagged, np.nan)
    return pd.DataFrame({"tagged_alive": tagged, "alive": alive, "survival": survival,
                         "survival_se": _survival_se(tagged, survival, sums), "joining": joining,
                         "detection": detection})


def _survival_se(tagged, survival, sums: Sums) -> np.ndarray:
    """Large-sample standard error of survival, the chance of single deaths included."""
    big_r, m, r = (np.asarray(getattr(sums, k), float) for k in ("released", "marked",
                                                                 "seen_again"))
    with np.errstate(divide="ignore", invalid="ignore"):
        next_tagged, next_m = np.append(tagged[1:], np.nan), np.append(m[1:], np.nan)
        next_r, next_big = np.append(r[1:], np.nan), np.append(big_r[1:], np.nan)
        met = (next_tagged - next_m) * (next_tagged - next_m + next_big) / next_tagged**2
        again = 1 / next_r - 1 / next_big
        own = (tagged - m) / (tagged - m + big_r) * (1 / r - 1 / big_r)
        deaths = survival * (1 - survival) / (tagged - m + big_r)
        return np.sqrt(np.maximum(survival**2 * (met * again + own) + deaths, 0.0))


def sums_of(following: Following, records: FieldRecords, site: str) -> tuple[Sums, pd.DataFrame]:
    """Sums of one site, from animals followed there.

    An animal released between visits counts as released at the visit before it (at the first, if
    there is none), so that survival runs from one visit to the next; intervals that hold a release
    hold survival after release too.

    Returns
    -------
    Sums
    DataFrame
        visit, day of each row, in order of time; the first row stands for the first releases.
    """
    steps = following.steps[following.steps["site"].eq(site)]
    visits = steps.groupby("visit")["end"].first().sort_values()
    if not len(visits):
        return Sums(*(np.zeros(0) for _ in range(5))), pd.DataFrame({"visit": [], "day": []})
    days = np.concatenate([[steps["start"].min()], visits.to_numpy()])
    place = {name: i + 1 for i, name in enumerate(visits.index)}
    size = len(days)
    released, marked, again, missed = (np.zeros(size) for _ in range(4))
    for _, rows in steps.groupby("follow", sort=False):
        met = rows["status"].isin([ALIVE, REMOVED]).to_numpy()
        taken = rows["status"].eq(REMOVED).to_numpy()
        first = int(np.searchsorted(days, rows["start"].iloc[0], side="right")) - 1
        seen = [first, *(place[v] for v in rows["visit"][met])]
        left = [False, *taken[met]]
        for k, at in enumerate(seen):
            marked[at] += k > 0
            released[at] += not left[k]
            again[at] += k + 1 < len(seen)
            if k + 1 < len(seen):
                missed[at + 1 : seen[k + 1]] += 1
    caught = _caught(records, site, ["", *visits.index], marked)
    return (Sums(caught, released, marked, again, missed),
            pd.DataFrame({"visit": ["release", *visits.index], "day": days}))


def _caught(records: FieldRecords, site: str, names, marked) -> np.ndarray:
    """All animals met alive at each visit, where untagged ones are in the records at all.

    NaN at visits that work by the tag (a reader): they cannot meet animals without one.
    """
    met = with_methods(records)
    met = met[met["site"].eq(site) & met["status"].isin([ALIVE, REMOVED])]
    untagged = met[met["animal"].isna()].groupby("visit").size()
    new = records.releases
    new = new[new["animal"].notna() & new["source"].eq("first capture") & new["site"].eq(site)]
    first = dict(zip(new["animal"], new["date"], strict=True))
    here = met[met["animal"].isin(list(first))]
    fresh = here[here["date"].eq(here["animal"].map(first))].groupby("visit")["animal"].nunique()
    if untagged.empty and fresh.empty:
        return np.full(len(names), np.nan)
    added = np.array([int(untagged.get(n, 0)) + int(fresh.get(n, 0)) for n in names], float)
    if not untagged.empty:
        by_tag = methods_by_tag(with_methods(records))
        blind = met.loc[met["method"].isin(by_tag), "visit"]
        added[np.isin(names, list(set(blind) - set(untagged.index)))] = np.nan
    return marked + added


def visit_by_visit(following: Following, records: FieldRecords) -> pd.DataFrame:
    """Closed-form estimates of every site with at least three visits or a release and two.

    Returns
    -------
    DataFrame
        site, visit, years (to the next visit) and the columns of `open_population`.
    """
    tables = []
    for site in sorted(following.steps["site"].dropna().unique()):
        sums, when = sums_of(following, records, site)
        if len(when) < 3:
            continue
        table = pd.concat([when, open_population(sums)], axis=1)
        table["years"] = np.append(np.diff(when["day"]) / YEAR, np.nan)
        tables.append(table.assign(site=site).drop(columns="day"))
    columns = ["site", "visit", "years", "tagged_alive", "alive", "survival", "survival_se",
               "joining", "detection"]
    return pd.concat(tables, ignore_index=True)[columns] if tables else pd.DataFrame(
        columns=columns)

"""Simulated recapture studies at the level of steps: many animals at once, every truth known."""

from dataclasses import dataclass

import numpy as np
import pandas as pd
from scipy.special import expit, logit

from pva.estimate.following import YEAR
from pva.estimate.survival import Data

SPECIES = "Lampsilis ficta"


@dataclass(frozen=True)
class Simulated:
    """A simulated study.

    `steps` as of `label_steps`; `meetings` of animals with two marks as `tag_loss.meetings` makes
    them; `years` the true effects of the years.
    """

    steps: pd.DataFrame
    meetings: pd.DataFrame
    years: np.ndarray

    def data(self, kept=1.0):
        return Data(self.steps, kept ** self.steps["years"].to_numpy(float))


def simulate(rng, *, animals, visits, survival=0.9, year_sd=0.0, detection=0.6, release=1.0,
             tag_kept=1.0, second_kept=None, heard=0.0, heard_dead=0.0, removed=0.0, bad=None):
    """Animals released at whole years and looked for at visits.

    Parameters
    ----------
    animals : DataFrame
        One row an animal: `released` (year) and whatever rates depend on (source, site, batch,
        length).
    visits : DataFrame
        One row a visit: `time` (year) and method, effort_hours, passes where they matter.
    survival, detection, release : float, or function
        Yearly survival and release survival: function of `animals` (and `released`), array of the
        animals; detection: function of (animals, visit).
    year_sd : float
        SD between years, logit scale; years begin at whole numbers.
    tag_kept, second_kept : float
        Yearly chance that a mark stays; animals without their tag are not known again.
    heard, removed : float
        Share of the meetings that are heard only; share of the others that are removed.
    heard_dead : float
        Chance at each visit that the tag of a dead animal is heard.
    bad : tuple of (year, survival), optional
        A bad year and its relative survival.
    """
    n = len(animals)
    begun = animals["released"].to_numpy(float)
    times = visits["time"].to_numpy(float)
    first, last = int(np.floor(begun.min())), int(np.ceil(times.max()))
    effects = rng.normal(0.0, year_sd, last - first)
    level = logit(_of(survival, animals))
    death = _death(rng, level, effects, begun, first, bad)
    lost = rng.random(n) > np.broadcast_to(_of(release, animals), n)
    death = np.where(lost, begun + 1e-3, death)
    sheds = begun + rng.exponential(1.0, n) / max(-np.log(tag_kept), 1e-12)
    second = begun + rng.exponential(1.0, n) / max(-np.log(second_kept or 1.0), 1e-12)
    parts, since, gone = [], begun.copy(), np.zeros(n, bool)
    known = begun.copy()
    met_marks = []
    for k, at in enumerate(times):
        chance = np.broadcast_to(_of(detection, animals, visits.iloc[k]), n)
        here = (at > begun) & ~gone
        found = here & (death > at) & (rng.random(n) < chance)
        only = found & (rng.random(n) < heard)
        taken = found & ~only & (rng.random(n) < removed)
        if second_kept:
            two = found & ~only & ((sheds > at) | (second > at)) & (known > -np.inf)
            met_marks.append(np.column_stack([np.flatnonzero(two), (known - begun)[two],
                                              (at - begun)[two], (sheds > at)[two],
                                              (second > at)[two]]))
            known = np.where(two, np.where((sheds > at) & (second > at), at, -np.inf), known)
        found = found & (sheds > at)
        silent = here & (death <= at) & (sheds > death) & (rng.random(n) < heard_dead)
        status = np.select([found & only | silent, found & taken, found],
                           ["heard", "removed", "alive"], "")
        label = f"{int(times[k - 1] if k else begun.min())}-{int(at)}"
        parts.append(_steps(animals, visits.iloc[k], k, here, since, at, status, label))
        since = np.where(here, at, since)
        gone |= found & taken
    steps = pd.concat(parts).sort_values(["follow", "start"], kind="stable", ignore_index=True)
    if bad is not None:
        steps["bad_year"] = np.where((steps["start"] < (bad[0] + 0.5) * YEAR)
                                     & (steps["end"] > (bad[0] + 0.5) * YEAR), f"{bad[0]} flood",
                                     "")
    marks = np.concatenate(met_marks) if met_marks else np.empty((0, 5))
    meetings = pd.DataFrame(marks, columns=["animal", "start", "end", "has_tag", "has_second"])
    return Simulated(steps, meetings.astype({"has_tag": bool, "has_second": bool}), effects)


def _of(what, *arguments):
    return what(*arguments) if callable(what) else what


def _death(rng, level, effects, begun, first, bad):
    """Time of death: every year its own survival, deaths even over the year in their log."""
    n = begun.size
    left = rng.exponential(1.0, n)  # hazard each animal lives through
    death = np.full(n, np.inf)
    for y, effect in enumerate(effects):
        rate = -np.log(expit(level + effect))
        if bad is not None and first + y == bad[0]:
            rate = rate - np.log(bad[1])
        start = np.maximum(begun, first + y)
        passed = np.clip(first + y + 1 - start, 0.0, 1.0) * rate
        dies = np.isinf(death) & (passed > 0) & (left < passed)
        death = np.where(dies, start + left / rate, death)
        left = left - passed
    return death


def _steps(animals, visit, k, here, since, at, status, label):
    rows = np.flatnonzero(here)
    named = {c: animals[c].to_numpy()[rows] for c in animals if c != "released"}
    facts = {"site": "Quillstone Riffle", "source": "hatchery", "batch": "", "length": np.nan,
             "stage": ""} | named
    before = since[rows]
    return pd.DataFrame({
        "follow": rows, "animal": rows, "species": SPECIES, **facts,
        "start": before * YEAR, "end": at * YEAR,
        "released": before == animals["released"].to_numpy(float)[rows],
        "visit": f"v{k}", "method": visit.get("method", "hand search"),
        "effort_hours": visit.get("effort_hours", np.nan), "passes": visit.get("passes", np.nan),
        "status": status[rows], "year": label,
        "bad_year": "", "years": at - before,
    })


def batches(years, number, *, sources=("hatchery",)):
    """Animals released at whole years, as many from each source."""
    rows = [(float(y), s, f"{s} {y}") for y in years for s in sources for _ in range(number)]
    return pd.DataFrame(rows, columns=["released", "source", "batch"])


def yearly_visits(first, last, **facts):
    """Visits at the end of each year."""
    return pd.DataFrame({"time": np.arange(first, last + 1, dtype=float), **facts})

"""A small scenario, its answers, and how they are stopped and compared."""

from __future__ import annotations

import copy
import json

import numpy as np
import xarray as xr

from pva.results import chunks
from pva.results.fold import Counts, Fold
from pva.scenario.scenario import Scenario

RIVER = {
    "title": "Two invented sites", "years": {"first": 2026, "last": 2036},
    "census": "before breeding",
    "stages": [{"name": "young", "years": 2}, {"name": "adult", "breeds": True}],
    "survival": {"young": {"value": 0.6, "se": 0.05},
                 "adult": {"value": 0.9, "se": 0.02, "year_sd": 0.03}},
    "recruitment": {"per_adult": {"value": 0.3, "se": 0.05}},
    "bad_years": [{"name": "flood", "chance": 0.1, "survival": 0.7}],
    "sites": [{"name": "Quillstone", "area_m2": 700, "start": {"adult": 20}},
              {"name": "Tallow", "area_m2": 300, "start": {"adult": 3}}],
    "releases": [
        {"name": "a", "site": "Quillstone", "stage": "young", "number": 30, "first": 2026,
         "last": 2029}],
    "quasi_extinction": {"adults_below": 5},
    "goals": [{"name": "many", "measure": "adults", "at_least": 30, "in": 2036},
              {"name": "both", "measure": "sites_occupied", "at_least": 2, "in": 2036}],
    "chance_wanted": 0.8, "runs": {"draws": 9, "replicates": 12, "seed": 5},
}
LEVELS = np.linspace(0, 1, 17)
# what the counts are of, not what they are
NO_NUMBERS = {"resolved", "places", "scramble", "paired", "_keep", "asked", "_asking", "_waiting",
              "_tables", "_measures"}
VARY = {"number": [0, 20, 60], "survival.adult.value": [0.85, 0.9, 0.93]}


def river(**changes) -> Scenario:
    """The scenario, with top-level keys replaced."""
    return Scenario.from_dict(copy.deepcopy(RIVER) | changes)


def few_at_a_time(monkeypatch, trajectories: int) -> None:
    """Chunks of about so many trajectories of the river."""
    monkeypatch.setattr(chunks, "SITE_YEARS", trajectories * 11 * 2)


def plain(answer) -> str:
    """An answer as text, every number to its last bit; without the date of a data set."""
    if isinstance(answer, Fold):
        return json.dumps([_fold_values(answer)], default=str)
    if not isinstance(answer, xr.Dataset):
        return json.dumps(answer.summary(), sort_keys=True)
    whole = answer.copy()
    whole.attrs = {k: v for k, v in answer.attrs.items() if k != "date"}
    rows = {name: [str(v.dtype), v.shape, np.ascontiguousarray(v.values).tobytes().hex()
                   if v.dtype.kind != "O" else v.values.tolist()]
            for name, v in sorted(whole.variables.items())}
    return json.dumps([rows, whole.attrs], sort_keys=True, default=str)


def _fold_values(fold):
    rows = {}
    for name, value in fold_numbers(fold).items():
        array = np.array(value)
        rows[name] = [str(array.dtype), array.shape, array.tobytes().hex()]
    return rows


def fold_numbers(fold: Fold) -> dict:
    """Every number of a fold by name: of what it holds, and what follows from it."""
    found = {n: v for n, v in vars(fold).items() if n not in NO_NUMBERS}
    found |= {name: getattr(fold, name) for name in ("sums", "sizes", "collected")}
    found = {n: v.quantiles(LEVELS) if isinstance(v, Counts) else v for n, v in found.items()}
    found["outcomes"] = np.concatenate(fold.outcomes, axis=1)
    return dict(sorted(found.items()))


class StopAt:
    """A progress function that is Ctrl-C after so many parts."""

    def __init__(self, parts: int):
        self._left = parts

    def __call__(self, done: int, total: int) -> None:
        self._left -= 1
        if self._left == 0:
            raise KeyboardInterrupt

"""Explore: any grid over scenario keys, every point in the same luck."""

from __future__ import annotations

import json
from collections.abc import Mapping, Sequence

import numpy as np
import xarray as xr

from pva.decide.grid import NUMBER, Point, axes_of, changed, dimension, points
from pva.decide.outcomes import outcomes, prepare
from pva.decide.rows import StockedRows
from pva.errors import CannotCompute, Problem
from pva.results.dataset import run_record
from pva.results.run import seed_of
from pva.results.summary import plain
from pva.results.tasks import Progress, Tasks
from pva.results.uncertainty import verdict
from pva.scenario.resolved import Resolved
from pva.scenario.scenario import Scenario

CHANCES = {
    "all_goals": ("all goals", "chance that all goals are met in the same run"),
    "quasi_extinction": ("quasi-extinction", "chance that adults fell below the threshold by the "
                                             "last year"),
    "extinction": ("extinction", "chance that no animal was left at some census by the last year"),
}
ADULTS = "adults in the last year"


def explore(scenario: Scenario, vary: Mapping[str, Sequence], *, seed: int | None = None,
            threads: int | None = None, progress: Progress | None = None,
            tasks: Tasks | None = None) -> xr.Dataset:
    """Chances and adults at every point of a grid over scenario keys.

    Every point meets the same luck, so that neighbours differ by what was changed. Calibrations
    stay where the scenario solved them.

    Parameters
    ----------
    scenario : Scenario
    vary : mapping of key to sequence of values
        Keys as dotted paths (``survival.adult.value``, ``sites.*.hosts.drum.per_100m2`` with ``*``
        for every row), or ``number`` for the animals per release year that `stock` varies.
    seed : int or None
        None = the scenario's seed, or a new one if it names none.
    threads : int or None
        None = every core. Numbers do not depend on it.
    progress : callable or None
        Called with points done and in all.
    tasks : Tasks or None
        Where points are kept and done; None = here, and nothing is kept. Numbers do not depend on
        it.

    Returns
    -------
    xarray.Dataset
        One dimension for every key, besides goal and bound: ``goal_chance``, ``all_goals_chance``,
        ``quasi_extinction_chance``, ``extinction_chance`` with their 95 % Monte Carlo intervals,
        and ``adults_last_year``, the mean.

    Raises
    ------
    FormError, MeaningError
        If a key or value does not fit the scenario.
    CannotCompute
        If a calibration has no solution, or ``number`` is varied without releases.
    """
    axes = axes_of(scenario, vary)
    resolved = scenario.resolved
    if NUMBER in vary and not resolved.releases:
        raise CannotCompute(Problem(
            "`number` is varied, but the scenario has no releases", "Write the release rows whose "
            "number is asked for.", done="nothing was run", code="no-releases"))
    seed = seed_of(resolved, seed)
    data = _empty(axes, [g.name for g in resolved.goals])
    total = int(np.prod([len(a.values) for a in axes]))
    work = (_task(scenario, point, seed) for _, point in points(axes))
    answers = (tasks or Tasks()).carry_out(answer_at, work, total=total, threads=threads,
                                           progress=progress)
    for (place, _), answer in zip(points(axes), answers, strict=True):
        _fill(data, place, answer)
    data.attrs = _record(scenario, axes, seed)
    return data


def _task(scenario: Scenario, point: Point, seed: int) -> tuple:
    """Arguments of `answer_at`: the resolved scenario of a point, its number, the seed."""
    numbers = [float(value) for axis, value in point if axis.key == NUMBER]
    return changed(scenario, point).resolved, numbers[0] if numbers else None, seed


def answer_at(resolved: Resolved, number: float | None, seed: int, *,
              threads: int | None) -> dict:
    """Chances with their 95 % Monte Carlo intervals, and mean adults in the last year.

    Parameters
    ----------
    number : float or None
        Animals per release year; None = as written.

    Returns
    -------
    dict
        Rows of chance, low and high: one for each name of `CHANCES` that applies, ``goals`` a list
        of them; ``adults`` a number.
    """
    ready = prepare(resolved, seed=seed, threads=threads)
    if number is not None:
        ready = ready.with_releases(StockedRows.of(resolved).planned(number))
    found = outcomes(ready)
    answer = {name: _row_of(found[outcome], ready) for name, (outcome, _) in CHANCES.items()
              if outcome in found}
    return answer | {"goals": [_row_of(found[g.name], ready) for g in resolved.goals],
                     "adults": float(found[ADULTS].mean())}


def _row_of(happened, ready):
    doubt = ready.doubt(happened)
    return [doubt.chance, doubt.low, doubt.high]


def _empty(axes, goals):
    names = [a.name for a in axes]
    shape = [len(a.values) for a in axes]
    data = xr.Dataset(coords={
        a.name: (a.name, a.labels, {"long_name": a.key}) for a in axes
    } | {"goal": goals, "bound": ["low", "high"]})
    for name, (_, words) in CHANCES.items():
        _put(data, f"{name}_chance", names, shape, words)
        _put(data, f"{name}_interval", ["bound", *names], [2, *shape],
             f"{words}: 95 % Monte Carlo interval")
    words = "chance that the goal is met"
    _put(data, "goal_chance", ["goal", *names], [len(goals), *shape], words)
    _put(data, "goal_interval", ["bound", "goal", *names], [2, len(goals), *shape],
         f"{words}: 95 % Monte Carlo interval")
    _put(data, "adults_last_year", names, shape, "adults of the river in the last year, mean",
         "animals")
    return data


def _put(data, name, dims, shape, words, units="1"):
    data[name] = (dims, np.full(shape, np.nan), {"long_name": words, "units": units})


def _fill(data, place, answer):
    for name in CHANCES:
        if name in answer:
            _chance(data, name, place, answer[name])
    for i, row in enumerate(answer["goals"]):
        _chance(data, "goal", (i, *place), row)
    data["adults_last_year"].values[place] = answer["adults"]


def _chance(data, name, place, row):
    chance, *interval = row
    data[f"{name}_chance"].values[place] = chance
    data[f"{name}_interval"].values[(slice(None), *place)] = interval


def _record(scenario, axes, seed):
    resolved = scenario.resolved
    model = prepare(resolved, seed=seed).model
    record = run_record(scenario, resolved, model, seed)
    return record | {"varied": [a.key for a in axes]}


def explore_summary(data: xr.Dataset) -> dict:
    """Every point and, for each numeric key, the least value that is enough, for JSON.

    Parameters
    ----------
    data : xarray.Dataset
        From `explore`.

    Returns
    -------
    dict
        ``points`` in the order of the grid; ``enough``, beside every choice of the other keys: the
        smallest value of the first whose chance (``least``), and whose whole 95 % interval
        (``least_beyond_doubt``), is at or above the chance wanted.
    """
    names = dimensions(data)
    wanted = float(data.attrs["chance_wanted"])
    goals = data.sizes["goal"] > 0
    rows = [_row(data, names, place) for place in np.ndindex(*(data.sizes[n] for n in names))]
    for row in rows if goals else ():
        row["verdict"] = verdict(row["all_goals"]["low"], row["all_goals"]["high"], wanted)
    return plain({
        "scenario": data.attrs["title"], "digest": data.attrs["digest"],
        "seed": int(data.attrs["seed"]), "draws": int(data.attrs["draws"]),
        "replicates": int(data.attrs["replicates"]),
        "independent_runs": int(data.attrs["independent_runs"]),
        "varied": [{"key": data[n].attrs["long_name"], "values": data[n].values.tolist()}
                   for n in names],
        "chance_wanted": wanted, "goals": data.goal.values.tolist(),
        "points": rows,
        "enough": _enough(data, names, wanted) if goals else [],
        "warnings": json.loads(data.attrs["warnings"]),
    })


def dimensions(data: xr.Dataset) -> list[str]:
    """Dimensions that were varied, in the order asked for."""
    return [dimension(key) for key in np.atleast_1d(data.attrs["varied"]).tolist()]


def _row(data, names, place):
    row = {"at": {n: data[n].values[i].item() for n, i in zip(names, place, strict=True)}}
    for name in CHANCES:
        low, high = data[f"{name}_interval"].values[(slice(None), *place)]
        row[name] = {"chance": data[f"{name}_chance"].values[place], "low": low, "high": high}
    row["goals"] = data.goal_chance.values[(slice(None), *place)].tolist()
    row["adults"] = data.adults_last_year.values[place]
    return row


def _enough(data, names, wanted):
    """Least value of the first key that is enough, for every choice of the others."""
    first, *others = names
    if data[first].dtype.kind not in "fi":
        return []
    order = np.argsort(data[first].values)
    chance = data.all_goals_chance.transpose(first, *others).values
    low = data.all_goals_interval.sel(bound="low").transpose(first, *others).values
    found = []
    for place in np.ndindex(*chance.shape[1:]):
        least, sure = (next((data[first].values[i].item() for i in order
                             if table[(i, *place)] >= wanted), None) for table in (chance, low))
        found.append({"at": {n: data[n].values[i].item()
                             for n, i in zip(others, place, strict=True)},
                      "least": least, "least_beyond_doubt": sure})
    return found

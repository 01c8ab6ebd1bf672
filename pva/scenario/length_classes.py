"""A scenario of many narrow length classes, written straight from the estimates.

Each class lives by the survival of the stage it is in half a year on, and moves on by the growth
curve. What few wide stages gloss over, the ages within a stage, is then followed by the model
itself; use it to see how much the wide stages matter.
"""

from __future__ import annotations

import os
from pathlib import Path

import numpy as np

from pva.errors import CannotCompute, Problem
from pva.estimate import read_estimates
from pva.estimate.estimates import Estimates
from pva.estimate.stage_steps import LengthStage, complete
from pva.estimate.transitions import followed_year
from pva.files import write_text_atomic
from pva.scenario.scenario import Scenario, read_scenario
from pva.scenario.twin_yaml import yaml_text

NODES, PER_YEAR = 61, 24
SMALLEST_SHARE = 1e-3
CURVE = ("asymptote_mm", "rate", "asymptote_sd_mm")


def length_mesh(estimates: str | os.PathLike, path: str | os.PathLike, *, stages,
                width_mm: float = 1.0, recruits_per_adult: float | None = None,
                adults: float = 100.0, first: int = 2026, last: int = 2056) -> Scenario:
    """Write a scenario of narrow length classes and read it back.

    Parameters
    ----------
    estimates : path
        An ``estimates.yaml`` with a growth curve and the survival of the stages.
    path : path
        The scenario file to write.
    stages : mapping of str to (float, float)
        Lengths (mm) of the stages whose survival was estimated; the longest breeds.
    width_mm : float
        Width of a class; between 0.5 and 20.
    recruits_per_adult : float, optional
        Young at the age of one year per adult; left out: the mean of those estimated at the sites.
    adults : float
        Adults at the start, spread as a steady population has them.
    first, last : int
        Years.

    Returns
    -------
    Scenario

    Raises
    ------
    CannotCompute
        No growth curve, no survival of a stage, or no number of recruits per adult.
    """
    told, path = read_estimates(estimates), Path(path)
    if not stages:
        raise CannotCompute(Problem(
            "the study has no stages by length", "Name them under `stages`, each with "
            "`length_mm`.", done="No scenario was written.", code="length-mesh"))
    ordered = complete([LengthStage(n, *map(float, ends)) for n, ends in dict(stages).items()])
    curve = [_needed(told, f"growth_curve/{name}") for name in CURVE]
    survival = np.array([_needed(told, _key(told, s.name)) for s in ordered])
    lows, stage, shares = mesh_shares(*curve, survival, [s.low for s in ordered[1:]],
                                      width_mm=width_mm)
    recruits = _recruits(told) if recruits_per_adult is None else float(recruits_per_adult)
    written = _document(told, ordered, lows, stage, shares, width_mm)
    breeding = lows >= ordered[-1].low
    at = np.flatnonzero(breeding)[len(np.flatnonzero(breeding)) // 2]
    written |= {
        "estimates": Path(os.path.relpath(estimates, path.parent)).as_posix(),
        "years": {"first": first, "last": last},
        "recruitment": {"per_adult": {"value": recruits, "source": {"measured": "estimates"}}},
        "start": {written["stages"][int(at)]["name"]: float(adults)},
    }
    write_text_atomic(path, yaml_text(written, written))
    return read_scenario(path)


def mesh_shares(asymptote, rate, asymptote_sd, survival, limits, *, width_mm: float
                ) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Narrow classes and where the survivors of each are a year later.

    Parameters
    ----------
    asymptote, rate, asymptote_sd : float
        Growth, mm and per year.
    survival : float array (stage)
    limits : sequence of float (stage - 1)
        Lengths (mm) at which one stage ends and the next begins.
    width_mm : float

    Returns
    -------
    lows : float array (class)
        Where each class begins; the first holds animals of one year, the last is open above.
    stage : int array (class)
        Stage that the animals of a class are in half a year later: they live by its survival.
    shares : float array (class, class)
        From (row) and to (column).
    """
    low = width_mm * np.floor(asymptote * -np.expm1(-rate) / width_mm)
    high = asymptote + 2.5 * asymptote_sd
    lows = np.arange(low, high, width_mm)
    middle = lows + 0.5 * width_mm
    later = np.maximum(middle, asymptote - (asymptote - middle) * np.exp(-0.5 * rate))
    now, stage = (np.searchsorted(limits, mm, side="right") for mm in (middle, later))
    shares, _ = followed_year(
        np.array([asymptote]), np.array([rate]), np.array([asymptote_sd]),
        np.asarray(survival, float)[now][None], lows[1:], per_year=PER_YEAR, own=NODES,
        all_year=True)
    shares = np.where(shares[0] < SMALLEST_SHARE, 0.0, shares[0])
    empty = ~(np.nansum(shares, axis=1) > 0)
    shares[empty] = np.eye(lows.size, k=1)[empty]
    shares[-1, -1] = 1.0
    return lows, stage, shares / shares.sum(axis=1, keepdims=True)


def _document(told: Estimates, ordered, lows, stage, shares, width_mm) -> dict:
    names = [f"{low:g} to {low + width_mm:g} mm" for low in lows]
    return {
        "title": f"Length classes of {width_mm:g} mm: {told.title or 'from estimates'}",
        "description": "Written from the estimates. Bad years, sites, releases and goals are to be "
                       "added by hand.",
        "census": "before breeding",
        "stages": [{"name": n, "length_mm": [float(low), float(low + width_mm)],
                    "breeds": bool(low >= ordered[-1].low)}
                   for n, low in zip(names, lows, strict=True)],
        "survival": {n: {"estimate": _key(told, ordered[k].name)}
                     for n, k in zip(names, stage, strict=True)},
        "growth": {names[i]: {names[j]: _down(shares[i, j])
                              for j in np.flatnonzero(shares[i]) if j != i}
                   for i in range(lows.size - 1)},
        "bad_years": {"none": "not written yet: add those of your river"},
        "quasi_extinction": {"adults_below": 1},
        "runs": {"draws": 100, "replicates": 50, "seed": 1},
    }


def _down(share: float) -> float:
    """Rounded down, so that the shares of a class never sum above 1; the rest stays."""
    return float(np.floor(share * 1e6) / 1e6)


def _key(told: Estimates, stage: str) -> str:
    """Survival of a stage, or of all animals where stages were not told apart."""
    own = f"survival/{stage}"
    return own if own in told.rates or "survival/all" not in told.rates else "survival/all"


def _needed(told: Estimates, key: str) -> float:
    estimate = told.rates.get(key)
    if estimate is None or estimate.value is None:
        raise CannotCompute(Problem(
            f"the estimates hold no value for `{key}`", "Estimate it, or write it into the file "
            "with its source.", done="No scenario was written.", code="length-mesh"))
    return float(estimate.value)


def _recruits(told: Estimates) -> float:
    found = [e.value for k, e in told.rates.items() if k.startswith("recruits_per_adult/")
             and e.value is not None]
    if not found:
        raise CannotCompute(Problem(
            "the estimates hold no recruits per adult", "Give `recruits_per_adult`.",
            done="No scenario was written.", code="length-mesh"))
    return float(np.mean(found))

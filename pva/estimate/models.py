"""Survival models in words, and their designs over labelled steps."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
import pandas as pd

from pva.estimate.fit import Design
from pva.estimate.likelihood import NONE

CONTINUOUS = {"length": ("length", 50.0, 10.0)}  # column, centre, unit: per 10 mm around 50 mm
LOGGED = ("effort", "passes")
COLUMN = {"effort": "effort_hours"}
WITHIN = " within "
LUCK = "luck of"  # how a year, as a random effect, is named among the parameters of survival
MOSTLY_ORDINARY = 0.2  # share of animals in a bad year up to which its interval counts as ordinary
LENGTH_ROUNDED = 1.0  # mm; lengths are rounded so that like animals share a row


@dataclass(frozen=True)
class Model:
    """A survival model.

    Parameters
    ----------
    survival, detection, release, shell : tuple of str
        What each differs by; `shell` is the chance that a shell in the bed is found. Detection may
        hold ``length within method``: a slope for each.
    release_separate : bool
        Whether survival after release is its own number; `release` says by what it differs.
    leaving : bool
        Whether animals may leave the site for good; told from dying by shells found anywhere.
    """

    survival: tuple[str, ...] = ()
    detection: tuple[str, ...] = ()
    release: tuple[str, ...] = ()
    release_separate: bool = False
    shell: tuple[str, ...] = ()
    leaving: bool = False

    @property
    def name(self) -> str:
        """The model in words."""
        parts = [_words("survival", self.survival)]
        if self.release_separate:
            parts.append(_words("release survival", self.release))
        parts.append(_words("detection", self.detection))
        if self.leaving:
            parts.append("staying constant")
        return ", ".join(parts)

    def with_survival(self, *survival: str) -> Model:
        """The same model with survival differing by other things."""
        return replace(self, survival=survival)


def _words(what: str, by: tuple[str, ...]) -> str:
    if not by:
        return f"{what} constant"
    return f"{what} by " + " and ".join(b.replace(WITHIN, " within each ") for b in by)


@dataclass(frozen=True)
class Laid:
    """A model laid over the steps.

    Parameters
    ----------
    design : Design
    rows : dict of str to int array (step)
        Row of the design for each kind at each step; `NONE` where the kind does not act.
    """

    design: Design
    rows: dict[str, np.ndarray]

    def at_steps(self, kind: str) -> np.ndarray:
        """Design of one kind at every step (step, parameter); zero rows where it does not act."""
        matrix = getattr(self.design, kind)
        rows = self.rows[kind]
        return np.where((rows >= 0)[:, None], matrix[np.maximum(rows, 0)], 0.0)


def lay(model: Model, steps: pd.DataFrame, *, shells: bool,
        luck: pd.DataFrame | None = None) -> Laid:
    """Build the design of a model.

    Parameters
    ----------
    model : Model
    steps : DataFrame
        As made by `label_steps`.
    shells : bool
        Whether finding shells is part of the model.
    luck : DataFrame (step, year), optional
        Share of each step in each year: further columns of survival, for years as random effects.
    """
    everywhere = np.ones(len(steps), bool)
    visited = steps["visit"].notna().to_numpy()
    ordinary = steps["bad_year"].eq("").to_numpy()
    parts = {
        "survival": _block(steps, model.survival, everywhere, years_apart=True, luck=luck),
        "release": _block(steps, model.release, steps["released"].to_numpy(bool))
        if model.release_separate else _nothing(len(steps)),
        "event": _block(steps, ("bad_year",), ~ordinary, means=True)
        if not ordinary.all() else _nothing(len(steps)),
        "detection": _block(steps, model.detection, visited),
        "shell": _block(steps, model.shell, visited) if shells else _nothing(len(steps)),
    }
    names = tuple(f"{kind}: {name}" for kind, (_, _, names) in parts.items() for name in names)
    matrices = {kind: matrix for kind, (matrix, _, _) in parts.items()}
    if model.leaving:
        matrices["staying"], names = np.ones((1, 1)), (*names, "staying: level")
    return Laid(Design(**matrices, names=names), {k: rows for k, (_, rows, _) in parts.items()})


def _nothing(size: int):
    return np.zeros((0, 0)), np.full(size, NONE), ()


def _block(steps, terms, acts: np.ndarray, means: bool = False, years_apart: bool = False,
           luck: pd.DataFrame | None = None):
    """Design rows of one kind: unique rows, the row of each step, names of the parameters."""
    columns, names = _columns(steps, terms, acts, means, years_apart)
    if luck is not None:
        columns = np.column_stack([columns, luck.to_numpy(float)])
        names = (*names, *(f"{LUCK} {year}" for year in luck))
    used = columns[acts]
    code = np.zeros(len(used), np.int64)
    for column in used.T:
        levels = pd.factorize(column)[0]
        code = pd.factorize(code * (levels.max(initial=0) + 1) + levels)[0]
    rows = np.full(len(steps), NONE)
    rows[acts] = code
    _, first = np.unique(code, return_index=True)
    return used[first], rows, names


def _columns(steps, terms, acts, means, years_apart):
    """Parameter columns at every step: the first factor by its levels, others as differences."""
    blocks, names = [], []
    level_done = False
    for term in terms:
        if WITHIN in term or term in CONTINUOUS or term in LOGGED:
            continue
        levels, code = _levels(steps, term, acts)
        dummies = (code[:, None] == np.arange(len(levels))).astype(float)
        if not level_done and (term == "stage" or means):
            blocks.append(dummies)
            names += [f"{term} {level}" for level in levels]
            level_done = True
        else:
            columns, told = _differences(steps, term, levels, dummies, acts, years_apart)
            blocks.append(columns)
            names += told
    if not level_done:
        blocks.insert(0, np.ones((len(steps), 1)))
        names.insert(0, "level")
    for term in terms:
        for name, column in _slopes(steps, term, acts):
            blocks.append(column[:, None])
            names.append(name)
    return np.column_stack(blocks), tuple(names)


def _levels(steps, term, acts):
    values = steps[COLUMN.get(term, term)].fillna("").astype(str).to_numpy()
    levels = sorted(set(values[acts]))
    code = np.searchsorted(levels, values)
    return levels, np.minimum(code, len(levels) - 1)


def _differences(steps, term, levels, dummies, acts, years_apart):
    """Levels as differences that sum to zero; a bad year with its own survival stands apart."""
    kept = np.arange(len(levels))
    if term == "year" and years_apart:
        bad = steps["bad_year"].ne("").to_numpy()
        share = np.array([bad[acts & (dummies[:, k] > 0)].mean() for k in kept])
        kept = kept[share <= MOSTLY_ORDINARY]
    if kept.size < 2:
        return np.zeros((len(dummies), 0)), []
    columns = dummies[:, kept[:-1]] - dummies[:, kept[-1:]]
    return columns, [f"{term} {levels[k]}" for k in kept[:-1]]


def _slopes(steps, term, acts):
    what, _, group = term.partition(WITHIN)
    if what in CONTINUOUS:
        column, centre, unit = CONTINUOUS[what]
        x = np.round(steps[column].to_numpy(float) / LENGTH_ROUNDED) * LENGTH_ROUNDED
        x = np.where(np.isnan(x), centre, x)
        x = (x - centre) / unit
    elif what in LOGGED:
        x = steps[COLUMN.get(what, what)].to_numpy(float)
        x = np.log(np.where(x > 0, x, np.nan))
        x = np.where(np.isnan(x), 0.0, x - np.nanmean(x[acts]))
    else:
        return
    if not group:
        yield what, x
        return
    levels, code = _levels(steps, group, acts)
    for k, level in enumerate(levels):
        yield f"{what} within {level}", np.where(code == k, x, 0.0)

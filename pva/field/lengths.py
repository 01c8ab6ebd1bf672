"""Lengths against each other: centimetres among millimetres, and drops that cannot be error."""

from __future__ import annotations

import numpy as np
import pandas as pd

from pva.field.account import RowLedger
from pva.field.identity import day
from pva.field.spec import LengthsSpec

ENOUGH_LENGTHS = 20


def check_lengths(releases: pd.DataFrame, encounters: pd.DataFrame, ledger: RowLedger,
                  limits: LengthsSpec) -> tuple[pd.DataFrame, pd.DataFrame]:
    """Leave out lengths that look like centimetres; flag a shell that shrank too much.

    A length below the last one within `limits.drop_mm` is measurement error and stays unflagged.

    Returns
    -------
    releases, encounters : DataFrame
        With doubtful lengths taken out.
    """
    releases, encounters = releases.copy(), encounters.copy()
    for frame in (releases, encounters):
        _among_others(frame, ledger)
    columns = ["animal", "when", "length_mm"]
    both = pd.concat([releases.assign(when=releases["date"])[columns], encounters[columns]])
    both = both.dropna(subset=["animal", "length_mm"])
    both = both[~both.index.duplicated()].assign(line=lambda f: f.index)
    both = both.sort_values(["animal", "when"], kind="stable")
    doubtful = _against_last(both, ledger)
    encounters.loc[encounters.index.isin(doubtful), "length_mm"] = np.nan
    releases.loc[releases.index.isin(doubtful), "length_mm"] = np.nan
    _drops(both[~both.index.isin(doubtful)], ledger, limits.drop_mm)
    return releases, encounters


def _among_others(frame: pd.DataFrame, ledger: RowLedger) -> None:
    """Animals measured once: far below all others, and usual if multiplied by ten."""
    lengths = frame["length_mm"]
    if lengths.notna().sum() < ENOUGH_LENGTHS:
        return
    counts = frame.groupby("animal")["length_mm"].transform("count")
    once = frame["animal"].isna() | (counts <= 1)
    lowest, low, usual, high = np.nanpercentile(lengths, [2, 5, 50, 95])
    odd = once & (lengths < 0.5 * lowest) & (10 * lengths).between(low, high)
    for row in frame.index[odd]:
        if ledger.flag("length-in-centimetres", row, "length_mm", value=f"{lengths[row]:g}",
                       usual=f"{usual:.0f}"):
            frame.loc[row, "length_mm"] = np.nan


def _against_last(both: pd.DataFrame, ledger: RowLedger) -> list[int]:
    """Lengths that are about a tenth of the last one of the same animal."""
    doubtful, last = [], {}
    for animal, length, row in zip(both["animal"], both["length_mm"], both["line"], strict=True):
        before = last.get(animal)
        if before and 0.7 * before <= 10 * length <= 1.6 * before and ledger.flag(
                "length-in-centimetres", row, "length_mm", value=f"{length:g}",
                usual=f"{before:g}"):
            doubtful.append(row)
            continue
        last[animal] = length
    return doubtful


def _drops(both: pd.DataFrame, ledger: RowLedger, most: float) -> None:
    before = both.groupby("animal")["length_mm"].shift()
    line_before = both.groupby("animal")["line"].shift()
    for row in both.index[before - both["length_mm"] > most]:
        other = int(line_before[row])
        ledger.flag("length-dropped", row, "length_mm", value=f"{both.at[row, 'length_mm']:g}",
                    before=f"{before[row]:g}", date=day(both.at[other, "when"]), drop=f"{most:g}",
                    **ledger.where(other))

"""A table as it is handed on: plain cells, units in the headings."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any


@dataclass(frozen=True)
class Sheet:
    """A table for other programs.

    Parameters
    ----------
    name : str
        File or sheet name: small letters and underscores, at most 31.
    title : str
        What it holds, in words.
    columns : tuple of str
        Headings, with the unit in brackets where there is one.
    rows : tuple of tuple
        Text, numbers, truth values, or None where nothing applies; never NaN.
    """

    name: str
    title: str
    columns: tuple[str, ...]
    rows: tuple[tuple[Any, ...], ...]


def sheet(name: str, title: str, columns: Sequence[str], rows) -> Sheet:
    """A sheet from any sequences; what is not a finite number becomes None."""
    return Sheet(name, title, tuple(columns), tuple(tuple(map(_cell, row)) for row in rows))


def _cell(value):
    if hasattr(value, "item"):
        value = value.item()
    if isinstance(value, float) and not math.isfinite(value):
        return None
    if value is None or isinstance(value, (bool, int, float, str)):
        return value
    return str(value)


def heading(words: str, unit: str = "") -> str:
    """Words with their unit in brackets; nothing for pure numbers."""
    return words if unit in ("", "1") else f"{words} ({unit})"

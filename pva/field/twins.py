"""Released tags that one slip turns into each other: there a slip cannot be noticed."""

from __future__ import annotations

import numpy as np
import pandas as pd

from pva.field.tags import ISO, read_tag

DIGITS = 15
MOST_PAIRS_NAMED = 4


def near_twins(tags: list[str]) -> list[tuple[str, str]]:
    """Pairs of tags of 15 digits that differ in one digit or by two neighbours swapped.

    Parameters
    ----------
    tags : list of str
        Canonical tags; others than those of 15 digits are left out.

    Returns
    -------
    list of (str, str)
        Each pair once, in the order of the tags.
    """
    codes = np.array(sorted({int(t) for t in tags if len(t) == DIGITS and t.isdigit()}),
                     dtype=np.int64)
    pairs: set[tuple[int, int]] = set()
    for place in range(DIGITS):
        pairs |= _alike(codes, codes - _digit(codes, place) * 10**place)
    for place in range(DIGITS - 1):
        one, other = _digit(codes, place), _digit(codes, place + 1)
        rest = codes - one * 10**place - other * 10**(place + 1)
        low, high = np.minimum(one, other), np.maximum(one, other)
        pairs |= _alike(codes, rest + low * 10**place + high * 10**(place + 1))
    return [(f"{a:0{DIGITS}d}", f"{b:0{DIGITS}d}") for a, b in sorted(pairs)]


def _digit(codes: np.ndarray, place: int) -> np.ndarray:
    return codes // 10**place % 10


def _alike(codes: np.ndarray, key: np.ndarray) -> set[tuple[int, int]]:
    """Pairs of codes, in the order of their keys, that share a key with their neighbour."""
    order = np.argsort(key, kind="stable")
    same = np.flatnonzero(key[order][1:] == key[order][:-1])
    return {tuple(sorted((int(codes[order[i]]), int(codes[order[i + 1]])))) for i in same}


def twin_notes(releases: pd.DataFrame, about: dict[str, str]) -> list[str]:
    """A note that names pairs of released tags one slip apart, if there are any."""
    tags = [t for t in releases["tag"].dropna() if read_tag(t).kind == ISO]
    pairs = near_twins(tags)
    if not pairs:
        return []
    named = "; ".join(f"{a} ({about.get(a, 'released')}) and {b} ({about.get(b, 'released')})"
                      for a, b in pairs[:MOST_PAIRS_NAMED])
    more = f"; and {len(pairs) - MOST_PAIRS_NAMED:,} more" if len(pairs) > MOST_PAIRS_NAMED else ""
    return [f"Released tags one slip apart: {named}{more}. A slip between them cannot be noticed; "
            "look whether one animal was entered twice."]

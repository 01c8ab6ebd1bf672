"""Whole numbers as runs of neighbours: row numbers such as ``2-14 16``, years."""

from __future__ import annotations

from collections.abc import Iterable


def runs_of(numbers: Iterable[int]) -> list[tuple[int, int]]:
    """First and last number of every run of neighbours, rising; none twice."""
    runs: list[tuple[int, int]] = []
    for number in sorted(set(numbers)):
        if runs and number == runs[-1][1] + 1:
            runs[-1] = runs[-1][0], number
        else:
            runs.append((number, number))
    return runs


def as_runs(numbers: Iterable[int]) -> str:
    """Row numbers as runs.

    Examples
    --------
    >>> as_runs([4, 2, 3, 9])
    '2-4 9'
    """
    return " ".join(f"{a}-{b}" if b > a else f"{a}" for a, b in runs_of(numbers))


def from_runs(text: str) -> list[int]:
    """Row numbers of runs.

    Examples
    --------
    >>> from_runs("2-4 9")
    [2, 3, 4, 9]
    """
    found: list[int] = []
    for run in text.split():
        first, _, last = run.partition("-")
        found += range(int(first), int(last or first) + 1)
    return found

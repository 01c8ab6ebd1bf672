"""Row numbers written as runs, such as ``2-14 16``."""

from __future__ import annotations

from collections.abc import Iterable


def as_runs(numbers: Iterable[int]) -> str:
    """Row numbers as runs.

    Examples
    --------
    >>> as_runs([4, 2, 3, 9])
    '2-4 9'
    """
    runs: list[list[int]] = []
    for number in sorted(set(numbers)):
        if runs and number == runs[-1][1] + 1:
            runs[-1][1] = number
        else:
            runs.append([number, number])
    return " ".join(f"{a}-{b}" if b > a else f"{a}" for a, b in runs)


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

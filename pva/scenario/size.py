"""What a run would need of memory and time, worked out before anything of it is made."""

from __future__ import annotations

import os
from dataclasses import dataclass

from pva.errors import CannotCompute, Problem
from pva.scenario.places import Problems
from pva.scenario.rates_used import every_rate
from pva.scenario.resolved import Resolved

MOST_RUNS = 10**8
MOST_CORE_HOURS = 48.0
_UNKNOWN_MEMORY = 8e9  # bytes, where the system does not tell
_NUMBER, _ENTRY = 8, 100  # bytes of a number in an array, and of one in a table by name
_SECONDS_A_CELL = 6e-8  # of one core: a class of animals of one origin, site, year and run
_A_DRAW = 550  # numbers at once while the laws of one rate are matched to all draws
_MEASURES, _SETS = 14, 8  # yearly measures, sets of parameter draws
_DISTINCT = 100_000  # numbers of animals that differ, in a year
_TALLIES, _FEWEST_LANES = 16, 16
_ADVICE = ("Lower `draws` or `replicates` under `runs`, or the number of sites, years or classes; "
           "the simulation error of a chance is about 0.5 % with 10,000 runs.")


@dataclass(frozen=True)
class Size:
    """How large a run is.

    Parameters
    ----------
    runs : int
        Draws times replicates.
    bytes : float
        Memory at most, about.
    core_seconds : float
        Time on one core, about.
    """

    runs: int
    bytes: float
    core_seconds: float


def size_of(resolved: Resolved) -> Size:
    """About what a run needs: every large array that it makes, and the years of all animals."""
    draws, runs = resolved.runs.draws, resolved.runs.draws * resolved.runs.replicates
    sites, years = len(resolved.sites), len(resolved.years)
    classes = sum(stage.years or 1 for stage in resolved.stages)
    rates = len(every_rate(resolved, with_start=True, each_site=True))
    numbers = (
        draws * (_A_DRAW + 2 * rates + 4 * years)
        + 2 * _MEASURES * _SETS * (1 + sites) * years
        + 4 * min(runs, _DISTINCT) * years
        + min(resolved.runs.keep_trajectories, runs) * years
        + 4 * _FEWEST_LANES * _TALLIES * years * sites
        + sites * sites
    )
    needed = numbers * _NUMBER
    if resolved.year_effects.between_sites not in (None, 0, 1):
        needed += sites * sites * _ENTRY
    return Size(runs, float(needed), runs * years * sites * 2 * classes * _SECONDS_A_CELL)


def check_size(resolved: Resolved, problems: Problems) -> None:
    """Record a run that needs more memory or time than there is, where it is written."""
    what = too_large(resolved)
    if what:
        problems.add(("runs",), f"{{key}}: {what}", _ADVICE, code="run-too-large")


def refuse_too_large(resolved: Resolved) -> None:
    """The same for numbers of draws and replicates asked for elsewhere.

    Raises
    ------
    CannotCompute
    """
    what = too_large(resolved)
    if what:
        raise CannotCompute(Problem(what, _ADVICE, done="nothing was run", code="run-too-large"))


def too_large(resolved: Resolved) -> str:
    """What a run needs, in words, where that is too much; else nothing."""
    size = size_of(resolved)
    hours, memory = size.core_seconds / 3600, memory_of_machine()
    if size.bytes <= memory and hours <= MOST_CORE_HOURS and size.runs <= MOST_RUNS:
        return ""
    runs = resolved.runs
    return (f"{_amount(runs.draws)} draws x {_amount(runs.replicates)} replicates at "
            f"{_sites(len(resolved.sites))} over {len(resolved.years):,} years would need about "
            f"{_words(size.bytes / 1e9)} GB of memory and {_words(hours)} hours of one core; "
            f"{MOST_RUNS:,} runs, {MOST_CORE_HOURS:g} hours and the {_words(memory / 1e9)} GB of "
            "this machine are the most")


def memory_of_machine() -> float:
    """Bytes of memory the machine has."""
    try:
        return float(os.sysconf("SC_PHYS_PAGES") * os.sysconf("SC_PAGE_SIZE"))
    except (AttributeError, ValueError, OSError):
        return _UNKNOWN_MEMORY


def _sites(number: int) -> str:
    return "one site" if number == 1 else f"{number:,} sites"


def _words(number: float) -> str:
    if number < 0.1:
        return "0.1"
    return f"{number:.1g}" if number < 10 else (
        f"{float(f'{number:.2g}'):,.0f}" if number < 1e9 else f"{number:.1e}")


def _amount(number: int) -> str:
    return f"{number:,}" if number < 1e15 else f"{number:.1e}"

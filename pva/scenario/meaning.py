"""Second pass: can the scenario be meant so? Names, years, ranges and contradictions, together."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from typing import Any

from pva.lifehistory.rates import POSITIVE
from pva.scenario.counts import check_count, most_of
from pva.scenario.meaning_life import check_life
from pva.scenario.meaning_plan import check_plan
from pva.scenario.meaning_sites import check_sites
from pva.scenario.places import Problems, percent_meant
from pva.scenario.resolve_rates import RateReader, nearest
from pva.scenario.spec import ScenarioSpec
from pva.scenario.spec_plan import StartSpec
from pva.scenario.spec_rates import RateSpec
from pva.scenario.spec_types import Block

MOST_NUMBER, MOST_YEARS = 1e15, 1000
_PARTIAL = ("survival", "growth", "recruitment")  # at a site these may hold a part of a RATE
_ELSEWHERE = ("calibration_base",)


def check_meaning(spec: ScenarioSpec, problems: Problems, reader: RateReader) -> None:
    """Collect everything that is wrong with the words of a well-formed scenario.

    Parameters
    ----------
    spec : ScenarioSpec
    problems : Problems
        Receives what is found.
    reader : RateReader
        Used to check rates that stand on their own.
    """
    check_years(spec, problems)
    check_life(spec, problems)
    check_sites(spec, problems)
    check_plan(spec, problems)
    _check_pairs(spec.year_effects.between_rates, problems)
    _check_survey_goals(spec, problems, reader)
    _check_numbers(spec, (), problems, reader)


def check_years(spec: ScenarioSpec, problems: Problems) -> None:
    """First before last."""
    if spec.years.last <= spec.years.first:
        problems.add(
            ("years", "last"),
            f"{{key}} is {spec.years.last}, not after the first year {spec.years.first}",
            "Write a later last year.", code="years-order",
        )
    elif spec.years.last - spec.years.first > MOST_YEARS:
        spanned = spec.years.last - spec.years.first
        problems.add(("years", "last"), f"the scenario spans {spanned:,} years, more than "
                     f"{MOST_YEARS:,}", "Write fewer years.", code="years-too-many")


def _check_pairs(between: float | dict, problems: Problems) -> None:
    """A pair may stand in both orders, as in a full matrix, but with one number."""
    known: dict[frozenset, float] = {}
    for one, row in between.items() if isinstance(between, dict) else ():
        for other, number in row.items():
            earlier = known.setdefault(frozenset((one, other)), 1.0 if one == other else number)
            if number != earlier:
                said = ("a rate's correlation with itself is 1" if one == other
                        else f"the same pair holds {earlier:g} above")
                problems.add(("year_effects", "between_rates", one, other),
                             f"{{key}} is {number:g}, but {said}",
                             "Write each pair once.", code="pair-twice")


def _check_survey_goals(spec: ScenarioSpec, problems: Problems, reader: RateReader) -> None:
    """A twin names no estimates file; its survey goals were checked when it was made."""
    if reader.estimates is None:
        return
    for i, goal in enumerate(spec.survey_goals or ()):
        if goal.estimate not in reader.estimates.keys:
            problems.add(
                ("survey_goals", i, "estimate"), f"{{key}}: the estimates file has no "
                f"`{goal.estimate}`", nearest(goal.estimate, reader.estimates.keys),
                code="unknown-estimate",
            )


def _check_numbers(block: Block, path: tuple, problems: Problems, reader: RateReader) -> None:
    """Ranges of plain numbers, and every RATE that stands on its own."""
    if isinstance(block, StartSpec):
        for stage, one in block.numbers.items():
            rate = reader.rate(one, kind=POSITIVE, key="", path=(*path, stage))
            check_count(most_of(rate), (*path, stage), problems)
    for name, info in type(block).model_fields.items():
        value, words = getattr(block, name), info.json_schema_extra
        key = info.alias or name
        if value is None or name not in block.model_fields_set or key in _ELSEWHERE:
            continue
        partial = path[:1] == ("sites",) and (len(path) > 2 or key in _PARTIAL) and (
            path[2:3] == () or path[2] in _PARTIAL)
        for place, one in _leaves(value, (*path, key)):
            if isinstance(one, RateSpec):
                if words["kind"] and not partial:
                    reader.rate(one, kind=words["kind"], key="", path=place)
            elif isinstance(one, Block):
                _check_numbers(one, place, problems, reader)
            elif isinstance(one, int | float) and not isinstance(one, bool):
                _check_range(one, words, place, problems)


def _leaves(value: Any, path: tuple) -> Iterable[tuple[tuple, Any]]:
    if isinstance(value, dict):
        for key, one in value.items():
            yield from _leaves(one, (*path, key))
    elif isinstance(value, list | tuple):
        for index, one in enumerate(value):
            yield from _leaves(one, (*path, index))
    else:
        yield path, value


def _check_range(number: float, words: dict, path: Sequence, problems: Problems) -> None:
    low, high = words["low"], words["high"]
    positive = "above 0" in words["form"]
    if positive and number <= 0:
        problems.add(path, f"{{key}} is {number:g}", "Write a number above 0.", code="out-of-range")
    elif (low is not None and number < low) or (high is not None and number > high):
        todo = f"Write a number from {_end(low)} to {_end(high)}." if high is not None else (
            f"Write a number of {low:g} or more."
        )
        todo += percent_meant(number) if high == 1 else ""
        problems.add(path, f"{{key}} is {number:g}, outside its range", todo, code="out-of-range")
    elif words["count"]:
        check_count(number, path, problems)
    elif high is None and abs(number) > MOST_NUMBER:
        problems.add(path, f"{{key}} is {number:g}, outside its range",
                     f"Write a number of at most {MOST_NUMBER:g}.", code="out-of-range",
                     why="Beyond it sums and products run out of the numbers a computer has")


def _end(number: float) -> str:
    return f"{number:,}" if isinstance(number, int) and abs(number) > 9999 else f"{number:g}"

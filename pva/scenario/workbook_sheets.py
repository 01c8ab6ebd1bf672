"""Sheets that a form should not have, and sheets that it does not have, in words."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence
from typing import Any, NamedTuple

from pva.files.grid import Grid
from pva.files.near_names import near_name
from pva.scenario.workbook_headings import MOST_ABOVE
from pva.scenario.workbook_layout import OTHER, SHEETS
from pva.scenario.workbook_parts import Parts

EVERY = (*SHEETS, OTHER)
WITHOUT = {  # what follows for a scenario that is written without the sheet
    "question": "the scenario has no title, no years and no census",
    "stages": "the scenario has no stages of life",
    "survival": "no survival by stage is written",
    "growth": "no chance of moving on from a stage is written",
    "young": "no young per adult are written, and no chain from females to young",
    "young at": "nothing is solved for, and young are spread as the defaults have it",
    "host fish": "the scenario has no host fish",
    "hosts": "nothing says what host fish do with glochidia",
    "years": "years differ as the defaults have it, and every layer of chance is on",
    "bad years": "the scenario has no bad years",
    "sites": "the scenario has no sites and is read as one",
    "start of all": "there is no start for sites without one of their own",
    "start": "no numbers of animals at the start are written",
    "fish": "there are no host fish at any site",
    "space": "no limit of space holds but `capacity_per_m2` of a site",
    "releases": "nothing is released",
    "first year": "animals live through the year of their release as others of their stage do",
    "collections": "no animals are taken from a site",
    "goals": "the scenario has no goals: no chance of success is reported, and no number to stock "
             "can be found",
    "survey goals": "there is no goal that a survey must show",
    "judging": "there is no threshold of risk, and the size of the run is not written",
    OTHER.name: "keys without a sheet of their own, such as movement or a published matrix, are "
                "not written",
}


class Foreign(NamedTuple):
    """A sheet that is none of the form's.

    Parameters
    ----------
    name, todo : str
    """

    name: str
    todo: str


def foreign_sheets(there: Mapping[str, Grid], foreign: Iterable[str]) -> Iterator[Foreign]:
    """What to do about each sheet that is none of the form's.

    A sheet that was renamed still says on top what it is about; else its name tells. Each missing
    sheet is offered once.
    """
    foreign = list(foreign)
    missing = {s.name: s.about for s in EVERY if s.name not in there}
    meant = {}
    for told in (lambda name: _still_says(there[name], missing),
                 lambda name: near_name(name, missing)):
        for name in foreign:
            found = None if name in meant else told(name)
            if found is not None:
                meant[name] = found
                del missing[found]
    for name in foreign:
        yield Foreign(name, _advice(name, meant.get(name), list(missing), there))


def _still_says(grid: Grid, missing: Mapping[str, str]) -> str | None:
    on_top = {text for row in grid.rows[:MOST_ABOVE] for text in row}
    return next((name for name, about in missing.items() if about in on_top), None)


def _advice(name: str, meant: str | None, missing: Sequence[str], there: Mapping) -> str:
    if meant is not None:
        return f"Call it `{meant}`, which is missing, if that is meant, or take it away."
    if missing:
        names = ", ".join(f"`{one}`" for one in missing)
        return f"Missing from the form: {names}. Call it so if that is meant, or take it away."
    near = near_name(name, [s.name for s in EVERY if s.name in there])
    if near is not None:
        return f"The nearest, `{near}`, is there: take this one away."
    return "Take it away; notes may stand on the sheet `read me`."


def absent_sheets(there: Iterable[str], data: dict[str, Any]) -> tuple[str, ...]:
    """Sheets that are not there, in their order, and whose keys are written nowhere else."""
    absent = [s.name for s in EVERY if s.name not in set(there)]
    if not absent:
        return ()
    rows = Parts(data).rows
    return tuple(name for name in absent
                 if name == OTHER.name or not any(map(_holds, rows[name])))


def _holds(row: dict[str, Any]) -> bool:
    return any(value is not None for head, value in row.items() if head not in ("key", "unit"))


def absent_words(absent: Iterable[str]) -> list[str]:
    """What follows for the scenario, a sentence a sheet, and what to do if that is not meant."""
    said = [f"The form has no sheet `{name}`, so {WITHOUT[name]}." for name in absent]
    return said + ["If that is not meant, take the sheet from a new form (`pva form SCENARIO`)."
                   ] * bool(said)

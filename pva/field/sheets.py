"""The crew's field sheets: which columns each has, and what may be written in them.

Every heading is a name that the reader takes as it is, so that a sheet that was filled in is read
without any words about its columns. Exact positions have no column: sheets travel.
"""

from __future__ import annotations

from dataclasses import dataclass

from pva.field.study import STATUS, Study
from pva.field.words import COLUMN_WORDS, KIND_WORDS

TEXT, DAY, NUMBER, WHOLE = "text", "day", "number", "whole number"
DAY_WORDS = "Every day as year-month-day, such as 2027-07-31."
CAUTIONS = (
    "Permits first: handling, collecting and releasing protected mussels and their host fish need "
    "them. Never work alone; plan for cold, flow, depth and rescue. Clean, dry and disinfect gear "
    "between waters. Names of sites only: no exact places on sheets that travel. Local codes and "
    "licensed practice decide."
)


@dataclass(frozen=True)
class SheetColumn:
    """One column of a field sheet.

    Parameters
    ----------
    name : str
        Heading, as the reader takes it.
    words : str
        What is written there, with its unit.
    kind : {'text', 'day', 'number', 'whole number'}
    choices : tuple of str
        Words to choose from; empty = anything.
    strict : bool
        Whether other words than the choices are refused.
    least : float or None
        Smallest number that can be meant.
    """

    name: str
    words: str
    kind: str = TEXT
    choices: tuple[str, ...] = ()
    strict: bool = False
    least: float | None = None

    @property
    def width(self) -> int:
        """Characters that fit."""
        return _WIDTHS.get(self.name, max(len(self.name) + 2, 9))


@dataclass(frozen=True)
class FieldSheet:
    """One sheet: `kind` is what study.yaml says with ``is``."""

    kind: str
    title: str
    advice: str
    columns: tuple[SheetColumn, ...]

    @property
    def lines(self) -> tuple[str, str, str]:
        """What stands above the headings: title, advice, cautions."""
        words = _KIND_WORDS.get(self.kind, KIND_WORDS[self.kind])
        return f"{self.title}: {words}", f"{self.advice} {DAY_WORDS}", CAUTIONS


_WIDTHS = {"tag": 20, "species": 20, "site": 18, "remarks": 26, "date": 12, "first_date": 12,
           "last_date": 12, "host": 18, "unit": 13, "batch_mark": 13, "second_mark": 13,
           "method": 14, "source": 13, "batch": 12, "survey": 10, "visit": 12}
_KINDS = {"date": DAY, "first_date": DAY, "last_date": DAY, "age": NUMBER, "length_mm": NUMBER,
          "number": WHOLE, "area_m2": NUMBER, "effort_hours": NUMBER, "passes": WHOLE,
          "pass": WHOLE, "depth_cm": NUMBER, "sieve_mm": NUMBER, "count": WHOLE, "effort": NUMBER,
          "glochidia_per_fish": NUMBER, "animals_found": WHOLE}
_OWN_WORDS = {
    "remarks": "Anything else.",
    "batch_mark": "Name of the mark, or `present`, `absent`, `not checked`.",
    "date": "Year-month-day.",
    "tag": "15 digits, all of them, or your own kind of mark.",
    "second_mark": "Second mark of the same animal.",
    "species": "As named in the study.",
    "site": "As named in the study.",
    "status": "`alive`, `heard` (nobody saw the animal), `shell`, or `removed` (taken alive).",
    "excavated": "`yes` if dug, `no` if only looked over.",
    ("releases", "number"): "Animals in a batch without tags; blank for a tagged one.",
    ("visits", "area_m2"): "Area searched, m2.",
    ("units", "area_m2"): "Area of the unit, m2.",
    ("hosts", "pass"): "Pass of a removal fishing: 1, 2, 3.",
    ("hosts", "count"): "Fish counted; 0 where none.",
    ("animals", "number"): "Animals in the row; several of one size class may share it.",
    ("animals", "survey"): "Name of the survey, as on the sheet of units.",
}
_COLUMNS = {
    "releases": ("site", "date", "species", "tag", "second_mark", "stage", "age", "length_mm",
                 "source", "batch", "batch_mark", "number", "remarks"),
    "visits": ("visit", "site", "first_date", "last_date", "method", "area_m2", "effort_hours",
               "passes", "remarks"),
    "encounters": ("visit", "site", "date", "tag", "second_mark", "species", "status",
                   "length_mm", "batch_mark", "remarks"),
    "units": ("survey", "site", "date", "transect", "unit", "area_m2", "excavated", "depth_cm",
              "sieve_mm", "animals_found", "remarks"),
    "animals": ("survey", "site", "unit", "species", "length_mm", "status", "tag", "batch_mark",
                "number", "remarks"),
    "hosts": ("date", "site", "host", "pass", "count", "effort", "glochidia_per_fish", "remarks"),
}
_KIND_WORDS = {"visits": "When each site was searched, how, and with how much effort."}
_TITLES = {
    "releases": ("Release sheet", "One row an animal; animals without a tag: one row a batch, with "
                                  "their number. Copy tags from the reader, never by ear."),
    "visits": ("Visit sheet", "One row for each site and visit, also where nothing was found."),
    "encounters": ("Encounter sheet", "One row an animal met. A tag that was only heard is "
                                      "`heard`, not `alive`: it may sit in a dead shell. Shells "
                                      "smaller than last time: measure again, then write what "
                                      "you read."),
    "units": ("Unit sheet", "One row for EVERY unit dug, blank ones too: no density without them."),
    "animals": ("Animal sheet", "One row an animal found in a unit; its unit must be on the unit "
                                "sheet. Look for marks on every shell; write `not checked` where "
                                "nobody looked."),
    "hosts": ("Host sheet", "One row for each kind of fish, site, day and pass, also where the "
                            "count is 0."),
}
KINDS_OF_SHEETS = tuple(_COLUMNS)
HEADING_ROW = 4  # below title, advice and cautions


def field_sheets(study: Study | None = None) -> tuple[FieldSheet, ...]:
    """The six sheets, with the sites, species and stages of a study to choose from.

    Parameters
    ----------
    study : Study or None

    Returns
    -------
    tuple of FieldSheet
    """
    return tuple(
        FieldSheet(kind, *_TITLES[kind], tuple(_column(kind, name, study) for name in names))
        for kind, names in _COLUMNS.items())


def _column(kind: str, name: str, study: Study | None) -> SheetColumn:
    words = _OWN_WORDS.get((kind, name)) or _OWN_WORDS.get(name) or COLUMN_WORDS[name]
    number = _KINDS.get(name, TEXT)
    least = {NUMBER: 0.0, WHOLE: 0.0}.get(number)
    if name in ("status", "excavated"):
        choices = STATUS if name == "status" else ("yes", "no")
        return SheetColumn(name, words, choices=choices, strict=True)
    return SheetColumn(name, words, number, _choices(name, study), least=least)


def _choices(name: str, study: Study | None) -> tuple[str, ...]:
    """Names of the study; a few words of batch marks."""
    if name == "batch_mark":
        return ("present", "absent", "not checked")
    if study is None:
        return ()
    named = {"site": [s.name for s in study.sites], "species": study.species,
             "stage": [s.name for s in study.spec.stages]}
    return tuple(named.get(name, ()))

"""Field records as Darwin Core tables: events, occurrences, measurements.

What was chosen, and why:

- A unit that was dug and in which no animal of a species was found holds an absence
  (`occurrenceStatus` absent, `individualCount` 0) of that species: blank quadrats decide density.
  No absence where only the surface was looked at, where the animals of the survey were not entered,
  where a row of an animal that may belong there was set aside, or beside an animal whose species
  nobody named.
- A tag that was only heard is `vitality` uncertain, machine observation, without a count: readers
  hear tags on dead shells. It says that the tag was there, never that a living animal was.
- A shell is `vitality` dead, without a count. A unit that holds only shells of a species has no
  living animal; it carries the shells and, as a measurement of the unit, 0 living animals, but no
  absence beside them.
- `individualCount` counts living animals that were seen, so that its sum is never too large.
- Several lengths of one animal on one day are one occurrence with several measurements.
"""

from __future__ import annotations

import hashlib
from collections.abc import Iterator, Mapping
from dataclasses import dataclass

import pandas as pd

from pva.errors import CannotCompute, Problem
from pva.field.records import ALIVE, HEARD, REMOVED, SHELL, FieldRecords
from pva.field.study import Study
from pva.report.exports.blanks import Blanks, blanks_of
from pva.report.exports.darwin_events import (
    DATUM,
    Events,
    add_surveys,
    add_visits,
    day_id,
    unit_id,
)
from pva.report.exports.places import Disclosure, site_places
from pva.report.exports.told_names import told_records

UNKNOWN = ("Unionida", "order")  # a freshwater mussel nobody named further
VITALITY = {ALIVE: "alive", REMOVED: "alive", HEARD: "uncertain", SHELL: "dead"}
REMARKS = {
    HEARD: "A tag was heard by a reader and no animal was seen; it may be on a dead shell. No "
           "record of a living animal.",
    SHELL: "Shell of a dead animal.",
    REMOVED: "Seen alive and taken.",
}


@dataclass(frozen=True)
class DarwinCore:
    """Rows of the three tables, keyed by term."""

    events: list[dict]
    occurrences: list[dict]
    measurements: list[dict]
    unplaced: int = 0  # animals set aside that may belong to any unit


def darwin_core(study: Study, records: FieldRecords, *, disclosed: Disclosure) -> DarwinCore:
    """The three tables of a study.

    Raises
    ------
    CannotCompute
        The records hold neither units nor visits.
    """
    events = Events(site_places(study, records, disclosed=disclosed), disclosed)
    blanks = blanks_of(records)
    records = told_records(study, records, disclosed=disclosed)
    add_surveys(events, records)
    add_visits(events, records)
    if not events.rows:
        raise CannotCompute(Problem("the study holds neither units nor visits",
                                    "Add tables of units or encounters under `tables`.",
                                    why="Every record of Darwin Core belongs to a survey or a "
                                        "visit", file=str(study.path), code="export-nothing"))
    found = _Found(study, disclosed)
    found.units(events, records, blanks)
    found.encounters(events, records)
    return DarwinCore(list(events.rows.values()), found.occurrences, found.measurements,
                      blanks.unplaced)


def organism_code(animal: str) -> str:
    """A code for an animal that is always the same and is not its tag."""
    return "animal:" + hashlib.sha256(animal.encode("utf-8")).hexdigest()[:16]


class _Found:
    """Occurrences and measurements while they are collected."""

    def __init__(self, study: Study, disclosed: Disclosure):
        self.species, self.exact = list(study.species), disclosed.exact_places
        self.occurrences: list[dict] = []
        self.measurements: list[dict] = []
        self._times: dict[str, int] = {}

    def units(self, events: Events, records: FieldRecords, blanks: Blanks) -> None:
        """Animals found in units, and what was not found."""
        inside = {key: rows for key, rows in records.animals.groupby(["survey", "site", "unit"])} \
            if len(records.animals) else {}
        for one in records.units.itertuples():
            key = unit_id(events.site(one.site), one.survey, one.unit)
            rows = inside.get((one.survey, one.site, one.unit))
            present = set(self._unit_rows(key, rows)) if rows is not None else set()
            if one.Index in blanks.counted:
                self._not_found(key, rows, present, dug=one.Index in blanks.absent)

    def _unit_rows(self, event: str, rows: pd.DataFrame) -> Iterator[str]:
        for row in rows.itertuples():
            number = int(row.number) if "number" in rows else 1
            if number == 0:
                continue
            key = self._occurrence(event, self._next(event), row.species, row.status, number,
                                   animal=getattr(row, "tag", None))
            self._measure(event, key, row)
            yield self._name(row.species)[0]

    def _not_found(self, event: str, rows: pd.DataFrame | None, present: set[str], *, dug: bool
                   ) -> None:
        """Absences where the unit was dug, and how many lived there of each species."""
        species_of = self.species or [UNKNOWN[0]]
        if UNKNOWN[0] in present and species_of != [UNKNOWN[0]]:
            return  # an animal nobody named further may be any of them
        for species in species_of:
            if dug and species not in present:
                name, rank = self._name(species)
                key = f"{event}:absent:{_slug(name)}"
                self.occurrences.append(self._row(event, key, name, rank) | {
                    "occurrenceStatus": "absent", "individualCount": 0})
            alive = 0
            if rows is not None:
                here = (rows["species"].map(lambda s: self._name(s)[0]) == species) & (
                    rows["status"].isin([ALIVE, REMOVED]))
                alive = int(rows.loc[here, "number"].sum()) if "number" in rows else int(here.sum())
            self._fact(event, "", "living animals found", alive, "animals", species)

    def encounters(self, events: Events, records: FieldRecords) -> None:
        """Meetings at visits; rows of one animal on one day and in one state are one."""
        done: dict[tuple, str] = {}
        for row in records.encounters.itertuples():
            event = day_id(events.site(row.site), row.visit, row.date)
            same = (event, row.animal, row.status)
            key = done.get(same) if row.animal else None
            if key is None:
                number = self._next(event) if not row.animal else \
                    f"{organism_code(row.animal)}:{row.status}"
                key = self._occurrence(event, number, row.species, row.status, 1,
                                       animal=row.animal, place=(row.latitude, row.longitude))
                done[same] = key
                self._marks(event, key, row)
            self._length(event, key, row.length_mm)

    def _next(self, event: str) -> str:
        self._times[event] = self._times.get(event, 0) + 1
        return f"unmarked:{self._times[event]}"

    def _occurrence(self, event, number, species, status, count, *, animal=None, place=None) -> str:
        key = f"{event}:{number}"
        seen = status in (ALIVE, REMOVED)
        row = self._row(event, key, *self._name(species)) | {
            "basisOfRecord": "MachineObservation" if status == HEARD else "HumanObservation",
            "occurrenceStatus": "present", "individualCount": count if seen else None,
            "organismID": organism_code(animal) if animal else None,
            "vitality": VITALITY.get(status), "occurrenceRemarks": REMARKS.get(status, "")}
        if self.exact and place is not None and not any(map(pd.isna, place)):
            row |= {"decimalLatitude": float(place[0]), "decimalLongitude": float(place[1]),
                    "geodeticDatum": DATUM}
        self.occurrences.append(row)
        return key

    def _name(self, species) -> tuple[str, str | None]:
        if species and not pd.isna(species):
            return str(species), "species"
        return (self.species[0], "species") if len(self.species) == 1 else UNKNOWN

    @staticmethod
    def _row(event, key, name, rank) -> dict:
        return {"eventID": event, "occurrenceID": key, "basisOfRecord": "HumanObservation",
                "scientificName": name, "taxonRank": rank, "kingdom": "Animalia"}

    def _measure(self, event: str, key: str, row) -> None:
        self._length(event, key, row.length_mm)
        self._marks(event, key, row)

    def _length(self, event: str, key: str, length) -> None:
        if not pd.isna(length):
            self._fact(event, key, "shell length", float(length), "mm")

    def _marks(self, event: str, key: str, row) -> None:
        if row.batch_mark and not pd.isna(row.batch_mark):
            self._fact(event, key, "batch mark", row.batch_mark, "")
        if getattr(row, "second_mark", None) and not pd.isna(row.second_mark):
            self._fact(event, key, "second mark read", "yes", "")

    def _fact(self, event, occurrence, kind, value, unit, remarks="") -> None:
        on = f"{occurrence or event}:{_slug(kind)}" + (f":{_slug(remarks)}" if remarks else "")
        self._times[on] = self._times.get(on, 0) + 1
        self.measurements.append({
            "eventID": event, "measurementID": f"{on}:{self._times[on]}",
            "occurrenceID": occurrence, "measurementType": kind, "measurementValue": value,
            "measurementUnit": unit, "measurementRemarks": remarks})


def _slug(words: str) -> str:
    return words.casefold().replace(" ", "-")


def tables_of(found: DarwinCore, *, disclosed: Disclosure) -> Mapping[str, tuple]:
    """Columns and rows of every file, by file name."""
    from pva.report.exports.darwin_terms import (
        EVENT_TERMS,
        EXACT_TERMS,
        FILES,
        MEASUREMENT_TERMS,
        OCCURRENCE_TERMS,
    )

    occurrence = OCCURRENCE_TERMS + (EXACT_TERMS if disclosed.exact_places else ())
    return {name: (terms, [[row.get(term) for term in terms] for row in rows])
            for name, terms, rows in zip(FILES, (EVENT_TERMS, occurrence, MEASUREMENT_TERMS),
                                         (found.events, found.occurrences, found.measurements),
                                         strict=True)}

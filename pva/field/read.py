"""All field tables of a study, in the order in which they need each other."""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np
import pandas as pd

from pva.errors import DataError
from pva.field.account import RowLedger
from pva.field.cells import TableReader, counted
from pva.field.chatter import set_aside_no_records
from pva.field.columns import text_columns
from pva.field.corrections import Corrections, check_decisions, read_decisions
from pva.field.encounters import finish_encounters, read_encounters
from pva.field.future import check_after_visits, clock_notes, drop_visits_to_come
from pva.field.identity import (
    Identity,
    before_release,
    check_order,
    check_sites,
    check_species,
    collapse,
)
from pva.field.lengths import check_lengths
from pva.field.opening import open_table
from pva.field.quadrats import (
    compare_counts,
    listed_once,
    no_animals_note,
    no_units_note,
    place_in_units,
    read_animals,
    read_hosts,
    read_units,
)
from pva.field.records import COLUMNS, FieldRecords
from pva.field.releases import (
    KnownAnimals,
    known_animals,
    no_releases,
    read_releases,
    refused_tags,
)
from pva.field.reuse import Reuse
from pva.field.spec import MARKED_AT_FIRST_CAPTURE, TableFile
from pva.field.study import Study
from pva.field.twins import twin_notes
from pva.field.visits import (
    lone_visits,
    place_in_visits,
    read_visits,
    refused_visits,
    visits_of_days,
)

DATES = {"releases": ["date"], "visits": ["first_date", "last_date"], "encounters": ["date"],
         "units": ["date"], "animals": ["date"], "hosts": ["date"]}
NUMBERS = ["length_mm", "latitude", "longitude", "area_m2", "depth_cm", "sieve_mm", "age", "count",
           "effort", "effort_hours", "passes", "pass", "glochidia_per_fish", "animals_found"]


def read_records(study: Study) -> FieldRecords:
    """Read, check and join every field table of a study; nothing is written.

    Parameters
    ----------
    study : Study
        As `read_study` gives it.

    Returns
    -------
    FieldRecords
        Clean tables and the account of every row. Animals marked at first capture stand both in
        `releases` (source ``first capture``) and, as seen that day, in `encounters`.

    Raises
    ------
    DataError
        A table cannot be read at all, dates can be read in two ways throughout a file, or
        corrections and decisions name rows that do not exist. Faults of single rows never raise:
        they are in the account.
    """
    reading = _Reading(study)
    reading.open_tables()
    reading.ask_for_orders()
    releases, known = reading.releases()
    visits, encounters = reading.encounters(releases, known)
    identity = Identity(reading.ledger, known,
                        at_first_capture=study.spec.new_animals == MARKED_AT_FIRST_CAPTURE)
    encounters, firsts = identity.join(encounters)
    releases = _stacked([releases, firsts], "releases")
    if study.spec.new_animals != MARKED_AT_FIRST_CAPTURE:
        reading.reuse.check_used(set(known.animal_of))
    encounters = check_order(encounters, releases, reading.ledger)
    encounters, releases, notes = check_species(
        encounters, releases, reading.ledger, asked=reading.species_asked())
    check_sites(encounters, releases, reading.ledger)
    releases, encounters = check_lengths(releases, encounters, reading.ledger, study.spec.lengths)
    encounters = collapse(encounters).drop(columns="when")
    units, animals = reading.units_and_animals()
    hosts = _stacked(_together(read_hosts, reading.of_kind("hosts")), "hosts")
    visits = drop_visits_to_come(visits, encounters, reading.ledger)
    check_after_visits([releases, encounters], visits, reading.ledger)
    releases, encounters = map(reading.reuse.as_read, (releases, encounters))
    tables = {"releases": releases, "visits": visits, "encounters": encounters, "units": units,
              "animals": animals, "hosts": hosts}
    flagged = {name: _with_flags(frame, name, reading.ledger) for name, frame in tables.items()}
    return FieldRecords(**flagged, account=reading.ledger.account(),
                        notes=reading.all_notes(encounters) + identity.notes + notes
                        + twin_notes(releases, known.about))


@dataclass
class _Reading:
    """Readers of the study's tables while they are judged."""

    study: Study
    ledger: RowLedger = field(default_factory=RowLedger)
    readers: list[TableReader] = field(default_factory=list)
    notes: list[str] = field(default_factory=list)
    reuse: Reuse = field(init=False)

    def __post_init__(self) -> None:
        self.reuse = Reuse(self.study)

    def open_tables(self) -> None:
        """Read every table into text under its trade names; all unreadable files together."""
        study, problems = self.study, []
        self.ledger = RowLedger(read_decisions(study))
        corrections = Corrections(study)
        tables: list[tuple[str, TableFile]] = [(t.kind, t) for t in study.spec.tables]
        if study.spec.visits is not None and study.spec.visits.table is not None:
            tables.append(("visits", study.spec.visits.table))
        for kind, spec in tables:
            try:
                self.readers.append(self._open(kind, spec, corrections))
            except DataError as error:
                problems += error.problems
        if problems:
            raise DataError(problems)
        corrections.check_all_used()
        labels: dict[str, set[int]] = {}
        for reader in self.readers:
            labels.setdefault(reader.table.label, set()).update(reader.table.raw.numbers)
        check_decisions(self.ledger.decisions, labels, study.spec.accepted)

    def ask_for_orders(self) -> None:
        """Ask all tables at once whose dates can be read in two ways, each by its first column."""
        def ask(reader: TableReader) -> None:
            kind = "encounters" if reader.table.kind == "reader log" else reader.table.kind
            for target in DATES[kind]:
                if target in reader.frame:
                    reader.ask_for_order(target)
        _together(ask, self.readers)

    def _open(self, kind: str, spec: TableFile, corrections: Corrections) -> TableReader:
        raw = open_table(self.study, kind, spec)
        self.notes += [f"{spec.label}: {note}." for note in raw.notes]
        raw = corrections.apply(spec.label, raw)
        table = self.ledger.add(spec.label, kind, raw)
        frame = text_columns(table, spec)
        set_aside_no_records(self.ledger, table, frame)
        if spec.add_days:
            self.notes.append(f"{spec.label}: {spec.add_days} days were added to every date, as "
                              "the study says.")
        return TableReader(self.study, self.ledger, table, spec, frame, self.notes)

    def of_kind(self, *kinds: str) -> list[TableReader]:
        """Readers of the tables of these kinds, in the order of the study."""
        return [r for r in self.readers if r.table.kind in kinds]

    def releases(self) -> tuple[pd.DataFrame, KnownAnimals]:
        """Animals released, and their marks."""
        readers = self.of_kind("releases")
        tables = _together(lambda reader: read_releases(reader, self.reuse), readers)
        refused = {tag: row for reader in readers for tag, row in refused_tags(reader).items()}
        return known_animals(tables, refused, self.ledger)

    def encounters(self, releases: pd.DataFrame, known: KnownAnimals
                   ) -> tuple[pd.DataFrame, pd.DataFrame]:
        """Visits, and encounters placed in them in the order of time."""
        readers = self.of_kind("encounters", "reader log")
        made = _together(lambda reader: read_encounters(reader, known.about), readers)
        for one in made:
            one["tag"] = self.reuse.animals(one["tag"], one["date"], one["status"])
            # a clock that ran wrong must not make a visit of its own
            seen = pd.DataFrame({"animal": one["tag"].map(known.animal_of).astype(object),
                                 "when": one["date"]})
            before_release(self.ledger.kept(seen), releases, self.ledger)
        visits = self._visits(readers, made)
        refused = {key: at for one in self.of_kind("visits")
                   for key, at in refused_visits(one).items()}
        tables = []
        for reader, columns in zip(readers, made, strict=True):
            place_in_visits(reader, columns, visits, refused)
            tables.append(finish_encounters(reader, columns))
        encounters = _stacked(tables, "encounters", "event", "effort_hours", "pass")
        last = visits.drop_duplicates(["visit", "site"]).set_index(["visit", "site"])["last_date"]
        keys = pd.MultiIndex.from_frame(encounters[["visit", "site"]])
        ends = pd.Series(last.reindex(keys).to_numpy(), index=encounters.index)
        when = encounters["date"].where(encounters["date"].notna(), ends)
        tag = self.reuse.animals(encounters["tag"], when, encounters["status"])
        return visits, encounters.assign(when=when, tag=tag).sort_values("when", kind="stable")

    def _visits(self, readers: list[TableReader], made: list[dict]) -> pd.DataFrame:
        listed = _together(read_visits, self.of_kind("visits"))
        visits = self.study.spec.visits
        if listed or visits is None or visits.made_of_days is None:
            return _stacked(listed, "visits")
        seen = [self.ledger.kept(pd.DataFrame({k: m[k] for k in ("site", "date", "effort_hours")}))
                for m in made]
        days = pd.concat(seen) if seen else \
            pd.DataFrame({"site": [], "date": pd.to_datetime([]), "effort_hours": []})
        self.notes.append("Visits were made of the days on which something was recorded; a day on "
                          "which nothing was found leaves no trace.")
        self.notes += lone_visits(days, visits.made_of_days, self.ledger)
        return _stacked([visits_of_days(days, visits.made_of_days)], "visits")

    def units_and_animals(self) -> tuple[pd.DataFrame, pd.DataFrame]:
        """Units dug, each once, and the animals found in them."""
        units = _stacked(_together(read_units, self.of_kind("units")), "units")
        units = listed_once(units, self.ledger)
        animals = _stacked(_together(read_animals, self.of_kind("animals")), "animals")
        if not self.of_kind("animals"):
            self.notes += no_animals_note(self.of_kind("units"))
        if not self.of_kind("units"):
            self.notes += no_units_note(self.of_kind("animals"))
        animals = place_in_units(animals, units, self.ledger)
        if self.of_kind("animals"):
            compare_counts(units, animals, self.ledger)
        _, animals = check_lengths(no_releases(), animals.assign(animal=None, when=pd.NaT),
                                   self.ledger, self.study.spec.lengths)
        return units, animals.drop(columns=["animal", "when"])

    def species_asked(self) -> bool:
        """True when some table of encounters has a column for species."""
        return any(r.present("species") for r in self.of_kind("encounters", "reader log"))

    def all_notes(self, encounters: pd.DataFrame) -> list[str]:
        """Notes of the reading, and how many rows stand for repeated reads."""
        notes = list(self.notes)
        collapsed = int((encounters["reads"] - 1).sum())
        if collapsed:
            notes.append(f"{counted(collapsed, 'repeated record')} of an animal in one visit, "
                         "joined with the first; counted as used or flagged.")
        tests = sum(code == "tag-test" for code, *_ in self.ledger.aside.values())
        if tests:
            notes.append(f"{counted(tests, 'read')} of test tags, counted apart.")
        return notes + clock_notes(self.ledger)


def _together(read, readers: list[TableReader]) -> list:
    """Apply `read` to every table and raise the problems of all of them at once."""
    results, problems = [], []
    for reader in readers:
        try:
            results.append(read(reader))
        except DataError as error:
            problems += error.problems
    if problems:
        raise DataError(problems)
    return results


def _stacked(tables: list[pd.DataFrame], kind: str, *more: str) -> pd.DataFrame:
    """Tables of one kind under each other, with every column of the contract and its type."""
    tables = [table for table in tables if len(table)]
    frame = pd.concat(tables) if tables else pd.DataFrame()
    extra = [c for c in frame if c not in COLUMNS[kind] and c not in ("file", "row")]
    extra += [c for c in more if c not in extra]
    frame = frame.reindex(columns=[*COLUMNS[kind], "file", "row", *extra])
    for name in frame:
        if name in DATES[kind]:
            frame[name] = pd.to_datetime(frame[name]).astype("datetime64[ns]")
        elif name in NUMBERS:
            frame[name] = frame[name].astype(float)
        elif name == "number":
            frame[name] = frame[name].astype(int)
        elif name != "row":
            column = frame[name].astype(object)
            frame[name] = column.where(column.notna(), None)
    return frame


def _with_flags(frame: pd.DataFrame, kind: str, ledger: RowLedger) -> pd.DataFrame:
    """Add the reason codes of flagged rows behind `row`, and number the rows anew."""
    of_rows = frame["row"].notna()
    flags = np.array([""] * len(frame), dtype=object)
    flags[of_rows.to_numpy()] = ledger.flag_words(frame.index[of_rows])
    frame = frame.copy()
    frame.insert(len(COLUMNS[kind]) + 2, "flags", flags)
    return frame.reset_index(drop=True)

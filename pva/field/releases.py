"""Releases: which animal was put where and when, and which tags belong to it."""

from __future__ import annotations

from dataclasses import dataclass, field

import pandas as pd

from pva.field.account import RowLedger
from pva.field.batch_marks import batch_marks
from pva.field.cells import NO_TAG, TableReader, level
from pva.field.records import COLUMNS
from pva.field.reuse import Reuse
from pva.field.tags import ISO, read_tag


@dataclass
class KnownAnimals:
    """Animals by their marks, with what their release says.

    Parameters
    ----------
    animal_of : dict
        Canonical tag to the name of the animal.
    second_of : dict
        Second mark, where it is on one animal only, to the name of that animal.
    release_row : dict
        Animal to the ledger row of its release.
    about : dict
        Tag to words for messages, such as "Quillstone Riffle, 54 mm".
    refused : dict
        Tags whose release row was set aside, to that row.
    """

    animal_of: dict[str, str] = field(default_factory=dict)
    second_of: dict[str, str] = field(default_factory=dict)
    release_row: dict[str, int] = field(default_factory=dict)
    about: dict[str, str] = field(default_factory=dict)
    refused: dict[str, int] = field(default_factory=dict)


def read_releases(reader: TableReader, reuse: Reuse) -> pd.DataFrame:
    """One release table, typed; rows that cannot be used are set aside in the ledger."""
    made = {
        "tag": reader.tags(),
        "species": reader.species(),
        "site": reader.sites(),
        "date": reader.dates(),
        "age": reader.numbers("age", least=0),
        "length_mm": reader.lengths(),
        "number": reader.numbers("number", needed=reader.present("number"), blank=True, above=0),
        "second_mark": marks(reader),
        "batch_mark": batch_marks(reader),
    }
    _ask_for_numbers(reader, made["tag"])
    several = made["tag"].notna() & (made["number"] > 1)
    for row in reader.rows(several):
        reader.ledger.set_aside("tag-for-several", row, "number")
    made["number"] = made["number"].fillna(1).astype(int)
    made["tag"] = reuse.animals(made["tag"], made["date"])
    made["animal"] = made["tag"]
    return reader.finish(made, COLUMNS["releases"])


def _ask_for_numbers(reader: TableReader, tag: pd.Series) -> None:
    """One tag is one animal; a batch without tags must say how many it holds."""
    if reader.present("number"):
        for row in reader.rows((reader.frame["number"] == "") & tag.isna()):
            reader.ledger.set_aside("number-missing", row, "number")


def marks(reader: TableReader, target: str = "second_mark") -> pd.Series:
    """Marks in the same canonical form as tags; a mark that is no tag stays as written."""
    text = reader.text(target)
    text = text.where(~text.map({t: level(t) in NO_TAG for t in pd.unique(text.dropna())}).eq(True),
                      None)
    read = {t: read_tag(t) for t in pd.unique(text.dropna())}
    found = text.map({t: t if tag.fault else tag.name for t, tag in read.items()}).astype(object)
    return found.where(text.notna(), None)


def refused_tags(reader: TableReader) -> dict[str, int]:
    """Tags of the release rows set aside so far, for telling readers why a tag is unknown."""
    refused = {}
    for row in reader.frame.index[reader.frame.index.isin(list(reader.ledger.aside))]:
        written = reader.frame.at[row, "tag"]
        if written:
            refused[read_tag(written).name] = row
    return refused


def known_animals(tables: list[pd.DataFrame], refused: dict[str, int], ledger: RowLedger
                  ) -> tuple[pd.DataFrame, KnownAnimals]:
    """Join the release tables; a tag released twice stays with its first release.

    Returns
    -------
    releases : DataFrame
        All rows kept, in the order of date.
    known : KnownAnimals
    """
    releases = pd.concat(tables) if tables else no_releases()
    releases = releases.sort_values("date", kind="stable")
    known = KnownAnimals(refused=dict(refused))
    for row in releases.itertuples():
        if row.tag is None:
            continue
        if row.tag in known.animal_of:
            ledger.set_aside("tag-released-twice", row.Index, "tag", other=known.about[row.tag],
                             **ledger.where(known.release_row[row.tag]))
            continue
        known.animal_of[row.tag] = row.tag
        known.release_row[row.tag] = row.Index
        known.about[row.tag] = about(row.site, row.species, row.length_mm)
        known.refused.pop(row.tag, None)
    _second_marks(ledger.kept(releases), known, ledger)
    return ledger.kept(releases), known


def _second_marks(releases: pd.DataFrame, known: KnownAnimals, ledger: RowLedger) -> None:
    marked = releases[releases["second_mark"].notna() & releases["tag"].notna()]
    first: dict[str, object] = {}
    shared = set()
    for row in marked.itertuples():
        mark = row.second_mark
        if mark == row.tag:
            continue
        other = known.animal_of.get(mark)
        if other is None and mark in first:
            shared.add(mark)
            other = first[mark].tag if read_tag(mark).kind == ISO else None
        if other is not None and other != row.tag:
            ledger.set_aside("tag-on-two-animals", row.Index, "second_mark",
                             **ledger.where(known.release_row[other]))
            known.refused[row.tag] = known.release_row.pop(row.tag)
            known.animal_of.pop(row.tag)
            known.about.pop(row.tag)
            continue
        first.setdefault(mark, row)
    known.second_of = {mark: row.tag for mark, row in first.items() if mark not in shared
                       and row.tag in known.animal_of}


def about(site: str | None, species: str | None, length_mm: float) -> str:
    """An animal in a few words, for messages that name its tag."""
    parts = [site or "site not said", species or "species not said"]
    if length_mm == length_mm:
        parts.append(f"{length_mm:g} mm")
    return ", ".join(parts)


def no_releases() -> pd.DataFrame:
    """An empty table of releases with its types."""
    empty = pd.DataFrame(columns=[*COLUMNS["releases"], "file", "row"], dtype=object)
    return empty.astype({"date": "datetime64[ns]", "length_mm": float, "number": int,
                         "age": float})

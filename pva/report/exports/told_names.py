"""Names given by the crew (surveys, visits, units, transects, marks) that tell a place.

Sites are numbered in an export, and that helps nobody if a survey is called after the riffle or a
unit after its position. Such names become numbers, in an order that tells nothing.
"""

from __future__ import annotations

import hashlib
import re
from collections.abc import Iterator
from dataclasses import replace

import pandas as pd

from pva.field.records import FieldRecords
from pva.field.secrecy import without_places
from pva.field.study import Study
from pva.report.exports.places import Disclosure

NAMED = {"units": ("survey", "transect", "unit"), "animals": ("survey", "unit", "batch_mark"),
         "visits": ("visit", "method"), "encounters": ("visit", "batch_mark")}
_SHORTEST = 4  # letters of a word of a site's name that is looked for
_COMMON = frozenset("""above bank bend below bridge center centre control creek donor down
    downstream east island left lower middle north pool reach riffle right river shoal side site
    south station stream upper upstream west""".split())  # words of many sites tell none of them
# metres of a map grid, two numbers side by side
_METRES = re.compile(r"(?<!\d)\d{6,7}(?:\.\d+)?\D{1,4}\d{6,7}(?!\d)")


def told_records(study: Study, records: FieldRecords, *, disclosed: Disclosure) -> FieldRecords:
    """Records with names that tell a place replaced, as far as places may not be told."""
    sites = set() if disclosed.site_names else {
        word for name in _sites(study, records) for word in (*_words(name), _plain(name))
        if len(word) >= _SHORTEST and word not in _COMMON}
    texts = {str(v) for table, columns in NAMED.items() for column in columns
             for v in _column(getattr(records, table), column).dropna().unique()}
    hidden = sorted((t for t in texts if _tells(t, sites, disclosed)),
                    key=lambda t: hashlib.sha256(t.encode("utf-8")).hexdigest())
    if not hidden:
        return records
    names = {text: f"withheld-{number}" for number, text in enumerate(hidden, 1)}
    return replace(records, **{table: _renamed(getattr(records, table), columns, names)
                               for table, columns in NAMED.items()})


def _sites(study: Study, records: FieldRecords) -> Iterator[str]:
    yield from (site.name for site in study.sites)
    for table in (records.visits, records.encounters, records.units):
        yield from table["site"].dropna().unique()


def _tells(text: str, sites: set[str], disclosed: Disclosure) -> bool:
    plain = _plain(text)
    if any(site in plain for site in sites):
        return True
    return not disclosed.exact_places and (
        without_places(text) != text or _METRES.search(text) is not None)


def _words(text: object) -> list[str]:
    return re.findall(r"[^\W_]+", str(text).casefold())


def _plain(text: object) -> str:
    return "".join(_words(text))


def _column(frame: pd.DataFrame, name: str) -> pd.Series:
    return frame[name] if name in frame else pd.Series(dtype=object)


def _renamed(frame: pd.DataFrame, columns: tuple[str, ...], names: dict[str, str]) -> pd.DataFrame:
    return frame.assign(**{c: [names.get(str(v), v) for v in frame[c]]
                           for c in columns if c in frame})

"""Which rows of which field tables stand behind each estimate, so that a number can be traced.

For rates of marked animals these are all rows of the animals that the number rests on, and the
visits to their sites; for densities the units that count and the animals found in them. Repeated
reads of an animal in one visit were joined; the row that was kept stands for them.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from pathlib import Path

import pandas as pd

from pva.estimate.run import StudyEstimates
from pva.estimate.species import SpeciesResult
from pva.estimate.to_estimates import steps_behind
from pva.files import frame_text, write_text_atomic
from pva.files.number_runs import as_runs

ROWS_USED = "rows_used.csv"
COLUMNS = ["key", "model", "file", "is", "in", "set_aside", "used", "flagged", "rows",
           "flagged_rows"]
_OF_ANIMALS = ("survival", "release", "bad_year", "growth", "detection", "tag_retention",
               "staying", "availability", "growth_curve")
_OF_UNITS = ("density", "abundance", "recruits_per_adult")


def rows_used(found: StudyEstimates) -> pd.DataFrame:
    """The rows behind every key of the estimates file, one line a key and table.

    Parameters
    ----------
    found : StudyEstimates
        With its records.

    Returns
    -------
    DataFrame
        `key`; `model`, in words; `file` and `is`; `in` and `set_aside`: rows of the whole table;
        `used` and `flagged`: rows behind this key; `rows` and `flagged_rows`: their numbers, as
        runs such as ``2-14 16``.
    """
    lines = []
    for key in (*found.rates, *(f"abundance/{site}" for site in found.abundance)):
        model, tables = _behind(found, key)
        lines += [(key, model, *line) for line in _lines(found, tables)]
    return pd.DataFrame(lines, columns=COLUMNS)


def write_rows_used(found: StudyEstimates, folder: Path) -> Path:
    """Write rows_used.csv beside the estimates file."""
    return write_text_atomic(Path(folder) / ROWS_USED, frame_text(rows_used(found)))


def _lines(found: StudyEstimates, tables: Iterable[pd.DataFrame]) -> Iterator[tuple]:
    """Rows by table, in the order of the account."""
    account = found.records.account.tables
    rows = [t.loc[t["row"].notna(), ["file", "row", "flags"]] for t in tables if len(t)]
    if not rows or not len(account):
        return
    every = pd.concat(rows)
    for table in account.to_dict("records"):
        own = every[every["file"].eq(table["file"])]
        if len(own):
            flagged = set(own.loc[own["flags"].fillna("") != "", "row"].astype(int))
            plain = set(own["row"].astype(int)) - flagged
            yield (table["file"], table["is"], table["in"], table["set_aside"], len(plain),
                   len(flagged), as_runs(plain), as_runs(flagged))


def _behind(found: StudyEstimates, key: str) -> tuple[str, list[pd.DataFrame]]:
    """Model in words, and the rows behind one key."""
    group, _, name = key.partition("/")
    if group == "survival" and name.startswith("marked "):
        return "bounds from a batch mark", _of_mark(found, *name[7:].split(" @ "))
    if group in _OF_ANIMALS:
        return _of_species(found, key)
    if group in _OF_UNITS:
        return _of_units(found, name)
    if group == "surface_search":
        return "units searched and then dug", [found.records.units, found.records.animals]
    if group in ("hosts", "glochidia_per_host"):
        return _of_hosts(found, group, name)
    return "", []


def _of_species(found: StudyEstimates, key: str) -> tuple[str, list[pd.DataFrame]]:
    species, result = _species_of(found, key)
    plain = key.removesuffix(f" of {species}")
    group, _, name = plain.partition("/")
    records, steps = found.records, result.following.steps
    model = result.models[0].model.name if result.models else ""
    if group == "growth_curve":
        animals = result.following.lengths["animal"]
        measured = records.encounters[records.encounters["length_mm"].notna()]
        said = "" if result.growth is None else f"one curve, {result.growth.terms.said}"
        return said, [_of(records.releases, animals), _of(measured, animals)]
    if group == "growth":
        model = f"{model}; {result.lengths.steps_from}"
    if result.models and group in ("survival", "release", "bad_year", "growth"):
        steps = steps_behind(result, plain)
    if group == "tag_retention":
        marked = records.releases[records.releases["second_mark"].notna()]
        steps = steps[steps["animal"].isin(marked["animal"])]
        model = "animals with two marks"
    visits = records.visits[records.visits["site"].isin(steps["site"].dropna().unique())]
    if group == "detection" and name in set(visits["method"].dropna()):
        visits = visits[visits["method"].eq(name)]
    animals = steps["animal"]
    return model, [_of(records.releases, animals), visits, _of(records.encounters, animals)]


def _species_of(found: StudyEstimates, key: str) -> tuple[str, SpeciesResult]:
    for species, result in found.by_species.items():
        if key.endswith(f" of {species}"):
            return species, result
    return next(iter(found.by_species.items()))


def _of(table: pd.DataFrame, animals: pd.Series) -> pd.DataFrame:
    return table[table["animal"].isin(set(animals))]


def _of_mark(found: StudyEstimates, mark: str, site: str) -> list[pd.DataFrame]:
    records = found.records
    tables = [t[t["batch_mark"].eq(mark) & t["site"].eq(site)]
              for t in (records.releases, records.encounters, records.animals)]
    return [tables[0][tables[0]["animal"].isna()], *tables[1:],
            records.visits[records.visits["site"].eq(site)],
            records.units[records.units["site"].eq(site)]]


def _of_units(found: StudyEstimates, name: str) -> tuple[str, list[pd.DataFrame]]:
    for site, survey in found.bed.newest.items():
        if name == site or name.startswith(f"{site}/"):
            return f"survey {survey.survey}, units {survey.what}", [survey.units, survey.animals]
    return "", []


def _of_hosts(found: StudyEstimates, group: str, name: str) -> tuple[str, list[pd.DataFrame]]:
    hosts = found.records.hosts
    own = hosts[[f"{h}/{s}" == name for h, s in zip(hosts["host"], hosts["site"], strict=True)]]
    if group == "glochidia_per_host":
        own = own[own["glochidia_per_fish"].notna() & (own["count"] > 0)]
        return "mean over samples", [own]
    years = [row for row in found.hosts.rows if row["name"] == f"hosts/{name}"]
    if not years:
        return "", [own]
    last = years[-1]
    return f"counts of {last['year']}, {last['interval_by']}", [
        own[pd.to_datetime(own["date"]).dt.year.eq(last["year"])]]

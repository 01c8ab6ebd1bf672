"""Units dug and animals found in them; a unit without animals is a zero, not a gap."""

from __future__ import annotations

import re

import pandas as pd

from pva.field.account import RowLedger
from pva.field.batch_marks import batch_marks
from pva.field.cells import TableReader, level
from pva.field.encounters import STATUS_WORDS
from pva.field.records import ALIVE, COLUMNS
from pva.field.releases import marks

AREA_RATIO, SAME_SHARE, ENOUGH_UNITS = 9.0, 0.9, 10
EXCAVATED_WORDS = {
    "yes": True, "y": True, "true": True, "1": True, "excavated": True, "dug": True,
    "no": False, "n": False, "false": False, "0": False, "surface": False, "surface only": False,
}


def read_units(reader: TableReader) -> pd.DataFrame:
    """One table of units, typed; the survey is the year of the date where it is not named."""
    date = reader.dates(required=not reader.present("survey"))
    survey = reader.text("survey")
    survey = survey.where(survey.notna(), date.dt.strftime("%Y")).astype(object)
    unit = reader.text("unit")
    for row in reader.rows(unit.isna()):
        reader.ledger.set_aside("unit-missing", row, "unit")
    made = {
        "survey": survey.where(survey.notna(), None), "site": reader.sites(), "date": date,
        "unit": unit,
        "area_m2": reader.numbers("area_m2", needed=True, above=0),
        "depth_cm": reader.numbers("depth_cm", least=0),
        "sieve_mm": reader.numbers("sieve_mm", above=0),
        "excavated": _excavated(reader),
    }
    if reader.present("animals_found"):
        made["animals_found"] = reader.numbers("animals_found", least=0)
    _areas(reader, made["area_m2"])
    return reader.finish(made, COLUMNS["units"])


def _areas(reader: TableReader, areas: pd.Series) -> None:
    """Flag a unit ten times larger or smaller than nearly all others, such as 25 for 0.25."""
    usual = areas.median()
    same = areas.between(usual / AREA_RATIO, usual * AREA_RATIO, inclusive="neither")
    known = int(areas.notna().sum())
    if known < ENOUGH_UNITS or same.sum() < SAME_SHARE * known:
        return
    for row in reader.rows(areas.notna() & ~same):
        reader.ledger.flag("unit-area-differs", row, "area_m2", usual=f"{usual:g}",
                           ratio=f"{areas[row] / usual:.3g}")


def no_animals_note(units: list[TableReader]) -> list[str]:
    """A note where units were dug and no table lists animals: none can be told from a blank."""
    if not any(len(one.frame) for one in units):
        return []
    counts = [f"{name} of {one.table.label}" for one in units for name in _own_columns(one)
              if _may_be_counts(one.frame[name])]
    asked = f" {', '.join(counts)} may hold counts of animals; they were not read." * bool(counts)
    return ["No table of the study lists the animals found in the units dug, so no density can be "
            f"told.{asked} Add a table with `is: animals`, one row an animal, or one a size class "
            "with their `number`; its header alone where none were found."]


def no_units_note(animals: list[TableReader]) -> list[str]:
    """A note where animals were found in units and no table lists the units."""
    if not any(len(one.frame) for one in animals):
        return []
    return ["Animals were found in units, and no table of the study lists the units dug, so no "
            "density can be told: it needs the blank ones too. Add a table with `is: units`, one "
            "row a unit dug, with its area."]


def _own_columns(reader: TableReader) -> list[str]:
    """Columns of the crew that stand for nothing the package knows."""
    taken = {i for places in reader.table.places.values() for i in places}
    return [name for i, name in enumerate(reader.table.raw.header)
            if i not in taken and name in reader.frame]


def _may_be_counts(column: pd.Series) -> bool:
    told = column.dropna()
    told = told[told != ""].astype(str)
    return bool(len(told)) and told.str.fullmatch(r"\d{1,4}").all() and told.nunique() > 1


def _excavated(reader: TableReader) -> pd.Series:
    text = reader.frame["excavated"]
    found = text.map({t: EXCAVATED_WORDS.get(level(t)) for t in pd.unique(text)}).astype(object)
    for row in reader.rows((text != "") & found.isna()):
        reader.ledger.flag("excavated-unreadable", row, "excavated")
    return found.where(found.notna(), None)


def listed_once(units: pd.DataFrame, ledger: RowLedger) -> pd.DataFrame:
    """Set aside the second listing of a unit of one survey and site."""
    units = ledger.kept(units)
    key = _key(units, ["survey", "site", "unit"])
    first = {k: row for row, k in reversed(list(zip(units.index, key, strict=True)))}
    for row in units.index[key.duplicated()]:
        ledger.set_aside("unit-listed-twice", row, "unit",
                         other_row=units.at[first[key[row]], "row"])
    return ledger.kept(units)


def read_animals(reader: TableReader) -> pd.DataFrame:
    """One table of animals found in units, typed."""
    unit = reader.text("unit")
    for row in reader.rows(unit.isna()):
        reader.ledger.set_aside("unit-missing", row, "unit")
    if reader.present("status"):
        status = reader.words("status", STATUS_WORDS, "status-unknown", "status-missing")
    else:
        status = pd.Series(ALIVE, index=reader.frame.index, dtype=object)
        reader.notes.append(f"{reader.table.label}: no column for status; every animal was taken "
                            "as alive.")
    date = reader.dates(required=False)
    survey = reader.text("survey")
    # a number that cannot be read is no one: the row would count as a single animal
    number = reader.numbers("number", needed=True, blank=True, least=0)
    made = {
        "survey": survey, "site": reader.sites(required=False), "unit": unit, "date": date,
        # several animals of one size class may share a row; 0 says that there was none
        "number": number.where(number.notna(), 1.0), "excavated": _excavated(reader),
        "species": reader.species(), "length_mm": reader.lengths(), "status": status,
        # a damaged tag still says that the animal was stocked, so it counts for density
        "tag": marks(reader, "tag"), "batch_mark": batch_marks(reader),
    }
    return reader.finish(made, COLUMNS["animals"])


def place_in_units(animals: pd.DataFrame, units: pd.DataFrame, ledger: RowLedger) -> pd.DataFrame:
    """Find the unit of every animal from whatever of survey, site and date the row says.

    Returns
    -------
    DataFrame
        Animals in a unit that was dug, with its survey and site; others are set aside.
    """
    animals = ledger.kept(animals).copy()
    listed: dict[str, list] = {}
    for one in units.itertuples():
        listed.setdefault(level(one.unit), []).append(one)
    for row in animals.itertuples():
        fits = [one for one in listed.get(level(row.unit), []) if _fits(row, one)]
        if len(fits) == 1:
            animals.at[row.Index, "survey"] = fits[0].survey
            animals.at[row.Index, "site"] = fits[0].site
        elif not fits:
            at = [f" at {row.site}"] if row.site else []
            at += [f" in survey {row.survey}"] if row.survey else []
            at += [f" on {row.date:%Y-%m-%d}"] if not pd.isna(row.date) else []
            ledger.set_aside("animal-in-unlisted-unit", row.Index, "unit", at="".join(at),
                             near=_near_unit(row.unit, listed))
        else:
            ledger.set_aside("animal-in-several-units", row.Index, "unit", count=len(fits))
    return ledger.kept(animals)


def compare_counts(units: pd.DataFrame, animals: pd.DataFrame, ledger: RowLedger) -> None:
    """Flag units of which the crew counted other animals than the rows of animals hold.

    A row that was lost lowers density without a word. Shells may be among those counted, or not.
    """
    if "animals_found" not in units:
        return
    names = ["survey", "site", "unit"]
    of_unit = _key(animals, names)
    number = animals["number"] if len(animals) else pd.Series(dtype=float)
    every = number.groupby(of_unit).sum()
    alive = number.where(animals["status"] == ALIVE, 0).groupby(of_unit).sum()
    for row, key in _key(units, names).items():
        said = units.at[row, "animals_found"]
        if not pd.isna(said) and said not in (every.get(key, 0), alive.get(key, 0)):
            ledger.flag("animals-found-differs", row, "animals_found",
                        listed=f"{every.get(key, 0):g}")


def _near_unit(unit: str, listed: dict[str, list]) -> str:
    """A sentence with the units whose letters and digits are the same but for signs and zeros."""
    near = {str(ones[0].unit) for ones in listed.values() if _bare(ones[0].unit) == _bare(unit)}
    return f" Nearly the same name: {', '.join(sorted(near))}." if near else ""


def _bare(unit: object) -> list[str]:
    return [part.lstrip("0") for part in re.findall(r"\d+|[^\W\d_]+", str(unit).casefold())]


def _fits(animal: object, unit: object) -> bool:
    if animal.survey is not None and level(animal.survey) != level(str(unit.survey)):
        return False
    if animal.site is not None and animal.site != unit.site:
        return False
    # the survey already says when; days of one survey may differ by a slip
    dated = animal.survey is None and not pd.isna(animal.date) and not pd.isna(unit.date)
    return not dated or animal.date == unit.date


def _key(frame: pd.DataFrame, names: list[str]) -> pd.Series:
    parts = [frame[name].map(lambda value: level(str(value))) for name in names]
    return parts[0].str.cat(parts[1:], sep="|") if len(frame) else pd.Series(dtype=object)


def read_hosts(reader: TableReader) -> pd.DataFrame:
    """One table of host fish counted, typed."""
    host = reader.text("host")
    for row in reader.rows(host.isna()):
        reader.ledger.set_aside("host-missing", row, "host")
    made = {
        "date": reader.dates(), "site": reader.sites(), "host": host,
        "count": reader.numbers("count", needed=True, least=0),
        "effort": reader.numbers("effort", above=0),
        "glochidia_per_fish": reader.numbers("glochidia_per_fish", least=0),
        "area_m2": reader.numbers("area_m2", above=0), "pass": reader.numbers("pass", least=1),
    }
    return reader.finish(made, COLUMNS["hosts"])

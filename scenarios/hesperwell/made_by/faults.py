"""About sixty mistakes planted in the demo tables, each one written down (all invented)."""

from __future__ import annotations

import datetime as dt

import numpy as np
import pandas as pd

SET_ASIDE, FLAGGED, COLLAPSED = "set aside", "flagged", "collapsed"
# kind: how many, what the reader should do, and the reason it should give
KINDS = {
    "unknown tag one slip away": (8, SET_ASIDE, "tag-unknown"),
    "rounded tag": (4, SET_ASIDE, "tag-rounded"),
    "test tag": (3, SET_ASIDE, "tag-test"),
    "impossible national number": (3, SET_ASIDE, "tag-impossible"),
    "encounter after shell": (3, SET_ASIDE, "after-shell"),
    "date before release": (3, SET_ASIDE, "date-before-release"),
    "impossible date": (3, SET_ASIDE, "date-impossible"),
    "date outside visits": (3, SET_ASIDE, "date-outside-its-visit or outside-visits"),
    "length in cm": (4, FLAGGED, "length-in-centimetres"),
    "implausible drop": (3, FLAGGED, "length-dropped"),
    "swapped coordinates": (3, FLAGGED, "position-swapped"),
    "unknown status word": (3, SET_ASIDE, "status-unknown"),
    "species conflict": (2, SET_ASIDE, "species-unknown"),
    "tag in two releases": (2, SET_ASIDE, "tag-released-twice"),
    "repeated read": (4, COLLAPSED, ""),
    "dead only in remarks": (3, FLAGGED, "dead-only-in-remarks"),
    "unit listed twice": (2, SET_ASIDE, "unit-listed-twice"),
    "animals in a unit not listed": (2, SET_ASIDE, "animal-in-unlisted-unit"),
    "missing site": (2, SET_ASIDE, "site-missing"),
    "missing area": (2, SET_ASIDE, "number-missing"),
}
COUNTS = {kind: facts[0] for kind, facts in KINDS.items()}
WRONG_WORDS = ("float", "??", "gravid?")


class Planter:
    """Changes single rows of the tables and keeps the list of what was changed.

    Parameters
    ----------
    tables : dict of str to DataFrame
        ``releases``, ``encounters``, ``units``, ``animals``; `_file` says where a row will stand.
    rng : numpy Generator
    """

    def __init__(self, tables: dict[str, pd.DataFrame], rng):
        self.tables = {
            name: frame.assign(_fault="").astype(object) for name, frame in tables.items()
        }
        self.rng = rng
        self.known = set(tables["releases"]["tag"]) - {""}
        self.used: set[str] = set()
        self.list: list[dict] = []

    def note(self, table: str, row, kind: str, column: str, planted: str) -> None:
        """Write one fault down and mark the row that carries it."""
        name = f"P{len(self.list) + 1:02d}"
        self.tables[table].loc[row, "_fault"] = name
        self.list.append(
            {
                "name": name,
                "file": self.tables[table].loc[row, "_file"],
                "column": column,
                "kind": kind,
                "planted": planted,
                "expected": KINDS[kind][1],
                "code": KINDS[kind][2],
            }
        )

    def pick(self, where=None, table: str = "encounters"):
        """An untouched row (of an animal no other fault touches), evenly over the files."""
        frame = self.tables[table]
        fit = frame["_fault"] == ""
        if table == "encounters":
            fit &= (
                (frame["tag"] != "") & (frame["status"] == "alive") & ~frame["tag"].isin(self.used)
            )
        if where is not None:
            fit &= where
        files = sorted(frame.loc[fit, "_file"].unique())
        file = files[int(self.rng.integers(len(files)))]
        rows = frame.index[fit & (frame["_file"] == file)]
        row = rows[int(self.rng.integers(len(rows)))]
        if "tag" in frame:
            self.used.add(frame.loc[row, "tag"])
        return row

    def insert(self, table: str, after, **changes):
        """A copy of a row, placed right below it, with some cells changed; gives its label."""
        frame = self.tables[table]
        label = after + 0.5
        frame.loc[label] = {**frame.loc[after].to_dict(), "_fault": "", **changes}
        self.tables[table] = frame.sort_index()
        return label

    def write(self, row, kind: str, column: str, value, table: str = "encounters") -> None:
        """Overwrite one cell and note it."""
        old = self.tables[table].loc[row, column]
        self.tables[table].loc[row, column] = value
        self.note(
            table,
            row,
            kind,
            column,
            f"{old} written as {value}" if value != "" else f"{old} left out",
        )


def slip(tag: str, rng, known: set[str]) -> str:
    """The tag with one digit wrong, not another released tag."""
    while True:
        place = int(rng.integers(5, 15))
        wrong = (
            tag[:place] + str((int(tag[place]) + int(rng.integers(1, 10))) % 10) + tag[place + 1 :]
        )
        if wrong not in known:
            return wrong


def plant_tags(p: Planter) -> None:
    """Tags that cannot be read as a released animal."""
    for _ in range(COUNTS["unknown tag one slip away"]):
        row = p.pick()
        p.write(
            row,
            "unknown tag one slip away",
            "tag",
            slip(p.tables["encounters"].loc[row, "tag"], p.rng, p.known),
        )
    for _ in range(COUNTS["rounded tag"]):
        row = p.pick()
        p.write(row, "rounded tag", "tag", f"{float(p.tables['encounters'].loc[row, 'tag']):.5E}")
    for i in range(COUNTS["test tag"]):
        p.write(p.pick(), "test tag", "tag", f"99900000000012{i}")
    for _ in range(COUNTS["impossible national number"]):
        p.write(
            p.pick(),
            "impossible national number",
            "tag",
            f"994{p.rng.integers(3 * 10**11, 9 * 10**11)}",
        )


def in_stead(p: Planter, tag: str, where, kind: str, planted: str) -> None:
    """Add an encounter of the tag, copied from a row that suits, under other marks."""
    frame = p.tables["encounters"]
    like = frame[(frame["_fault"] == "") & (frame["status"] == "alive") & where].index
    row = like[int(p.rng.integers(len(like)))]
    label = p.insert("encounters", row, tag=tag, second_mark="", batch_mark="", length_mm="")
    p.used.add(tag)
    p.note("encounters", label, kind, "tag", planted)


def plant_times(p: Planter) -> None:
    """Encounters at times at which the animal could not be met, and dates that do not exist."""
    kind = "encounter after shell"
    for visit in ("2019-09", "2021-08", "2021-08"):
        frame = p.tables["encounters"]
        shells = frame[
            (frame["status"] == "shell")
            & (frame["visit"] == visit)
            & (frame["tag"] != "")
            & ~frame["tag"].isin(p.used)
        ]
        dead = shells.iloc[int(p.rng.integers(len(shells)))]
        in_stead(
            p,
            dead["tag"],
            (frame["visit"] == "2024-07") & (frame["site"] == dead["site"]),
            kind,
            f"alive on 2024-07 although its shell was found on visit {visit}",
        )
    kind = "date before release"
    for site, visit, since in (
        ("Quillstone Riffle", "2021-08", "2021-10-05"),
        ("Tallow Bend", "2021-08", "2021-10-06"),
        ("Quillstone Riffle", "2018-07", "2018-09-18"),
    ):
        known = p.tables["releases"]
        late = known[
            (known["date"] == dt.date.fromisoformat(since))
            & (known["tag"] != "")
            & ~known["tag"].isin(p.used)
        ]
        tag = late["tag"].iloc[int(p.rng.integers(len(late)))]
        frame = p.tables["encounters"]
        in_stead(
            p,
            tag,
            (frame["visit"] == visit) & (frame["site"] == site),
            kind,
            f"met on visit {visit}, released only on {since}",
        )
    wrong = {
        "field/encounters_2018_2019.csv": "2019-09-31",
        "field/encounters_2021_2022.csv": "31/09/2022",
        "field/recaptures.xlsx 2025": "31/09/2025",
    }
    for file, value in wrong.items():
        p.write(p.pick(p.tables["encounters"]["_file"] == file), "impossible date", "date", value)
    outside = {
        "field/encounters_2018_2019.csv": dt.date(2019, 11, 20),
        "field/encounters_2021_2022.csv": dt.date(2021, 11, 23),
        "field/recaptures.xlsx 2024": dt.date(2024, 11, 5),
    }
    for file, value in outside.items():
        p.write(
            p.pick(p.tables["encounters"]["_file"] == file), "date outside visits", "date", value
        )


def plant_lengths_and_places(p: Planter) -> None:
    """Cells that are asked about; the row is used."""
    frame = p.tables["encounters"]
    length = pd.to_numeric(frame["length_mm"], errors="coerce")
    for _ in range(COUNTS["length in cm"]):
        row = p.pick(length > 45)
        p.write(row, "length in cm", "length_mm", round(length[row] / 10, 2))
    order = frame.assign(mm=length)[(frame["tag"] != "") & length.notna()]
    earlier = order.groupby("tag")["mm"].shift()
    for _ in range(COUNTS["implausible drop"]):
        row = p.pick((earlier.reindex(frame.index) > 58) & (length > 58))
        p.write(
            row, "implausible drop", "length_mm", round(earlier[row] - p.rng.uniform(16, 22), 1)
        )
    for _ in range(COUNTS["swapped coordinates"]):
        row = p.pick(~frame["_file"].eq("field/encounters_2018_2019.csv"))
        north, east = p.tables["encounters"].loc[row, ["latitude", "longitude"]]
        p.tables["encounters"].loc[row, ["latitude", "longitude"]] = [east, north]
        p.note(
            "encounters",
            row,
            "swapped coordinates",
            "latitude",
            f"latitude {north} and longitude {east} written the wrong way round",
        )


def plant_words(p: Planter) -> None:
    """Words that contradict, are unknown, or stand in the wrong column."""
    for word in WRONG_WORDS:
        p.write(p.pick(), "unknown status word", "status", word)
    for _ in range(COUNTS["species conflict"]):
        p.write(p.pick(), "species conflict", "species", "Elliptio ficta")
    for remark in ("dead, valves gaping", "found dead", "fresh dead shell"):
        p.write(p.pick(), "dead only in remarks", "remarks", remark)
    for _ in range(COUNTS["missing site"]):
        p.write(p.pick(p.tables["encounters"]["visit"].ne("")), "missing site", "site", "")


def plant_copies(p: Planter) -> None:
    """Animals and units that stand in a table twice."""
    for _ in range(COUNTS["repeated read"]):
        row = p.pick()
        tag = p.tables["encounters"].loc[row, "tag"]
        label = p.insert("encounters", row, length_mm="")
        p.note(
            "encounters", label, "repeated read", "tag", f"{tag} read a second time on this visit"
        )
    known = p.tables["releases"]
    for _ in range(COUNTS["tag in two releases"]):
        met = set(p.tables["encounters"]["tag"])
        old = known[
            (known["tag"] != "")
            & (known["date"] < dt.date(2020, 1, 1))
            & ~known["tag"].isin(p.used)
            & ~known["tag"].isin(met)
        ]
        tag = old["tag"].iloc[int(p.rng.integers(len(old)))]
        late = known[
            (known["date"] > dt.date(2020, 1, 1))
            & (known["tag"] != "")
            & (known["second_mark"] == "")
        ].index
        label = p.insert("releases", late[int(p.rng.integers(len(late)))], tag=tag)
        p.used.add(tag)
        p.note(
            "releases", label, "tag in two releases", "tag", f"{tag} was already released before"
        )


def plant_units(p: Planter) -> None:
    """Quadrat tables: a unit must be listed once and have an area, blank or not."""
    empty = ~p.tables["units"]["unit"].isin(p.tables["animals"]["unit"])
    for _ in range(COUNTS["unit listed twice"]):
        row = p.pick(empty.reindex(p.tables["units"].index, fill_value=False), "units")
        name = p.tables["units"].loc[row, "unit"]
        p.note("units", p.insert("units", row), "unit listed twice", "unit", f"{name} listed again")
        p.tables["units"].loc[row, "_fault"] = "first of two"
    for _ in range(COUNTS["animals in a unit not listed"]):
        row = p.pick(table="animals")
        name = p.tables["animals"].loc[row, "unit"]
        p.write(
            row,
            "animals in a unit not listed",
            "unit",
            f"{name[:4]}{int(p.rng.integers(20, 30))}-01",
            "animals",
        )
    for _ in range(COUNTS["missing area"]):
        row = p.pick(empty.reindex(p.tables["units"].index, fill_value=False), "units")
        p.write(row, "missing area", "area_m2", "", "units")


def plant(tables: dict[str, pd.DataFrame], rng: np.random.Generator):
    """Tables with all faults in them (column `_fault`), and the list of faults."""
    planter = Planter(tables, rng)
    for step in (
        plant_tags,
        plant_times,
        plant_lengths_and_places,
        plant_words,
        plant_copies,
        plant_units,
    ):
        step(planter)
    cleaned = {
        name: frame.replace({"_fault": {"first of two": ""}})
        for name, frame in planter.tables.items()
    }
    return cleaned, planter.list

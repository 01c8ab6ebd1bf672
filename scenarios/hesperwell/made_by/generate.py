"""Make the field tables of the invented Hesperwell study from its written hidden truth.

    python scenarios/hesperwell/made_by/generate.py            writes ../field and the lists beside
    python scenarios/hesperwell/made_by/generate.py --out DIR  writes DIR/field and DIR/made_by

The same truth.yaml gives the same files. Nothing here describes a real river, animal or project.
"""

from __future__ import annotations

import argparse
import csv
import datetime as dt
import io
import re
import zipfile
from pathlib import Path

import crew
import faults
import life
import numpy as np
import openpyxl
import pandas as pd
from ruamel.yaml import YAML

HERE = Path(__file__).resolve().parent
# heading in the crew's file -> column of the study; None = the columns as they are
PLAIN_ENCOUNTERS = [
    "visit",
    "site",
    "date",
    "tag",
    "second_mark",
    "species",
    "status",
    "length_mm",
    "batch_mark",
    "remarks",
]
CREW_ENCOUNTERS = {
    "Date": "date",
    "Site": "site",
    "PIT number": "tag",
    "Other mark": "second_mark",
    "Species": "species",
    "Condition": "status",
    "Shell length": "length_mm",
    "Paint": "batch_mark",
    "Lat": "latitude",
    "Long": "longitude",
    "Notes": "remarks",
}
SHEET_ENCOUNTERS = {
    "Visit": "visit",
    "Date": "date",
    "Site": "site",
    "PIT no.": "tag",
    "Glued no.": "second_mark",
    "Species": "species",
    "Length": "length_mm",
    "Paint": "batch_mark",
    "Latitude": "latitude",
    "Longitude": "longitude",
    "Condition": "status",
    "Remarks": "remarks",
}
CREW_RELEASES = {
    "PIT": "tag",
    "Species": "species",
    "Site": "site",
    "Released": "date",
    "Stage": "stage",
    "Age": "age",
    "Length (mm)": "length_mm",
    "From": "source",
    "Batch": "batch",
    "Paint": "batch_mark",
    "Glued no.": "second_mark",
    "Animals": "number",
}
CREW_WORDS = {"alive": "L", "heard": "H", "shell": "FD", "removed": "K"}
SHEET_WORDS = {"alive": "live", "heard": "heard only", "shell": "FD", "removed": "taken"}
TITLE = "Hesperwell River recaptures (invented), crew sheet"


def observe(truth: dict) -> tuple[dict[str, pd.DataFrame], dict[str, pd.DataFrame]]:
    """Clean field tables, and the tables of truth to score estimates against."""
    streams = [np.random.default_rng([truth["seed"], i]) for i in range(6)]
    animals, survival = life.live(truth, streams[0])
    tables = {
        "releases": crew.releases(animals, truth, streams[1]),
        "visits": crew.visits(truth, streams[1]),
    }
    true_numbers = crew.true_numbers(animals, truth)
    tables["encounters"] = crew.encounters(animals, tables["visits"], truth, streams[2])
    tables["units"], tables["animals"] = crew.quadrats(animals, truth, streams[3])
    tables["hosts"] = crew.hosts(truth, streams[4])
    scores = {
        "true_numbers.csv": true_numbers,
        "true_survival_by_year.csv": survival.round(5).reset_index(),
    }
    return tables, scores


def placed(tables: dict[str, pd.DataFrame]) -> dict[str, pd.DataFrame]:
    """Say in which file (and sheet) each row will stand."""
    year = pd.to_datetime(tables["releases"]["date"]).dt.year
    early = np.where(year < 2020, "2017_2019", "2020_2022")
    releases = tables["releases"].assign(_file=[f"field/releases_{e}.csv" for e in early])
    of_visit = {
        "2018": "field/encounters_2018_2019.csv",
        "2019": "field/encounters_2018_2019.csv",
        "2021": "field/encounters_2021_2022.csv",
        "2022": "field/encounters_2021_2022.csv",
        "2024": "field/recaptures.xlsx 2024",
        "2025": "field/recaptures.xlsx 2025",
    }
    met = tables["encounters"].sort_values(["date", "site"], kind="stable").reset_index(drop=True)
    met = met.assign(_file=met["visit"].str[:4].map(of_visit))
    units = tables["units"].assign(
        _file=[f"field/units_{s}.csv" for s in tables["units"]["survey"]]
    )
    inside = tables["animals"]
    inside = inside.assign(_file=[f"field/animals_{s}.csv" for s in inside["survey"]])
    return {"releases": releases, "encounters": met, "units": units, "animals": inside}


def as_hex(tag: str) -> str:
    """The same tag as some readers print it: country and national number in hex."""
    return f"{int(tag[:3]):03X}.{int(tag[3:]):010X}"


def other_forms(met: pd.DataFrame, rng) -> pd.DataFrame:
    """Write some tags with a dot, a space or in hex, as readers do; they stay the same animals."""
    luck = rng.random(len(met))
    good = (met["tag"] != "") & (met["_fault"] == "")
    tags = met["tag"].copy()
    shares = {
        "field/encounters_2018_2019.csv": [0.08, 0.12, 0.12],
        "field/encounters_2021_2022.csv": [0.0, 0.0, 0.15],
        "field/recaptures.xlsx 2024": [0.25, 0.25, 0.25],
        "field/recaptures.xlsx 2025": [0.0, 0.04, 0.08],
    }
    for file, (dot, space, hexadecimal) in shares.items():
        here = good & (met["_file"] == file)
        for lo, hi, form in (
            (0, dot, lambda t: f"{t[:3]}.{t[3:]}"),
            (dot, space, lambda t: f"{t[:3]} {t[3:]}"),
            (space, hexadecimal, as_hex),
        ):
            chosen = here & (luck >= lo) & (luck < hi)
            tags[chosen] = [form(t) for t in tags[chosen]]
    return met.assign(tag=tags)


def in_crew_words(rows: pd.DataFrame, headings, *, day_first=False, words=None) -> pd.DataFrame:
    """Rows under the crew's headings, in the crew's words."""
    rows = rows.copy()
    if words:
        rows["status"] = rows["status"].replace(words)
    if day_first and "date" in rows:
        rows["date"] = [
            d.strftime("%d/%m/%Y") if isinstance(d, dt.date) else d for d in rows["date"]
        ]
    if isinstance(headings, dict):
        return rows[list(headings.values()) + ["_fault"]].set_axis([*headings, "_fault"], axis=1)
    return rows[[*headings, "_fault"]]


def sheets(tables: dict[str, pd.DataFrame], planted: dict[str, pd.DataFrame], rng) -> dict:
    """Every file (and sheet) of the study as it will be written."""
    met = other_forms(planted["encounters"], rng)
    result = {}
    for name, kept in (
        ("releases", planted["releases"]),
        ("encounters", met),
        ("units", planted["units"]),
        ("animals", planted["animals"]),
    ):
        for file, rows in kept.groupby("_file", sort=True):
            plain = [
                c
                for c in rows
                if not c.startswith("_") and not (name == "animals" and c == "survey")
            ]
            headings = PLAIN_ENCOUNTERS if name == "encounters" else plain
            style: dict = {}
            if file == "field/releases_2020_2022.csv":
                headings, style = CREW_RELEASES, {"day_first": True}
            elif file == "field/encounters_2021_2022.csv":
                headings, style = CREW_ENCOUNTERS, {"day_first": True, "words": CREW_WORDS}
            elif "xlsx" in file:
                headings = SHEET_ENCOUNTERS
                style = {"day_first": file.endswith("2025"), "words": SHEET_WORDS}
            result[file] = in_crew_words(rows, headings, **style)
    for name in ("visits", "hosts"):
        result[f"field/{name}.csv"] = tables[name].assign(_fault="")
    return result


def fault_list(files: dict, listed: list[dict]) -> pd.DataFrame:
    """The faults with the row as a person sees it: header is row 1, in the workbook row 3."""
    row_of = {}
    for file, frame in files.items():
        header = 3 if "xlsx" in file else 1
        for place, name in enumerate(frame["_fault"]):
            if name:
                row_of[name] = header + 1 + place
    table = pd.DataFrame(listed)
    table.insert(2, "row", table["name"].map(row_of))
    parts = table["file"].str.split(" ", n=1)
    table["file"] = parts.str[0]
    table.insert(2, "sheet", parts.str[1].fillna(""))
    return table


def write_csv(path: Path, frame: pd.DataFrame) -> None:
    """Plain CSV with line feeds, dates as ISO text."""
    path.parent.mkdir(parents=True, exist_ok=True)
    with path.open("w", newline="", encoding="utf-8") as out:
        writer = csv.writer(out, lineterminator="\n")
        writer.writerow(frame.columns)
        writer.writerows(frame.astype(object).where(frame.notna(), "").to_numpy().tolist())


def write_workbook(path: Path, pages: dict[str, pd.DataFrame]) -> None:
    """One sheet a year: a title row, an empty row, then the header; the same bytes every time."""
    book = openpyxl.Workbook()
    book.remove(book.active)
    for name, frame in pages.items():
        sheet = book.create_sheet(name)
        sheet.append([f"{TITLE} {name}"])
        sheet.append([])
        sheet.append(list(frame.columns))
        for row in frame.to_numpy(object).tolist():
            sheet.append([None if v == "" else v for v in row])
    made = io.BytesIO()
    book.save(made)
    stamp = re.compile(rb"(<dcterms:(?:created|modified)[^>]*>)[^<]*")
    with zipfile.ZipFile(made) as old, zipfile.ZipFile(path, "w", zipfile.ZIP_DEFLATED) as new:
        for part in sorted(old.namelist()):
            content = stamp.sub(rb"\g<1>2025-10-01T12:00:00Z", old.read(part))
            new.writestr(
                zipfile.ZipInfo(part, (2025, 10, 1, 12, 0, 0)), content, zipfile.ZIP_DEFLATED
            )


def main(arguments: list[str] | None = None) -> None:
    """Write everything."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--out", type=Path, default=HERE.parent, help="study folder to write into")
    out = parser.parse_args(arguments).out
    truth = YAML(typ="safe").load((HERE / "truth.yaml").read_text(encoding="utf-8"))
    tables, scores = observe(truth)
    streams = [np.random.default_rng([truth["seed"], i]) for i in (10, 11)]
    planted, listed = faults.plant(placed(tables), streams[0])
    files = sheets(tables, planted, streams[1])
    scores["planted_faults.csv"] = fault_list(files, listed)
    workbook = {f.split()[1]: files.pop(f) for f in sorted(files) if "xlsx" in f}
    for file, frame in files.items():
        write_csv(out / file, frame.drop(columns="_fault"))
    write_workbook(
        out / "field/recaptures.xlsx",
        {name: frame.drop(columns="_fault") for name, frame in workbook.items()},
    )
    for name, frame in scores.items():
        write_csv(out / "made_by" / name, frame)


if __name__ == "__main__":
    main()

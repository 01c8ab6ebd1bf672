"""The tables of the known river as a crew might keep them, with twelve slips (all invented).

    python scenarios/known-river/as_kept.py FOLDER

Other headings, semicolons and decimal commas, a workbook with two header rows, days first, lengths
in centimetres, codes in place of words. The page docs/own-tables.md goes from these to a report.
"""

from __future__ import annotations

import argparse
import datetime as dt
from pathlib import Path

import pandas as pd
from make import SITE, tables
from openpyxl import Workbook

CODES = {"alive": "L", "heard": "beep", "shell": "FD"}
SLIPS = (  # table, place among its rows, column, what is wrong
    ("recaptures", 40, "PIT no.", "one digit of the tag is wrong"),
    ("recaptures", 90, "PIT no.", "the tag was rounded by a spreadsheet"),
    ("recaptures", 130, "PIT no.", "a tag used to test the reader"),
    ("recaptures", 170, "Date", "a day that does not exist"),
    ("recaptures", 210, "Date", "a date before the animal's release"),
    ("recaptures", 250, "Seen as", "a code that nobody explained"),
    ("recaptures", 290, "Reach", "the name of the reach misspelt"),
    ("recaptures", 330, "Shell", "a length in centimetres among millimetres"),
    ("recaptures", 370, "Shell", "a letter in a number"),
    ("recaptures", 410, "Shell", "two digits of a length changed round"),
    ("releases", 25, "PIT no.", "a released tag typed with a digit too few"),
    ("mussels", 3, "Frame", "a mussel in a quadrat that is not listed"),
)


def day(date: dt.date) -> str:
    """A date with the day first."""
    return f"{date.day:02d}/{date.month:02d}/{date.year}"


def comma(number) -> str:
    """A number with a decimal comma; blank stays blank."""
    return "" if pd.isna(number) or number == "" else f"{float(number):.1f}".replace(".", ",")


def kept(seed: int = 3) -> dict[str, pd.DataFrame]:
    """The crew's tables, before the slips."""
    made = tables(seed)
    met, put = made["encounters"], made["releases"]
    return {
        "releases": pd.DataFrame({
            "PIT no.": put["tag"], "Animal": "LFIC", "Reach": SITE, "Put out": put["date"].map(day),
            "Shell (mm)": put["length_mm"].map(comma), "From": put["source"],
            "Batch": put["batch"]}),
        "recaptures": pd.DataFrame({
            "Date": met["date"].map(day), "Reach": SITE, "PIT no.": met["tag"],
            "Seen as": met["status"].map(CODES), "Shell": met["length_mm"], "Who": "crew"}),
        "days": pd.DataFrame({
            "Round": made["visits"]["visit"], "Reach": SITE,
            "From": made["visits"]["first_date"].map(day),
            "To": made["visits"]["last_date"].map(day), "How": "by hand"}),
        "quadrats": pd.DataFrame({
            "Year": 2021, "Reach": SITE, "Day": made["units"]["date"].map(day),
            "Frame": made["units"]["unit"], "Size": "0,25", "Dug": "yes"}),
        "mussels": pd.DataFrame({
            "Year": 2021, "Reach": SITE, "Frame": made["animals"]["unit"], "Animal": "LFIC",
            "Shell (cm)": (made["animals"]["length_mm"] / 10).map(lambda x: f"{x:.2f}".replace(
                ".", ","))}),
    }


def with_slips(made: dict[str, pd.DataFrame]) -> dict[str, pd.DataFrame]:
    """The tables with the twelve slips in their places."""
    made = {name: table.astype(object) for name, table in made.items()}
    met = made["recaptures"]
    alive = met.index[(met["Seen as"] == "L")]
    at = {what: alive[place] for table, place, _, what in SLIPS if table == "recaptures"}
    tag = str(met.loc[at[SLIPS[0][3]], "PIT no."])
    wrong = [tag[:9] + str((int(tag[9]) + 1) % 10) + tag[10:], "9.8200041E+14", "999000000000123",
             "31/09/2018", "02/09/2013", "?", "Knwon Riffle", None, "6o.2", None]
    for (_, _, column, what), value in zip(SLIPS, wrong, strict=False):
        row = at[what]
        old = met.loc[row, column]
        if value is None:  # lengths are changed from what they are
            value = round(old / 10, 1) if "centimetres" in what else float(
                f"{str(old)[1]}{str(old)[0]}{str(old)[2:]}")
        met.loc[row, column] = value
    made["releases"].loc[25, "PIT no."] = made["releases"].loc[25, "PIT no."][:-1]
    made["mussels"].loc[3, "Frame"] = "Q999"
    return made


def write_tables(folder: Path, seed: int = 3) -> Path:
    """Write the five tables into a folder that is not there yet."""
    folder.mkdir(parents=True)
    made = with_slips(kept(seed))
    for name, title in (("releases", "Hatchery list, all springs"), ("days", ""),
                        ("quadrats", ""), ("mussels", "")):
        text = made[name].to_csv(sep=";", index=False)
        (folder / f"{name}.csv").write_text(f"{title}\n{text}" if title else text, "cp1252")
    book = Workbook()
    sheet = book.active
    sheet.title = "All years"
    sheet.append(["Find", None, "Animal", None, None, None])
    sheet.merge_cells("A1:B1")
    sheet.merge_cells("C1:F1")
    sheet.append(list(made["recaptures"]))
    for row in made["recaptures"].itertuples(index=False):
        sheet.append([None if cell == "" else cell for cell in row])
    key = book.create_sheet("Key")
    for line in (("L", "in the hand, alive"), ("beep", "reader only"), ("FD", "found dead")):
        key.append(line)
    book.save(folder / "recaptures.xlsx")
    return folder


if __name__ == "__main__":
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("folder", type=Path, metavar="FOLDER")
    asked = parser.parse_args()
    if asked.folder.exists():
        parser.exit(1, f"{asked.folder} is there already. Nothing was written.\n")
    write_tables(asked.folder)
    print(f"Written: five tables in {asked.folder}")

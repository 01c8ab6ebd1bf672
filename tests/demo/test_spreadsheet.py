"""The demo's tables as spreadsheet programs of other countries save them say exactly the same."""

from __future__ import annotations

import csv
import datetime as dt
import shutil

import openpyxl
import pandas as pd
import pytest
from ruamel.yaml import YAML

from pva.estimate import estimate
from pva.field import read_records, read_study
from pva.field.dates import read_date
from pva.files import read_table, shipped

STUDY = shipped("scenarios/hesperwell")
NUMBERS = ("length", "lat", "long", "area", "depth", "sieve", "hours", "effort", "count",
           "glochidia", "age", "animals", "passes")
DAYS = ("date", "released")


def numeric(name: str) -> bool:
    return any(word in name.casefold() for word in NUMBERS)


def serial(cell: str, order: str | None) -> str:
    """The day number behind a date, as a spreadsheet shows it in a column without a format."""
    day = read_date(cell, order).date if cell else None
    return cell if day is None else str((day - dt.date(1899, 12, 30)).days)


def comma(cell: str) -> str:
    try:
        float(cell)
    except ValueError:
        return cell
    return cell.replace(".", ",")


def resaved(folder, write, ending: str) -> None:
    """Write every table of the study again with `write`, under `ending`, and its study.yaml."""
    shutil.copytree(STUDY, folder, ignore=shutil.ignore_patterns("made_by", "estimates"))
    yaml = YAML()
    written = yaml.load(folder / "study.yaml")
    tables = [*written["tables"], written["visits"]]
    for table in tables:
        key = "file" if "file" in table else "from"
        old, sheet = table[key], table.get("sheet")
        raw = read_table(folder / old, sheet=sheet)
        new = old.rsplit(".", 1)[0] + (f"_{sheet}" if sheet else "") + ending
        gap = {n: row for n, row in zip(raw.numbers, raw.rows, strict=True)}
        titles = [["Saved again (invented)"]] * (raw.header_at - 1)
        rows = [gap.get(n, [""] * len(raw.header))
                for n in range(raw.header_at + 1, max(raw.numbers) + 1)]
        write(folder / new, titles, raw.header, rows, table.get("dates"))
        table[key] = new
        table.pop("sheet", None)
    with (folder / "study.yaml").open("w", encoding="utf-8") as handle:
        yaml.dump(written, handle)


def semicolons(path, titles, header, rows, order):
    """Semicolons, decimal commas, day numbers, Windows letters and line ends."""
    days = [any(word in name.casefold() for word in DAYS) for name in header]
    out = titles + [header] + [[serial(c, order) if day else comma(c) if numeric(name) else c
                                for c, day, name in zip(row, days, header, strict=False)]
                               for row in rows]
    with path.open("w", encoding="cp1252", newline="") as handle:
        csv.writer(handle, delimiter=";", lineterminator="\r\n").writerows(out)


def workbook(path, titles, header, rows, order):
    """True dates and numbers in cells, beside a sheet without data."""
    book = openpyxl.Workbook(write_only=True)
    page = book.create_sheet("data")
    book.create_sheet("notes")
    for row in [*titles, header]:
        page.append(row)
    for row in rows:
        page.append([typed(c, name, order) for c, name in zip(row, header, strict=False)])
    book.save(path)


def typed(cell: str, name: str, order: str | None):
    if cell == "":
        return None
    if any(word in name.casefold() for word in DAYS):
        day = read_date(cell, order).date
        return cell if day is None else dt.datetime(day.year, day.month, day.day)
    try:
        return float(cell) if numeric(name) else cell
    except ValueError:
        return cell


WAYS = {"semicolons": (semicolons, ".csv"), "workbook": (workbook, ".xlsx")}


@pytest.fixture(scope="module")
def plain():
    return read_records(read_study(STUDY))


@pytest.mark.parametrize("way", WAYS)
def test_the_same_records(way, plain, tmp_path):
    write, ending = WAYS[way]
    resaved(tmp_path / "demo", write, ending)
    again = read_records(read_study(tmp_path / "demo"))
    for kind in ("releases", "visits", "encounters", "units", "animals", "hosts"):
        one, other = (getattr(r, kind).drop(columns="file") for r in (plain, again))
        pd.testing.assert_frame_equal(other, one, check_exact=False, rtol=1e-12)
    assert again.account.totals == plain.account.totals
    codes = [r.account.set_aside[["row", "code"]].values.tolist() for r in (plain, again)]
    assert codes[0] == codes[1]


@pytest.mark.slow
@pytest.mark.parametrize("way", WAYS)
def test_the_same_estimates(way, tmp_path):
    resaved(tmp_path / "demo", *WAYS[way])
    one, other = (estimate(read_study(folder)).summary() for folder in (STUDY, tmp_path / "demo"))
    one.pop("rows"), other.pop("rows")
    assert str(one) == str(other)

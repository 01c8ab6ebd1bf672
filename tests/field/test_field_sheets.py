"""Field sheets: filled in, they are read without any words about their columns."""

from __future__ import annotations

import openpyxl
import pytest

from pva.field import read_records, read_study
from pva.field.sheets import CAUTIONS, DAY_WORDS, HEADING_ROW, field_sheets
from pva.field.sheets_page import write_page
from pva.field.sheets_workbook import write_workbook
from pva.field.spec import targets

STUDY = """\
title: Sheets tried out (invented)
species: [Lampsilis ficta]
sites:
  - {name: Upper Ford, area_m2: 1200}
  - {name: =Long Pool, area_m2: 1600}
stages:
  - {name: adult, length_mm: [50, 90]}
"""
TABLES = """\
tables:
  - {file: field-sheets.xlsx, sheet: releases, is: releases}
  - {file: field-sheets.xlsx, sheet: encounters, is: encounters}
  - {file: field-sheets.xlsx, sheet: units, is: units}
  - {file: field-sheets.xlsx, sheet: animals, is: animals}
  - {file: field-sheets.xlsx, sheet: hosts, is: hosts}
visits: {from: {file: field-sheets.xlsx, sheet: visits}}
"""
FILLED = {
    "releases": [
        {"site": "Upper Ford", "date": "2024-05-03", "species": "Lampsilis ficta",
         "tag": "994015337068985", "second_mark": "G001", "stage": "adult", "age": 4,
         "length_mm": 55.5, "source": "hatchery", "batch": "24A", "batch_mark": "red dot",
         "number": 1, "remarks": "calm day"},
        {"site": "Upper Ford", "date": "2024-05-03", "species": "Lampsilis ficta", "batch": "24B",
         "batch_mark": "blue dot", "number": 200}],
    "visits": [
        {"visit": "2025 first", "site": "Upper Ford", "first_date": "2025-06-01",
         "last_date": "2025-06-02", "method": "hand search", "area_m2": 1200, "effort_hours": 30,
         "passes": 1},
        {"visit": "2026 first", "site": "Upper Ford", "first_date": "2026-06-01"}],
    "encounters": [
        {"visit": "2025 first", "site": "Upper Ford", "date": "2025-06-01",
         "tag": "994015337068985", "species": "Lampsilis ficta", "status": "alive",
         "length_mm": 58.1, "batch_mark": "present"},
        {"visit": "2026 first", "site": "Upper Ford", "date": "2026-06-01",
         "tag": "994015337068985", "status": "heard", "remarks": "under a root"}],
    "units": [
        {"survey": "2025", "site": "Upper Ford", "date": "2025-09-01", "transect": 1,
         "unit": f"U{i}", "area_m2": 0.25, "excavated": "yes", "depth_cm": 15, "sieve_mm": 6,
         "animals_found": int(i == 2)} for i in range(1, 5)],
    "animals": [
        {"survey": "2025", "site": "Upper Ford", "unit": "U2", "species": "Lampsilis ficta",
         "length_mm": 21.5, "status": "alive", "batch_mark": "not checked", "number": 1}],
    "hosts": [
        {"date": "2025-10-01", "site": "Upper Ford", "host": "drum", "pass": 1, "count": 4,
         "effort": 2.5, "glochidia_per_fish": 8},
        {"date": "2025-10-01", "site": "Upper Ford", "host": "drum", "pass": 2, "count": 0,
         "effort": 2.5}],
}


@pytest.fixture
def study(tmp_path):
    (tmp_path / "study.yaml").write_text(STUDY, encoding="utf-8")
    write_workbook(tmp_path / "field-sheets.xlsx", read_study(tmp_path))
    return tmp_path


def fill(folder, rows=FILLED):
    """Type rows under the headings, as a person does, and name the sheets in the study."""
    book = openpyxl.load_workbook(folder / "field-sheets.xlsx")
    for kind, filled in rows.items():
        page = book[kind]
        columns = {page.cell(HEADING_ROW, c).value: c for c in range(1, page.max_column + 1)}
        for i, row in enumerate(filled, HEADING_ROW + 1):
            for name, value in row.items():
                page.cell(i, columns[name]).value = value
    book.save(folder / "field-sheets.xlsx")
    (folder / "study.yaml").write_text(STUDY + TABLES, encoding="utf-8")
    return read_records(read_study(folder))


def test_a_filled_workbook_is_read_without_any_mapping(study):
    records = fill(study)
    account = records.account
    assert account.totals == {"in": 13, "used": 13, "flagged": 0, "set_aside": 0}
    assert dict(zip(account.tables["is"], account.tables["in"], strict=True)) == {
        kind: len(rows) for kind, rows in FILLED.items()}
    assert records.releases["number"].tolist() == [1, 200]
    assert records.encounters["status"].tolist() == ["alive", "heard"]
    assert records.encounters["animal"].tolist() == ["994015337068985"] * 2
    assert records.units["unit"].tolist() == ["U1", "U2", "U3", "U4"]
    assert records.animals[["unit", "batch_mark"]].values.tolist() == [["U2", "not checked"]]
    assert records.hosts["count"].tolist() == [4, 0]
    assert records.visits["effort_hours"].tolist()[0] == 30


def test_every_heading_but_the_crews_own_is_known_to_the_reader():
    own = {(s.kind, c.name) for s in field_sheets() for c in s.columns
           if c.name not in targets(s.kind)}
    assert own == {("visits", "remarks")}


def test_an_empty_workbook_is_no_problem(study):
    records = fill(study, {})
    assert records.account.totals == {"in": 0, "used": 0, "flagged": 0, "set_aside": 0}


def test_a_wrong_word_is_set_aside_with_the_row_as_the_spreadsheet_counts_it(study):
    rows = {**FILLED, "encounters": [{**FILLED["encounters"][0], "status": "floating"}]}
    aside = fill(study, rows).account.set_aside
    assert aside[["file", "row", "column", "value"]].values.tolist() == [
        ["field-sheets.xlsx [encounters]", HEADING_ROW + 1, "status", "floating"]]


def test_a_tag_is_one_animal_and_a_batch_must_say_how_many(study):
    first, second = FILLED["releases"]
    records = fill(study, FILLED | {"releases": [first | {"number": None},
                                                 second | {"number": None}]})
    assert records.releases["number"].tolist() == [1]
    assert records.releases["tag"].tolist() == ["994015337068985"]
    assert records.account.set_aside[["row", "code"]].values.tolist() == [[6, "number-missing"]]


def test_a_decimal_comma_in_a_cell_is_told_and_how_to_say_so(study):
    rows = FILLED | {"units": [FILLED["units"][0] | {"area_m2": "0,25", "depth_cm": "15,5"},
                               *FILLED["units"][1:]]}
    assert fill(study, rows).account.set_aside["sentence"].tolist() == [
        "0,25 in column area_m2 is not a usable number. Correct it, or write `decimal: comma` "
        "under this table if a comma is its decimal mark."]
    text = (study / "study.yaml").read_text(encoding="utf-8")
    (study / "study.yaml").write_text(text.replace("is: units}", "is: units, decimal: comma}"),
                                      encoding="utf-8")
    records = read_records(read_study(study))
    assert not len(records.account.set_aside)
    assert records.units["area_m2"].tolist() == [0.25] * 4  # true numbers beside it are kept
    assert records.units["depth_cm"].tolist() == [15.5, 15, 15, 15]


def lists_of(book, page):
    """Words that can be chosen, by heading."""
    found = {}
    for rule in page.data_validations.dataValidation:
        if rule.type == "list":
            column = next(iter(rule.sqref.ranges)).min_col
            cells = book["lists"][rule.formula1.split("!")[1].replace("$", "")]
            found[page.cell(HEADING_ROW, column).value] = [row[0].value for row in cells]
    return found


def test_words_can_be_chosen(study):
    book = openpyxl.load_workbook(study / "field-sheets.xlsx")
    assert lists_of(book, book["encounters"]) == {
        "site": ["Upper Ford", "'=Long Pool"], "species": ["Lampsilis ficta"],
        "status": ["alive", "heard", "shell", "removed"],
        "batch_mark": ["present", "absent", "not checked"]}
    assert lists_of(book, book["units"])["excavated"] == ["yes", "no"]
    assert lists_of(book, book["releases"])["stage"] == ["adult"]


def test_a_site_that_looks_like_a_formula_is_none(study):
    book = openpyxl.load_workbook(study / "field-sheets.xlsx")
    assert {cell.data_type for page in book for row in page for cell in row} <= {"s", "n"}


def test_sheets_print_on_a4_landscape_one_page_wide(study):
    book = openpyxl.load_workbook(study / "field-sheets.xlsx")
    for sheet in field_sheets():
        page = book[sheet.kind]
        assert (page.page_setup.orientation, int(page.page_setup.paperSize)) == ("landscape", 9)
        assert page.page_setup.fitToWidth == 1 and page.sheet_properties.pageSetUpPr.fitToPage
        assert page.print_title_rows == f"$1:${HEADING_ROW}"
        assert not page.print_area  # rows typed below the last line must not be left out
        assert page["A2"].value.endswith(DAY_WORDS) and page["A3"].value == CAUTIONS
        tag = {page.cell(HEADING_ROW, c).value: page.cell(HEADING_ROW + 1, c).number_format
               for c in range(1, len(sheet.columns) + 1)}
        assert tag.get("tag", "@") == "@" and tag.get("date", "yyyy-mm-dd") == "yyyy-mm-dd"


def test_cautions_are_said():
    for words in ("Permits first", "Never work alone", "disinfect", "no exact places"):
        assert words in CAUTIONS
    names = {c.name for s in field_sheets() for c in s.columns}
    assert not names & {"latitude", "longitude", "position"}


def test_the_page_holds_the_same_headings_and_asks_nothing_of_the_network(study):
    text = write_page(study / "sheets.html", read_study(study)).read_text(encoding="utf-8")
    for sheet in field_sheets():
        section = text.split(f"<h1>{sheet.title}")[1].split("</section>")[0]
        heads = [part.split("<small>")[0].replace("<wbr>", "")
                 for part in section.split('<th scope="col">')[2:]]
        assert heads == [c.name for c in sheet.columns]
        assert CAUTIONS in section and "such as 2027-07-31" in section
    assert "http" not in text and "<script" not in text and "=Long Pool" in text

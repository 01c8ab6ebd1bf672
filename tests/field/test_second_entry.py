"""Tables typed by two persons: every slip is found in its cell, and nothing else is told."""

import csv
import random

import openpyxl
import pytest
from conftest import TABLES

from pva.errors import DataError
from pva.field import read_study
from pva.field.second_entry import compare_entries, pair_rows
from pva.files import shipped

COUNTED = ["file", "row", "column", "value", "other_value"]


def cells_of(found):
    return found.cells[COUNTED].values.tolist()


def test_the_same_typed_twice_agrees_however_it_is_written(small_study, tmp_path):
    other = tmp_path / "second"
    other.mkdir()
    for name, text in TABLES.items():
        if name == "releases.csv":  # another order of rows, another form of tags and dates
            head, *rows = text.splitlines()
            rows = [row.replace("982000411223344", "982.000411223344")
                    .replace("2018-09-18", "18 Sep 2018").replace("36.0", "36") for row in rows]
            text = "\n".join([head, *reversed(rows)]) + "\n"
        if name == "hosts.csv":
            text = text.replace(".", ",").replace("2,5", '"2,5"').replace("3,1", '"3,1"')
        (other / name).write_text(text, encoding="utf-8")
    book = openpyxl.Workbook()
    for line in csv.reader(TABLES["units.csv"].splitlines()):
        book.active.append(line)
    (other / "units.csv").unlink()
    book.save(other / "units.xlsx")
    found = compare_entries(read_study(small_study()), other)
    assert len(found.compared) == 6 and not found.differ


def test_cells_rows_columns_and_tables_that_differ(small_study, tmp_path):
    other = tmp_path / "second"
    other.mkdir()
    text = TABLES["encounters.csv"].replace("44.5", "45.4").replace("0.4535", "0.4553")
    text = text.replace("alive,18.0", "alive,").replace(",remarks", ",notes")
    lines = text.splitlines()
    lines.insert(3, "Tallow Bend,2019-09-13,,Elliptio ficta,shell,,,,")
    del lines[5]
    (other / "encounters.csv").write_text("\n".join(lines) + "\n", encoding="utf-8")
    found = compare_entries(read_study(small_study()), other)
    assert cells_of(found) == [
        ["encounters.csv", 2, "length_mm", "44.5", "45.4"],
        ["encounters.csv", 2, "latitude", "0.4535", "0.4553"],
        ["encounters.csv", 6, "length_mm", "18.0", ""]]
    assert found.cells["secret"].tolist() == [False, True, False]
    assert found.missing[["row", "cells"]].values.tolist() == [
        [5, "Quillstone Riffle, 2021-08-17, 982000411223344, Lampsilis ficta, alive, 43.9"],
        [4, "Tallow Bend, 2019-09-13, Elliptio ficta, shell"]]
    assert [note.replace(str(other), "second") for note in found.notes] == [
        "releases.csv has no counterpart in second", "units.csv has no counterpart in second",
        "animals.csv has no counterpart in second", "hosts.csv has no counterpart in second",
        "visits.csv has no counterpart in second", "second/encounters.csv has no column remarks",
        "encounters.csv has no column notes"]


def test_one_table_is_known_by_its_name_or_its_columns(small_study, tmp_path):
    study = read_study(small_study())
    (tmp_path / "typed by R.csv").write_text(TABLES["hosts.csv"].replace(",14,", ",41,"))
    assert cells_of(compare_entries(study, tmp_path / "typed by R.csv")) == [
        ["hosts.csv", 2, "count", "14", "41"]]
    (tmp_path / "x.csv").write_text("a,b\n1,2\n")
    with pytest.raises(DataError) as refused:
        compare_entries(study, tmp_path / "x.csv")
    assert str(refused.value).replace(str(tmp_path), "") == (
        "/x.csv: no table of the study has a counterpart here; the study reads releases.csv, "
        "encounters.csv, units.csv, animals.csv, hosts.csv, visits.csv. Nothing was compared. Give "
        "the second file the same name, or keep the second files in a folder under the same names.")


def test_every_slip_planted_in_the_demo_is_found_in_its_cell(tmp_path):
    study = read_study(shipped("scenarios/hesperwell"))
    name = "encounters_2018_2019.csv"
    with study.place(f"field/{name}").open(encoding="utf-8", newline="") as handle:
        head, *rows = list(csv.reader(handle))
    chance = random.Random(11)
    tag, length = head.index("tag"), head.index("length_mm")
    told = [i for i, row in enumerate(rows) if row[tag] and row[length]]
    planted = {}
    for i in chance.sample(told, 60):
        k = chance.choice([tag, length])
        old = rows[i][k]
        digits = [n for n, c in enumerate(old) if c.isdigit()]
        at = chance.choice(digits)
        new = old[:at] + str((int(old[at]) + chance.randint(1, 9)) % 10) + old[at + 1:]
        planted[i + 2] = (head[k], old, new)
        rows[i][k] = new
    del rows[400:403]  # and a page that was typed less carefully
    rows.insert(100, rows[99])
    with (tmp_path / name).open("w", encoding="utf-8", newline="") as handle:
        csv.writer(handle).writerows([head, *rows])
    found = compare_entries(study, tmp_path / name)
    said = {row: (column, old, new) for _, row, column, old, new in cells_of(found)}
    assert said == {row: slip for row, slip in planted.items() if row not in (402, 403, 404)}
    assert found.missing["row"].tolist() == [402, 403, 404, 102]


def test_rows_without_anything_rare_are_paired_where_they_are_expected():
    first = [("a", "1"), ("b", "2"), ("b", "3"), ("c", "4")]
    assert pair_rows(first, [("b", "9"), *first[2:], first[0]]) == (
        [(0, 3), (1, 0), (2, 1), (3, 2)], [], [])
    assert pair_rows(first, first[1:]) == ([(1, 0), (2, 1), (3, 2)], [0], [])
    assert pair_rows([], []) == ([], [], [])

"""Tables of an export, read back by other readers and held against the run they came from."""

from __future__ import annotations

import csv

import numpy as np
import openpyxl
import pytest

from pva.files import harmless, restored
from pva.report.exports.sheets import Sheet
from pva.report.exports.table_files import write_csv_tables, write_table_workbook
from pva.report.exports.workbook import write_workbook
from tests.exports.conftest import FORMULA


def test_numbers_are_those_of_the_run(sheets, runs):
    (plan, data), (_, lower) = runs
    yearly = sheets["yearly"]
    years = data.sizes["year"]
    assert len(yearly.rows) == 2 * years
    columns = dict(zip(yearly.columns, zip(*yearly.rows, strict=True), strict=True))
    for mean, quantile in (("adults, mean (animals)", "adults, 97.5 % of runs below (animals)"),):
        np.testing.assert_array_equal(columns[mean], np.concatenate(
            [d.adults_mean.values for d in (data, lower)]))
        np.testing.assert_array_equal(columns[quantile], np.concatenate(
            [d.adults_quantile.sel(quantile=0.975).values for d in (data, lower)]))
    goals = {(row[0], row[1]): row[2] for row in sheets["goals"].rows}
    assert goals[plan.resolved.title, "breeding"] == float(data.goal_chance[1])
    assert goals["@Lower", "all goals in the same run"] == float(lower.all_goals_chance)
    assert len(sheets["parameters"].rows) == 2 * len(plan.parameters())
    assert [row[2] for row in sheets["number_to_stock_curve"].rows] == [
        0.1, 0.5, 0.75, 0.85, 0.93, 0.97]


def test_flows_of_the_first_year_are_empty_and_never_a_number(sheets):
    recruits = "recruits counted at the census, mean (animals per year)"
    place = sheets["yearly"].columns.index(recruits)
    first = next(row for row in sheets["yearly"].rows if row[1] == 2026)
    assert first[place] is None


def test_csv_read_back_holds_every_cell(sheets, tmp_path):
    files = write_csv_tables(tmp_path, sheets.values())
    assert [f.name for f in files] == [f"{name}.csv" for name in sheets]
    for file, one in zip(files, sheets.values(), strict=True):
        with file.open(encoding="utf-8", newline="") as handle:
            header, *rows = csv.reader(handle)
        assert tuple(header) == one.columns
        assert not any(cell[:1] in ("=", "@") for row in rows for cell in row)
        for read, row in zip(rows, one.rows, strict=True):
            assert [restored(cell) for cell in read] == ["" if c is None else str(c) for c in row]


def test_workbook_read_back_holds_every_cell_and_no_formula(sheets, tmp_path):
    path, = write_table_workbook(tmp_path, sheets.values())
    book = openpyxl.load_workbook(path)
    assert book.sheetnames == list(sheets) and book.sheetnames[0] == "readme"
    for name, one in sheets.items():
        page = book[name]
        assert page.freeze_panes == "A2" and page.print_title_rows == "$1:$1"
        rows = [[c.value for c in row] for row in page.iter_rows()]
        assert rows[0] == list(one.columns)
        for read, row in zip(rows[1:], one.rows, strict=True):
            assert read == [pytest.approx(c, rel=1e-14) if isinstance(c, float) else
                            None if c == "" else harmless(c) for c in row]
        assert not any(c.data_type == "f" for row in page.iter_rows() for c in row)
    assert book["goals"]["A2"].value == "'" + FORMULA


def test_a_name_that_would_run_is_written_as_text_even_behind_a_control_sign(tmp_path):
    odd = Sheet("odd", "odd", ("a",), (("\x01=1+1",), ("-3.5",), (-3.5,), ("x" * 40_000,)))
    page = openpyxl.load_workbook(write_workbook(tmp_path / "odd.xlsx", [odd]))["odd"]
    assert [page.cell(r, 1).value for r in (2, 3, 4)] == ["'=1+1", "-3.5", -3.5]
    assert len(page.cell(5, 1).value) == 32_767


def test_readme_tells_seed_digest_versions_sources_and_cautions(sheets, runs, material):
    rows = [tuple(row) for row in sheets["readme"].rows]
    told = dict(rows)
    for scenario, data in runs:
        title = scenario.resolved.title
        assert told[f"digest of the resolved scenario: {title}"] == scenario.digest
        assert f"seed {data.attrs['seed']}; 16 draws of 6 replicates" in told[f"run: {title}"]
        assert "numpy " in told[f"versions: {title}"]
    assert ("source", "measured: recaptures 2018-2025") in rows
    cautions = [value for what, value in rows if what == "caution"]
    assert len(cautions) >= 7 and any("no legal advice" in c for c in cautions)
    assert {value.split(":")[0] for what, value in rows if what == "table"} == set(sheets) - {
        "readme"}


def test_units_stand_in_the_headings(sheets):
    for name in ("yearly", "by_site"):
        for heading in sheets[name].columns[3:]:
            assert "(" in heading or any(w in heading for w in ("share", "per adult death",
                                                                 "heterozygosity")), heading


def test_no_study_title_unless_given(material, sheets):
    from pva.report.exports.table_files import sheets_of

    assert "study" not in dict(sheets["readme"].rows)
    given = sheets_of(material, title="Named River")[0]
    assert dict(given.rows)["study"] == "Named River"

"""Logs of tag readers: without a header, with chatter between, with a clock that ran wrong."""

import pytest
from conftest import TABLES

from pva.errors import DataError
from pva.field import read_records, read_study

RAW = """\
Reader 4 ready
982.000411223344;10.09.2019;10:22:31;1
Battery low
3D6.001882C530;10.09.2019;10:22:35;1
999000000000120;10.09.2019;10:30:00;1
A132;11.09.2019;10:31:00;2
-- session ends --
982.000987654321;10.09.2019;10:23:02;2
982 000987654321;11.09.2019;10:23:05;2
"""
BY_NUMBER = {"file": "log.csv", "is": "reader log", "dates": "day first",
             "columns": {"tag": 1, "date": 2, "time": 3, "position": 4},
             "fill": {"site": "Quillstone Riffle"}}


def records_of(small_study, text, **reading):
    table = BY_NUMBER | reading
    tables = [{"file": "releases.csv", "is": "releases"},
              {k: v for k, v in table.items() if v is not None}]
    visits = reading.pop("visits", None) or {"from": "visits.csv"}
    tables[1].pop("visits", None)
    return read_records(read_study(small_study({"log.csv": text}, tables=tables, visits=visits)))


def codes(records):
    listed = records.account.set_aside
    return dict(zip(listed["row"], listed["code"], strict=True))


def test_a_log_without_header_is_mapped_by_number_and_loses_no_line(small_study):
    records = records_of(small_study, RAW)
    met = records.encounters
    assert met["animal"].tolist() == ["982000411223344", "982000987654321"]
    assert met["status"].tolist() == ["heard"] * 2
    assert met["method"].tolist() == ["reader"] * 2
    assert met["reads"].tolist() == [2, 2]  # the first animal's tag was heard in hexadecimal too
    assert codes(records) == {1: "reader-message", 3: "reader-message", 5: "tag-test",
                              6: "tag-unknown", 7: "reader-message"}
    sums = records.account.tables.set_index("is").loc["reader log"]
    assert sums["in"] == len(RAW.splitlines()) == sums["used"] + sums["set_aside"]


def test_the_same_log_in_another_order_of_columns_and_separators(small_study):
    lines = [line.split(";") for line in RAW.splitlines()]
    text = "".join("\t".join([c[1], c[2], c[3], c[0]] if len(c) == 4 else c) + "\n" for c in lines)
    records = records_of(small_study, text,
                         columns={"tag": 4, "date": 1, "time": 2, "position": 3})
    assert records.encounters["reads"].tolist() == [2, 2]
    assert len(codes(records)) == 5
    spaced = "".join(" ".join([c[1], c[2], c[3], c[0].replace(" ", ".")] if len(c) == 4 else c)
                     + "\n" for c in lines)
    records = records_of(small_study, spaced, delimiter="space",
                         columns={"tag": 4, "date": 1, "time": 2, "position": 3})
    assert records.encounters["reads"].tolist() == [2, 2]
    assert len(codes(records)) == 5


def test_a_first_read_is_never_taken_for_the_header(small_study):
    text = "\n".join(RAW.splitlines()[1:]) + "\n"
    with pytest.raises(DataError) as refused:
        records_of(small_study, text, columns=None)
    assert str(refused.value) == (
        "log.csv, line 1: row 1 (982.000411223344, 10.09.2019, 10:22:31, 1) holds data, where the "
        "names of the columns are looked for. It would be lost as a record. No row was read. If "
        "the table has no header, write `header_row: none` and name the columns by number, such as "
        "`columns: {tag: 1, date: 2}`; else correct `header_row`.")
    assert len(records_of(small_study, text, header_row="none").encounters) == 2


def test_a_table_without_the_columns_it_needs_is_asked_for_them_once(small_study):
    with pytest.raises(DataError) as refused:
        records_of(small_study, "Kennung,Datum,Ort\n982000411223344,10.09.2019,1\n",
                   columns={"date": "Datum"})
    assert str(refused.value) == (
        "log.csv, line 1: a table of reader log needs columns that are missing: none stands for "
        "tag. Its columns are Kennung, Datum, Ort. Without it no row can be used. No row was read. "
        "Say under this table in the study which column it is, such as `columns: {tag: YOUR "
        "COLUMN}`, or one value for all rows, such as `fill: {tag: VALUE}`. If the names of the "
        "columns look wrong, state `header_row` or `delimiter`.")


def test_a_clock_that_ran_wrong_makes_no_visit_and_can_be_put_right(small_study):
    days = ["01.01.2000"] * 6 + ["02.01.2000"] * 2
    text = "".join(f"982000411223344;{day};10:00;1\n" for day in days)
    wrong = records_of(small_study, text, visits={"made_of_days": 3})
    assert set(codes(wrong).values()) == {"date-before-release"}
    assert len(wrong.visits) == 0
    assert ("log.csv: 8 rows are dated before the release of their animals or in the future; the "
            "clock of a reader may have run wrong. If the field sheet says by how many days, write "
            "`add_days` under this table in the study.") in wrong.notes
    right = records_of(small_study, text, add_days=7192)
    assert right.encounters["date"].dt.strftime("%Y-%m-%d").tolist() == ["2019-09-10"]
    assert right.encounters["visit"].tolist() == ["2019-09"]
    assert "log.csv: 7192 days were added to every date, as the study says." in right.notes


def test_a_detection_after_the_shell_was_found_is_set_aside(small_study):
    log = "982000411223344;17.08.2021;10:00;1\n"
    shell = "site,date,tag,status\nQuillstone Riffle,2019-09-12,982000411223344,shell\n"
    tables = [{"file": "releases.csv", "is": "releases"},
              {"file": "shells.csv", "is": "encounters"}, BY_NUMBER]
    records = read_records(read_study(small_study(
        {"log.csv": log, "shells.csv": shell, **TABLES}, tables=tables)))
    assert codes(records) == {1: "after-shell"}

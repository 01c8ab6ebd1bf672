"""Dates: read in the order stated, refused where two orders are possible."""

import datetime as dt

import pytest

from pva.errors import DataError
from pva.field import read_records, read_study
from pva.field.dates import read_date


@pytest.mark.parametrize("written, order, date", [
    ("2021-08-03", None, "2021-08-03"),
    ("2021/8/3", "day first", "2021-08-03"),
    ("2021-08-03 10:22:11", None, "2021-08-03"),
    ("2021-08-03T10:22:11Z", None, "2021-08-03"),
    ("31/08/2021", None, "2021-08-31"),
    ("08/31/2021", None, "2021-08-31"),
    ("03.08.2021", "day first", "2021-08-03"),
    ("03/08/2021", "month first", "2021-03-08"),
    ("3-8-21", "day first", "2021-08-03"),
    ("21/08/03", "year first", "2021-08-03"),
    ("08/08/2021", None, "2021-08-08"),
    ("3 Aug 2021", None, "2021-08-03"),
    ("03-Aug-21", None, "2021-08-03"),
    ("August 3, 2021", None, "2021-08-03"),
    ("3/8/98", "day first", "1998-08-03"),
    ("44411", None, "2021-08-03"),
    ("20210803", None, "2021-08-03"),
    ("3rd August 2021", None, "2021-08-03"),
    ("Sept 3, 2021", None, "2021-09-03"),
    ("31/12/98", None, "1998-12-31"),
])
def test_read(written, order, date):
    assert read_date(written, order).date == dt.date.fromisoformat(date)


def test_day_numbers_of_the_other_calendar():
    assert read_date("42949", base_1904=True).date == dt.date(2021, 8, 3)


@pytest.mark.parametrize("written, order, fault", [
    ("03/08/2021", None, "date-ambiguous"),
    ("31/02/2021", None, "date-impossible"),
    ("13/13/2021", None, "date-impossible"),
    ("08/31/2021", "day first", "date-impossible"),
    ("31 Foo 2021", None, "date-unreadable"),
    ("2021", None, "date-unreadable"),
    ("soon", None, "date-unreadable"),
    ("3 Marble 2021", None, "date-unreadable"),
    ("21/08/03", None, "date-ambiguous"),  # the year may stand first
    ("2921-08-03", None, "date-impossible"),
    ("0021-08-03", None, "date-impossible"),
])
def test_refused(written, order, fault):
    assert read_date(written, order).fault == fault


def test_order_is_asked_for_once_a_file(small_study):
    text = """\
site,date,tag,status
Quillstone Riffle,10/09/2019,982000411223344,alive
Quillstone Riffle,11/09/2019,982000987654321,alive
Quillstone Riffle,2019-09-12,982000987654321,heard
"""
    with pytest.raises(DataError) as refused:
        read_records(read_study(small_study({"encounters.csv": text})))
    assert str(refused.value) == (
        "encounters.csv: 2 of 3 dates in column date can be read in two ways: 10/09/2019 as "
        "2019-09-10 or as 2019-10-09. No row was read. Write `dates: day first` or `dates: month "
        "first` under this table in the study.")
    stated = {"encounters.csv": {"dates": "day first"}}
    records = read_records(read_study(small_study({"encounters.csv": text}, reading=stated)))
    assert list(records.encounters["date"].dt.day) == [10, 11]


def test_a_year_mistyped_makes_no_visit_of_its_own(small_study):
    text = """\
site,date,tag,status
Quillstone Riffle,2019-09-10,982000411223344,alive
Quillstone Riffle,2021-08-16,982000411223344,alive
Quillstone Riffle,2191-08-16,982000411223344,alive
"""
    records = read_records(read_study(small_study(
        {"encounters.csv": text}, visits={"made_of_days": 3})))
    assert records.account.set_aside[["file", "row", "code"]].values.tolist() == [
        ["encounters.csv", 4, "date-in-future"]]
    assert records.visits["visit"].tolist() == ["2019-09", "2021-08"]


def test_the_order_asked_for_comes_with_what_the_other_dates_say(small_study):
    days = ["10/09/2019"] + ["31/08/2021"] * 3 + ["08/31/2021"]
    text = "site,date,tag,status\n" + "".join(
        f"Quillstone Riffle,{day},982000411223344,alive\n" for day in days)
    with pytest.raises(DataError) as refused:
        read_records(read_study(small_study({"encounters.csv": text})))
    assert str(refused.value) == (
        "encounters.csv: 1 of 5 dates in column date can be read in two ways: 10/09/2019 as "
        "2019-09-10 or as 2019-10-09; 3 can only be day first and 1 can only be month first. No "
        "row was read. Write `dates: day first` or `dates: month first` under this table in the "
        "study.")

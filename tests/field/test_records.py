"""Records joined: animals, visits, repeated reads, lost tags, spreadsheets, fuzzed tables."""

import openpyxl
import pandas as pd
import pytest
from conftest import TABLES, write_study
from hypothesis import HealthCheck, Phase, given, settings
from hypothesis import strategies as st

from pva.errors import DataError
from pva.field import account_lines, read_records, read_study
from pva.field.records import COLUMNS
from pva.field.visits import visits_of_days


def encounters_of(study_folder):
    return read_records(read_study(study_folder)).encounters


def test_every_table_holds_the_columns_of_the_contract(small_study):
    records = read_records(read_study(small_study()))
    for kind, columns in COLUMNS.items():
        frame = getattr(records, kind)
        assert list(frame.columns[:len(columns) + 3]) == [*columns, "file", "row", "flags"]
    assert records.encounters["animal"].tolist() == [
        "982000411223344", "982000987654321", "A123", "982000411223344", None]
    assert records.encounters["visit"].tolist() == ["2019-09"] * 3 + ["2021-08"] * 2
    # an animal's species follows from its release; a unit without animals stays as a zero
    assert records.encounters["species"].tolist()[1] == "Lampsilis ficta"
    assert len(records.units) == 3 and len(records.animals) == 1


def test_tables_may_be_missing(tmp_path):
    folder = write_study(tmp_path, tables=[], visits=None)
    (folder / "study.yaml").write_text("title: A plan without data\n")
    records = read_records(read_study(folder))
    assert records.account.totals == {"in": 0, "used": 0, "flagged": 0, "set_aside": 0}
    for kind, columns in COLUMNS.items():
        assert list(getattr(records, kind).columns[:len(columns)]) == columns


def test_repeated_reads_become_one_record(small_study):
    rows = "".join(f"Quillstone Riffle,{day},982000987654321,,{status},{length},,,\n"
                   for day, status, length in [
                       ("2021-08-16", "heard", ""), ("2021-08-16", "heard", ""),
                       ("2021-08-16", "alive", ""), ("2021-08-17", "alive", "46.0"),
                       ("2021-08-18", "alive", "46.4"), ("2021-08-18", "alive", "46.4")])
    records = read_records(read_study(small_study(
        {"encounters.csv": TABLES["encounters.csv"] + rows})))
    met = records.encounters
    met = met[(met["animal"] == "982000987654321") & (met["visit"] == "2021-08")]
    # two lengths were measured; nothing else is worth a row of its own
    assert met["length_mm"].tolist() == [46.0, 46.4]
    assert met["reads"].tolist() == [5, 1]
    assert records.account.totals == {"in": 22, "used": 22, "flagged": 0, "set_aside": 0}
    assert ("4 repeated records of an animal in one visit, joined with the first; counted as used "
            "or flagged.") in records.notes


def test_a_lost_tag_is_known_by_the_second_mark(small_study):
    text = """\
site,date,tag,second_mark,status
Quillstone Riffle,2019-09-10,,G002,alive
Quillstone Riffle,2019-09-10,,G999,alive
"""
    assert encounters_of(small_study({"encounters.csv": text}))["animal"].tolist() == [
        "982000987654321", None]


def test_animals_marked_when_first_caught(small_study):
    text = """\
site,date,tag,species,status,length_mm
Quillstone Riffle,2019-09-10,K7,Lampsilis ficta,alive,50
Quillstone Riffle,2021-08-16,K7,Lampsilis ficta,alive,54
"""
    records = read_records(read_study(small_study(
        {"encounters.csv": text}, new_animals="marked at first capture")))
    first = records.releases[records.releases["source"] == "first capture"].iloc[0]
    assert (first["animal"], first["date"], first["length_mm"], first["number"]) == (
        "K7", pd.Timestamp(2019, 9, 10), 50.0, 1)
    assert records.encounters["animal"].tolist() == ["K7", "K7"]


def test_a_shell_is_not_followed_by_life_but_a_removal_ends_it(small_study):
    text = """\
site,date,tag,status
Quillstone Riffle,2019-09-10,982000411223344,alive
Quillstone Riffle,2019-09-10,982000411223344,removed
Quillstone Riffle,2021-08-16,982000987654321,shell
Quillstone Riffle,2021-08-18,982000987654321,shell
"""
    records = read_records(read_study(small_study({"encounters.csv": text})))
    assert records.encounters["status"].tolist() == ["alive", "removed", "shell"]
    assert records.account.totals["set_aside"] == 0


def test_days_become_visits():
    days = ["2021-08-03", "2021-08-11", "2021-08-12", "2022-09-20", "2022-09-21"]
    seen = pd.DataFrame({"site": "Tallow Bend", "date": pd.to_datetime([*days, days[0]]),
                         "effort_hours": [4.0, 4.5, 4.0, None, 4.0, 3.0]})
    visits = visits_of_days(seen, 8)
    assert visits["visit"].tolist() == ["2021-08", "2022-09"]
    assert visits["last_date"].dt.day.tolist() == [12, 21]
    assert visits["effort_hours"].tolist() == [12.5, 4.0]
    assert visits_of_days(seen, 7)["visit"].tolist() == ["2021-08-03", "2021-08-11", "2022-09"]


def test_columns_are_composed_and_words_and_units_mapped(small_study):
    text = """\
Colour tag,Number,Where,When,Seen,Shell (cm)
GC418GC418,C418,QR,10.09.2019,L,4.4
BC418C418,C418,qr,10.09.2019,FD,
"""
    reading = {"encounters.csv": {
        "dates": "day first",
        "columns": {"tag": {"join": [{"column": "Colour tag", "first": 1}, "Number"]},
                    "site": "Where", "date": "When", "status": "Seen",
                    "length_mm": {"column": "Shell (cm)", "unit": "cm"}},
        "values": {"status": {"L": "alive", "FD": "shell"}}}}
    releases = TABLES["releases.csv"] + (
        "GC418,Lampsilis ficta,QR,2018-09-18,40,hatchery,\n"
        "BC418,Lampsilis ficta,QR,2018-09-18,40,hatchery,\n")
    met = encounters_of(small_study(
        {"encounters.csv": text, "releases.csv": releases}, reading=reading))
    assert met["animal"].tolist() == ["GC418", "BC418"]
    assert met["status"].tolist() == ["alive", "shell"]
    assert met["length_mm"].tolist()[0] == 44.0
    assert met["site"].tolist() == ["Quillstone Riffle"] * 2


def test_a_spreadsheet_saved_with_commas_and_day_numbers_says_the_same(small_study):
    plain = encounters_of(small_study())
    lines = [line.split(",") for line in TABLES["encounters.csv"].splitlines()]
    for cells in lines[1:]:
        cells[1] = str((pd.Timestamp(cells[1]) - pd.Timestamp(1899, 12, 30)).days)
        cells[5:8] = [cell.replace(".", ",") for cell in cells[5:8]]
    text = "\ufeff" + "\r\n".join(";".join(cells) for cells in lines) + "\r\n"
    assert_same(encounters_of(small_study({"encounters.csv": text})), plain)


def test_a_workbook_with_a_title_and_true_dates_says_the_same(small_study, tmp_path):
    plain = encounters_of(small_study())
    book = openpyxl.Workbook()
    book.active.title = "notes"
    book.active["A1"] = "what the colours mean"
    page = book.create_sheet("2019 to 2021")
    page.append(["Recaptures, invented"])
    page.append([])
    for k, line in enumerate(TABLES["encounters.csv"].splitlines()):
        cells = line.split(",")
        if k:
            cells[1] = pd.Timestamp(cells[1]).to_pydatetime()
            cells[2] = int(cells[2]) if cells[2].isdigit() else cells[2]
            cells[5:8] = [float(cell) if cell else None for cell in cells[5:8]]
        page.append(cells)
    folder = small_study()
    book.save(folder / "encounters.xlsx")
    study = (folder / "study.yaml").read_text()
    study = study.replace("file: encounters.csv", "file: encounters.xlsx\n  sheet: 2019 to 2021")
    (folder / "study.yaml").write_text(study)
    met = encounters_of(folder)
    assert met["row"].tolist() == [row + 2 for row in plain["row"]]
    assert_same(met.assign(row=met["row"] - 2), plain.assign(file=met["file"]))


def assert_same(met, plain):
    pd.testing.assert_frame_equal(met, plain, check_exact=False, rtol=1e-12)


def test_a_table_must_say_whether_animals_were_alive(small_study):
    text = "site,date,tag\nQuillstone Riffle,2019-09-10,982000411223344\n"
    with pytest.raises(DataError) as refused:
        encounters_of(small_study({"encounters.csv": text}))
    assert str(refused.value) == (
        "encounters.csv: the table has no column that says whether an animal was alive, heard, a "
        "shell or removed. No row was read. Map it (`columns: {status: ...}`), or, when every row "
        "is a live animal, write `fill: {status: alive}` under this table in the study.")
    filled = {"encounters.csv": {"fill": {"status": "alive"}}}
    assert len(encounters_of(small_study({"encounters.csv": text}, reading=filled))) == 1


def test_the_account_in_words(small_study):
    text = TABLES["encounters.csv"] + "Quillstone Riffle,2021-08-17,982000987654321,,float,,,,\n"
    records = read_records(read_study(small_study({"encounters.csv": text})))
    lines = account_lines(records.account)
    assert lines[0] == "17 rows in = 16 used + 0 flagged + 1 set aside"
    assert lines[2] == ("encounters.csv (encounters): 6 rows in = 5 used + 0 flagged + 1 set aside")
    assert lines[-1] == (
        "set aside: 1 x status-unknown, such as: The status float is not known. Write alive, "
        "heard, shell or removed, or map this word under `values` in the study.")


# --- anything may stand in a cell --------------------------------------------------------------

TAGS = ["982000411223344", "982.000411223344", "982000987654321", "A123", "A132", "999000000000120",
        "9.8E+14", "982000555666777", ""]
ODD = ["", "-", "NA", "?", "0", "-1", "1e400", "5,5", "{value}", "=1+1", "é", "nan", "inf", "40 mm"]
CELLS = {
    "site": ["Quillstone Riffle", "QR", "Tallow Bend", "Nowhere"],
    "date": ["2019-09-10", "2019-09-11", "2021-08-17", "2018-01-01", "2021-02-30", "44424"],
    "tag": TAGS, "second_mark": ["G001", "G002", "982000987654321"],
    "species": ["Lampsilis ficta", "Elliptio ficta", "x"],
    "status": ["alive", "heard", "shell", "removed", "FD"],
    "length_mm": ["40", "4.0", "55.5", "12"], "latitude": ["0.4535", "-3.2675"],
    "longitude": ["-3.2675", "0.4535"], "remarks": ["dead", ""],
    "event": ["release", "encounter"], "visit": ["2019-09", "2021-08"], "number": ["1", "40"],
    "unit": ["Q1", "Q2", "q1"], "area_m2": ["0.25", "1"], "survey": ["2019", "2021"],
    "excavated": ["yes", "no"], "host": ["drum"], "count": ["3"], "effort": ["2"],
    "first_date": ["2019-09-10", "2021-08-16"], "last_date": ["2019-09-12", "2021-08-18"],
}
KIND_COLUMNS = {
    "releases": ["tag", "species", "site", "date", "length_mm", "second_mark", "number"],
    "visits": ["visit", "site", "first_date", "last_date"],
    "encounters": ["visit", "site", "date", "tag", "second_mark", "species", "status", "length_mm",
                   "latitude", "longitude", "remarks", "event"],
    "units": ["survey", "site", "date", "unit", "area_m2", "excavated"],
    "animals": ["survey", "site", "unit", "species", "length_mm", "status"],
    "hosts": ["date", "site", "host", "count", "effort"],
}


def table_text(kind):
    columns = KIND_COLUMNS[kind]
    cell = [st.sampled_from(CELLS[c] * 4 + ODD) for c in columns]
    rows = st.lists(st.tuples(*cell), min_size=0, max_size=12)
    quoted = rows.map(lambda found: [",".join(f'"{c}"' for c in row) for row in found])
    return quoted.map(lambda found: "\n".join([",".join(columns), *found]) + "\n")


# no shrinking: a failing example is small enough to read, and shrinking it takes minutes
@settings(max_examples=25, deadline=None, derandomize=True, database=None,
          phases=[Phase.generate],
          suppress_health_check=[HealthCheck.too_slow, HealthCheck.function_scoped_fixture])
@given(st.fixed_dictionaries({f"{kind}.csv": table_text(kind) for kind in KIND_COLUMNS}),
       st.sampled_from(["released with a tag", "marked at first capture"]),
       st.sampled_from([{"from": "visits.csv"}, {"made_of_days": 3}]))
def test_any_table_is_accounted_for(tmp_path, texts, new_animals, visits):
    study = read_study(write_study(tmp_path, texts, new_animals=new_animals, visits=visits))
    records = read_records(study)
    sums = records.account.tables.set_index("is")
    assert (sums["in"] == sums["used"] + sums["flagged"] + sums["set_aside"]).all()
    for kind, sum_ in sums.iterrows():
        filled = [line for line in texts[f"{kind}.csv"].splitlines()[1:] if line.strip('",')]
        assert sum_["in"] == len(filled)
        frame = getattr(records, kind)
        here = frame[frame["file"] == sum_["file"]]
        # every row that is not set aside is in its table, or stands behind a record that is
        rows = here["reads"].sum() if kind == "encounters" else len(here)
        assert rows == sum_["used"] + sum_["flagged"]
        assert (here["flags"] != "").sum() <= sum_["flagged"]
    assert records.account.set_aside["sentence"].str.len().gt(20).all()
    assert records.encounters["visit"].notna().all()

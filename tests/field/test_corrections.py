"""Rows corrected by a person are read in place of the old ones; decisions are kept with a name."""

import csv

import pytest
from conftest import TABLES

from pva.errors import DataError
from pva.field import read_records, read_study, write_set_aside

SLIP = TABLES["encounters.csv"] + "Quillstone Riffle,2021-08-18,982000987654312,,alive,45,,,\n"


def set_aside_lines(folder):
    path = write_set_aside(read_records(read_study(folder)).account, folder / "estimates")
    with path.open(encoding="utf-8", newline="") as handle:
        return list(csv.DictReader(handle))


def write_lines(path, lines):
    with path.open("w", encoding="utf-8", newline="") as handle:
        writer = csv.DictWriter(handle, lines[0].keys())
        writer.writeheader()
        writer.writerows(lines)


def corrected_study(small_study, change):
    folder = small_study({"encounters.csv": SLIP})
    lines = set_aside_lines(folder)
    for line in lines:
        change(line)
    folder = small_study({"encounters.csv": SLIP, "corrected.csv": ""}, corrected="corrected.csv")
    write_lines(folder / "corrected.csv", lines)
    return folder


def test_set_aside_holds_the_whole_row(small_study):
    (line,) = set_aside_lines(small_study({"encounters.csv": SLIP}))
    assert (line["file"], line["row"], line["code"]) == ("encounters.csv", "7", "tag-unknown")
    assert (line["site"], line["date"], line["length_mm"]) == (
        "Quillstone Riffle", "2021-08-18", "45")


def test_a_corrected_row_is_read_in_place(small_study):
    folder = corrected_study(small_study, lambda line: line.update(tag="982000987654321"))
    records = read_records(read_study(folder))
    assert records.account.totals == {"in": 17, "used": 17, "flagged": 0, "set_aside": 0}
    last = records.encounters.iloc[-1]
    assert (last["animal"], last["row"], last["file"]) == ("982000987654321", 7, "encounters.csv")


def test_a_correction_of_a_table_that_has_changed_is_refused(small_study):
    folder = corrected_study(small_study, lambda line: line.update(tag="982000987654321"))
    (folder / "encounters.csv").write_text(SLIP.replace("982000987654312", "982000987654399"))
    with pytest.raises(DataError) as refused:
        read_records(read_study(folder))
    assert str(refused.value) == (
        "corrected.csv, line 2: row 7 of encounters.csv no longer holds `982000987654312` in "
        "column tag; the table has changed since. Run the estimates again without this "
        "correction, then correct the new set_aside.csv.")


def test_a_correction_of_no_row_is_refused(small_study):
    folder = corrected_study(small_study, lambda line: line.update(row="99"))
    with pytest.raises(DataError) as refused:
        read_records(read_study(folder))
    assert str(refused.value) == ("corrected.csv, line 2: there is no row 99 in encounters.csv. "
                                  "Correct the columns `file` and `row`.")


DROP = TABLES["encounters.csv"] + "Quillstone Riffle,2021-08-18,982000987654321,,alive,4.1,,,\n"
HEAD = "row,decision,who,date,why\n"


def decided(small_study, line):
    folder = small_study({"encounters.csv": DROP, "accepted.csv": HEAD + line},
                         accepted="accepted.csv")
    return read_records(read_study(folder))


def test_an_accepted_row_is_used_as_it_is(small_study):
    line = "encounters.csv row 7,use,R. Example,2022-01-10,measured twice\n"
    records = decided(small_study, line)
    assert records.account.totals["flagged"] == 0
    assert records.encounters["length_mm"].iloc[-1] == 4.1


@pytest.mark.parametrize("line, said", [
    ("encounters.csv row 7,keep,R. Example,2022-01-10,why not\n",
     "accepted.csv, line 2: there is no decision `keep`. Write use or leave out."),
    ("encounters.csv row 7,use,,2022-01-10,\n",
     "accepted.csv, line 2: a decision needs who, date and why. Fill them in."),
    ("somewhere,use,R. Example,2022-01-10,why\n",
     "accepted.csv, line 2: `somewhere` names no row. Write: FILE row NUMBER."),
    ("encounters.csv row 70,use,R. Example,2022-01-10,why\n",
     "accepted.csv: there is no row 70 in encounters.csv. Correct the column `row`."),
])
def test_unclear_decisions_are_refused(small_study, line, said):
    with pytest.raises(DataError) as refused:
        decided(small_study, line)
    assert str(refused.value) == said


def test_formulas_in_a_row_set_aside_cannot_run_and_come_back_as_written(small_study):
    """Remarks and tags from people are opened in a spreadsheet, corrected and read again."""
    slip = TABLES["encounters.csv"].replace("remarks", "=remarks") + (
        'Quillstone Riffle,2021-08-18,982000987654312,,alive,45,,,"=HYPERLINK(""x"")"\n'
        "Quillstone Riffle,2021-08-18,-98,,alive,-45.5,,,'+1 mm\n")
    reading = {"encounters.csv": {"columns": {"remarks": "=remarks"}}}
    folder = small_study({"encounters.csv": slip}, reading=reading)
    lines = set_aside_lines(folder)
    assert [line["'=remarks"] for line in lines] == ["'=HYPERLINK(\"x\")", "''+1 mm"]
    assert [line["length_mm"] for line in lines] == ["45", "-45.5"]
    lines[0].update(tag="982000987654321")
    lines[1].update(tag="982000411223344", length_mm="45")
    small_study({"encounters.csv": slip, "corrected.csv": ""}, reading=reading,
                corrected="corrected.csv")
    write_lines(folder / "corrected.csv", lines)
    remarks = read_records(read_study(folder)).encounters["remarks"].tolist()
    assert '=HYPERLINK("x")' in remarks and "'+1 mm" in remarks

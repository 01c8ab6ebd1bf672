"""What crews really write: read as they mean it, or asked about; never taken silently."""

import csv

import pytest
from conftest import TABLES

from pva.cli.checking import numbers_in_words, row_lines
from pva.field import read_records, read_study, write_flagged
from pva.field.tags import read_tag

ONE = "982000411223344"


def read_of(small_study, texts, **keys):
    return read_records(read_study(small_study(texts, **keys)))


def sentences(records):
    account = records.account
    return [*account.set_aside["sentence"], *account.flagged["sentence"]]


@pytest.mark.parametrize("written", ["982-000411223344", "982000-411223344", "982-000-411-223-344",
                                     "982.000.411.223.344", "982,000,411,223,344"])
def test_a_tag_in_groups_is_the_same_tag(written):
    assert read_tag(written).name == ONE


@pytest.mark.parametrize("written", ["98200041122334.5", "982000411223.344", "982.000411.223344",
                                     "98200041122-3344-5"])
def test_other_numbers_of_fifteen_digits_are_no_tag(written):
    assert read_tag(written).name != ONE


def test_words_for_no_tag_leave_an_animal_without_a_tag_and_unstocked(small_study):
    records = read_of(small_study, {
        "encounters.csv": TABLES["encounters.csv"] + "QR,2021-08-17,no tag,,alive,19.0,,,\n"
                                                     "QR,2021-08-17,None,,alive,20.0,,,\n",
        "animals.csv": "survey,site,unit,species,length_mm,status,tag\n"
                       "2019,QR,Q1,Lampsilis ficta,17.0,alive,untagged\n"
                       "2019,QR,Q1,Lampsilis ficta,47.0,alive,98200041122\n"})
    assert records.encounters["animal"].isna().sum() == 3
    assert [None if t != t else t for t in records.animals["tag"]] == [None, "98200041122"]
    assert ("encounters.csv: 2 rows that say in words that there was no tag, read as animals "
            "without a tag.") in records.notes


@pytest.mark.parametrize("remarks, told", [
    ("DOA", True), ("found as valves", True), ("carcass", True), ("deceased?", True),
    ("not dead", False), ("in shade", False), ("road above", False)])
def test_remarks_that_speak_of_death_are_asked_about(small_study, remarks, told):
    records = read_of(small_study, {"encounters.csv": TABLES["encounters.csv"].replace(
        "in shade", remarks)})
    assert ("dead-only-in-remarks" in list(records.account.flagged["code"])) == told


def test_a_release_refused_for_its_tag_is_named_where_the_tag_is_missed(small_study):
    slip = TABLES["releases.csv"].replace(ONE, "98200041122334").replace(
        "982000987654321", "9.82000987E+14")
    records = read_of(small_study, {"releases.csv": slip})
    said = [s for s in sentences(records) if "never released" in s]
    assert said[0] == (
        "Tag 982000411223344 was never released. The release in row 2 of releases.csv, set aside, "
        "may be meant: it bears 98200041122334; correct it first. Compare with the field sheet; "
        "correct the tag or add the missing release.")
    assert "row 3 of releases.csv, set aside, may be meant: it bears 9.82000987E+14;" in said[1]


def test_a_lone_record_makes_no_visit_unseen(small_study):
    rows = "".join(f"QR,2021-08-{day},,Lampsilis ficta,alive,{40 + i},,,\n"
                   for day in (16, 17) for i in range(4))
    rows += "".join(f"Tallow Bend,2020-07-01,,Elliptio ficta,alive,{40 + i},,,\n" for i in range(6))
    rows += "".join(f"QR,2019-09-11,,Elliptio ficta,alive,{40 + i},,,\n" for i in range(6))
    text = TABLES["encounters.csv"] + rows
    records = read_of(small_study, {"encounters.csv": text}, visits={"made_of_days": 3})
    assert ("Visits that rest on a single record: Tallow Bend on 2019-09-13 (row 4 of "
            "encounters.csv). A date mistyped makes a visit of its own, at which every other "
            "animal counts as missed; compare with the field sheet.") in records.notes
    few = read_of(small_study, {}, visits={"made_of_days": 3})
    assert not any("single record" in note for note in few.notes)


def test_a_number_of_animals_that_cannot_be_read_is_not_one_animal(small_study):
    head = "survey,site,unit,species,length_mm,status,number\n"
    records = read_of(small_study, {"animals.csv": head + "".join(
        f"2019,QR,Q1,Lampsilis ficta,47.0,alive,{number}\n" for number in ("2", "two", "-1", ""))})
    assert records.animals["number"].tolist() == [2, 1]
    assert list(records.account.set_aside["code"]) == ["number-unreadable"] * 2


def test_areas_that_differ_by_design_are_not_asked_about(small_study):
    head = "survey,site,date,unit,area_m2\n"
    areas = [0.25] * 8 + [10] * 4
    records = read_of(small_study, {"units.csv": head + "".join(
        f"2019,QR,2019-09-11,Q{i},{area}\n" for i, area in enumerate(areas, 1))})
    assert sentences(records) == []


def test_the_same_sentence_is_said_once_for_all_its_rows():
    def row(number, sentence, code="x", column="Dug"):
        return {"file": "u.csv", "row": number, "column": column, "code": code,
                "sentence": sentence}

    follows = "tag-of-a-release-set-aside"
    rows = [row(2, "Ja."), row(3, "Ja."), row(4, "No.", column=""), row(5, "Ja."),
            *[row(10 + i, f"Tag {i}.", follows, "column 3") for i in range(6)]]
    assert row_lines(rows) == [
        "u.csv, rows 2 to 3 and 5, column Dug: Ja.", "u.csv, row 4: No.",
        "u.csv, row 10, column 3: Tag 0.", "u.csv, row 11, column 3: Tag 1.",
        "u.csv, row 12, column 3: Tag 2.",
        "u.csv, rows 13 to 15, column 3: These tags, too, were released in rows that were set "
        "aside. Correct the releases and read again."]
    assert numbers_in_words(list(range(1, 40, 2))) == (
        "20 rows (1, 3, 5, 7, 9, 11, 13, 15 and others up to 39)")


def test_a_flagged_row_is_corrected_like_one_set_aside(small_study):
    slip = TABLES["encounters.csv"].replace("44.5", "4.45").replace("0.4535,-3.2675",
                                                                    "-3.2675,0.4535")
    path = write_flagged(read_of(small_study, {"encounters.csv": slip}).account,
                         small_study({}) / "estimates")
    with path.open(encoding="utf-8", newline="") as handle:
        (line,) = csv.DictReader(handle)
    assert line["code"] == "position-swapped length-in-centimetres"
    line |= {"length_mm": "44.5", "latitude": "0.4535", "longitude": "-3.2675"}
    folder = small_study({"encounters.csv": slip, "corrected.csv": ""}, corrected="corrected.csv")
    with (folder / "corrected.csv").open("w", encoding="utf-8", newline="") as handle:
        writer = csv.DictWriter(handle, line.keys())
        writer.writeheader()
        writer.writerow(line)
    records = read_records(read_study(folder))
    assert records.account.totals == {"in": 16, "used": 16, "flagged": 0, "set_aside": 0}
    assert records.encounters["length_mm"].iloc[0] == 44.5


def test_units_without_a_table_of_animals_are_not_blank_unsaid(small_study):
    keys = {"tables": [{"file": "releases.csv", "is": "releases"},
                       {"file": "encounters.csv", "is": "encounters"},
                       {"file": "units.csv", "is": "units"}]}
    units = ("survey,site,date,unit,area_m2,transect,mussels,observer\n"
             "2019,QR,2019-09-11,Q1,0.25,1,0,AB\n2019,QR,2019-09-11,Q2,0.25,2,3,CD\n")
    records = read_of(small_study, {"units.csv": units}, **keys)
    assert ("No table of the study lists the animals found in the units dug, so no density can be "
            "told. mussels of units.csv may hold counts of animals; they were not read. Add a "
            "table with `is: animals`, one row an animal, or one a size class with their `number`; "
            "its header alone where none were found.") in records.notes
    assert not any("lists the animals" in note for note in read_of(small_study, {}).notes)

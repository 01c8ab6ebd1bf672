"""Batch marks in the crew's words, and positions in the forms of field sheets and readers."""

import numpy as np
import pytest

from pva.field import read_records, read_study
from pva.field.positions import angle


def animals_with(small_study, cells, **reading):
    text = "survey,site,unit,species,length_mm,Paint\n" + "".join(
        f"2019,Quillstone Riffle,Q1,Lampsilis ficta,20,{cell}\n" for cell in cells)
    how = {"animals.csv": {"columns": {"batch_mark": "Paint"}, **reading}}
    return read_records(read_study(small_study({"animals.csv": text}, reading=how)))


def test_a_mark_is_present_absent_or_was_not_checked(small_study):
    records = animals_with(small_study, ["present", "Yes", "absent", "No mark", "unmarked", "none",
                                         "not checked", "?", "Orange  dot", ""])
    assert records.animals["batch_mark"].tolist() == [
        "present", "present", None, None, None, None, "not checked", "not checked", "Orange dot",
        None]
    assert [note for note in records.notes if "batch mark" in note] == [
        "animals.csv: 2 animals whose batch mark was not checked, counted neither as marked nor as "
        "unmarked.",
        "animals.csv: 1 row with a blank batch mark where others say that there was none; blanks "
        "were read as no mark. If nobody looked, write `fill: {batch_mark: not checked}` under "
        "this table in the study."]


def test_words_of_the_crew_are_mapped_in_the_study(small_study):
    words = {"J": "present", "X": "absent", "U": "not checked"}
    records = animals_with(small_study, ["J", "X", "U", ""], fill={"batch_mark": "not checked"},
                           values={"batch_mark": words})
    assert records.animals["batch_mark"].tolist() == ["present", None, "not checked", "not checked"]


@pytest.mark.parametrize("written, degrees", [
    ("0.4535", 0.4535), ("0.4535 N", 0.4535), ("3.2675W", -3.2675), ("W 3.2675", -3.2675),
    ("3°16'03\"W", -3.2675), ("3 16 3 W", -3.2675), ("3° 16.05' S", -3.2675), ("-3 16 3", -3.2675),
    ("0,4535 N", 0.4535), ("0° 27' 12.6\"", 0.4535),
])
def test_angles(written, degrees):
    assert angle(written) == pytest.approx(degrees, abs=1e-9)


@pytest.mark.parametrize("written", ["", "N 3 S", "3 75 N", "bridge", "1202W5", "3 16 03 04"])
def test_what_is_no_angle(written):
    assert np.isinf(angle(written))


def test_degrees_and_minutes_stand_for_the_same_place(small_study):
    text = ("site,date,tag,status,latitude,longitude\n"
            "Quillstone Riffle,2019-09-10,982000411223344,alive,"
            "0°27'12.6\"\"N,3°16'03\"\"W\n").replace('""', '"')
    records = read_records(read_study(small_study({"encounters.csv": text})))
    assert records.account.totals["flagged"] == 0
    assert records.encounters[["latitude", "longitude"]].values[0] == pytest.approx(
        [0.4535, -3.2675])


def test_no_sentence_and_no_note_holds_a_position(small_study):
    text = """\
site,date,tag,status,latitude,longitude,datum
Quillstone Riffle,2019-09-10,982000411223344,alive,-3.2675,0.4535,
Quillstone Riffle,2019-09-11,982000411223344,alive,0.4535,3.2675,
Quillstone Riffle,2019-09-11,982000411223344,alive,1.4535,-3.2675,
Quillstone Riffle,2019-09-11,982000411223344,alive,0.4535,,
Quillstone Riffle,2019-09-11,982000411223344,alive,0.4535x,-3.2675,
Quillstone Riffle,2019-09-11,982000411223344,alive,0.4535,-3.2675,NAD27
"""
    records = read_records(read_study(small_study({"encounters.csv": text})))
    flagged = records.account.flagged
    assert flagged["code"].tolist() == [
        "position-swapped", "position-sign", "position-far", "position-half",
        "position-unreadable", "position-datum"]
    for said in [*flagged["sentence"], *records.notes]:
        assert "4535" not in said and "2675" not in said
    # but the person who corrects the row finds it whole
    assert flagged[["latitude", "longitude"]].iloc[0].tolist() == ["-3.2675", "0.4535"]
    assert records.encounters["latitude"].isna().all()

"""study.yaml: what is wrong with it is said with file and line, all of a pass together."""

import pytest

from pva.errors import FormError, MeaningError
from pva.field import read_study


def refused(folder, text, error):
    folder.mkdir(exist_ok=True)
    (folder / "study.yaml").write_text(text, encoding="utf-8")
    with pytest.raises(error) as raised:
        read_study(folder)
    return [str(p).replace(str(folder / "study.yaml"), "study.yaml") for p in raised.value.problems]


def test_a_study_is_a_folder_or_its_file(small_study):
    folder = small_study()
    assert read_study(folder).path == read_study(folder / "study.yaml").path
    study = read_study(folder)
    assert study.title == "Small invented study"
    assert study.spec.growth.season == [4, 10] and study.spec.survival.release == "separate"


def test_form(tmp_path):
    said = refused(tmp_path, """\
titel: Hesperwell
sites:
  - {name: Quillstone Riffle, area: 6800}
  - {name: Tallow Bend, area_m2: -3}
tables:
  - {file: a.csv, is: encounter}
  - {file: a.csv, is: units, dates: dmy}
growth: {season: [4]}
""", FormError)
    assert said == [
        "study.yaml, line 1, column 1: the key `title` is missing. Write it.",
        "study.yaml, line 1, column 1: there is no key `titel` here. Did you mean `title`?",
        "study.yaml, line 3, column 31: there is no key `area` here. Did you mean `area_m2`?",
        "study.yaml, line 4, column 25: `sites.1.area_m2` cannot be -3: input should be greater "
        "than 0. Correct the value.",
        "study.yaml, line 6, column 19: `tables.0.is` cannot be 'encounter': input should be "
        "'releases', 'visits', 'encounters', 'reader log', 'units', 'animals' or 'hosts'. Correct "
        "the value.",
        "study.yaml, line 7, column 30: `tables.1.dates` cannot be 'dmy': input should be 'day "
        "first', 'month first' or 'year first'. Correct the value.",
        "study.yaml, line 8, column 10: `growth.season` cannot be [4]: list should have at least 2 "
        "items after validation, not 1. Correct the value.",
    ]


def test_meaning(tmp_path):
    (tmp_path / "a.csv").write_text("tag\n")
    said = refused(tmp_path, """\
title: Hesperwell
species: [Lampsilis ficta]
sites:
  - {name: Quillstone Riffle}
  - {name: quillstone riffle, corners: [[-120, 0.4], [0.5, 3]]}
tables:
  - file: a.csv
    is: encounters
    columns: {tagg: PIT, tag: {between: x}}
    values: {status: {FD: deceased}}
  - {file: b.csv, is: units}
corrected: c.csv
survival: {differs_by: [sites]}
growth: {season: [4, 13]}
stages: [{name: adult, length_mm: [90, 50]}]
""", MeaningError)
    assert said == [
        "study.yaml, line 5, column 6: the site name `quillstone riffle` is used twice. Give every "
        "site its own names.",
        "study.yaml, line 5, column 41: a corner of `quillstone riffle` lies nowhere on "
        "earth. Write latitude first, then longitude, in decimal degrees.",
        "study.yaml, line 9, column 15: a table of encounters has no `tagg`. Did you mean `tag`?",
        "study.yaml, line 10, column 23: `deceased` is no status of this study. Allowed are alive, "
        "heard, shell, removed.",
        "study.yaml, line 9, column 26: `tag` names no column, or a column and a `join`. Write "
        "either `column` or `join`.",
        "study.yaml, line 11, column 6: there is no file `b.csv`. Check the name; paths start at "
        "the folder of the study.",
        "study.yaml, line 1, column 1: the study does not say what a visit is. Write `visits: "
        "{from: FILE}` with the days of every visit, or `visits: {made_of_days: 3}` to join days "
        "that lie close together.",
        "study.yaml, line 12, column 1: there is no file `c.csv`. Make it, or remove `corrected`.",
        "study.yaml, line 13, column 25: survival cannot differ by `sites`. Did you mean `site`?",
        "study.yaml, line 14, column 10: months run from 1 to 12. Correct the season.",
        "study.yaml, line 15, column 24: the stage `adult` ends before it begins. Write the "
        "smaller length first.",
    ]


def test_no_study(tmp_path):
    with pytest.raises(FormError) as raised:
        read_study(tmp_path / "nowhere.yaml")
    assert str(raised.value) == (f"{tmp_path / 'nowhere.yaml'}: there is no such file. Check the "
                                 "name and the folder.")

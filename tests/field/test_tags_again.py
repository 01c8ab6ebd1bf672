"""Tags that could stand for two animals: used again after a find, or one slip apart."""

import numpy as np
import pandas as pd
import pytest
from conftest import TABLES

from pva.errors import DataError, MeaningError
from pva.field import read_records, read_study
from pva.field.tags import one_slip_away
from pva.field.twins import near_twins

TAG = "982000411223344"
AGAIN = TABLES["releases.csv"] + (
    "3D6.001882C530,Lampsilis ficta,Quillstone Riffle,2019-09-12,31,hatchery,\n")
MET = """\
site,date,tag,status,length_mm
Quillstone Riffle,2019-09-10,982000411223344,alive,44
Quillstone Riffle,2019-09-12,982.000411223344,shell,
Quillstone Riffle,2021-08-17,982000411223344,alive,36
"""


def test_without_a_word_the_second_release_and_what_follows_are_set_aside(small_study):
    records = read_records(read_study(small_study({"releases.csv": AGAIN, "encounters.csv": MET})))
    listed = records.account.set_aside[["file", "row", "code"]].values.tolist()
    assert listed == [["releases.csv", 5, "tag-released-twice"],
                      ["encounters.csv", 4, "after-shell"]]


def test_a_tag_used_again_is_another_animal_from_that_day_on(small_study):
    records = read_records(read_study(small_study(
        {"releases.csv": AGAIN, "encounters.csv": MET},
        tags={"used_again": [{"tag": "982.000411223344", "from": "2019-09-12"}]})))
    assert len(records.account.set_aside) == len(records.account.flagged) == 0
    second = f"{TAG} from 2019-09-12"
    met = records.encounters
    # the shell found on the very day is that of the first animal
    assert met["animal"].tolist() == [TAG, TAG, second]
    assert met["tag"].tolist() == [TAG] * 3
    assert met["status"].tolist() == ["alive", "shell", "alive"]
    released = records.releases.set_index("animal")
    assert released.loc[[TAG, second], "length_mm"].tolist() == [36.0, 31.0]
    assert released.loc[second, "tag"] == TAG


def test_a_tag_used_again_by_no_animal_is_asked_about(small_study):
    folder = small_study({"encounters.csv": MET},
                         tags={"used_again": [{"tag": TAG, "from": "2019-09-12"}]})
    with pytest.raises(DataError) as refused:
        read_records(read_study(folder))
    assert str(refused.value).endswith(
        f"tag {TAG} is said to be on another animal from 2019-09-12 on, but no row says that an "
        "animal was released with it on that day or later. Add the release of the second animal, "
        "or correct the tag or the day.")
    folder = small_study(tags={"used_again": [{"tag": "98200041122334", "from": "soon"}]})
    with pytest.raises(MeaningError) as refused:
        read_study(folder)
    assert [str(p).split(": ", 1)[1] for p in refused.value.problems] == [
        "98200041122334 is no tag. Write the whole number between quotation marks.",
        "soon is no day. Write it as year-month-day."]


def test_near_twins_are_found_as_by_trying_every_slip():
    rng = np.random.default_rng(5)
    tags = {f"982{n:012d}" for n in 411_223_000 + rng.integers(0, 40_000, 60)}
    tags |= {"982000411223344", "982000411223434", "982000987654321", "A123", "A124"}
    iso = sorted(t for t in tags if len(t) == 15)
    tried = {tuple(sorted((tag, near))) for tag in iso for near in one_slip_away(tag, set(iso))}
    found = near_twins(sorted(tags))
    assert ("982000411223344", "982000411223434") in found
    assert set(found) == tried and len(found) == len(set(found))


def test_near_twins_are_listed_at_release(small_study):
    text = TABLES["releases.csv"] + (
        "982000411223354,Lampsilis ficta,Quillstone Riffle,2018-09-18,36.0,hatchery,\n")
    records = read_records(read_study(small_study({"releases.csv": text})))
    about = "(Quillstone Riffle, Lampsilis ficta, 36 mm)"
    assert records.notes == [
        f"Released tags one slip apart: 982000411223344 {about} and 982000411223354 {about}. A "
        "slip between them cannot be noticed; look whether one animal was entered twice."]
    assert records.account.totals["flagged"] == 0
    assert isinstance(records.releases, pd.DataFrame)

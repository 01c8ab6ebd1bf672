"""Real records: tagged mussels of the Sabine River, whose tags changed their form in 2022.

The counts expected were found by reading the table itself: animals that recur are 461 when a tag is
the colour letter and the first printed number, and 197 when the identity column is taken as it is.
"""

from pathlib import Path

import pytest

from pva.field import read_records, read_study

HERE = Path(__file__).parent / "texas"
DATA = Path(__file__).parents[3] / "shared" / "data" / "texas_river_mussels" / "captures.csv"

pytestmark = pytest.mark.skipif(
    not DATA.is_file(), reason="the river data are not part of the project and not beside it")


def read_with(tmp_path, **replaced):
    text = (HERE / "study.yaml").read_text(encoding="utf-8")
    for old, new in replaced.values():
        assert old in text
        text = text.replace(old, new)
    (tmp_path / "study.yaml").write_text(text, encoding="utf-8")
    (tmp_path / "field").mkdir()
    (tmp_path / "field" / "captures.csv").write_bytes(DATA.read_bytes())
    return read_records(read_study(tmp_path))


def animals_seen_again(records):
    alive = records.encounters[records.encounters["status"] != "shell"]
    return int((alive.groupby("animal")["visit"].nunique() > 1).sum())


def test_days_become_three_visits_a_site_and_tags_become_animals(tmp_path):
    records = read_with(tmp_path)
    assert records.visits.groupby("site")["visit"].apply(list).tolist() == [
        ["2020-09", "2021-08", "2022-09"]] * 4
    summer = records.visits[records.visits["visit"] == "2021-08"]
    assert summer["first_date"].dt.day.unique().tolist() == [3]
    assert summer["last_date"].dt.day.unique().tolist() == [12]
    assert animals_seen_again(records) == 461


def test_the_account_shows_what_is_wrong_with_the_tags(tmp_path):
    records = read_with(tmp_path)
    totals = records.account.totals
    assert totals["in"] == 3194
    assert totals["used"] + totals["flagged"] + totals["set_aside"] == 3194
    assert records.encounters["reads"].sum() == totals["used"] + totals["flagged"]
    notes = "\n".join(records.notes)
    assert "68 animals (tags) stand on two species" in notes
    assert "31 tags were issued twice" in notes
    # 43 rows have no species anywhere: three of them are shells of animals never seen alive
    reasons = records.account.reasons.set_index("code")["rows"]
    assert reasons["species-missing"] + reasons["shell-of-unknown-animal"] == 43


def test_the_identity_column_taken_as_it_is_loses_most_recaptures(tmp_path):
    records = read_with(tmp_path, tag=(
        "tag: {join: [{column: hallprint_id, first: 1}, hallprint1]}", "tag: hallprint_id"))
    assert animals_seen_again(records) == 197


def test_a_narrower_gap_splits_the_august_visit(tmp_path):
    records = read_with(tmp_path, visits=("made_of_days: 8", "made_of_days: 7"))
    assert set(records.visits["visit"]) == {"2020-09", "2021-08-03", "2021-08-11", "2022-09"}

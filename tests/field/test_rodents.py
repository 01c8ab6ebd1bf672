"""Real records: kangaroo rats with tags, some 20 years of monthly trapping.

Counts expected were found by reading the tables themselves.
"""

import sys
from pathlib import Path

import pytest

from pva.field import read_records, read_study

sys.path.insert(0, str(Path(__file__).parent / "rodents"))
from beside import ABSENT, put_together, there  # noqa: E402

pytestmark = pytest.mark.skipif(not there(), reason=ABSENT)


def test_every_row_is_accounted_for(tmp_path):
    records = read_records(read_study(put_together(tmp_path)))
    assert records.account.totals == {"in": 4386, "used": 4374, "flagged": 0, "set_aside": 12}
    # captures of days outside the planned periods
    assert records.account.reasons.set_index("code")["rows"].to_dict() == {"outside-visits": 12}
    assert records.releases["animal"].nunique() == 1023
    assert len(records.encounters) == 4102
    assert any(note.startswith("18 repeated records") for note in records.notes)


def test_visits_without_a_capture_are_only_known_from_the_list(tmp_path):
    (tmp_path / "a").mkdir()
    (tmp_path / "b").mkdir()
    listed = read_records(read_study(put_together(tmp_path / "a")))
    made = read_records(read_study(put_together(tmp_path / "b", listed=False)))
    empty = set(listed.visits["visit"]) - set(listed.encounters["visit"])
    assert len(listed.visits) == 254 and len(empty) == 57
    assert len(made.visits) < 205
    assert ("Visits were made of the days on which something was recorded; a day on which nothing "
            "was found leaves no trace.") in made.notes

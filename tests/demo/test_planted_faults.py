"""Every mistake planted in the demo tables is found where it stands, and no good row is refused."""

from __future__ import annotations

from pathlib import Path

import pandas as pd
import pytest

from pva.field import read_records, read_study
from pva.field.records import COLUMNS

STUDY = Path(__file__).parents[2] / "scenarios" / "hesperwell"


@pytest.fixture(scope="module")
def records():
    return read_records(read_study(STUDY))


@pytest.fixture(scope="module")
def planted():
    """Planted faults by (table as the account names it, row)."""
    faults = pd.read_csv(STUDY / "made_by/planted_faults.csv", dtype=str, keep_default_na=False)
    table = [f"{f} [{s}]" if s else f for f, s in zip(faults["file"], faults["sheet"], strict=True)]
    return faults.assign(table=table, row=faults["row"].astype(int)).set_index(["table", "row"])


def told(account, effect: str) -> dict[tuple[str, int], set[str]]:
    """Reason codes by (table, row)."""
    rows = account.set_aside if effect == "set aside" else account.flagged
    found: dict[tuple[str, int], set[str]] = {}
    for file, row, code in zip(rows["file"], rows["row"], rows["code"], strict=True):
        found.setdefault((file, int(row)), set()).add(code)
    return found


@pytest.mark.parametrize("effect", ["set aside", "flagged"])
def test_exactly_the_planted_rows_are_told(records, planted, effect):
    found = told(records.account, effect)
    expected = planted[planted["expected"] == effect]
    assert set(found) == set(expected.index), "a fault missed, or a good row under suspicion"
    for place, code in expected["code"].items():
        assert found[place] & set(code.split(" or ")), (place, code, found[place])


def test_repeated_reads_are_joined_into_one(records, planted):
    repeats = planted[planted["expected"] == "collapsed"]
    assert len(repeats) == 4
    assert any(note.startswith("4 repeated records") for note in records.notes), records.notes
    met = records.encounters.dropna(subset=["animal"])
    assert not met.duplicated(["animal", "visit"]).any()


def test_rows_add_up(records):
    tables, totals = records.account.tables, records.account.totals
    lost = tables["in"] - tables["used"] - tables["flagged"] - tables["set_aside"]
    assert (lost == 0).all()
    assert totals["in"] > 8000
    assert totals["in"] == totals["used"] + totals["flagged"] + totals["set_aside"]


def test_advice_names_the_released_tag_one_slip_away(records, planted):
    rows = records.account.set_aside
    unknown = rows[rows["code"] == "tag-unknown"]
    assert len(unknown) == 8
    for file, row, sentence in zip(unknown["file"], unknown["row"], unknown["sentence"],
                                   strict=True):  # fmt: skip
        right = planted.loc[(file, int(row)), "planted"].split(" written as ")[0]
        assert f"One slip away: {right} " in sentence


def test_tables_are_whole_and_animals_keep_one_name(records):
    for table, columns in COLUMNS.items():
        assert set(columns) <= set(getattr(records, table)), table
    released = records.releases.dropna(subset=["animal"])
    assert released["animal"].is_unique
    assert set(records.encounters["animal"].dropna()) <= set(released["animal"])
    assert records.encounters["status"].isin(["alive", "heard", "shell", "removed"]).all()
    blanks = ~records.units["unit"].isin(records.animals["unit"])
    assert blanks.mean() > 0.7

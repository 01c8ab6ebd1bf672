"""Every reason code, produced by one broken table each, with its whole sentence."""

import datetime as dt
from pathlib import Path

import pytest

from pva.field import read_records, read_study
from pva.field.reasons import EFFECT
from pva.files import read_yaml

CASES = sorted((Path(__file__).parents[1] / "bad_inputs" / "tables").glob("*.yaml"))


def listed(records):
    """Every line of the account, set aside first."""
    account = records.account
    return [
        {"file": line["file"], "row": line["row"], "effect": effect, "code": line["code"],
         "column": line["column"], "value": line["value"], "sentence": line["sentence"]}
        for effect, table in (("set aside", account.set_aside), ("flagged", account.flagged))
        for line in table.to_dict("records")
    ]


@pytest.mark.parametrize("case", CASES, ids=lambda path: path.stem)
def test_reason(case, small_study):
    written, _ = read_yaml(case)
    ahead = str(dt.date.today() + dt.timedelta(days=30))
    tables = {name: text.replace("AHEAD", ahead) for name, text in written["tables"].items()}
    records = read_records(read_study(small_study(tables, **(written.get("study") or {}))))
    expected = [{k: v.replace("AHEAD", ahead) if isinstance(v, str) else v for k, v in line.items()}
                for line in written["expected"]]
    assert listed(records) == expected
    assert case.stem in [line["code"] for line in written["expected"]]
    totals = records.account.totals
    assert totals["in"] == totals["used"] + totals["flagged"] + totals["set_aside"]


def test_every_reason_has_its_table():
    assert {case.stem for case in CASES} == set(EFFECT)


def test_the_small_study_has_no_fault(small_study):
    records = read_records(read_study(small_study()))
    assert listed(records) == []
    assert records.account.totals == {"in": 16, "used": 16, "flagged": 0, "set_aside": 0}

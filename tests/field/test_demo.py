"""The invented demo study: every planted fault is found, and no good row is touched."""

import csv

import pytest

from pva.field import read_records, read_study
from pva.files import shipped

FAULTS = "scenarios/hesperwell/made_by/planted_faults.csv"


@pytest.fixture(scope="module")
def records():
    return read_records(read_study(shipped("scenarios/hesperwell")))


def planted():
    with shipped(FAULTS).open(encoding="utf-8", newline="") as handle:
        return list(csv.DictReader(handle))


def test_every_planted_fault_is_found_and_nothing_else(records):
    found = {(line["file"], line["row"]): ("set aside", line["code"])
             for line in records.account.set_aside.to_dict("records")}
    found |= {(line["file"], line["row"]): ("flagged", line["code"])
              for line in records.account.flagged.to_dict("records")}
    expected = {}
    for fault in planted():
        if fault["expected"] != "collapsed":
            label = fault["file"] + (f" [{fault['sheet']}]" if fault["sheet"] else "")
            expected[label, int(fault["row"])] = (fault["expected"], fault["code"].split(" or "))
    assert set(found) == set(expected)
    for row, (effect, codes) in expected.items():
        assert found[row][0] == effect and found[row][1] in codes


def test_repeated_reads_of_the_demo_are_joined(records):
    repeated = sum(fault["expected"] == "collapsed" for fault in planted())
    assert (records.encounters["reads"] - 1).sum() == repeated


def test_the_demo_account_adds_up(records):
    totals = records.account.totals
    assert totals["in"] == totals["used"] + totals["flagged"] + totals["set_aside"]

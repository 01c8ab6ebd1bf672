"""Text that a spreadsheet would run as a formula: made harmless by writers, given back to readers.

The danger and its cure are common practice in web security (formulas in exported tables).
"""

from __future__ import annotations

import csv
import io
import re
from pathlib import Path

import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from pva.files import csv_text, frame_text, harmless, restored

PACKAGE = Path(__file__).parents[1] / "pva"
SIGNS = "=+-@\t\r"
risky_texts = st.text(st.sampled_from("=+-@\t\r\n' 1.,eA\uff1d"), max_size=8)
any_texts = st.one_of(risky_texts, st.text(max_size=20))


def would_run(cell: str) -> bool:
    """Written apart from the code: a sign in front of anything but a plain number."""
    if not cell or cell[0] not in SIGNS:
        return False
    try:
        float(cell.replace(",", "."))
    except ValueError:
        return True
    return cell[0] in "\t\r"


@settings(max_examples=400, deadline=None)
@given(any_texts)
def test_text_never_runs_and_is_given_back(text):
    assert not would_run(harmless(text))
    assert restored(harmless(text)) == text


@given(st.one_of(st.floats(), st.integers(), st.none(), st.booleans()))
def test_numbers_are_left_alone(value):
    assert harmless(value) is value
    assert restored(value) is value


@pytest.mark.parametrize("text", ["-3.2310", "+5", "-1e-05", "-0,25", "-.5", "2019-09-11", "a=b",
                                  "", "'quoted'", "994.000012345678"])
def test_plain_numbers_and_usual_text_stay(text):
    assert harmless(text) == text == restored(text)


@pytest.mark.parametrize("text", ["=1+1", "+cmd", "-none-", "@SUM(A1)", "\t=1", "\r=1", " =1",
                                  "'=1", "--5", "-", "\uff1d1+1", "-5 mm"])
def test_what_would_run_gets_an_apostrophe(text):
    assert harmless(text) == "'" + text
    assert restored("'" + text) == text


@settings(max_examples=50, deadline=None)
@given(st.lists(st.tuples(any_texts, any_texts), max_size=4), any_texts)
def test_tables_written_hold_no_formula_and_give_the_cells_back(rows, name):
    header = ["plain", name or "other"]
    if header[1] == "plain" or "\x00" in "".join([name, *(c for r in rows for c in r)]):
        return
    frame = pd.DataFrame(rows, columns=header, dtype=object)
    for text in (csv_text(header, rows), frame_text(frame)):
        cells = list(csv.reader(io.StringIO(text, newline="")))
        assert not any(would_run(cell) for row in cells for cell in row)
        assert [[restored(c) for c in row] for row in cells] == [header, *map(list, rows)]


def test_frames_keep_their_numbers():
    frame = pd.DataFrame({"=a": [-1.5, 2.0], "n": [-1, 3], "text": ["-x", None]})
    assert frame_text(frame) == "'=a,n,text\n-1.5,-1,'-x\n2.0,3,\n"
    assert list(frame) == ["=a", "n", "text"]  # not changed


def test_no_other_module_writes_tables():
    """A writer of its own would let formulas through."""
    writes = re.compile(r"csv\.(?:w|W|DictW)riter|\.to_csv\(|\.to_excel\(")
    books = re.compile(r"\bWorkbook\(")
    for path in PACKAGE.rglob("*.py"):
        text = path.read_text(encoding="utf-8")
        assert not writes.search(text), path
        # workbooks go through it themselves, or hold no words of people but in their lists
        assert not books.search(text) or re.search(r"harmless|ChoiceLists", text), path

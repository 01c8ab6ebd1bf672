"""Positions in remarks or wrong columns are not repeated; tags, lengths, dates are left alone."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from pva.field.secrecy import NOT_REPEATED, without_places


@pytest.mark.parametrize("text, left", [
    ("dead at 0.52217 -3.31175", "dead at {}"),
    ("dead at 0.522, -3.311 by the log", "dead at {} by the log"),
    ("N 0.52217 W 3.31175", "N {}"),
    ("44\u00b012.345'N 85\u00b004.221'W", "{} {}"),
    ("44\u00b0 12' 20\" N", "{}"),
    ("-3.31175", "{}"),
    ("0,52217", "{}"),
])
def test_places_are_not_repeated(text, left):
    assert without_places(text).split() == left.replace("{}", f" {NOT_REPEATED} ").split()


@pytest.mark.parametrize("text", [
    "982.000411223344", "982 000411223344", "3D9.1BF1A2B3C4", "45.2", "45.25, 46.75", "45.125",
    "2019-09-11", "9.94055E+14", "0.25", "12.5 mm", "1,234.5", "F19-02-04", "field/a.csv row 214",
    "10.09.2019", "99402.2196", "v1.2.3"])
def test_tags_lengths_and_dates_are_left_alone(text):
    assert without_places(text) == text


@given(st.floats(-90, 90), st.floats(-180, 180), st.integers(4, 8),
       st.sampled_from([",", " ", ";"]))
def test_decimal_degrees_never_get_through(latitude, longitude, digits, between):
    pair = [f"{v:.{digits}f}" for v in (latitude, longitude)]
    said = without_places(f"dead, {pair[0]}{between}{pair[1]} under a log")
    assert pair[0] not in said and pair[1] not in said
    assert said.startswith("dead, (a position") and said.endswith("under a log")

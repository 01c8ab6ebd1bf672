"""Tags: every written form of one code is one animal; damaged numbers are refused."""

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from pva.field.tags import MOST_NATIONAL, one_slip_away, read_tag

# the worked example of the design page: country code 999, national number 123456789012
FORMS = ["999123456789012", "999.123456789012", "999 123456789012", "999,123456789012",
         "3E7.1CBE991A14", "3e7.1cbe991a14", "3E71CBE991A14", "3E7 1CBE991A14", "F9DCBE991A14",
         "8000F9DCBE991A14", "999 123 456 789 012", "'999123456789012", "999123456789012.0"]


@pytest.mark.parametrize("written", FORMS)
def test_one_animal_in_every_form(written):
    assert read_tag(written).name == "999123456789012"
    assert read_tag(written).kind == "test"


@pytest.mark.parametrize("written, fault", [
    ("9.99123E+14", "tag-rounded"),
    ("9,99123E+14", "tag-rounded"),
    ("9E+14", "tag-rounded"),
    ("982123456000000", "tag-rounded"),
    ("982.12345678901", "tag-rounded"),
    ("982274877906944", "tag-impossible"),
    ("000123456789012", "tag-impossible"),
    ("3E8.1CBE991A14", "tag-impossible"),
    ("3D6.4000000000", "tag-impossible"),
    ("3D6.400000000A", "tag-impossible"),
    ("98212345678901", "tag-malformed"),
    ("9821234567890123", "tag-malformed"),
    ("98212345678901O", "tag-malformed"),
    ("3D6.1CBE991A1", "tag-malformed"),
    ("???", "tag-malformed"),
])
def test_damaged_tags(written, fault):
    assert read_tag(written).fault == fault


@pytest.mark.parametrize("written, name, kind", [
    ("982274877906943", "982274877906943", "iso"),
    ("A123", "A123", "plain"),
    ("c 418", "C418", "plain"),
    ("1E5", "1E5", "plain"),
    ("0042", "0042", "plain"),
    ("7F7D3A1B2C", "7F7D3A1B2C", "legacy"),
    ("0416253647", "0416253647", "legacy"),
])
def test_other_tags_stay_text(written, name, kind):
    tag = read_tag(written)
    assert (tag.name, tag.kind, tag.fault) == (name, kind, "")


@settings(max_examples=200, deadline=None, derandomize=True)
@given(st.integers(1, 999), st.integers(0, MOST_NATIONAL).filter(lambda n: n % 10**6))
def test_hexadecimal_and_decimal_agree(prefix, national):
    decimal = f"{prefix:03d}{national:012d}"
    dotted = f"{prefix:03X}.{national:010X}"
    assert read_tag(decimal).name == decimal
    # digits alone cannot be told from a decimal code that lost its end
    if any(c in "ABCDEF" for c in dotted):
        assert read_tag(dotted).name == decimal


@settings(max_examples=300, deadline=None, derandomize=True)
@given(st.text(max_size=24))
def test_any_text_is_answered(text):
    assert read_tag(text).kind in ("iso", "test", "legacy", "plain")
    assert one_slip_away(text, {"A1"}) in ([], ["A1"])


def test_slips():
    known = {"982000411223344", "982000987654321", "A123"}
    assert one_slip_away("982000411223354", known) == ["982000411223344"]  # a digit changed
    assert one_slip_away("982000411223434", known) == ["982000411223344"]  # neighbours swapped
    assert one_slip_away("98200041122344", known) == ["982000411223344"]  # a digit left out
    assert one_slip_away("9820004112233444", known) == ["982000411223344"]  # a digit too many
    assert one_slip_away(f"3D6.{987654321 ^ 0xF:010X}", known) == ["982000987654321"]
    assert one_slip_away("A132", known) == ["A123"]
    assert one_slip_away("982000411223444", known) == ["982000411223344"]
    assert one_slip_away("982000411224454", known) == []  # two slips
    assert one_slip_away("A123", known) == []  # itself

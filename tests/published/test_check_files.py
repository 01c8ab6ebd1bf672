"""Every case in shared/checks says where it comes from and how sure anybody is of it."""

import pytest

from pva.files import read_yaml, shipped

CASES = sorted(shipped("shared/checks").glob("*.yaml"))
WORDS = {"read", "derived", "memory", "memory and checked"}


def test_the_cases_are_there():
    assert len(CASES) >= 18


@pytest.mark.parametrize("path", CASES, ids=lambda path: path.stem)
def test_case_names_its_source_and_its_status(path):
    case, _ = read_yaml(path)
    assert case["case"] and case["citation"]
    assert case["status"] and set(case["status"].values()) <= WORDS
    for name in (case.get(key) for key in ("data", "curve", "histories", "first_recaptures")):
        assert name is None or (path.parent / name).exists()


def test_dipper_histories_and_first_recaptures_agree():
    case, _ = read_yaml(shipped("shared/checks/dipper.yaml"))
    folder = shipped("shared/checks")
    histories = [line.split(",")[:7] for line in text_rows(folder / case["histories"])]
    counted = {}
    for history in histories:
        seen = [year for year, cell in zip(case["occasions"], history, strict=True) if cell == "1"]
        for first, then in zip(seen, [*seen[1:], None], strict=True):
            counted[first, then] = counted.get((first, then), 0) + 1
    assert len(histories) == case["birds"]
    released = 0
    for row in text_rows(folder / case["first_recaptures"]):
        year, number, *recaptured, never = (int(cell) for cell in row.split(","))
        released += number
        assert [counted.get((year, y), 0) for y in range(1982, 1988)] == recaptured
        assert counted.get((year, None), 0) == never
    assert released == case["releases"]


def text_rows(path):
    return path.read_text(encoding="utf-8").splitlines()[1:]

"""Every reason to refuse a whole table, by one broken file each, with its whole message."""

import re
from pathlib import Path

import openpyxl
import pytest

from pva.errors import DataError
from pva.field import read_records, read_study
from pva.files import read_yaml

TOP = Path(__file__).parents[2]
CASES = sorted((TOP / "tests" / "bad_inputs" / "tables" / "refused").glob("*.yaml"))
MODULES = ("field/cells", "field/columns", "field/corrections", "field/encounters", "field/opening",
           "field/reuse", "files/headers", "files/tables", "files/texts", "files/workbooks")
ELSEWHERE = {
    "file-missing", "day-unreadable", "tag-unreadable",  # told when study.yaml is read
    "table-too-wide",  # more than any table: tests/faults/test_hostile_tables.py
}


def refusal(case, small_study):
    written, _ = read_yaml(case)
    tables = {name: text.replace("LONG", '"' + "x" * 140_000)
              for name, text in (written.get("tables") or {}).items()}
    folder = small_study(tables, **(written.get("study") or {}))
    (folder / "encounters.ods").write_bytes(b"x")
    for name, sheets in (written.get("workbooks") or {}).items():
        book = openpyxl.Workbook()
        book.remove(book.active)
        for title, rows in sheets.items():
            page = book.create_sheet(str(title))
            for row in rows:
                page.append(row)
        book.save(folder / name)
    with pytest.raises(DataError) as refused:
        read_records(read_study(folder))
    assert case.stem in {problem.code for problem in refused.value.problems}
    return str(refused.value).replace(f"{folder}/", "").splitlines()


@pytest.mark.parametrize("case", CASES, ids=lambda path: path.stem)
def test_refusal(case, small_study):
    assert refusal(case, small_study) == read_yaml(case)[0]["refused"]


def test_every_refusal_has_its_file():
    codes = set()
    for module in MODULES:
        text = (TOP / "pva" / f"{module}.py").read_text(encoding="utf-8")
        problems = re.findall(r"(?:Problem|_problem)\((?:[^()]|\([^()]*\))*\)", text)
        codes |= {word for problem in problems
                  for word in re.findall(r'(?:code=|, |\n +)"([a-z]+(?:-[a-z]+)+)"\)?', problem)}
        codes |= set(re.findall(r'code="([a-z-]+)"', text))
    assert codes - ELSEWHERE == {case.stem for case in CASES}

"""Shipped field tables with one thing wrong: an account that adds up, and nothing ignored."""

from __future__ import annotations

import csv
import io
import json
import random
import shutil
from collections import Counter
from pathlib import Path

import pytest
from mutating import NUMBERS, WORDS

from pva.errors import PvaError
from pva.field import read_records, read_study
from pva.files import read_yaml

TOP = Path(__file__).parents[2]
DEMO = TOP / "scenarios" / "hesperwell"
MOST_ROWS = 40  # of a table, so that many can be tried


@pytest.fixture(scope="module")
def short(tmp_path_factory):
    """The demo study with the first rows of every table."""
    folder = tmp_path_factory.mktemp("tables") / "study"
    shutil.copytree(DEMO, folder, ignore=shutil.ignore_patterns("made_by", "scenarios", "results"))
    study, _ = read_yaml(folder / "study.yaml")
    study["tables"] = [t for t in study["tables"] if not t["file"].endswith(".xlsx")]
    for key in ("report", "corrected", "accepted"):
        study.pop(key, None)
    (folder / "study.yaml").write_text(json.dumps(study))  # JSON is YAML
    for table in folder.glob("field/*.csv"):
        table.write_text("".join(table.read_text().splitlines(keepends=True)[:MOST_ROWS]))
    return folder


def rows_of(path: Path) -> list[list[str]]:
    return list(csv.reader(path.read_text("utf-8").splitlines()))


def write(path: Path, rows: list[list[str]]) -> None:
    text = io.StringIO()
    csv.writer(text, lineterminator="\n").writerows(rows)
    path.write_text(text.getvalue(), encoding="utf-8", newline="")


def mutated(rows: list[list[str]], chance: random.Random) -> str:
    """Change one thing in place; what was done."""
    width, way = len(rows[0]), chance.choice(
        ("cell", "cell", "cell", "drop row", "double row", "swap cells", "swap columns",
         "rename column", "double column", "drop column", "cut row", "empty row", "join"))
    row, column = chance.randrange(1, len(rows)), chance.randrange(width)
    other = chance.randrange(width)
    if way == "cell":
        rows[row][column] = str(chance.choice(WORDS + NUMBERS))
    elif way == "drop row":
        del rows[row]
    elif way == "double row":
        rows.insert(row, list(rows[row]))
    elif way == "swap cells":
        rows[row][column], rows[row][other] = rows[row][other], rows[row][column]
    elif way == "swap columns":
        for line in rows[1:]:
            line[column], line[other] = line[other], line[column]
    elif way == "rename column":
        rows[0][column] = chance.choice([rows[0][column][1:], rows[0][other], *WORDS])
    elif way in ("double column", "drop column"):
        for line in rows:
            line[column:column + 1] = [line[column]] * (2 if way[0] == "d" and way[1] == "o" else 0)
    elif way == "cut row":
        del rows[row][column:]
    elif way == "empty row":
        rows[row] = [""] * width
    else:
        rows[row] = [",".join(rows[row])]
    return f"{way} {row}, {column}"


def read_changed(short: Path, seed: int) -> str:
    """Read the study with one change in one table; whether it was refused."""
    chance = random.Random(seed)
    table = chance.choice(sorted(short.glob("field/*.csv")))
    kept, rows = table.read_bytes(), rows_of(table)
    what = f"{seed} {table.name}: {mutated(rows, chance)}"
    write(table, rows)
    try:
        records = read_records(read_study(short))
    except PvaError as error:
        assert all(one.what and one.todo and one.code for one in error.problems), what
        return "refused"
    finally:
        table.write_bytes(kept)
    totals = records.account.totals
    assert totals["in"] == totals["used"] + totals["flagged"] + totals["set_aside"], what
    for sums in records.account.tables.to_dict("records"):
        assert sums["in"] == sums["used"] + sums["flagged"] + sums["set_aside"], what
        if sums["file"].endswith(table.name):
            filled = [r for r in rows[1:] if any(cell.strip() for cell in r)]
            assert sums["in"] == len(filled), what
    return "read"


def test_tables_with_one_thing_wrong(short):
    found = Counter(read_changed(short, seed) for seed in range(14))
    assert found["read"] > 7


@pytest.mark.slow
def test_many_more_tables_with_one_thing_wrong(short):
    found = Counter(read_changed(short, seed) for seed in range(1000, 1060))
    assert found["read"] > 30


@pytest.mark.parametrize("column, value", [
    ("length_mm", "61.73"), ("tag", "985113009999123"), ("date", "2018-09-28"),
    ("remarks", "a remark that stands nowhere else"),
])
def test_a_changed_cell_stands_in_the_records_or_in_the_account(short, column, value):
    table = short / "field" / "encounters_2018_2019.csv"
    rows = rows_of(table)
    if column not in rows[0]:
        pytest.skip(f"the demo has no column {column}")
    at = rows[0].index(column)
    kept, found = table.read_bytes(), 0
    for row in range(1, 4):
        changed = [list(line) for line in rows]
        changed[row][at] = value
        write(table, changed)
        records = read_records(read_study(short))
        account = records.account
        told = [records.encounters.to_csv(), account.set_aside.to_csv(), account.flagged.to_csv()]
        found += any(value in text for text in told)
    table.write_bytes(kept)
    assert found == 3

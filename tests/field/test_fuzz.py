"""Whatever lies in a file: an account that adds up, or a refusal in words; never a traceback."""

import csv
import io
import random
import zipfile

import openpyxl
import pytest
from conftest import TABLES, write_study
from hypothesis import HealthCheck, Phase, given, settings
from hypothesis import strategies as st

from pva.errors import PvaError
from pva.field import account_lines, read_records, read_study, write_set_aside
from pva.field.spec import targets

KINDS = {"releases.csv": "releases", "encounters.csv": "encounters", "units.csv": "units",
         "animals.csv": "animals", "hosts.csv": "hosts", "log.csv": "reader log"}
# no shrinking: a failing example is small enough to read, and shrinking it takes minutes
FUZZ = settings(max_examples=15, deadline=None, derandomize=True, database=None,
                phases=[Phase.generate],
                suppress_health_check=[HealthCheck.too_slow, HealthCheck.data_too_large,
                                       HealthCheck.function_scoped_fixture])


def outcome(folder, rows_in=None):
    """Read a study; whatever comes out must be whole. The sums, if the tables could be read."""
    try:
        records = read_records(read_study(folder))
    except PvaError as error:
        for problem in error.problems:
            assert problem.what and problem.todo and problem.file and problem.code
            assert "Traceback" not in str(problem) and "Error(" not in str(problem)
        return None
    account = records.account
    for sums in account.tables.to_dict("records"):
        assert sums["in"] == sums["used"] + sums["flagged"] + sums["set_aside"]
    assert rows_in is None or account.totals["in"] == rows_in
    assert len(account.set_aside) == account.totals["set_aside"]
    assert account.set_aside["sentence"].str.endswith((".", "?", "!")).all() or (
        account.set_aside["code"].eq("left-out").any())
    assert account_lines(account)[0].startswith(f"{account.totals['in']:,} rows in = ")
    write_set_aside(account, folder / "estimates")
    return account.totals


@FUZZ
@given(st.sampled_from([n for n in KINDS if n != "log.csv"]), st.binary(max_size=300))
def test_random_bytes_as_a_text_table(tmp_path, name, content):
    folder = write_study(tmp_path)
    (folder / name).write_bytes(content)
    outcome(folder)


@FUZZ
@given(st.integers(0, 10_000))
def test_random_bytes_as_a_workbook(tmp_path, seed):
    chance = random.Random(seed)
    folder = write_study(tmp_path, reading={"encounters.csv": {"file": "encounters.xlsx"}})
    whole = io.BytesIO()
    book = openpyxl.Workbook()
    for line in csv.reader(TABLES["encounters.csv"].splitlines()):
        book.active.append(line)
    book.save(whole)
    content = bytearray(whole.getvalue())
    way = chance.randrange(4)
    if way == 0:
        content = content[:chance.randrange(len(content))]
    elif way == 1:
        content = bytearray(chance.randbytes(chance.randrange(400)))
    elif way == 2:
        for _ in range(chance.randrange(1, 30)):
            content[chance.randrange(len(content))] = chance.randrange(256)
    else:  # a sheet whose XML is damaged though the archive is sound
        damaged = io.BytesIO()
        with zipfile.ZipFile(whole) as old, zipfile.ZipFile(damaged, "w") as new:
            for part in old.namelist():
                text = bytearray(old.read(part))
                for _ in range(chance.randrange(3)):
                    text[chance.randrange(len(text))] = chance.randrange(256)
                new.writestr(part, bytes(text))
        content = bytearray(damaged.getvalue())
    (folder / "encounters.xlsx").write_bytes(bytes(content))
    outcome(folder)


ENCODINGS = ["utf-8", "utf-8-sig", "cp1252", "utf-16", "utf-16-le", "utf-16-be", "latin-1"]


@FUZZ
@given(st.integers(0, 10_000), st.sampled_from(ENCODINGS), st.sampled_from(",;\t"),
       st.sampled_from(["\n", "\r\n", "\r"]))
def test_any_encoding_separator_and_order_of_rows_and_columns(tmp_path, seed, encoding, separator,
                                                              ends):
    chance = random.Random(seed)
    folder = write_study(tmp_path)
    for name, text in TABLES.items():
        rows = list(csv.reader(text.splitlines()))
        order = chance.sample(range(len(rows[0])), len(rows[0]))
        head, *body = [[row[i] for i in order] for row in rows]
        chance.shuffle(body)
        out = io.StringIO()
        csv.writer(out, delimiter=separator, lineterminator=ends).writerows([head, *body])
        (folder / name).write_bytes(out.getvalue().encode(encoding))
    assert outcome(folder, rows_in=16)["used"] == 16


@FUZZ
@given(st.integers(0, 10_000))
def test_tables_cut_off_anywhere(tmp_path, seed):
    chance = random.Random(seed)
    name = chance.choice(list(TABLES))
    text = TABLES[name]
    folder = write_study(tmp_path, {name: text[:chance.randrange(len(text))]})
    outcome(folder)


HEADERS = st.lists(st.one_of(
    st.sampled_from(sorted({t for kind in KINDS.values() for t in targets(kind)})),
    st.sampled_from(["", "file", "row", "flags", "animal", "reads", "Tag", "DATE.", "column 1",
                     "when", "event", "passes_met", "animal_by_mark", "982000411223344"]),
    st.text(max_size=6)), min_size=1, max_size=8)
CELL = st.one_of(
    st.sampled_from(["982000411223344", "2019-09-10", "10/09/2019", "43718", "alive", "shell", "QR",
                     "Q1", "0.25", "40", "-1", "", "-", "999000000000120", "1e999", "9.8E+14",
                     "present", "45°12'N", "31.02.2020", "9999-12-31", "0001-01-01", "2021-08"]),
    st.text(max_size=8))


def headers_over_cells():
    """Arguments of a table of random cells under random headers; most hold what is needed."""
    named = st.sampled_from(list(KINDS)).flatmap(lambda name: st.tuples(st.just(name), st.one_of(
        HEADERS, *(HEADERS.flatmap(lambda more: st.permutations(
            list(dict.fromkeys([*targets(KINDS[name]), *more])))),) * 3)))
    return (named, st.lists(st.lists(CELL, max_size=20), max_size=8),
            st.sampled_from([{"from": "visits.csv"}, {"made_of_days": 3}]), st.booleans())


@settings(FUZZ, max_examples=30)
@given(*headers_over_cells())
def test_random_headers_over_random_cells(tmp_path, named, rows, visits, by_number):
    check_headers(tmp_path, *named, rows, visits, by_number)


@pytest.mark.slow
@settings(FUZZ, max_examples=250)
@given(*headers_over_cells())
def test_many_random_headers_over_random_cells(tmp_path, named, rows, visits, by_number):
    check_headers(tmp_path, *named, rows, visits, by_number)


def check_headers(tmp_path, name, header, rows, visits, by_number):
    out = io.StringIO()
    csv.writer(out).writerows([header, *rows])
    reading = {name: {"fill": {"site": "QR"}}} if KINDS[name] != "reader log" else {}
    folder = write_study(tmp_path, {name: out.getvalue()}, reading=reading, visits=visits)
    if name == "log.csv":
        table = ("  - {file: log.csv, is: reader log, fill: {site: QR, date: 2019-09-10}"
                 + (", columns: {tag: 1}" if by_number else "") + "}\n")
        study = (folder / "study.yaml").read_text(encoding="utf-8")
        (folder / "study.yaml").write_text(study.replace("tables:\n", "tables:\n" + table), "utf-8")
    outcome(folder)


@pytest.mark.parametrize("content", [
    b"", b"\n\n\n", b"\xff\xfe", b"\xef\xbb\xbf", b"PK\x03\x04", b"tag", b'"', b"tag,tag\n",
    b"\x00\x00\x00\x00", b"site\n" * 3, "tag;date\n".encode("utf-16"), b"sep=;\n", b"a" * 200_000,
])
@pytest.mark.parametrize("name", ["encounters.csv", "encounters.xlsx"])
def test_odd_files(tmp_path, content, name):
    folder = write_study(tmp_path, reading={"encounters.csv": {"file": name}})
    (folder / name).write_bytes(content)
    outcome(folder)

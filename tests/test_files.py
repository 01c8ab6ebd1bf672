"""Files: YAML with places, hostile documents, tables of any common form, writes never torn."""

import errno
import os

import openpyxl
import pytest

from pva.errors import DataError, FormError, PvaError
from pva.files import digest, read_table, read_yaml, shipped, write_text_atomic, write_with

# --- YAML --------------------------------------------------------------------------------------


def refused(tmp_path, text):
    path = tmp_path / "a.yaml"
    path.write_bytes(text if isinstance(text, bytes) else text.encode())
    with pytest.raises(FormError) as raised:
        read_yaml(path)
    return str(raised.value).replace(str(path), "a.yaml")


def test_values_and_places(tmp_path):
    path = tmp_path / "a.yaml"
    path.write_text("title: x\nsites:\n  - {name: a, area_m2: 12}\n  - name: b\n"
                    "    when: 2020-01-02\nunknown: off\nrate: 0.95\n"
                    "2026: [1, ~, true, '7', 0x10]\n")
    data, places = read_yaml(path)
    assert data == {
        "title": "x", "sites": [{"name": "a", "area_m2": 12}, {"name": "b", "when": "2020-01-02"}],
        "unknown": "off", "rate": 0.95, 2026: [1, None, True, "7", 16]}
    assert places.of(("sites", 0, "area_m2")) == (3, 15)
    assert places.of_value(("sites", 0, "area_m2")) == (3, 24)
    assert places.of(("sites", 1, "name")) == (4, 5)
    assert places.of((2026, 3)) == (8, 20)
    assert places.of(("sites", 1, "nothing", "here")) == (4, 5)


def test_a_file_may_begin_with_a_mark_and_share_parts(tmp_path):
    path = tmp_path / "a.yaml"
    path.write_bytes("\ufeffa: &x {b: 1}\nc: *x\n".encode())
    assert read_yaml(path)[0] == {"a": {"b": 1}, "c": {"b": 1}}


def test_what_a_reader_does_to_the_data_is_not_met_by_the_next(tmp_path):
    path = tmp_path / "a.yaml"
    path.write_text("a: [1, 2]\n", encoding="utf-8")
    read_yaml(path)[0]["a"].append(3)
    assert read_yaml(path)[0] == {"a": [1, 2]}
    path.write_text("a: [4]\n", encoding="utf-8")
    assert read_yaml(path)[0] == {"a": [4]}


@pytest.mark.parametrize("text, said", [
    ("", "a.yaml: the file is empty. Write the study or scenario into it."),
    ("- a\n", "a.yaml, line 1, column 1: the file must hold keys with values, such as `title: "
     "...`. Begin the file with a key."),
    ("a: 1\nb: 2\na: 3\n", "a.yaml, line 3, column 1: the key `a` stands twice (first in line 1). "
     "Keep one of the two."),
    ("a: {b: 1, b: 2}\nc: !!python/name:os.system x\n",
     "a.yaml, line 1, column 11: the key `b` stands twice (first in line 1). Keep one of the two.\n"
     "a.yaml, line 2, column 4: the type mark `tag:yaml.org,2002:python/name:os.system` is not "
     "read. Remove it: only plain text, numbers, lists and keys are allowed."),
    ("a: &x [*x]\n", "a.yaml, line 1, column 4: values are nested more than 40 deep. Write the "
     "file flatter."),
    ("[" * 500, "a.yaml, line 1, column 42: values are nested more than 40 deep. Write the file "
     "flatter."),
    ("<<: {a: 1}\n", "a.yaml, line 1, column 1: `<<` is not read here. Write the keys out, or use "
     "`extends` in a scenario."),
    ("? [1, 2]\n: 3\n", "a.yaml, line 1, column 3: a key must be one word or number. Write a plain "
     "key."),
    (b"a: \xff\n", "a.yaml: byte 4 of the file is not UTF-8 text. Save the file as UTF-8."),
])
def test_refused_yaml(tmp_path, text, said):
    assert refused(tmp_path, text) == said


def test_syntax_errors_name_the_line(tmp_path):
    assert refused(tmp_path, "a: 1\nb: c: d\n").startswith(
        "a.yaml, line 2, column 5: the file is not valid YAML: a colon followed by a space stands")
    assert refused(tmp_path, "a:\n\tb: 1\n").startswith("a.yaml, line 2, column 1: the file is not")


def test_references_that_multiply_are_refused(tmp_path):
    lines = ["a: &a [x, x, x, x, x, x, x, x, x]"]
    for old, new in zip("abcdefgh", "bcdefghi", strict=True):
        lines.append(f"{new}: &{new} [{', '.join(['*' + old] * 9)}]")
    assert "more than" not in lines[0]
    assert "the file holds over 200,000 values once its references" in refused(
        tmp_path, "\n".join(lines))


def test_large_and_missing_files(tmp_path):
    assert refused(tmp_path, b"a: " + b"x" * 10_000_001) == (
        "a.yaml: the file has 10,000,004 bytes; at most 10,000,000 are read. Keep tables in CSV "
        "files, not in this one.")
    with pytest.raises(FormError, match="this is a folder, not a file"):
        read_yaml(tmp_path)
    with pytest.raises(FormError, match="there is no such file"):
        read_yaml(tmp_path / "b.yaml")


# --- tables ------------------------------------------------------------------------------------


def table(tmp_path, content, name="t.csv", **how):
    path = tmp_path / name
    path.write_bytes(content if isinstance(content, bytes) else content.encode())
    return read_table(path, **how)


@pytest.mark.parametrize("content", [
    "tag,note\nA1,ö\n\nA2,\"x, y\"\n",
    "\ufefftag;note\r\nA1;ö\r\n;\r\nA2;x, y\r\n",
    "sep=;\ntag;note\nA1;ö\n\nA2;x, y\n",
    "tag\tnote\nA1\tö\n\nA2\tx, y\n",
    "tag;note\nA1;ö\n\nA2;x, y\n".encode("cp1252"),
    "tag;note\nA1;ö\n\nA2;x, y\n".encode("utf-16"),
])
def test_text_tables_of_every_common_form(tmp_path, content):
    read = table(tmp_path, content)
    assert read.header == ["tag", "note"]
    assert read.rows == [["A1", "ö"], ["A2", "x, y"]]
    assert read.numbers == [2, 4]


def test_title_rows_surplus_cells_and_the_header_wanted(tmp_path):
    read = table(tmp_path, "Recaptures,2021\n\ntag,length,\nA1\nA2,4,5,6\n", wanted=["Length"])
    assert read.header == ["tag", "length"]
    assert read.rows == [["A1", ""], ["A2", "4", "5", "6"]]
    assert read.numbers == [4, 5]
    assert read.notes == ["row 3 was read as the header; the rows above it were left out"]
    assert table(tmp_path, "a,b\nc,d\n", header_row=2).header == ["c", "d"]


def test_workbooks(tmp_path):
    import datetime as dt

    book = openpyxl.Workbook()
    page = book.active
    page.title = "2025"
    page.append(["Recaptures", None])
    page.append(["site", "date", "tag", "length"])
    page.append(["Fennel Bar", dt.datetime(2025, 9, 14), 982000411223344, 54.0])
    page.append([None, dt.datetime(2025, 9, 14, 10, 30), "982000411223345", 54.5])
    page.merge_cells("A3:A4")
    path = tmp_path / "t.xlsx"
    book.save(path)
    read = read_table(path, wanted=["tag"])
    assert read.sheet == "2025" and read.numbers == [3, 4]
    assert read.rows == [["Fennel Bar", "2025-09-14", "982000411223344", "54"],
                         ["Fennel Bar", "2025-09-14 10:30:00", "982000411223345", "54.5"]]
    book.create_sheet("2024").append(["site"])
    book.save(path)
    assert read_table(path, sheet=2024).header == ["site"]
    with pytest.raises(DataError, match="several sheets with data: 2025, 2024"):
        read_table(path)
    with pytest.raises(DataError, match="no sheet called 2023; its sheets are 2025, 2024"):
        read_table(path, sheet=2023)


def test_text_without_its_mark_and_with_what_a_power_cut_left(tmp_path):
    text = "tag;note\n" + "A1;heard twice\n" * 20
    assert table(tmp_path, text.encode("utf-16-le")).rows == [["A1", "heard twice"]] * 20
    read = table(tmp_path, text.encode() + b"\x00\x00A2;x\n")
    assert read.rows[-1] == ["A2", "x"]
    assert read.notes == ["2 empty bytes were left out, such as a power cut leaves behind; look "
                          "whether rows around them are whole"]


def test_a_table_without_header_and_cells_parted_by_spaces(tmp_path):
    read = table(tmp_path, "Reader 4, battery low\n982.000411223344   2021-08-03\t10:22\n\n",
                 delimiter="space", header_row=0)
    assert read.header == ["column 1", "column 2", "column 3", "column 4"]
    assert read.rows == [["Reader", "4,", "battery", "low"],
                         ["982.000411223344", "2021-08-03", "10:22", ""]]
    assert (read.numbers, read.header_at, read.notes) == ([1, 2], 0, [])


def test_chatter_of_a_reader_does_not_hide_the_separator(tmp_path):
    text = "Reader 4, ready, power good\nlink up\nA1;2021-08-03;10:22\nA2;2021-08-03;10:23\n" * 9
    assert table(tmp_path, text, header_row=0).delimiter == ";"


@pytest.mark.parametrize("text, said", [
    ('a,b,c,d\n1,2,3,"five\n2,2,3,4\n3,2,3,4\n',
     "line 2: a quotation mark in line 2 is not closed before line 4."),
    ('a,b,c,d\n1,2,3,"five\n2,2,3,4\n3,2,3,"six"\n4,2,3,4\n',
     "line 2: a quotation mark in line 2 is not closed before line 4."),
])
def test_a_quotation_mark_left_open_swallows_no_rows(tmp_path, text, said):
    with pytest.raises(DataError) as raised:
        table(tmp_path, text)
    assert str(raised.value).endswith(
        f"{said} All rows between would be read as one cell. No row of the table was read. Close "
        "it or take it out.")
    whole = table(tmp_path, 'a,b,c,d\n1,2,3,"two\nlines, in one"\n')
    assert whole.rows == [["1", "2", "3", "two\nlines, in one"]]


def test_merged_cells_wrong_extents_and_formulas_without_result(tmp_path):
    import zipfile

    book = openpyxl.Workbook()
    page = book.active
    for cells in (["site", "tag", "length"], ["Fennel Bar", "A1", 4], [None, "A2", "=C2*10"], [],
                  [None, "A3", 6]):
        page.append(cells)
    page.merge_cells("A2:A5")
    book.save(tmp_path / "whole.xlsx")
    # some programs write that the sheet is one cell large
    with zipfile.ZipFile(tmp_path / "whole.xlsx") as old, \
            zipfile.ZipFile(tmp_path / "t.xlsx", "w") as new:
        for name in old.namelist():
            content = old.read(name).replace(b'<dimension ref="A1:C5"', b'<dimension ref="A1"')
            new.writestr(name, content)
    read = read_table(tmp_path / "t.xlsx")
    # a row that is blank but for the merged cell stays blank
    assert read.rows == [["Fennel Bar", "A1", "4"], ["Fennel Bar", "A2", ""],
                         ["Fennel Bar", "A3", "6"]]
    assert read.notes == ["formulas without a result were read as blank: 1 (C3 is the first); "
                          "open the workbook in a spreadsheet program and save it"]


@pytest.mark.parametrize("name, content, said", [
    ("t.csv", "\n\n", "the table is empty. Name the right file and sheet. If "
     "there is nothing to list, keep the headings alone."),
    ("t.csv", "a,a\n1,2\n", "line 1: the column a stands twice in the header. Give every column "
     "its own name."),
    ("t.csv", "a,b\n1," + '"' + "x" * 140_000, "a cell holds over 131,072 characters. Look for a "
     "quotation mark that is not closed."),
    ("t.csv", b"a,b\n\x00\x00,1\n", "the file is not a text table. Save the table as .xlsx or "
     ".csv."),
    ("t.ods", "x", "files ending in .ods are not read. Save the table as .xlsx or .csv."),
    ("t.xlsx", "x", "the workbook cannot be opened; it is damaged or has a password. Open it in a "
     "spreadsheet program and save it again as .xlsx."),
])
def test_refused_tables(tmp_path, name, content, said):
    with pytest.raises(DataError) as raised:
        table(tmp_path, content, name)
    assert str(raised.value).endswith(said)


# --- writing -----------------------------------------------------------------------------------


def test_a_write_that_fails_leaves_the_old_file(tmp_path):
    path = tmp_path / "sub" / "a.txt"
    write_text_atomic(path, "old")

    def half(beside):
        beside.write_text("new, but only ha")
        raise KeyboardInterrupt

    with pytest.raises(KeyboardInterrupt):
        write_with(path, half)
    assert path.read_text() == "old"
    assert [p.name for p in path.parent.iterdir()] == ["a.txt"]


@pytest.mark.parametrize("number, said", [
    (errno.ENOSPC, "the disk is full. The file was left as it was. Free some space, or write "
     "elsewhere with --out."),
    (errno.EROFS, "the folder is write-protected. The file was left as it was. Write elsewhere "
     "with --out."),
    (errno.EIO, "the file cannot be written: Input/output error. The file was left as it was. "
     "Write elsewhere with --out."),
])
def test_faults_of_the_disk_are_said_plainly(tmp_path, number, said):
    def fail(beside):
        raise OSError(number, os.strerror(number))

    with pytest.raises(PvaError) as raised:
        write_with(tmp_path / "a.txt", fail)
    assert str(raised.value) == f"{tmp_path / 'a.txt'}: {said}"
    assert list(tmp_path.iterdir()) == []


def test_a_file_in_the_way_of_a_folder(tmp_path):
    (tmp_path / "results").write_text("not a folder")
    with pytest.raises(PvaError, match="a file and a folder of the same name are in each other's"):
        write_text_atomic(tmp_path / "results" / "a.txt", "x")


def test_digest_and_shipped(tmp_path):
    path = write_text_atomic(tmp_path / "a.txt", "abc")
    assert digest(path) == "ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad"
    assert shipped("scenarios").is_dir()
    for name in ("scenarios/nowhere", "../etc"):
        with pytest.raises(PvaError, match=f"the package carries no data called {name}"):
            shipped(name)

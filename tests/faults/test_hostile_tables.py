"""Files made to hurt their reader, as tables and as YAML: refused in words, with little memory."""

from __future__ import annotations

import os
import tracemalloc
import zipfile

import openpyxl
import pytest

from pva.errors import DataError, FormError
from pva.files import read_table, read_yaml, workbook_safety, workbooks, yaml_reading

SHEET = "xl/worksheets/sheet1.xml"
DECLARED = (b'<!DOCTYPE %s [<!ENTITY a "aaaaaaaaaa"><!ENTITY b "&a;&a;&a;&a;&a;&a;&a;&a;&a;&a;">'
            b'<!ENTITY c "&b;&b;&b;&b;&b;&b;&b;&b;&b;&b;">]>')


def workbook(folder, edit, name="t.xlsx", more=None):
    """A small sound workbook with its parts changed."""
    sound, path = folder / "sound.xlsx", folder / name
    book = openpyxl.Workbook()
    for row in (["tag", "date"], ["A1", 3]):
        book.active.append(row)
    book.save(sound)
    with zipfile.ZipFile(sound) as old, zipfile.ZipFile(path, "w", zipfile.ZIP_DEFLATED) as new:
        for part in old.namelist():
            new.writestr(part, edit(part, old.read(part)))
        for part, content in (more or {}).items():
            new.writestr(part, content)
    return path


def in_sheet(old, new):
    return lambda part, content: content.replace(old, new) if part == SHEET else content


def as_it_is(part, content):
    return content


def refused(path, error=DataError, read=read_table):
    with pytest.raises(error) as caught:
        read(path)
    assert len(caught.value.problems) == 1 and caught.value.problems[0].todo
    return str(caught.value).replace(f"{path.parent}/", "")


DECLARES = ("t.xlsx: the workbook declares XML parts of its own, as no spreadsheet program does. "
            "Such parts can multiply until the memory is full. Open it in a spreadsheet program "
            "and save it again as .xlsx, or do not use it.")
FAR = " Keep the table alone in its sheet, without cells far off, or save it as .csv."


@pytest.mark.parametrize("part, root", [
    (SHEET, b"worksheet"), ("xl/workbook.xml", b"workbook"), ("[Content_Types].xml", b"Types"),
    ("xl/_rels/workbook.xml.rels", b"Relationships"), ("xl/styles.xml", b"styleSheet"),
])
def test_xml_that_multiplies(tmp_path, part, root):
    path = workbook(tmp_path, lambda name, content: content.replace(
        b"<" + root, DECLARED % root + b"<" + root, 1) if name == part else content)
    assert refused(path) == DECLARES


def test_a_workbook_that_unpacks_without_end(tmp_path, monkeypatch):
    monkeypatch.setattr(workbook_safety, "MOST_UNPACKED_BYTES", 50_000_000)
    path = workbook(tmp_path, as_it_is, more={"xl/media/blank.bin": b"0" * 51_000_000})
    tracemalloc.start()
    said = refused(path)
    most = tracemalloc.get_traced_memory()[1]
    tracemalloc.stop()
    assert path.stat().st_size < 1e5 and most < 5e6
    assert said.startswith("t.xlsx: the workbook holds 51,0") and said.endswith(
        "bytes in 10 parts once unpacked; at most 50,000,000 bytes in 10,000 parts are read. "
        "Keep the table alone in a workbook, or save it as .csv.")


@pytest.mark.parametrize("edit, said", [
    (in_sheet(b'r="B2"', b'r="ZZZZZZZ2"'),
     "t.xlsx: the sheet has a cell in column 8,353,082,582; at most 16,384 columns are read."
     + FAR),
    (in_sheet(b"</sheetData>", b"".join(b'<row r="%d"><c r="XFD%d"><v>1</v></c></row>' % (i, i)
                                        for i in range(3, 2000)) + b"</sheetData>"),
     "t.xlsx: the sheet has over 20,000,000 cells, blank ones among them." + FAR),
    (in_sheet(b"</sheetData>", b'<row r="100000"><c r="A100000"><v>1</v></c></row></sheetData>'
              b"<mergeCells>" + b'<mergeCell ref="A1:A100000"/>' * 60 + b"</mergeCells>"),
     "t.xlsx: merged cells cover over 5,000,000 rows." + FAR),
    (in_sheet(b'r="2"', b'r="1e300"'),
     "t.xlsx: the workbook cannot be opened; it is damaged or has a password. Open it in a "
     "spreadsheet program and save it again as .xlsx."),
])
def test_sheets_with_cells_far_off(tmp_path, edit, said):
    assert refused(workbook(tmp_path, edit)) == said


def test_macros_and_links_are_never_followed(tmp_path):
    link = (b'<?xml version="1.0"?><externalLink xmlns="http://schemas.openxmlformats.org/'
            b'spreadsheetml/2006/main"/>')
    path = workbook(tmp_path, as_it_is, "t.xlsm", {
        "xl/vbaProject.bin": b"never run", "xl/externalLinks/externalLink1.xml": link})
    assert read_table(path).rows == [["A1", "3"]]


def test_a_damaged_workbook(tmp_path):
    path = workbook(tmp_path, as_it_is)
    whole = path.read_bytes()
    for length in (4, 100, len(whole) // 2, len(whole) - 200):
        path.write_bytes(whole[:length])
        assert "it is damaged or has a password" in refused(path)


@pytest.mark.parametrize("content, said", [
    (b"x" * 100_000_000, "t.csv, line 1: the line has 100,000,000 characters; at most 1,000,000 "
     "are read. Look whether line ends got lost, or whether this is a table at all."),
    (",".join(f"c{i}" for i in range(100_000)).encode() + b"\n" + b"1," * 100_000,
     "t.csv, line 1: the header has 100,000 columns; at most 16,384 are read. Look whether a "
     "separator or a line end is wrong."),
    (",".join(f"c{i}" for i in range(16_000)).encode() + b"\n" + b"1\n" * 10_000,
     "t.csv: the table has 16,000 columns and 10,001 rows; at most 100,000,000 cells are read. "
     "Split it into several files."),
    (b"\n" * 5_000_001, "t.csv: the table has 5,000,002 lines; at most 5,000,000 are read. Split "
     "it into several files."),
    (b"a,b\n" + b"\0" * 1000, "t.csv: the file is not a text table. Save the table as .xlsx or "
     ".csv."),
    (b'"' * 300_000, "t.csv, line 1: a cell holds over 131,072 characters. Look for a quotation "
     "mark that is not closed."),
], ids=["one line", "wide", "wide and long", "lines", "empty bytes", "marks"])
def test_text_tables_beyond_any_table(tmp_path, content, said):
    path = tmp_path / "t.csv"
    path.write_bytes(content)
    assert refused(path) == said


@pytest.mark.parametrize("name", ["t.csv", "t.xlsx", "t.yaml"])
def test_a_folder_a_pipe_and_a_device_are_no_files(tmp_path, name):
    read, error = (read_yaml, FormError) if name == "t.yaml" else (read_table, DataError)
    path = tmp_path / name
    path.mkdir()
    assert refused(path, error, read).startswith(f"{name}: this is a folder, not a file. Name the")
    path.rmdir()
    said = (f"{name}: this is a pipe or a device, not a file. Save its content as a file, and "
            "name that.")
    if hasattr(os, "mkfifo"):
        os.mkfifo(path)
        assert refused(path, error, read) == said
        path.unlink()
        path.symlink_to("/dev/zero")
        assert refused(path, error, read) == said


@pytest.mark.parametrize("name", ["t\0.csv", "x" * 300 + ".csv"])
def test_names_that_no_file_can_have(tmp_path, name):
    with pytest.raises(DataError, match="the file cannot be read: "):
        read_table(tmp_path / name)
    with pytest.raises(FormError, match="the file cannot be read: "):
        read_yaml(tmp_path / name)


@pytest.mark.parametrize("content, said", [
    ("a: " + "[" * 10_000 + "]" * 10_000, "line 1, column 44: values are nested more than 40 deep"),
    ("- " * 10_000 + "x", "line 1, column 83: values are nested more than 40 deep"),
    ("a: 1\n".encode("utf-16"), "byte 1 of the file is not UTF-8 text"),
    ("a: é\n".encode("latin-1"), "byte 4 of the file is not UTF-8 text"),
    (b"a: b\0c\n", "the file is not valid YAML: unacceptable character #x0000"),
    ('a: "\\ud800"\n', "the text holds the sign \\ud800, which cannot be printed"),
    ("a: *nowhere\n", "found undefined alias 'nowhere'"),
    ("a: 1\n---\nb: 2\n", "but found another document"),
], ids=["deep", "deep list", "utf-16", "latin-1", "nul", "half a sign", "alias", "two"])
def test_hostile_yaml(tmp_path, content, said):
    path = tmp_path / "t.yaml"
    path.write_bytes(content if isinstance(content, bytes) else content.encode())
    assert said in refused(path, FormError, read_yaml)


def test_yaml_of_too_many_values_is_given_up_where_the_limit_is_passed(tmp_path, monkeypatch):
    monkeypatch.setattr(yaml_reading, "MOST_YAML_VALUES", 1000)
    path = tmp_path / "t.yaml"
    path.write_text("a:\n" + "- 1\n" * 500_000)
    assert refused(path, FormError, read_yaml) == (
        "t.yaml, line 999, column 3: the file holds over 1,000 keys and values. Keep tables in CSV "
        "files, and write fewer rows in this one.")


@pytest.mark.parametrize("content", ["a: 1\r\nb: 2\r\n", "a: 1\rb: 2\r", "\ufeffa: 1\nb: 2\n"])
def test_yaml_of_other_systems_is_read(tmp_path, content):
    path = tmp_path / "t.yaml"
    path.write_bytes(content.encode())
    assert read_yaml(path)[0] == {"a": 1, "b": 2}


def test_a_number_of_five_thousand_digits_is_text(tmp_path):
    path = tmp_path / "t.yaml"
    path.write_text(f"a: {'9' * 5000}\nb: 0x{'f' * 5000}\n")
    assert all(isinstance(value, str) for value in read_yaml(path)[0].values())


def test_the_limit_of_merged_cells_is_what_refuses_them(tmp_path, monkeypatch):
    """Without the limit the same kind of sheet is read."""
    path = workbook(tmp_path, in_sheet(b"</sheetData>", b"</sheetData><mergeCells>"
                                       b'<mergeCell ref="A1:A2"/></mergeCells>'))
    assert read_table(path).rows == [["tag", "3"]]
    monkeypatch.setattr(workbooks, "MOST_MERGED", 1)
    assert "merged cells cover over 1 rows" in refused(path)

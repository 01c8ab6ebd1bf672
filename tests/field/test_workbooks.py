"""Our own walk through a sheet says the same as the general reader of workbooks, cell by cell."""

import datetime as dt
import io
import random
import warnings
import zipfile

import openpyxl
import pytest

from pva.errors import DataError
from pva.files.sheet_cells import cell_text
from pva.files.workbooks import workbook_rows

MAIN = "http://schemas.openxmlformats.org/spreadsheetml/2006/main"
VALUES = [None, "alive", " with spaces ", "a & b < c > \"d\"", "two\nlines", "é ö ß — µ", "",
          "=1+1", 1, 0, -3, 54.0, 54.5, 1e-7, 9.82000411223344e14, 982000411223344,
          12345678901234567, 1e20, True, False, dt.datetime(2021, 6, 8),
          dt.datetime(2021, 6, 8, 9, 30), dt.date(1999, 12, 31), dt.time(9, 30),
          dt.timedelta(hours=30), "#N/A", "x" * 40]
FORMATS = ["General", "0.00", "yyyy-mm-dd", "[h]:mm", "dd/mm/yy hh:mm", "@", "mmm", "0%"]


def by_general_reader(path):
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        book = openpyxl.load_workbook(path, read_only=True, data_only=True)
        page = book.worksheets[0]
        page.reset_dimensions()
        rows = [[cell_text(value) for value in row] for row in page.iter_rows(values_only=True)]
        book.close()
    return rows


def random_book(chance):
    book = openpyxl.Workbook()
    if chance.random() < 0.3:
        book.epoch = openpyxl.utils.datetime.CALENDAR_MAC_1904
    page = book.active
    for _ in range(chance.randrange(1, 60)):
        cell = page.cell(chance.randrange(1, 40), chance.randrange(1, 31), chance.choice(VALUES))
        if chance.random() < 0.4:
            cell.number_format = chance.choice(FORMATS)
    return book


@pytest.mark.parametrize("seed", range(40))
def test_every_cell_as_the_general_reader_says_it(tmp_path, seed):
    path = tmp_path / "made.xlsx"
    random_book(random.Random(seed)).save(path)
    rows = workbook_rows(path, None).rows
    assert rows == by_general_reader(path)


SHARED_TYPE = ("<Override PartName='/xl/sharedStrings.xml' ContentType='application/vnd."
               "openxmlformats-officedocument.spreadsheetml.sharedStrings+xml'/>")
SHARED = f"<sst xmlns='{MAIN}'><si><t>shared words </t></si></sst>"


def sheet(data, before=""):
    name = f"xmlns:{before[:-1]}" if before else "xmlns"
    return (f"<{before}worksheet {name}='{MAIN}'><{before}dimension ref='A1'/><{before}sheetData>"
            f"{data}</{before}sheetData></{before}worksheet>")


def with_sheet(path, inside):
    """A workbook whose sheet holds this XML, as other programs write it."""
    whole = io.BytesIO()
    openpyxl.Workbook().save(whole)
    with zipfile.ZipFile(whole) as old, zipfile.ZipFile(path, "w") as new:
        for part in old.namelist():
            text = inside if "sheet1" in part else old.read(part).decode()
            new.writestr(part, text.replace("</Types>", f"{SHARED_TYPE}</Types>"))
        new.writestr("xl/sharedStrings.xml", SHARED)
    return path


@pytest.mark.parametrize("name, data", {
    "no places": "<row><c><v>1</v></c><c t='s'><v>0</v></c></row><row><c/><c><v>2</v></c></row>",
    "rows and cells left out": "<row r='3'><c r='C3'><v>1</v></c></row>"
                               "<row r='7'><c r='AB7' t='str'><v>x</v></c></row>",
    "text in the cell": "<row r='1'><c r='A1' t='inlineStr'><is><t> a </t></is></c>"
                        "<c r='B1' t='inlineStr'><is><r><t>b</t></r><r><t>c</t></r></is></c>"
                        "<c r='C1' t='inlineStr'><is><t>d</t><rPh sb='0' eb='1'><t>dee</t></rPh>"
                        "</is></c><c r='D1' t='inlineStr'/></row>",
    "dates, errors and yes": "<row r='1'><c r='A1' t='d'><v>2021-06-08</v></c>"
                             "<c r='B1' t='e'><v>#REF!</v></c><c r='C1' t='b'><v>1</v></c></row>",
    "marks and remarks": "<row r='1'><!-- old --><c r='A1' t='str'><v>a &amp; <![CDATA[<b>]]></v>"
                         "</c></row><extra><v>9</v><c><v>8</v></c></extra>",
    "formulas": "<row r='1'><c r='A1'><f>1+1</f><v>2</v></c><c r='B1'><f>X</f><v></v></c></row>",
}.items())
def test_sheets_as_other_programs_write_them(tmp_path, name, data):
    path = with_sheet(tmp_path / "made.xlsx", sheet(data))
    assert workbook_rows(path, None).rows == by_general_reader(path), name


def test_names_with_a_prefix(tmp_path):
    data = ("<x:row r='1'><x:c r='A1'><x:v>5</x:v></x:c></x:row><x:row r='2'><x:c r='B2'>"
            "<x:v>6</x:v></x:c></x:row>")
    path = with_sheet(tmp_path / "made.xlsx", sheet(data, "x:"))
    assert workbook_rows(path, None).rows == by_general_reader(path) == [["5"], ["", "6"]]


def test_a_formula_that_gives_nothing_is_no_formula_without_a_result(tmp_path):
    data = ("<row r='1'><c r='A1' t='str'><f>IF(1,\"\",2)</f><v></v></c><c r='B1'><f>1+1</f></c>"
            "<c r='C1'><f>1+2</f><v/></c><c r='D1'><v>4</v></c></row>")
    grid = workbook_rows(with_sheet(tmp_path / "made.xlsx", sheet(data)), None)
    assert grid.rows == [["", "", "", "4"]]
    assert grid.notes == ["formulas without a result were read as blank: 2 (B1 is the first); open "
                          "the workbook in a spreadsheet program and save it"]


@pytest.mark.parametrize("data", [
    "<row r='0'><c r='A1'><v>1</v></c></row>", "<row r='99999999'><c><v>1</v></c></row>",
    "<row r='1'><c r='A1'><v>one</v></c></row>", "<row r='1'><c r='A1' t='s'><v>7</v></c></row>",
    "<row r='1'><c r='A1'><v>1</v></row>"])
def test_a_damaged_sheet_is_refused(tmp_path, data):
    path = with_sheet(tmp_path / "made.xlsx", sheet(data))
    with pytest.raises(DataError) as refused:
        workbook_rows(path, 1)
    assert [p.code for p in refused.value.problems] == ["workbook-broken"]

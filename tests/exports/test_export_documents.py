"""Documents of an export, read back."""

from __future__ import annotations

import pytest
from docx import Document
from docx.oxml.ns import qn

from pva.report.exports.document import TOO_LONG, write_one_page, write_tables_document
from pva.report.sections.answer import answer_sentence
from pva.report.sections.closing import CAUTIONS


@pytest.fixture(scope="module")
def one_page(material, tmp_path_factory):
    path = tmp_path_factory.mktemp("docx") / "one-page.docx"
    return Document(write_one_page(path, material))


@pytest.fixture(scope="module")
def tables(material, sheets, tmp_path_factory):
    path = tmp_path_factory.mktemp("docx") / "tables.docx"
    return Document(write_tables_document(path, material, list(sheets.values())))


def headings(document):
    return [p.text for p in document.paragraphs if p.style.name.startswith("Heading")]


def test_the_page_holds_what_a_director_needs(one_page, material):
    texts = [p.text for p in one_page.paragraphs]
    assert answer_sentence(material) in texts
    assert set(CAUTIONS) <= set(texts)
    said = headings(one_page)
    assert said[0] == "The answer" and said[-1] == "Cautions"
    assert {"The assumption that matters most", "What would change the answer"} <= set(said)
    assert len(one_page.tables) == 1 and len(one_page.inline_shapes) == 1
    assert one_page.core_properties.author == "pva"


def test_pictures_have_a_text_alternative(one_page):
    shape, = one_page.inline_shapes
    said = shape._inline.docPr.get("descr")
    assert "%" in said and len(said) > 40


@pytest.mark.parametrize("which", ["one_page", "tables"])
def test_headings_of_tables_are_repeated_on_every_page(which, request):
    for table in request.getfixturevalue(which).tables:
        marks = table.rows[0]._tr.trPr.findall(qn("w:tblHeader"))
        assert [m.get(qn("w:val")) for m in marks] == ["true"]
        assert all(row._tr.trPr is None for row in table.rows[1:])


def test_tables_hold_the_cells_of_the_sheets(tables, sheets):
    shown = [one for name, one in sheets.items() if name not in TOO_LONG]
    assert headings(tables) == [one.title for one in shown]
    for table, one in zip(tables.tables, shown, strict=True):
        cells = [[cell.text for cell in row.cells] for row in table.rows]
        assert cells[0] == list(one.columns)
        for read, row in zip(cells[1:], one.rows, strict=True):
            for text, value in zip(read, row, strict=True):
                if isinstance(value, float):
                    assert float(text) == pytest.approx(value, rel=1e-3, abs=1e-12)
                elif isinstance(value, bool):
                    assert text == ("yes" if value else "no")
                else:
                    assert text == ("" if value is None else str(value))


def test_no_study_title_unless_given(material, tmp_path):
    given = Document(write_one_page(tmp_path / "a.docx", material, title="Named River\x07"))
    assert given.core_properties.title == "Named River"

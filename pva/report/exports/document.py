"""Two documents for a word processor: one page for a director, and the tables."""

from __future__ import annotations

import io
from collections.abc import Sequence
from pathlib import Path

from docx import Document
from docx.enum.section import WD_ORIENT
from docx.oxml import OxmlElement
from docx.oxml.ns import qn
from docx.shared import Cm, Pt

from pva.files import printable, write_with
from pva.report.blocks import Figure
from pva.report.exports.sheets import Sheet
from pva.report.material import Material
from pva.report.sections.answer import answer_sentence, section
from pva.report.sections.closing import CAUTIONS

ONE_PAGE, TABLES = "one-page.docx", "tables.docx"
TOO_LONG = ("yearly", "by_site")  # hundreds of rows: they stand in the workbook and the CSV files
_PICTURE_CM, _DOTS = 12.5, 150


def write_one_page(path: Path, material: Material, *, title: str = "") -> Path:
    """The answer with its doubt, picture, table, what it rests on, what would change it, cautions.

    Parameters
    ----------
    path : Path
    material : Material
    title : str
        Name of the study, where it may leave; else that of the scenario.
    """
    named = title or (material.scenario.resolved.title if material.scenario else
                      "Mussel restoration")
    page = _document(named, size=9, margin_cm=1.6)
    for block in section(material).blocks:
        _add(page, block)
    page.add_heading("Cautions", 1)
    for words in CAUTIONS:
        page.add_paragraph(words, style="List Bullet")
    return _written(path, page)


def write_tables_document(path: Path, material: Material, sheets: Sequence[Sheet], *,
                          title: str = "") -> Path:
    """The tables of an export, each under a heading, headings of columns on every page."""
    named = title or (material.scenario.resolved.title if material.scenario else
                      "Mussel restoration")
    page = _document(f"{named}: tables", size=8, margin_cm=1.5, landscape=True)
    page.add_paragraph(printable(answer_sentence(material)))
    page.add_paragraph("Numbers are rounded to four figures here. Every digit, and the yearly "
                       "tables, stand in the workbook and the CSV files of the same export.")
    for one in sheets:
        if one.name not in TOO_LONG:
            page.add_heading(one.title, 1)
            _table(page, one.columns, [[_printed(cell) for cell in row] for row in one.rows])
    return _written(path, page)


def _document(title, *, size, margin_cm, landscape=False):
    page = Document()
    page.core_properties.author, page.core_properties.title = "pva", printable(title)[:255]
    page.core_properties.comments = ""
    style = page.styles["Normal"]
    style.font.size, style.paragraph_format.space_after = Pt(size), Pt(3)
    for name in ("List Bullet", "List Number"):
        page.styles[name].paragraph_format.space_after = Pt(0)
    for name in ("Heading 1", "Heading 2"):
        page.styles[name].paragraph_format.space_before = Pt(6)
    part = page.sections[0]
    width, height = Cm(21.0), Cm(29.7)  # A4
    if landscape:
        part.orientation, width, height = WD_ORIENT.LANDSCAPE, height, width
    part.page_width, part.page_height = width, height
    part.left_margin = part.right_margin = part.top_margin = part.bottom_margin = Cm(margin_cm)
    heading = page.add_heading(printable(title), 0)
    heading.style.font.size = Pt(16)
    return page


def _add(page, block) -> None:
    """A piece of the report's page as pieces of a document."""
    kind = block.kind
    if kind == "figure":
        _picture(page, block)
    elif kind == "table":
        page.add_paragraph(printable(block.caption)).runs[0].bold = True
        _table(page, block.columns, block.rows, numbers=block.numbers)
    elif kind == "points":
        style = "List Number" if block.numbered else "List Bullet"
        for words in block.items:
            page.add_paragraph(printable(words), style=style)
    elif kind == "facts":
        page.add_paragraph(printable("; ".join(f"{v} {words}" for v, words in block.pairs) + "."))
    elif kind == "note":
        _lead(page, f"{block.title}.", block.text)
    elif kind == "answer":
        page.add_heading("The answer", 1)
        page.add_paragraph(printable(block.text)).runs[0].bold = True
    elif block.kind == "text":
        _lead(page, block.lead, block.text)


def _lead(page, lead: str, text: str) -> None:
    if lead:
        page.add_heading(printable(lead.rstrip(".")), 1)
    if text:
        page.add_paragraph(printable(text))


def _picture(page, figure: Figure) -> None:
    page.add_picture(io.BytesIO(figure.svg.png(_DOTS)), width=Cm(_PICTURE_CM))
    described = page.inline_shapes[-1]._inline.docPr  # the only way to a text alternative
    described.set("descr", printable(figure.alternative))
    described.set("title", figure.name)
    caption = page.add_paragraph(printable(figure.caption), style="Caption")
    caption.paragraph_format.space_after = Pt(3)


def _table(page, columns: Sequence[str], rows, *, numbers=frozenset()) -> None:
    made = page.add_table(rows=1, cols=len(columns), style="Light Grid Accent 1")
    _fill(made.rows[0], columns, numbers)
    header = made.rows[0]._tr.get_or_add_trPr()
    for name in ("w:tblHeader", "w:cantSplit"):
        mark = OxmlElement(name)
        mark.set(qn("w:val"), "true")
        header.append(mark)
    for row in rows:
        _fill(made.add_row(), row, numbers)
    page.add_paragraph()


def _fill(row, cells, numbers) -> None:
    from docx.enum.text import WD_ALIGN_PARAGRAPH

    for place, (cell, words) in enumerate(zip(row.cells, cells, strict=True)):
        paragraph = cell.paragraphs[0]
        paragraph.add_run(printable(str(words)))
        paragraph.paragraph_format.space_after = Pt(0)
        if place in numbers:
            paragraph.alignment = WD_ALIGN_PARAGRAPH.RIGHT


def _printed(cell) -> str:
    if cell is None:
        return ""
    if isinstance(cell, bool):
        return "yes" if cell else "no"
    return f"{cell:.4g}" if isinstance(cell, float) else str(cell)


def _written(path: Path, page) -> Path:
    return write_with(path, lambda beside: page.save(str(beside)))



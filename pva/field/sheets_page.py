"""Field sheets as one page to be printed: no spreadsheet needed, nothing loaded from outside."""

from __future__ import annotations

import os
from html import escape
from pathlib import Path

from pva.field.sheets import FieldSheet, field_sheets
from pva.field.study import Study
from pva.files import write_text_atomic

ROWS = 13
_STYLE = """\
@page { size: A4 landscape; margin: 9mm; }
body { font: 9.5pt/1.3 sans-serif; color: #000; background: #fff; margin: 1em; }
section { break-after: page; }
section:last-child { break-after: auto; }
h1 { font-size: 13pt; margin: 0 0 .2em; }
p { margin: .2em 0; max-width: none; }
.cautions { border: 1px solid #000; padding: .2em .5em; }
.who { display: flex; gap: 2em; margin: .6em 0 .4em; }
.who span { flex: 1; border-bottom: 1px solid #000; }
table { width: 100%; border-collapse: collapse; table-layout: fixed; }
th, td { border: 1px solid #000; padding: 2px 3px; text-align: left; vertical-align: top; }
th small { display: block; font-weight: normal; font-size: 7pt; line-height: 1.15;
  overflow-wrap: anywhere; }
th { font-size: 8pt; }
th:first-child, td:first-child { text-align: right; }
td { height: 7mm; }
thead { display: table-header-group; }
@media print { body { margin: 0; } }
"""


def write_page(path: str | os.PathLike, study: Study | None = None) -> Path:
    """Write all field sheets as one HTML file, a printed page each.

    Parameters
    ----------
    path : path
        An ``.html`` file.
    study : Study or None
        Named in the titles; its sites and species are listed where they are written.

    Returns
    -------
    Path
    """
    title = "Field sheets" + (f": {study.title}" if study is not None else "")
    sections = "\n".join(_section(sheet) for sheet in field_sheets(study))
    return write_text_atomic(path, (
        f'<!DOCTYPE html>\n<html lang="en">\n<head>\n<meta charset="utf-8">\n'
        f"<title>{escape(title)}</title>\n<style>\n{_STYLE}</style>\n</head>\n<body>\n"
        f"{sections}\n</body>\n</html>\n"))


def _section(sheet: FieldSheet) -> str:
    first, advice, cautions = sheet.lines
    total = sum(column.width for column in sheet.columns) / 97
    widths = "".join(f'<col style="width: {column.width / total:.1f}%">'
                     for column in sheet.columns)
    heads = "".join(_heading(column) for column in sheet.columns)
    blank = "<td></td>" * len(sheet.columns)
    rows = "\n".join(f"<tr><td>{number}</td>{blank}</tr>" for number in range(1, ROWS + 1))
    return (f"<section>\n<h1>{_marked(first)}</h1>\n<p>{_marked(advice)}</p>\n"
            f'<p class="cautions">{escape(cautions)}</p>\n'
            '<p class="who"><span>Crew:</span><span>Day:</span><span>Sheet</span>'
            "<span>Read back by:</span></p>\n"
            f'<table>\n<colgroup><col style="width: 3%">{widths}</colgroup>\n'
            f'<thead><tr><th scope="col">no.</th>{heads}</tr></thead>\n'
            f"<tbody>\n{rows}\n</tbody>\n</table>\n</section>")


def _heading(column) -> str:
    told = column.strict or "`" in column.words
    choices = "" if told else f" {', '.join(column.choices)}"
    return (f'<th scope="col">{escape(column.name).replace("_", "_<wbr>")}'
            f"<small>{_marked(column.words + choices)}</small></th>")


def _marked(text: str) -> str:
    """Words between grave accents in bold."""
    parts = escape(text).split("`")
    return "".join(f"<b>{p}</b>" if i % 2 else p for i, p in enumerate(parts))

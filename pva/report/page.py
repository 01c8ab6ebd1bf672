"""The page: parts gathered in order, numbered, printed by one template and written whole."""

from __future__ import annotations

import json
import os
from dataclasses import replace
from functools import cache
from pathlib import Path

from jinja2 import Environment, PackageLoader, StrictUndefined, select_autoescape
from markupsafe import Markup

from pva.files import together, write_text_atomic
from pva.report.blocks import Section
from pva.report.figure_files import FOLDER, write_page_figures
from pva.report.material import Material, gather
from pva.report.sections import (
    answer,
    basis,
    closing,
    compared,
    decisions,
    estimates,
    field_records,
    projection,
)

PARTS = (
    answer.section,
    field_records.section,
    estimates.section,
    projection.projection,
    projection.number,
    projection.risk,
    compared.compared,
    basis.depends,
    decisions.flips,
    decisions.host_map,
    decisions.donor,
    decisions.check,
    basis.model,
    basis.parameters,
    basis.assumptions,
    closing.cautions,
    closing.glossary,
    closing.record,
)


def write_report(path: str | os.PathLike, **material) -> Path:
    """Write the page as one self-contained HTML file, and its figures in a folder beside it.

    Parameters
    ----------
    path : path
        File to write. Its figures go into ``figures`` in the same folder, each as SVG, PNG and
        with its numbers as CSV.
    **material
        What the page is made from, as `pva.report.material.gather` takes it.

    Returns
    -------
    Path
        Where it stands.
    """
    return write_page_and_figures(Path(path), gather(**material))[0]


def write_page_and_figures(path: Path, material: Material) -> list[Path]:
    """Write the page, then every figure of it; the files written, the page first."""
    sections = sections_of(material)
    with together():
        page = write_text_atomic(path, _printed(material, sections))
        return [page, *write_page_figures(path.parent / FOLDER, sections)]


def render_report(material: Material) -> str:
    """The page as text.

    Parameters
    ----------
    material : Material

    Returns
    -------
    str
        A whole HTML document.
    """
    return _printed(material, sections_of(material))


def _printed(material, sections):
    environment = _environment()
    return environment.get_template("page.html").render(
        title=_title(material), subtitle=_subtitle(material), sections=sections,
        cautions=closing.CAUTIONS,
        style=Markup(_source("style.css")), script=Markup(_source("reader.js")))


def sections_of(material: Material) -> list[Section]:
    """Every part of the page, numbered from 1."""
    sections = [replace(part(material), number=i) for i, part in enumerate(PARTS, start=1)]
    titles = {s.name: f"{s.number} {s.title}" for s in sections}
    last = closing.reviewer(material, titles)
    return [*sections, replace(last, number=len(sections) + 1)]


def _title(material):
    if material.study is not None:
        return material.study.title
    return material.scenario.resolved.title if material.scenario else "Mussel restoration"


def _subtitle(material):
    parts = []
    if material.study is not None and material.scenario is not None:
        parts.append(material.scenario.resolved.title)
    species = material.scenario.resolved.species if material.scenario else (
        ", ".join(material.study.species) if material.study else "")
    return " \N{MIDDLE DOT} ".join(p for p in (*parts, species) if p)


def embedded(data) -> Markup:
    """Plain data as JSON that cannot end the script element it stands in."""
    text = json.dumps(data, allow_nan=False, ensure_ascii=False)
    for sign in "<>&\u2028\u2029":
        text = text.replace(sign, f"\\u{ord(sign):04x}")
    return Markup(text)


def _tied(value):
    """Text with every percent sign tied to its number; markup is left as it is."""
    return value.replace(" %", "\N{NO-BREAK SPACE}%") if type(value) is str else value


@cache
def _environment() -> Environment:
    environment = Environment(loader=PackageLoader("pva.report"), undefined=StrictUndefined,
                              finalize=_tied,
                              autoescape=select_autoescape(default=True, default_for_string=True),
                              trim_blocks=True, lstrip_blocks=True)
    environment.filters["embedded"] = embedded
    environment.filters["drawing"] = Markup  # pictures are made by pva.report.figures alone
    return environment


def _source(name):
    environment = _environment()
    return environment.loader.get_source(environment, name)[0]

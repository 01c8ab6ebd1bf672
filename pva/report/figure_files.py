"""Figures as files: SVG to scale, PNG to paste, and the numbers of each as CSV."""

from __future__ import annotations

import csv
from collections.abc import Iterator
from pathlib import Path

from pva.files import csv_text, write_bytes_atomic, write_text_atomic
from pva.report.blocks import Figure, Section
from pva.report.figures.canvas import alone

FOLDER, LIST = "figures", "list.csv"
_ENDINGS = (".svg", ".png", ".csv")


def write_figure(folder: Path, name: str, figure: Figure, *, numbers: bool = True) -> list[Path]:
    """Write NAME.svg, NAME.png and NAME.csv, each whole or not at all.

    Parameters
    ----------
    folder : Path
    name : str
    figure : Figure
    numbers : bool
        Whether to write the CSV; not where the numbers stand in a file of their own already.

    Returns
    -------
    list of Path
    """
    written = [write_text_atomic(folder / f"{name}.svg", alone(figure.svg)),
               write_bytes_atomic(folder / f"{name}.png", figure.svg.png())]
    if numbers:
        written.append(write_text_atomic(folder / f"{name}.csv",
                                         csv_text(figure.data.columns, figure.data.rows)))
    return written


def write_page_figures(folder: Path, sections: list[Section]) -> list[Path]:
    """Write every figure of a page, and a list of them.

    Figures that the list of an earlier page names and this page lacks are taken away, so that
    nobody pastes an old one; other files of the folder are left alone.

    Parameters
    ----------
    folder : Path
    sections : list of Section

    Returns
    -------
    list of Path
    """
    before, written, rows = _listed(folder), [], []
    for section in sections:
        for figure in figures_of(section.blocks):
            written += write_figure(folder, figure.name, figure)
            rows.append((figure.name, f"{section.number} {section.title}", figure.caption))
    for name in before - {name for name, _, _ in rows}:
        for ending in _ENDINGS:
            (folder / f"{name}{ending}").unlink(missing_ok=True)
    if not (rows or before):
        return []
    listed = write_text_atomic(folder / LIST, csv_text(("figure", "part of the page", "caption"),
                                                       rows))
    return [*written, listed]


def figures_of(blocks) -> Iterator[Figure]:
    """Every figure among blocks, folded ones too."""
    for block in blocks:
        if block.kind == "figure":
            yield block
        elif block.kind == "folded":
            yield from figures_of(block.blocks)


def _listed(folder: Path) -> set[str]:
    """Names of figures in the list of an earlier page; only plain names."""
    try:
        text = (folder / LIST).read_text(encoding="utf-8-sig")
    except (OSError, ValueError):
        return set()
    return {row[0] for row in list(csv.reader(text.splitlines()))[1:]
            if row and row[0] and Path(row[0]).name == row[0]}

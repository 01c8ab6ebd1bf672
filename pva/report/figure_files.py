"""A figure as files: SVG to scale, PNG to paste, and its numbers as CSV."""

from __future__ import annotations

from pathlib import Path

from pva.files import csv_text, write_text_atomic, write_with
from pva.report.blocks import Figure
from pva.report.figures.canvas import alone


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
               write_with(folder / f"{name}.png", lambda t: Path(t).write_bytes(figure.svg.png()))]
    if numbers:
        written.append(write_text_atomic(folder / f"{name}.csv",
                                         csv_text(figure.data.columns, figure.data.rows)))
    return written

"""Every marked animal at every visit: released, met alive, only heard, found as a shell."""

from __future__ import annotations

import numpy as np
import pandas as pd

from pva.field.records import ALIVE, HEARD, REMOVED, SHELL
from pva.report.blocks import Figure, table
from pva.report.figures.canvas import (
    INK,
    PAPER,
    QUIET,
    SHALLOW,
    STREAM,
    counted,
    graded,
    picture,
)
from pva.report.words import exact

_UNSEEN = "#e4e6df"
# code, status, words, shade: lightness falls from row to row, so that grey tells them apart
_LOOK = ((1, None, "released, not met", _UNSEEN), (2, HEARD, "only heard", SHALLOW),
         (3, ALIVE, "met alive", STREAM), (4, REMOVED, "taken alive", "#3c5d52"),
         (5, SHELL, "shell found", INK))


def encounters_figure(name: str, records) -> Figure | None:
    """Animals down, visits across; None where no marked animal was met again.

    Parameters
    ----------
    records : pva.field.records.FieldRecords
    """
    grid, visits = _grid(records)
    if grid is None:
        return None
    counts = {words: (grid == code).sum(axis=0) for code, _, words, _ in _LOOK}
    told = (f"{exact(len(grid))} marked animals over {len(visits)} visits. "
            + " ".join(f"{v}: {exact(counts['met alive'][i])} met alive, "
                       f"{exact(counts['only heard'][i])} only heard, "
                       f"{exact(counts['shell found'][i])} shells."
                       for i, v in enumerate(visits)))
    svg, _ = picture(name, lambda sheet: _paint(sheet, grid, visits, counts), alternative=told,
                     title="Marked animals by visit", size=(7.2, 5.2))
    used = [words for _, _, words, _ in _LOOK if counts[words].any()]
    rows = [(v, *(exact(counts[w][i]) for w in used)) for i, v in enumerate(visits)]
    return Figure(name, "Each line is one marked animal, the earliest released on top and, of one "
                  "release, those met longest first; each column is a visit. Blank: not released "
                  "yet. A tag only heard proves no life: it may lie in a dead shell. Above: the "
                  "same in numbers.", told, svg,
                  table("Marked animals by visit", ("Visit", *(w.capitalize() for w in used)),
                        rows, numbers=range(1, len(used) + 1)))


def _grid(records):
    """Codes, shape (animal, visit), and the visits in order of time."""
    met = records.encounters.dropna(subset=["animal"])
    marked = records.releases.dropna(subset=["animal"]).drop_duplicates("animal")
    met = met[met["animal"].isin(marked["animal"])]
    if met.empty:
        return None, ()
    days = pd.to_datetime(met["date"]).groupby(met["visit"].astype(str)).min().sort_values()
    visits = list(days.index)
    released = pd.to_datetime(marked.set_index("animal")["date"])
    after = released.to_numpy()[:, None] <= days.to_numpy()[None, :]
    grid = np.where(after, 1, 0)
    row = {a: i for i, a in enumerate(released.index)}
    column = {v: i for i, v in enumerate(visits)}
    code = {status: c for c, status, _, _ in _LOOK}
    best = {}
    for animal, visit, status in zip(met["animal"], met["visit"].astype(str), met["status"],
                                     strict=True):
        place = row[animal], column[visit]
        best[place] = max(best.get(place, 0), code.get(status, 0))
    for place, value in best.items():
        grid[place] = value or 1
    last = np.where(grid > 1, np.arange(len(visits)), -1).max(axis=1)
    order = np.lexsort((-last, released.to_numpy()))
    return grid[order], visits


def _paint(sheet, grid, visits, counts):
    above, axes = sheet.subplots(2, 1, sharex=True, height_ratios=[1, 3.2])
    bottom = np.zeros(len(visits))
    for _, _, words, shade in _LOOK[1:]:
        if counts[words].any():
            above.bar(range(len(visits)), counts[words], bottom=bottom, color=shade, width=0.7,
                      edgecolor=PAPER, lw=0.6)
            bottom += counts[words]
    above.set_ylabel("animals")
    counted(above.yaxis)
    axes.imshow(grid, aspect="auto", interpolation="nearest", vmin=0, vmax=5,
                cmap=graded((PAPER, *(shade for *_, shade in _LOOK))))
    axes.grid(False)
    axes.set_xticks(range(len(visits)), visits)
    axes.set_ylabel("marked animals, earliest released on top")
    counted(axes.yaxis)
    for edge in np.arange(0.5, len(visits) - 1):
        axes.axvline(edge, color=PAPER, lw=2)
    shown = [(words, shade) for _, _, words, shade in _LOOK if counts[words].any()]
    for words, shade in shown:
        above.bar([0], [0], color=shade, edgecolor=QUIET, lw=0.5, label=words)
    above.legend(loc="lower left", bbox_to_anchor=(0, 1.0), ncols=5, borderaxespad=0,
                 handlelength=1.2, columnspacing=1.3, handletextpad=0.5)

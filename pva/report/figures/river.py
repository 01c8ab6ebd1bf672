"""The sites along the river; distances are rounded, so that nobody is led to a bed."""

from __future__ import annotations

from pva.report.blocks import Figure, table
from pva.report.figures.canvas import (
    CLAY,
    INK,
    PAPER,
    QUIET,
    RIVER,
    SHALLOW,
    at_line,
    picture,
    wrapped,
)
from pva.report.words import count

STEP_KM = 5


def river_figure(name: str, sites) -> Figure | None:
    """Sites from upstream (left) to downstream; None where distances are not known.

    Parameters
    ----------
    sites : sequence
        With ``name``, ``river_km``, ``area_m2`` and ``role``.
    """
    placed = sorted((s for s in sites if s.river_km is not None), key=lambda s: -s.river_km)
    if len(placed) < 2:
        return None
    rows = [(s.name, STEP_KM * round(s.river_km / STEP_KM), s.area_m2, s.role or "restoration")
            for s in placed]
    told = " ".join(f"{n}: {role} site, about {km} km from the mouth, {count(area)} "
                    f"m\N{SUPERSCRIPT TWO}." for n, km, area, role in rows)
    svg, _ = picture(name, lambda sheet: _paint(sheet, rows), alternative=told,
                     title="Sites along the river", size=(7.2, 1.9))
    return Figure(name, f"Sites along the river, distances to the nearest {STEP_KM} km. Circle: "
                  "site to be restored; square: donor or other site; the larger, the more area.",
                  told, svg, table("Sites", ("Site", "Role", "km, rounded", "Area, "
                                             "m\N{SUPERSCRIPT TWO}"),
                                   [(n, role, str(km), count(area)) for n, km, area, role in rows],
                                   numbers=(2, 3)))


def _paint(sheet, rows):
    axes = sheet.subplots()
    axes.grid(False)
    far = max(km for _, km, _, _ in rows)
    most = max(area or 0 for _, _, area, _ in rows) or 1
    axes.plot([far + 0.06 * far, 0], [0, 0], color=SHALLOW, lw=7, solid_capstyle="round", zorder=1)
    axes.annotate("", (-0.04 * far, 0), (0.02 * far, 0),
                  arrowprops={"arrowstyle": "-|>", "color": RIVER, "lw": 1.2})
    for i, (name, km, area, role) in enumerate(rows):
        restored = role == "restoration"
        axes.plot([km], [0], marker="o" if restored else "s", color=RIVER if restored else CLAY,
                  ms=7 + 9 * ((area or 0) / most) ** 0.5, mec=PAPER, mew=1.2, zorder=2)
        above = i % 2 == 0
        at_line(axes, km, 0, f"{wrapped(name, 24)}\nabout {km} km", dx=0,
                dy=16 if above else -16, ha="center", va="bottom" if above else "top", color=INK)
    at_line(axes, 0, 0, "downstream", dx=0, dy=-14, ha="center", va="top", color=QUIET, size=8)
    axes.set_xlim(far * 1.16, -0.09 * far)
    axes.set_ylim(-1, 1)
    axes.axis("off")

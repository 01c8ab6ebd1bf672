"""Quadrats by what lay in them: blank ones are counted, for they decide the density."""

from __future__ import annotations

import numpy as np

from pva.report.blocks import Figure, table
from pva.report.figures.canvas import (
    HATCH,
    INK,
    QUIET,
    RIVER,
    SAND,
    STREAM,
    at_line,
    names_at_rows,
    picture,
)
from pva.report.words import exact, percent

_SHADES = ("#ffffff", SAND, STREAM, RIVER)
_WORDS = ("blank", "one mussel", "two", "three or more")


def quadrats_figure(name: str, records, summary) -> Figure | None:
    """Share of quadrats with none, one, two and more, by site and survey; None without units.

    Parameters
    ----------
    records : pva.field.records.FieldRecords
    summary : mapping
        Of the estimates; its densities stand at the right.
    """
    rows = _rows(records, summary)
    if not rows:
        return None
    told = " ".join(f"{r['name']}: {exact(r['counts'][0])} of {exact(r['units'])} quadrats blank"
                    + (f", {r['density']:.2g} per m\N{SUPERSCRIPT TWO}." if r["density"] is not None
                       else ".") for r in rows)
    svg, _ = picture(name, lambda sheet: _paint(sheet, rows), alternative=told,
                     title="Quadrats by what lay in them", size=(7.2, 0.9 + 0.34 * len(rows)))
    cells = [(r["name"], exact(r["units"]), *(exact(c) for c in r["counts"]),
              "" if r["density"] is None else f"{r['density']:.2g}") for r in rows]
    return Figure(name, "Quadrats of each survey by the mussels found in them. The blank part is "
                  "data: without it the density would be the density of the places where there "
                  "are mussels. At the right: living mussels per m\N{SUPERSCRIPT TWO}.", told, svg,
                  table("Quadrats by what lay in them",
                        ("Site and survey", "Quadrats", *(w.capitalize() for w in _WORDS),
                         "Per m\N{SUPERSCRIPT TWO}"), cells, numbers=range(1, 7)))


def _rows(records, summary):
    units, animals = records.units, records.animals
    if not len(units):
        return []
    found = animals.assign(key=animals["survey"].astype(str) + "\n" + animals["unit"].astype(str))
    if "status" in found:
        found = found[found["status"].isna() | found["status"].eq("alive")]
    number = found["number"].fillna(1) if "number" in found else 1.0
    sizes = found.assign(_n=number).groupby("key")["_n"].sum()
    density = {(d["name"].split("/")[1], str(d["survey"])): d["value"]
               for d in (summary or {}).get("density") or () if d["name"].count("/") == 1}
    rows = []
    for (site, survey), part in units.groupby([units["site"], units["survey"].astype(str)]):
        keys = survey + "\n" + part["unit"].astype(str)
        count = sizes.reindex(keys).fillna(0).to_numpy()
        shares = [int((count == 0).sum()), int((count == 1).sum()), int((count == 2).sum()),
                  int((count > 2).sum())]
        rows.append({"name": f"{site}, {survey}", "units": len(count), "counts": shares,
                     "density": density.get((site, survey))})
    return rows


def _paint(sheet, rows):
    axes = sheet.subplots()
    axes.grid(False)
    for i, row in enumerate(rows):
        left = 0.0
        for k, (shade, words) in enumerate(zip(_SHADES, _WORDS, strict=True)):
            wide = row["counts"][k] / row["units"]
            axes.barh(i, wide, left=left, color=shade, edgecolor=INK, lw=0.6, height=0.62,
                      hatch=HATCH[1] if k == 1 else "", label=words if i == 0 else None)
            if k == 0 and wide > 0.2:
                at_line(axes, left, i, f"{percent(wide)} blank", dx=4, size=8)
            left += wide
        if row["density"] is not None:
            at_line(axes, 1.0, i, f"{row['density']:.2g}", dx=6, color=INK, size=8.2)
    names_at_rows(axes, [r["name"] for r in rows])
    axes.set_ylim(len(rows) - 0.5, -0.7)
    axes.set_xlim(0, 1.06)
    axes.set_xticks(np.linspace(0, 1, 5), ["0", "25 %", "50 %", "75 %", "100 %"])
    axes.set_xlabel("share of quadrats")
    at_line(axes, 1.0, -0.62, "per m\N{SUPERSCRIPT TWO}", dx=6, color=QUIET, size=8)
    axes.spines["left"].set_visible(False)
    axes.legend(loc="lower left", bbox_to_anchor=(0, 1.0), ncols=4, borderaxespad=0,
                handlelength=1.5, columnspacing=1.4)

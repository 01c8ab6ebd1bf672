"""Lengths by date and site, against the lengths that stocked cohorts should have by then."""

from __future__ import annotations

import numpy as np
import pandas as pd

from pva.estimate.cohorts import cohorts, length_on
from pva.estimate.following import day_numbers
from pva.report.blocks import Figure, table
from pva.report.figures.canvas import (
    CLAY,
    INK,
    MIST,
    STREAM,
    at_line,
    picture,
    whole_years,
    wrapped,
)
from pva.report.words import exact

_DAYS = 365.25
_MOST_POINTS = 600  # more would make the page slow; they are then drawn as an image


class _Curve:
    """Mean growth as `pva.estimate.cohorts.length_on` wants it, made from the summary."""

    def __init__(self, growth):
        self.asymptote_mm, self.rate = growth["asymptote_mm"], growth["rate"]
        self.asymptote_sd_mm = growth.get("asymptote_sd_mm") or 0.0
        self.measurement_sd_mm = growth.get("measurement_sd_mm") or 0.0
        self.growth_lost_years = growth.get("growth_lost_years")
        self.covariance, self.curves = np.zeros((2, 2)), {}


def lengths_figure(name: str, records, growth: dict, season) -> Figure | None:
    """One panel a site: measured lengths, and the mean length of every release as it grows.

    Parameters
    ----------
    records : pva.field.records.FieldRecords
    growth : dict
        ``asymptote_mm`` and ``rate``.
    season : (int, int) or None
        First and last month of growth.
    """
    curve = _Curve(growth)
    known = [c for c in cohorts(records, growth=None) if np.isfinite(c.mean_mm)]
    marked, unmarked = _lengths(records)
    sites = [s for s in dict.fromkeys([*marked["site"], *unmarked["site"]]) if s][:6]
    if not sites or len(marked) + len(unmarked) == 0:
        return None
    last = max([*marked["day"], *unmarked["day"]])
    paths = [(c, *_path(c, last, curve, season)) for c in known if c.site in sites]
    rows = _rows(sites, marked, unmarked, paths)
    told = " ".join(f"{s}: {exact(n)} lengths of marked animals, {exact(u)} of unmarked ones in "
                    f"quadrats, {exact(k)} releases." for s, n, u, k in rows)
    svg, _ = picture(name, lambda sheet: _paint(sheet, sites, marked, unmarked, paths),
                     alternative=told, title="Lengths by date, and what stocked cohorts measure",
                     size=(7.2, 0.5 + 2.3 * -(-len(sites) // 2)))
    cells = [(c.site, c.name or "release", f"{_year(c.day):.1f}", exact(c.number),
              f"{c.mean_mm:.0f}", f"{mean[-1]:.0f}") for c, _, mean, _ in paths]
    return Figure(name, "Dots: lengths of marked animals. Open triangles: unmarked animals found "
                  "in quadrats. Lines: the mean length of every release, grown by the fitted "
                  "curve; shaded around them: where 95 of 100 of its animals should lie. An "
                  "unmarked animal below every line can hardly be a stocked one that lost its "
                  "marks.", told, svg,
                  table("Releases and the mean length they should have at the last visit",
                        ("Site", "Release", "Year", "Animals", "Mean at release, mm",
                         "Mean expected now, mm"), cells, numbers=(2, 3, 4, 5)))


def _lengths(records):
    met = records.encounters.dropna(subset=["animal", "length_mm", "date"])
    met = met[met["status"].eq("alive")]
    marked = pd.DataFrame({"site": met["site"].astype(str), "day": day_numbers(met["date"]),
                           "mm": met["length_mm"].astype(float)})
    dug = records.animals.dropna(subset=["length_mm"])
    for mark in ("batch_mark", "tag", "second_mark"):
        if mark in dug:
            dug = dug[dug[mark].isna() | dug[mark].eq("")]
    units = records.units.assign(key=records.units["survey"].astype(str) + "\n"
                                 + records.units["unit"].astype(str))
    day = pd.Series(day_numbers(units["date"]), index=units["key"])
    day = day[~day.index.duplicated()]
    keys = dug["survey"].astype(str) + "\n" + dug["unit"].astype(str)
    unmarked = pd.DataFrame({"site": dug["site"].astype(str).to_numpy(),
                             "day": day.reindex(keys).to_numpy(),
                             "mm": dug["length_mm"].astype(float).to_numpy()}).dropna()
    return marked.dropna(), unmarked


def _year(day):
    return 1.0 + (day - 1.0) / _DAYS  # day 1 is the first of the year 1


def _path(cohort, last, curve, season):
    days = np.arange(cohort.day, max(last, cohort.day + 30) + 30, 30.0)
    told = [length_on(cohort, d, curve, season) for d in days]
    return days, np.array([m for m, _ in told]), np.array([s for _, s in told])


def _rows(sites, marked, unmarked, paths):
    return [(s, int(marked["site"].eq(s).sum()), int(unmarked["site"].eq(s).sum()),
             sum(p[0].site == s for p in paths)) for s in sites]


def _tallest(marked, unmarked, paths):
    return max([1.0, *marked["mm"], *unmarked["mm"], *(float(mean[-1]) for _, _, mean, _ in paths)])


def _paint(sheet, sites, marked, unmarked, paths):
    grid = np.atleast_1d(sheet.subplots(-(-len(sites) // 2), min(2, len(sites)), sharex=True,
                                        sharey=True, squeeze=False)).ravel()
    for axes in grid[len(sites):]:
        axes.set_visible(False)
    for axes, site in zip(grid, sites, strict=False):
        for cohort, days, mean, sd in paths:
            if cohort.site == site:
                axes.fill_between(_year(days), mean - 1.96 * sd, mean + 1.96 * sd, color=MIST,
                                  lw=0, alpha=0.45)
                axes.plot(_year(days), mean, color=INK, lw=1.1)
        here, other = marked[marked["site"].eq(site)], unmarked[unmarked["site"].eq(site)]
        axes.plot(_year(here["day"]), here["mm"], ls="", marker="o", ms=2, mew=0, color=STREAM,
                  alpha=0.6, rasterized=len(here) > _MOST_POINTS)
        axes.plot(_year(other["day"]), other["mm"], ls="", marker="^", ms=4.5, mfc="#ffffff",
                  mec=CLAY, mew=1.0)
        axes.set_title(wrapped(site, 40, 2))
        whole_years(axes.xaxis, 6)
    grid[0].set_ylim(0, 1.06 * _tallest(marked, unmarked, paths))  # shared by all
    for axes in grid[0::2]:
        axes.set_ylabel("length, mm")
    at_line(grid[0], grid[0].get_xlim()[0], grid[0].get_ylim()[1], "triangles: unmarked",
            color=CLAY, dx=4, dy=-4, va="top", size=8, ground=True)

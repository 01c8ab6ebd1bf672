"""Adults through time: what runs do, the goal, what is released, and who was born there."""

from __future__ import annotations

import numpy as np

from pva.report.blocks import Figure, table
from pva.report.figures.canvas import (
    CLAY,
    INK,
    MIST,
    MOSS,
    QUIET,
    RIVER,
    SAND,
    SHALLOW,
    STREAM,
    at_line,
    axes_place,
    counted,
    in_percent,
    picture,
    whole_years,
    wrapped,
)
from pva.report.words import count, percent

MOST_STRETCH = 3  # a goal further off leaves the runs no room
BANDS = ((0.025, 0.975, MIST, "95 of 100 runs"), (0.1, 0.9, SHALLOW, "80 of 100"),
         (0.25, 0.75, STREAM, "50 of 100"))


def fan_figure(name: str, data, *, target=None, measure: str = "adults",
               words: str = "Adults", released=None, size=(7.2, 6.0)) -> Figure:
    """Fan of a measure, releases beneath, wild-born share beneath that.

    Parameters
    ----------
    data : xarray.Dataset
        Of a run; needs ``MEASURE_quantile``.
    target : tuple or None
        (number, first year, last year, words) of the goal the fan is measured against.
    released : dict of int to float or None
        Planned animals by release year.
    """
    years = data.year.values
    fan = data[f"{measure}_quantile"]
    share = data["wild_share_mean"].values if "wild_share_mean" in data else None
    told = _alternative(fan, years, words, target, share)
    svg, place = picture(
        name, lambda sheet: _paint(sheet, years, fan, words, target, released, data, measure),
        alternative=told, title=f"{words} through time, with releases and wild-born share",
        size=size)
    caption = (f"{words} at each yearly census. Shaded: the middle 50, 80 and 95 of every 100 "
               "runs; line: the middle run.")
    beneath = {"released": "animals planned for release",
               "share": "the share of adults born in the river (all of the first census "
                        "count as such)"}
    below = [beneath[p] for p in _panels(released, data) if p in beneath]
    if below:
        caption += f" Beneath: {' and '.join(below)}."
    values = {"place": place, "at": [int(y) for y in years],
              "said": [_said(fan, i, year, words) for i, year in enumerate(years)]}
    return Figure(name, caption, told, svg, _data(fan, years, share, words, released), values)


def _said(fan, i, year, words):
    low, middle, high = (count(float(fan.sel(quantile=q)[i])) for q in (0.1, 0.5, 0.9))
    return f"{year}: {words.lower()}, middle run {middle}; 80 of 100 runs {low} to {high}"


def _paint(sheet, years, fan, words, target, released, data, measure):
    panels = _panels(released, data)
    heights = {"fan": 3.4, "released": 0.85, "share": 1.15}
    all_axes = sheet.subplots(len(panels), 1, sharex=True,
                              height_ratios=[heights[p] for p in panels], squeeze=False)[:, 0]
    for axes, panel in zip(all_axes, panels, strict=True):
        if panel == "fan":
            _paint_fan(axes, years, fan, words, target, data, measure)
        elif panel == "released":
            _paint_released(axes, released)
        else:
            _paint_share(axes, years, data)
    all_axes[-1].set_xlim(years[0] - 0.6, years[-1] + 0.6)
    whole_years(all_axes[-1].xaxis)
    return axes_place(sheet, all_axes[0])


def _panels(released, data):
    panels = ["fan"]
    if released and any(released.values()):
        panels.append("released")
    if _some_stocked(data):
        panels.append("share")
    return panels


def _some_stocked(data):
    """Whether stocked adults are ever there, so that their share is worth a look."""
    share = data["wild_share_mean"].values if "wild_share_mean" in data else np.array([np.nan])
    return bool((share[np.isfinite(share)] < 1).any())


def _paint_fan(axes, years, fan, words, target, data, measure):
    for low, high, color, label in BANDS:
        axes.fill_between(years, fan.sel(quantile=low), fan.sel(quantile=high), color=color, lw=0,
                          label=label)
    axes.plot(years, fan.sel(quantile=0.5), color=INK, label="middle run")
    top = float(fan.sel(quantile=0.975).max())
    if measure == "adults" and "wild_adults_mean" in data and _some_stocked(data):
        axes.plot(years, data["wild_adults_mean"], color=MOSS, ls=(0, (5, 2)),
                  label="wild-born adults, mean")
    if target is not None:
        number, first, last, said = target
        for color, width in (("#ffffff", 5.4), (CLAY, 2.6)):  # a pale rim: it reads in grey too
            axes.plot([first - 0.4, last + 0.4], [number, number], color=color, lw=width,
                      solid_capstyle="butt")
        axes.axhline(number, color=CLAY, lw=0.9, ls=(0, (1.2, 1.8)))
        beyond = "" if number < MOST_STRETCH * max(top, 1) else " (beyond this axis)"
        axes.set_title(wrapped(said + beyond, 62, 2), loc="right", color=CLAY, fontsize=8.5)
        top = max(top, number * 1.1) if number < MOST_STRETCH * max(top, 1) else top
    axes.set_ylim(0, max(top * 1.04, 1))
    axes.set_title(words)
    counted(axes.yaxis)
    axes.legend(loc="lower left", bbox_to_anchor=(0, 1.07), ncols=5, borderaxespad=0,
                handlelength=1.5, columnspacing=1.3, handletextpad=0.5)


def _paint_released(axes, released):
    axes.bar(list(released), list(released.values()), color=SAND, edgecolor=CLAY, width=0.72,
             lw=0.8)
    axes.set_title("Planned for release")
    axes.set_ylim(0, max(released.values()) * 1.25)
    axes.locator_params(axis="y", nbins=2)
    counted(axes.yaxis)


def _paint_share(axes, years, data):
    share = data["wild_share_mean"].values
    axes.plot(years, share, color=RIVER)
    axes.fill_between(years, 0, share, color=MIST, lw=0)
    axes.set_ylim(0, 1)
    axes.set_yticks([0, 0.5, 1])
    in_percent(axes.yaxis)
    axes.set_title("Wild-born share of adults, mean")
    last = np.flatnonzero(np.isfinite(share))[-1]
    at_line(axes, years[last], share[last], percent(share[last]), color=QUIET, dx=-2,
            dy=-9 if share[last] > 0.3 else 8, ha="right")


def _alternative(fan, years, words, target, share):
    end = {q: float(fan.sel(quantile=q)[-1]) for q in (0.025, 0.1, 0.5, 0.9, 0.975)}
    parts = [f"{words} in {years[-1]}: the middle run has {count(end[0.5])}; 80 of 100 runs lie "
             f"between {count(end[0.1])} and {count(end[0.9])}, 95 of 100 between "
             f"{count(end[0.025])} and {count(end[0.975])}."]
    if target is not None:
        parts.append(f"Marked: {target[3]}.")
    if share is not None and np.isfinite(share).any():
        last = share[np.flatnonzero(np.isfinite(share))[-1]]
        parts.append(f"Mean wild-born share of adults at the end: {percent(last)}.")
    return " ".join(parts)


def _data(fan, years, share, words, released):
    quantiles = (0.025, 0.1, 0.25, 0.5, 0.75, 0.9, 0.975)
    rows = []
    for i, year in enumerate(years):
        row = [str(year), *(count(float(fan.sel(quantile=q)[i])) for q in quantiles)]
        row.append(count((released or {}).get(int(year), 0)))
        row.append(percent(share[i]) if share is not None else percent(None))
        rows.append(row)
    heads = ("Year", "2.5 %", "10 %", "25 %", "Middle", "75 %", "90 %", "97.5 %",
             "Planned for release", "Wild-born share")
    return table(f"{words} by year: shares of runs below each number", heads, rows,
                 numbers=range(1, len(heads)))

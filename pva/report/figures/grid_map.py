"""Map of a grid: the chance over two things that were varied, with lines of equal chance."""

from __future__ import annotations

import numpy as np
import xarray as xr

from pva.decide.explore import dimensions
from pva.decide.grid import key_words
from pva.report.blocks import Figure, table
from pva.report.figures.canvas import (
    CLAY,
    INK,
    PAPER,
    RIVER,
    SHALLOW,
    counted,
    in_percent,
    picture,
    shades,
)
from pva.report.words import percent_range
from pva.results.wording import chance_between

EVENLY = (0.1, 0.2, 0.3, 0.4, 0.5, 0.6, 0.7, 0.8, 0.9)
MOST_PANELS = 6


def grid_figure(name: str, data: xr.Dataset, *, words: dict[str, str] | None = None) -> Figure:
    """Chance of meeting every goal over the grid; quasi-extinction where there is no goal.

    Parameters
    ----------
    data : xarray.Dataset
        From `explore`: one or two keys; a third makes a panel for each of its values.
    words : dict or None
        Names of the axes in words, by dimension.

    Returns
    -------
    Figure
    """
    names = dimensions(data)
    words = {n: key_words(data[n].attrs["long_name"]) for n in names} | (words or {})
    what, chance, low, high = _outcome(data, names)
    painted = [n for n in names if data.sizes[n] > 1][:3] or names[:1]
    shown = chance.isel({n: 0 for n in names if n not in painted})
    told = _alternative(what, (chance, low, high), names, words)
    svg, _ = picture(name, lambda sheet: _paint(sheet, what, shown, painted, words, (low, high)),
                     alternative=told, title=what, size=_size(shown, painted))
    rows = [(*(_text(chance[n].values[i]) for n, i in zip(names, place, strict=True)),
             chance_between(*(a.values[place] for a in (chance, low, high))),
             percent_range(low.values[place], high.values[place]))
            for place in np.ndindex(*chance.shape)]
    numbers = tuple(range(len(names) + 2))
    columns = (*(words[n] for n in names), "Chance", "95 % interval of the simulation")
    return Figure(name, _caption(what, painted, names, chance), told, svg,
                  table(what, columns, rows, numbers=numbers))


def _outcome(data, names):
    kind, what = ("all_goals", "Chance of meeting every goal") if data.sizes["goal"] else (
        "quasi_extinction", "Chance of falling below the threshold")
    ends = data[f"{kind}_interval"]
    chance = data[f"{kind}_chance"].transpose(*names)
    if kind == "all_goals":  # a chance that is wanted belongs to goals
        chance.attrs["chance_wanted"] = float(data.attrs["chance_wanted"])
    return what, chance, *(
        ends.sel(bound=b).transpose(*names) for b in ("low", "high"))


def _size(shown, painted):
    if len(painted) < 2:
        return 7.2, 3.5
    if len(painted) == 2:
        return 7.2, 4.4
    panels = min(shown.sizes[painted[2]], MOST_PANELS)
    return 7.2, 0.6 + 2.5 * -(-panels // 2)


def _paint(sheet, what, shown, painted, words, ends):
    wanted = shown.attrs.get("chance_wanted")
    if len(painted) < 2:
        return _line(sheet.subplots(), what, shown, painted[0], words, wanted, ends)
    if len(painted) == 2:
        axes = sheet.subplots()
        drawn = _map(axes, shown, painted, words, wanted)
        return _scale(sheet, drawn, [axes], what)
    third = painted[2]
    panels = min(shown.sizes[third], MOST_PANELS)
    grid = np.atleast_1d(sheet.subplots(-(-panels // 2), 2, squeeze=False)).ravel()
    for i in range(len(grid)):
        if i >= panels:
            grid[i].set_visible(False)
            continue
        drawn = _map(grid[i], shown.isel({third: i}), painted[:2], words, wanted)
        grid[i].set_title(f"{words[third]}: {_text(shown[third].values[i])}", fontsize=8.5)
    return _scale(sheet, drawn, list(grid[:panels]), what)


def _places(values):
    """Numbers as they are; words side by side."""
    numeric = values.dtype.kind in "fi"
    return values.astype(float) if numeric else np.arange(len(values), dtype=float)


def _line(axes, what, shown, name, words, wanted, ends):
    at = _places(shown[name].values)
    order = np.argsort(at)
    low, high = (e.isel({d: 0 for d in e.dims if d != name}).values for e in ends)
    axes.vlines(at, low, high, color=SHALLOW, lw=5)
    numeric = shown[name].dtype.kind in "fi"
    axes.plot(at[order], shown.values[order], color=RIVER, marker="o", ls="-" if numeric else "")
    if wanted is not None:
        axes.axhline(wanted, color=CLAY, lw=1.2, ls=(0, (5, 2)))
    axes.set_ylabel(what[0].lower() + what[1:])
    axes.set_ylim(0, 1)
    in_percent(axes.yaxis)
    _label(axes.xaxis, axes.set_xticks, shown[name].values, words[name])


def _map(axes, shown, names, words, wanted):
    """Shades and lines of equal chance; a dot where a point was run."""
    across, up = names
    x, y = _places(shown[across].values), _places(shown[up].values)
    x_order, y_order = np.argsort(x), np.argsort(y)
    z = shown.transpose(up, across).values[np.ix_(y_order, x_order)]
    x, y = x[x_order], y[y_order]
    axes.grid(False)
    drawn = axes.contourf(x, y, z, levels=(0, *EVENLY, 1.0), cmap=shades(), vmin=0, vmax=1)
    if np.ptp(z) > 0:
        levels = [v for v in EVENLY if wanted is None or abs(v - wanted) > 1e-9]
        lines = axes.contour(x, y, z, levels=levels, colors=INK, linewidths=0.6)
        _on_paper(axes.clabel(lines, fmt=lambda v: f"{100 * v:.0f} %", fontsize=7, colors=INK))
        if wanted is not None and z.min() < wanted < z.max():
            line = axes.contour(x, y, z, levels=[wanted], colors=CLAY, linewidths=2.4,
                                linestyles=[(0, (5, 2))])
            _on_paper(axes.clabel(line, fmt=lambda v: f"wanted {100 * v:.0f} %", fontsize=8,
                                  colors=CLAY))
    grid_x, grid_y = np.meshgrid(x, y)
    axes.plot(grid_x.ravel(), grid_y.ravel(), ls="", marker="o", ms=4.2, color=INK, mec=PAPER,
              mew=1.0, clip_on=False, zorder=2.5)
    _label(axes.xaxis, axes.set_xticks, shown[across].values, words[across])
    _label(axes.yaxis, axes.set_yticks, shown[up].values, words[up])
    return drawn


def _on_paper(labels) -> None:
    """A pale ground behind labels, which must be read on dark parts too."""
    for label in labels:
        label.set_bbox({"boxstyle": "round,pad=0.15", "fc": PAPER, "ec": "none"})


def _label(axis, set_ticks, values, words):
    axis.set_label_text(words)
    if values.dtype.kind in "fi" and values.max() >= 1000:
        counted(axis)
    if values.dtype.kind not in "fi":
        set_ticks(range(len(values)), [_text(v) for v in values])


def _scale(sheet, drawn, axes, what):
    bar = sheet.colorbar(drawn, ax=axes, shrink=0.85, pad=0.02)
    bar.outline.set_visible(False)
    bar.set_label(what[0].lower() + what[1:])
    in_percent(bar.ax.yaxis)


def _text(value):
    return f"{value:g}" if isinstance(value, int | float | np.number) else str(value)


def _alternative(what, seen, names, words):
    places, chance = {}, seen[0]
    for end, at in (("lowest", np.argmin(chance.values)), ("highest", np.argmax(chance.values))):
        place = np.unravel_index(at, chance.shape)
        where = ", ".join(f"{words[n]} {_text(chance[n].values[i])}"
                          for n, i in zip(names, place, strict=True))
        places[end] = f"{end} {chance_between(*(a.values[place] for a in seen))} at {where}"
    return f"{what}: {places['lowest']}; {places['highest']}."


def _caption(what, painted, names, chance):
    if len(painted) < 2:
        return (f"{what}, point by point; upright bars: 95 % interval of the simulation; broken "
                "line: chance wanted.")
    rest = [n for n in names if n not in painted and chance.sizes[n] > 1]
    text = (f"{what}. Darker is likelier; lines join equal chances, the broken one the chance "
            "wanted; dots are the points that were run, and between them the map is drawn "
            "straight.")
    return text + (f" Shown for the first value of {', '.join(rest)}." if rest else "")

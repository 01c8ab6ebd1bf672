"""Chance of falling below the threshold, and of extinction, by year."""

from __future__ import annotations

from pva.report.blocks import Figure, table
from pva.report.figures.canvas import (
    CLAY,
    DASHES,
    RIVER,
    SAND,
    SHALLOW,
    at_line,
    axes_place,
    in_percent,
    picture,
    spread_labels,
    whole_years,
)
from pva.report.words import percent_range
from pva.results.wording import chance_between


def risk_figure(name: str, summary: dict) -> Figure:
    """Risk curve of a run.

    Parameters
    ----------
    summary : dict
        As `run_summary` gives it.
    """
    quasi, gone = summary["quasi_extinction"], summary["extinction"]
    told = _alternative(quasi, gone)
    svg, place = picture(name, lambda sheet: _paint(sheet, quasi, gone),
                         alternative=told,
                         title="Chance of decline and of extinction by year",
                         size=(7.2, 3.3 if quasi["chance"][-1] > 0 else 2.3))
    caption = (f"Chance that adults have fallen below {quasi['threshold']:g} at some census from "
               f"{quasi['from']} to the year, and chance that no animal is left. Shaded: 95 % "
               "interval of the simulation.")
    said = [f"{year}: below {quasi['threshold']:g} adults so far "
            f"{_seen(quasi, i)}, no animal left {_seen(gone, i)}"
            for i, year in enumerate(quasi["year"])]
    return Figure(name, caption, told, svg, _data(quasi, gone),
                  {"place": place, "at": list(quasi["year"]), "said": said})


def _seen(risk, i):
    """The chance of a year in words; one never seen by the end of its interval."""
    return chance_between(risk["chance"][i], risk["low"][i], risk["high"][i])


def _paint(sheet, quasi, gone):
    axes = sheet.subplots()
    years = quasi["year"]
    counts = [i for i, y in enumerate(years) if y >= quasi["from"]]
    rows = ((quasi, CLAY, SAND, DASHES[0], f"below {quasi['threshold']:g} adults"),
            (gone, RIVER, SHALLOW, DASHES[1], "no animal left"))
    top = max(0.05, 1.25 * max(*quasi["high"], *gone["high"]))
    ends = spread_labels([quasi["chance"][-1], gone["chance"][-1]], 0.085 * top)
    for (risk, color, band, dash, label), end in zip(rows, ends, strict=True):
        low, high, chance = ([risk[k][i] for i in counts] for k in ("low", "high", "chance"))
        at = [years[i] for i in counts]
        axes.fill_between(at, low, high, color=band, alpha=0.6, lw=0)
        axes.plot(at, chance, color=color, ls=dash)
        last = _seen(risk, -1)
        at_line(axes, years[-1], end, f"{label}: {last}", color=color)
    axes.axvline(quasi["from"], color=SAND, lw=1)
    at_line(axes, quasi["from"], min(top, 1.0), "counted from here", dx=4, dy=-6, va="top", size=8)
    axes.set_ylim(0, min(top, 1.0))
    axes.set_xlim(years[0], years[-1])
    axes.set_ylabel("chance so far")
    whole_years(axes.xaxis)
    in_percent_fine(axes, top)
    return axes_place(sheet, axes)


def in_percent_fine(axes, top):
    """Percents, with tenths where the whole axis is small."""
    in_percent(axes.yaxis)
    if top < 0.1:
        axes.yaxis.set_major_formatter(lambda v, _: f"{100 * v:.1f} %")


def _alternative(quasi, gone):
    year = quasi["year"][-1]
    return (f"By {year} the chance of having fallen below {quasi['threshold']:g} adults is "
            f"{_seen(quasi, -1)} "
            f"({percent_range(quasi['low'][-1], quasi['high'][-1])}), and that of extinction "
            f"{_seen(gone, -1)} "
            f"({percent_range(gone['low'][-1], gone['high'][-1])}).")


def _data(quasi, gone):
    rows = [(str(y), _seen(quasi, i), percent_range(quasi["low"][i], quasi["high"][i]),
             percent_range(quasi["draw_low"][i], quasi["draw_high"][i]),
             _seen(gone, i), percent_range(gone["low"][i], gone["high"][i]))
            for i, y in enumerate(quasi["year"]) if y >= quasi["from"]]
    return table("Risk by year", ("Year", "Below the threshold", "95 % interval of the simulation",
                                  "Between parameter draws", "No animal left", "95 % interval"),
                 rows, numbers=range(1, 6))

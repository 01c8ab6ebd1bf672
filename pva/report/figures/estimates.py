"""Estimates as dots with intervals, and growth with every increment."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from pva.report.blocks import Figure, table
from pva.report.figures.canvas import (
    CLAY,
    INK,
    QUIET,
    RIVER,
    SHALLOW,
    STREAM,
    at_line,
    names_at_rows,
    picture,
)
from pva.report.words import interval, known, percent, rate, share

MOST_POINTS = 1500  # more would make the page slow; they are then drawn as an image


@dataclass(frozen=True)
class Dot:
    """One estimate.

    Parameters
    ----------
    name : str
    value, low, high : float or None
        None where it could not be told; only `high` is known where none was found.
    other : float or None
        A second value set beside it, drawn open.
    """

    name: str
    value: float | None
    low: float | None = None
    high: float | None = None
    other: float | None = None


def dots_figure(name: str, dots: list[Dot], *, title: str, caption: str, words: str,
                other_words: str = "", chance: bool = True, unit: str = "") -> Figure:
    """Estimates with 95 % intervals, one line each.

    Parameters
    ----------
    words, other_words : str
        What the filled mark and the open mark stand for.
    chance : bool
        Whether values are chances, 0 to 1.
    unit : str
        Label of the axis for other values.
    """
    said = percent if chance else rate
    told = " ".join([f"{title}.", *(_told(d, said, other_words, unit) for d in dots)])
    svg, _ = picture(name, lambda sheet: _paint_dots(sheet, dots, words, other_words, chance,
                                                     unit),
                     alternative=told, title=title, size=(7.2, 0.95 + 0.36 * len(dots)))
    heads = ["", words, "95 % interval"] + ([other_words] if other_words else [])
    say = share if chance else rate
    rows = [[d.name, say(d.value), interval(d.low, d.high, say)]
            + ([say(d.other)] if other_words else []) for d in dots]
    heads[0] = "What"
    return Figure(name, caption, told, svg,
                  table(title, heads, rows, numbers=range(1, len(heads))))


def _told(dot, said, other_words, unit):
    parts = [f"{dot.name}: {said(dot.value)} {unit}".strip()]
    if known(dot.low) or known(dot.high):
        parts.append(f"({interval(dot.low, dot.high, said)})")
    if known(dot.other):
        parts.append(f"{other_words} {said(dot.other)}")
    return " ".join(parts) + "."


def _paint_dots(sheet, dots, words, other_words, chance, unit):
    axes = sheet.subplots()
    axes.grid(True, axis="x")
    axes.grid(False, axis="y")
    label = {"main": words, "other": other_words}
    for i, dot in enumerate(dots):
        if known(dot.high):
            axes.plot([dot.low if known(dot.low) else 0, dot.high], [i, i], color=STREAM, lw=2.4,
                      solid_capstyle="butt")
        if known(dot.value):
            none = dot.value == 0
            axes.plot([dot.value], [i], marker="|" if none else "D", color=RIVER, ls="",
                      ms=11 if none else 6.5, label=label.pop("main", None))
        if known(dot.other):
            axes.plot([dot.other], [i], marker="o", mfc="#ffffff", mec=CLAY, mew=1.5, ls="",
                      ms=6.5, label=label.pop("other", None))
        end = max(v for v in (dot.value, dot.high, dot.other, 0) if known(v))
        at_line(axes, end, i, _beside(dot, chance), dx=8, color=INK, size=8.2)
    names_at_rows(axes, [d.name for d in dots])
    axes.set_ylim(len(dots) - 0.4, -0.7)
    _limits(axes, dots, chance)
    axes.spines["left"].set_visible(False)
    if chance:
        axes.xaxis.set_major_formatter(lambda v, _: f"{v:.3g}")
    axes.set_xlabel("chance" if chance else unit)
    if other_words:
        axes.legend(loc="lower left", bbox_to_anchor=(0, 1.0), ncols=2, borderaxespad=0,
                    handletextpad=0.2, columnspacing=1.6)


def _beside(dot, chance):
    if not known(dot.value):
        return "could not be told"
    if dot.value == 0 and known(dot.high):
        return f"none found: up to {rate(dot.high, 2)}"
    return share(dot.value) if chance else rate(dot.value, 2)


def _limits(axes, dots, chance):
    values = [v for d in dots for v in (d.value, d.low, d.high, d.other) if known(v)]
    top = max(values, default=1.0)
    if chance:
        least = min(values, default=0.0)
        start = 0.0 if least < 0.5 else 0.5 if least < 0.8 else 0.8
        axes.set_xlim(start, 1.0 + 0.12 * (1 - start))
        axes.set_xticks(np.round(np.linspace(start, 1.0, 6), 2))
    else:
        axes.set_xlim(0, 1.25 * top if top else 1.0)


def growth_figure(name: str, growth: dict, increments: dict | None) -> Figure:
    """Yearly growth against length, with every increment as measured, and the mean curve.

    Parameters
    ----------
    growth : dict
        ``asymptote_mm``, ``rate`` and, if known, ``measurement_sd_mm``.
    increments : dict or None
        ``length_mm`` (first of the two), ``years`` between, ``increment_mm``.
    """
    data = _increments(increments)
    told = (f"Growth slows towards {growth['asymptote_mm']:.0f} mm, at a rate of "
            f"{growth['rate']:.3g} a year.")
    if data is not None:
        told += (f" {len(data['increment_mm']):,} increments are shown; those below zero are "
                 "measurement error, kept.")
    svg, _ = picture(name, lambda sheet: _paint_growth(sheet, growth, data), alternative=told,
                     title="Growth", size=(7.2, 3.3))
    top, k = growth["asymptote_mm"], growth["rate"]
    rows = [(f"{length:.0f}", f"{(top - length) * (1 - np.exp(-k)):.1f}")
            for length in np.arange(10, top, 10)]
    caption = ("Left: growth per year between two measurements at least 0.4 years apart; open "
               "triangles are below zero and stay in, because leaving them out would make "
               "animals grow faster than they do. Lengths that look misread are drawn too. Line: "
               "the mean curve. Right: the mean curve from 0 mm.")
    if data is None:
        caption = "The mean growth curve."
    return Figure(name, caption, told, svg, table(
        "Mean growth in a year by length", ("Length, mm", "Growth in a year, mm"), rows,
        numbers=(0, 1)))


def _increments(increments):
    increments = increments or {}
    first = increments.get("length_mm", increments.get("first_mm", ()))
    if not len(first):
        return None
    data = {"length_mm": np.array(first, dtype=float)} | {
        k: np.array(increments[k], dtype=float) for k in ("years", "increment_mm")}
    usable = (data["years"] > 0.4) & np.isfinite(data["length_mm"] + data["increment_mm"])
    return {k: v[usable] for k, v in data.items()} if usable.any() else None


def _paint_growth(sheet, growth, data):
    top, k = growth["asymptote_mm"], growth["rate"]
    if data is None:
        _paint_curve(sheet.subplots(), top, k)
        return
    left, right = sheet.subplots(1, 2, width_ratios=[1.35, 1])
    yearly = data["increment_mm"] / data["years"]
    below = yearly < 0
    left.plot(data["length_mm"][~below], yearly[~below], ls="", marker="o", ms=2.6, color=STREAM,
              alpha=0.55, mew=0, rasterized=len(yearly) > MOST_POINTS)
    left.plot(data["length_mm"][below], yearly[below], ls="", marker="v", ms=4, mfc="none",
              mec=CLAY, mew=0.8)
    length = np.linspace(0, top, 50)
    left.plot(length, (top - length) * (1 - np.exp(-k)), color=INK)
    left.axhline(0, color=QUIET, lw=0.8)
    left.set_xlabel("length at first measurement, mm")
    left.set_ylabel("growth per year, mm")
    left.set_xlim(0, None)
    at_line(left, 0, left.get_ylim()[0], "open: below zero, kept", color=CLAY, dx=5, dy=5,
            va="bottom", ground=True)
    _paint_curve(right, top, k)


def _paint_curve(axes, top, k):
    years = np.linspace(0, 3.2 / k, 80)
    axes.plot(years, top * (1 - np.exp(-k * years)), color=RIVER)
    axes.axhline(top, color=SHALLOW, lw=1.2, ls=(0, (5, 2)))
    at_line(axes, 0, top, f"asymptote {top:.0f} mm", color=QUIET, dx=4, dy=-6, va="top")
    axes.set_xlabel("years of growing time")
    axes.set_ylabel("length, mm")
    axes.set_xlim(0, years[-1])
    axes.set_ylim(0, top * 1.08)

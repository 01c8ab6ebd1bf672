"""Chance of success against the number stocked."""

from __future__ import annotations

import numpy as np

from pva.report.blocks import Figure, table
from pva.report.figures.canvas import (
    CLAY,
    INK,
    QUIET,
    RIVER,
    SHALLOW,
    at_line,
    axes_place,
    counted,
    in_percent,
    picture,
)
from pva.report.words import count, exact, known, percent, percent_range
from pva.results.wording import chance_between


def stock_figure(name: str, answer: dict, *, unit: str, brief: bool = False) -> tuple[Figure, dict]:
    """Curve of chance against number.

    Parameters
    ----------
    answer : dict
        `StockAnswer.summary()`.
    unit : str
        "animals a year" and the like.
    brief : bool
        Lower, with a short caption, for the answer.

    Returns
    -------
    tuple of (Figure, dict)
        The figure, and where its axes lie.
    """
    curve = {k: np.array(v, dtype=float) for k, v in answer["curve"].items()}
    told = _alternative(answer, curve, unit)
    svg, place = picture(name, lambda sheet: _paint(sheet, answer, curve, unit), alternative=told,
                         title="Chance of meeting every goal, against the number stocked",
                         size=(7.2, 2.6 if brief else 3.5))
    caption = "Chance of meeting every goal in the same run; band: 95 % interval of the simulation."
    if not brief:
        caption = (f"Chance of meeting every goal in the same run, against {unit}. The shaded "
                   "band is the 95 % interval of the simulation itself; it does not show how far "
                   "the rates may be off, because the chance already averages over them.")
    said = [f"{exact(n)} {unit}: chance {chance_between(c, lo, hi)} ({percent_range(lo, hi)})"
            for n, c, lo, hi in zip(*(curve[k] for k in ("number", "chance", "low", "high")),
                                    strict=True)]
    values = {"place": place, "at": [float(n) for n in curve["number"]], "said": said}
    return Figure(name, caption, told, svg, _data(curve, unit),
                  None if brief else values), place


def _paint(sheet, answer, curve, unit):
    axes = sheet.subplots()
    number, chance = curve["number"], curve["chance"]
    axes.fill_between(number, curve["low"], curve["high"], color=SHALLOW, alpha=0.65, lw=0)
    axes.plot(number, chance, color=RIVER, marker="o", ms=3.2)
    axes.set_xlim(0, _reach(answer, number, chance))
    axes.set_ylim(0, 1.0)
    axes.set_xlabel(unit[0].upper() + unit[1:])
    axes.set_ylabel("chance of meeting every goal")
    counted(axes.xaxis)
    in_percent(axes.yaxis)
    wanted = answer["chance_wanted"]
    axes.axhline(wanted, color=CLAY, lw=1.2, ls=(0, (5, 2)))
    at_line(axes, axes.get_xlim()[1], wanted, f"chance wanted {percent(wanted)}", color=CLAY,
            dx=-2, dy=5, ha="right", va="bottom")
    if answer["number"] is not None:
        at = answer["number"]
        axes.plot([at, at], [0, wanted], color=INK, lw=1.0, ls=(0, (1.2, 1.8)))
        axes.plot([at], [wanted], marker="D", color=INK, ms=6.5)
        at_line(axes, at, wanted, f"{count(at)}", dx=9, dy=-11, size=11, weight="bold")
        if known(answer["low"]) and known(answer["high"]):
            axes.plot([answer["low"], answer["high"]], [0.012, 0.012], color=INK, lw=3.5,
                      solid_capstyle="butt")
            at_line(axes, answer["high"], 0.012, "interval of the number", color=QUIET, dy=5,
                    size=8)
    return axes_place(sheet, axes)


def _reach(answer, number, chance):
    """Right end: far enough to see the curve flatten, not so far that its rise is squeezed."""
    top = float(number.max())
    enough = number[chance >= chance.max() - 0.015]
    end = float(enough.min()) if len(enough) and chance.max() - chance.min() > 0.015 else top
    if answer["number"]:
        end = min(max(2.2 * answer["number"], end), 4.5 * answer["number"])
    return max(min(end * 1.03, top), 1.0)


def _alternative(answer, curve, unit):
    i = int(np.argmax(curve["chance"]))
    first, best = (chance_between(*(curve[k][at] for k in ("chance", "low", "high")))
                   for at in (0, i))
    parts = [f"The chance rises from {first} with "
             f"{count(curve['number'][0])} to its best, {best}, with "
             f"{count(curve['number'][i])} {unit}."]
    if answer["number"] is not None:
        parts.append(f"It crosses the wanted {percent(answer['chance_wanted'])} at about "
                     f"{count(answer['number'])}.")
    else:
        parts.append(f"It never reaches the wanted {percent(answer['chance_wanted'])}.")
    return " ".join(parts)


def _data(curve, unit):
    rows = [(exact(n), chance_between(c, lo, hi), percent_range(lo, hi)) for n, c, lo, hi in
            zip(curve["number"], curve["chance"], curve["low"], curve["high"], strict=True)]
    return table(f"Chance of meeting every goal by {unit}",
                 (unit[0].upper() + unit[1:], "Chance", "95 % interval of the simulation"), rows,
                 numbers=(0, 1, 2))

"""Added risk to the donor bed against the number taken a year."""

from __future__ import annotations

from pva.report.blocks import Figure, table
from pva.report.figures.canvas import (
    CLAY,
    DASHES,
    INK,
    MARKS,
    MIST,
    RIVER,
    at_line,
    counted,
    in_percent,
    picture,
)
from pva.report.words import count, exact, percent, percent_range

_LOOK = {"lower limit": (RIVER, DASHES[0], MARKS[0]), "best value": (INK, DASHES[1], MARKS[1])}


def donor_figure(name: str, summary: dict) -> Figure:
    """Added risk against collection, from the lower limit and from the best value.

    Parameters
    ----------
    summary : dict
        `DonorAnswer.summary()`.
    """
    told = " ".join(
        f"From the {j['start']} of abundance ({count(j['adults'])} adults) up to "
        f"{count(j['largest'])} a year keep the added risk within "
        f"{percent(summary['added_risk'])}." for j in summary["judged"])
    svg, _ = picture(name, lambda sheet: _paint(sheet, summary), alternative=told,
                     title="Added risk to the donor bed, against the number taken a year")
    rows = [(j["start"], count(t["number"]), percent(t["added"]),
             percent_range(max(t["low"], 0.0), t["high"]))
            for j in summary["judged"] for t in j["curve"]]
    caption = (f"Added chance that {summary['site']} falls below {exact(summary['threshold'])} "
               f"adults, against {summary['stage']} animals taken a year; band: 95 % interval of "
               "the simulation. The lower limit of the bed's abundance decides.")
    columns = ("Bed judged from", "Taken a year", "Added risk", "95 % interval of the simulation")
    return Figure(name, caption, told, svg,
                  table("Added risk to the donor bed", columns, rows, numbers=(1, 2, 3)))


def _paint(sheet, summary):
    axes = sheet.subplots()
    agreed = summary["added_risk"]
    for judged in summary["judged"]:
        color, dash, mark = _LOOK[judged["start"]]
        curve = judged["curve"]
        number = [t["number"] for t in curve]
        axes.fill_between(number, [t["low"] for t in curve], [t["high"] for t in curve],
                          color=MIST, lw=0)
        axes.plot(number, [t["added"] for t in curve], color=color, ls=dash, marker=mark, ms=3.5,
                  label=f"from the {judged['start']}, {count(judged['adults'])} adults")
    axes.axhline(agreed, color=CLAY, lw=1.2, ls=(0, (5, 2)))
    ends = [j["largest"] for j in summary["judged"]]
    reach = max(3.0 * max(ends), 1.0)
    shown = [t["added"] for j in summary["judged"] for t in j["curve"] if t["number"] <= reach]
    axes.set_xlim(0, reach)
    axes.set_ylim(0, min(max(max(shown) * 1.1, 2 * agreed), max(6 * agreed, 0.2)))
    at_line(axes, reach, agreed, f"agreed {percent(agreed)}", color=CLAY, dx=-2, dy=6, ha="right")
    for judged in summary["judged"]:
        if judged["largest"]:
            axes.plot([judged["largest"]], [agreed], marker="D", color=INK, ms=6)
            at_line(axes, judged["largest"], agreed, count(judged["largest"]), dx=4, dy=-10,
                    weight="bold", ground=True)
    axes.set_xlabel(f"{summary['stage']} animals taken a year")
    axes.set_ylabel("added risk")
    counted(axes.xaxis)
    in_percent(axes.yaxis)
    axes.legend(loc="lower left", bbox_to_anchor=(0, 1.0), ncols=2, borderaxespad=0)

"""What the chance of success does within what is known of each rate, and where the answer flips."""

from __future__ import annotations

from pva.report.blocks import Figure, table
from pva.report.figures.canvas import (
    CLAY,
    INK,
    QUIET,
    RIVER,
    SAND,
    at_line,
    in_percent,
    names_at_rows,
    picture,
)
from pva.report.words import percent, rate, rate_range
from pva.results.wording import rate_words

MOST_ROWS = 14


def flips_figure(name: str, summary: dict) -> Figure:
    """Bars of the chance over the stated range of every rate.

    Parameters
    ----------
    summary : dict
        `SensitivityAnswer.summary()`.
    """
    rows = summary["rates"][:MOST_ROWS]
    wanted = summary["chance_wanted"] if summary["verdict"] is not None else None
    what = ("Chance of meeting every goal" if summary["outcome"] == "all goals"
            else "Chance of not falling below the threshold")
    total = summary["independent_runs"]
    told = " ".join(_told(r, total) for r in rows[:5])
    svg, _ = picture(name, lambda sheet: _paint(sheet, rows, wanted, what), alternative=told,
                     title=f"{what}, one rate at a time", size=(7.2, 1.0 + 0.4 * len(rows)))
    data = table(f"{what}, one rate at a time",
                 ("Rate", "Best value", "95 % of what is known", "Chance there", "Answer flips at",
                  "Against the data"), [_cells(r, total) for r in summary["rates"]],
                 numbers=(1, 2, 3, 4))
    caption = (f"{what} with one rate held at the two ends of what is known about it, all else as "
               "uncertain as it is. Open bars: nothing is said about the doubt, so the rate is "
               "moved by one step (0.02 of a probability, else a tenth). Diamond: all at best "
               "value. At the right the value at which the answer flips, and whether it lies "
               "inside what is known.")
    return Figure(name, caption, told, svg, data)


def ends(row: dict) -> tuple[float, float, bool]:
    """Chances at the ends shown, low value first, and whether the range is stated."""
    if row["chance_low"] is None:
        return row["chance_less"], row["chance_more"], False
    return row["chance_low"], row["chance_high"], True


def standing(row: dict) -> str:
    """Where the flip stands against what is known."""
    if row["flip"] is None:
        return "flips nowhere"
    if row["ruled_out"] is None:
        return "nothing is said"
    if not row["ruled_out"]:
        return "inside the range"
    return "outside the range"


def _paint(sheet, rows, wanted, what):
    axes = sheet.subplots()
    axes.grid(True, axis="x")
    axes.grid(False, axis="y")
    for i, row in enumerate(rows):
        low, high, stated = ends(row)
        axes.barh(i, abs(high - low), left=min(low, high), height=0.5, lw=0.9,
                  edgecolor=RIVER, color=SAND if stated else "none")
        for value, words in ((low, "less"), (high, "more")):
            side = "right" if value == min(low, high) else "left"
            shown = row["low"] if words == "less" else row["high"]
            if shown is None:
                shown = row["value"] + (row["step"] if words == "more" else -row["step"])
            at_line(axes, value, i, rate(shown), color=QUIET, ha=side, size=7.5,
                    dx=-3 if side == "right" else 3, ground=True)
        axes.plot([row["chance"]], [i], marker="D", ms=4.5, color=INK)
        if row["flip"] is not None:
            text = f"flips at {rate(row['flip'])}"
            inside = row["ruled_out"] is False
            axes.annotate(text, (1.02, i), xycoords=("axes fraction", "data"), va="center",
                          fontsize=8, color=CLAY if inside else QUIET,
                          fontweight="bold" if inside else "normal", annotation_clip=False)
    if wanted is not None:
        axes.axvline(wanted, color=CLAY, lw=1.2, ls=(0, (5, 2)))
        at_line(axes, wanted, -0.8, f"wanted {percent(wanted)}", color=CLAY, dx=0, ha="center",
                size=8, ground=True)
    names_at_rows(axes, [rate_words(r["name"]) for r in rows])
    axes.set_ylim(len(rows) - 0.5, -1.0)
    axes.set_xlim(-0.06, 1.06)
    axes.set_xticks([0, 0.2, 0.4, 0.6, 0.8, 1.0])
    in_percent(axes.xaxis)
    axes.set_xlabel(what[0].lower() + what[1:])
    axes.spines["left"].set_visible(False)


def _told(row, total):
    low, high, stated = ends(row)
    range_ = (f"over what is known ({rate_range(row['low'], row['high'])})" if stated
              else "one step down and up")
    flip = f"; the answer flips at {rate(row['flip'])}" if row["flip"] is not None else ""
    return (f"{rate_words(row['name'])}: {percent(low, total)} to {percent(high, total)} "
            f"{range_}{flip}.")


def _cells(row, total):
    low, high, stated = ends(row)
    return (rate_words(row["name"]), rate(row["value"]),
            rate_range(row["low"], row["high"]) if stated else "nothing is said",
            f"{percent(low, total)} to {percent(high, total)}" + ("" if stated else " (one step)"),
            "" if row["flip"] is None else rate(row["flip"]), standing(row))

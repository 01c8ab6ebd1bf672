"""What was seen, laid over what the projection of the past predicted."""

from __future__ import annotations

from pva.report.blocks import Figure, table
from pva.report.data_words import QUANTILES, count_words, percentile_words
from pva.report.figures.canvas import CLAY, INK, MIST, RIVER, SHALLOW, at_line, picture

ROOM = 0.3  # inches of a row


def observed_figure(name: str, summary: dict) -> Figure:
    """Predicted bands of every count, and the count.

    Parameters
    ----------
    summary : dict
        `DataCheck.summary()`.
    """
    rows = summary["rows"]
    told = " ".join(f"{count_words(r)}: {r['count']} seen, {r['q05']:.0f} to {r['q95']:.0f} "
                    f"predicted, {r['verdict']}." for r in rows)
    svg, _ = picture(name, lambda sheet: _paint(sheet, rows), alternative=told,
                     title="Seen against predicted", size=(7.2, 1.0 + ROOM * len(rows)))
    data = table("Seen against predicted",
                 ("Count", "Seen", "5 %", "25 %", "50 %", "75 %", "95 %", "Percentile", "Verdict",
                  "Estimates"),
                 [(count_words(r), r["count"], *(f"{r[q]:.0f}" for q in QUANTILES),
                   percentile_words(r["percentile"]), r["verdict"],
                   "do not know it" if r["held_out"] else "know it") for r in rows],
                 numbers=range(1, 8))
    caption = ("Pale bar: 90 % of the counts predicted; dark bar: the middle half; line: the "
               "median. Filled diamond: seen, and held out of the estimates, a test. Open diamond: "
               "seen, but known to the estimates. Each row has a scale of its own, from 0 to the "
               "largest number in it.")
    return Figure(name, caption, told, svg, data)


def _paint(sheet, rows):
    axes = sheet.subplots()
    axes.grid(False)
    for i, row in enumerate(rows):
        top = max(row["q95"], row["count"], 1.0)
        q = {k: row[k] / top for k in QUANTILES}
        axes.barh(i, q["q95"] - q["q05"], left=q["q05"], height=0.62, color=MIST, edgecolor=SHALLOW,
                  lw=0.7)
        axes.barh(i, q["q75"] - q["q25"], left=q["q25"], height=0.62, color=SHALLOW, lw=0)
        axes.plot([q["q50"], q["q50"]], [i - 0.31, i + 0.31], color=RIVER, lw=1.6)
        outside = row["verdict"] == "outside"
        color = CLAY if outside else INK
        axes.plot([row["count"] / top], [i], marker="D", ms=5.5, mec=color,
                  color=color if row["held_out"] else "#ffffff")
        text = f"{row['count']} ({row['q05']:.0f} to {row['q95']:.0f})"
        at_line(axes, 1.03, i, text + (" outside" if outside else ""), color=color, dx=4, size=8,
                weight="bold" if outside else "normal")
    axes.set_yticks(range(len(rows)), [count_words(r) for r in rows])
    axes.tick_params(axis="y", labelcolor=INK)
    axes.invert_yaxis()
    axes.set_xlim(-0.02, 1.03)
    axes.set_xticks([])
    axes.spines["bottom"].set_visible(False)
    axes.set_title("seen (90 % band predicted)", loc="right", fontsize=8.5, fontweight="normal",
                   color=INK)

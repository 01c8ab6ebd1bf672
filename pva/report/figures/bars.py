"""Bars: shares of variance, effects of rates, and scenarios side by side."""

from __future__ import annotations

from pva.report.blocks import Figure, table
from pva.report.figures.canvas import (
    CLAY,
    HATCH,
    INK,
    MARKS,
    QUIET,
    RIVER,
    SAND,
    SHALLOW,
    STREAM,
    at_line,
    in_percent,
    names_at_rows,
    picture,
)
from pva.report.words import percent, percent_range, rate, signed

LAYERS = (("unknown", "what we do not know", STREAM), ("years", "how years differ", SAND),
          ("individuals", "chance of single animals", "#ffffff"))


def shares_figure(name: str, shares: list[dict]) -> Figure:
    """Where the spread of each outcome comes from.

    Parameters
    ----------
    shares : list of dict
        ``outcome, unknown, years, individuals``; rows without a share are left out.
    """
    rows = [s for s in shares if s["unknown"] is not None]
    told = " ".join(f"{s['outcome']}: {percent(s['unknown'])} from what we do not know, "
                    f"{percent(s['years'])} from years, {percent(s['individuals'])} from single "
                    "animals." for s in rows)
    svg, _ = picture(name, lambda sheet: _paint_shares(sheet, rows), alternative=told,
                     title="Where the spread comes from", size=(7.2, 1.1 + 0.52 * len(rows)))
    data = table("Shares of the variance", ("Outcome", *(w for _, w, _ in LAYERS)),
                 [(s["outcome"], *(percent(s[k]) for k, _, _ in LAYERS)) for s in rows],
                 numbers=(1, 2, 3))
    caption = ("Share of the variance of each outcome that is due to not knowing the rates, to "
               "good and bad years, and to the chance of single animals. More field work shrinks "
               "only the first.")
    return Figure(name, caption, told, svg, data)


def _paint_shares(sheet, rows):
    axes = sheet.subplots()
    axes.grid(False)
    for i, row in enumerate(rows):
        left = 0.0
        for (key, words, color), hatch in zip(LAYERS, HATCH, strict=True):
            axes.barh(i, row[key], left=left, color=color, hatch=hatch, edgecolor=INK, lw=0.7,
                      height=0.56, label=words if i == 0 else None)
            if row[key] > 0.08:
                axes.text(left + row[key] / 2, i, percent(row[key]), ha="center", va="center",
                          fontsize=8.5, bbox={"boxstyle": "round,pad=0.2", "fc": "#ffffff",
                                              "ec": "none", "alpha": 0.85})
            left += row[key]
    names_at_rows(axes, [r["outcome"] for r in rows])
    axes.invert_yaxis()
    axes.set_xlim(0, 1)
    in_percent(axes.xaxis)
    axes.spines["left"].set_visible(False)
    axes.legend(loc="lower left", bbox_to_anchor=(0, 1.02), ncols=3, borderaxespad=0,
                handlelength=1.6, columnspacing=1.4)


def dependence_figure(name: str, rows: list[dict], *, words: str) -> Figure:
    """How strongly the outcome follows each uncertain number from draw to draw.

    Parameters
    ----------
    rows : list of dict
        ``name``, ``pull`` (rank correlation) and ``clear``; strongest first.
    words : str
        The outcome followed.
    """
    told = "Strongest: " + "; ".join(f"{r['name']} {signed(r['pull'])}" for r in rows[:4]) + "."
    svg, _ = picture(name, lambda sheet: _paint_dependence(sheet, rows), alternative=told,
                     title=f"What {words} follows", size=(7.2, 0.9 + 0.3 * len(rows)))
    data = table(f"How {words} follows each uncertain number",
                 ("Number", "Rank correlation", "Told from chance"),
                 [(r["name"], signed(r["pull"]), "yes" if r["clear"] else "no") for r in rows],
                 numbers=(1,))
    caption = (f"Rank correlation of {words} with each uncertain number, from one possible set of "
               "rates to another. To the right: the higher the number, the better. Open bars "
               "cannot be told from chance. The longest bar is the number most worth knowing "
               "better.")
    return Figure(name, caption, told, svg, data)


def _paint_dependence(sheet, rows):
    axes = sheet.subplots()
    axes.grid(True, axis="x")
    axes.grid(False, axis="y")
    for i, row in enumerate(rows):
        axes.barh(i, row["pull"], height=0.5, color=STREAM if row["clear"] else "#ffffff",
                  edgecolor=RIVER, lw=0.9)
        away = 6 if row["pull"] >= 0 else -6
        at_line(axes, row["pull"], i, signed(row["pull"]), dx=away,
                ha="left" if away > 0 else "right", size=8)
    axes.axvline(0, color=INK, lw=0.8)
    names_at_rows(axes, [r["name"] for r in rows])
    axes.invert_yaxis()
    reach = 1.25 * max(abs(r["pull"]) for r in rows)
    low = -reach if min(r["pull"] for r in rows) < 0 else 0
    axes.set_xlim(low, reach)
    axes.set_xlabel("rank correlation over parameter draws")
    axes.spines["left"].set_visible(False)


def elasticity_figure(name: str, rows: list[dict], *, most: int = 12) -> Figure:
    """Effect of each rate on long-run growth, and how much of it is doubt.

    Parameters
    ----------
    rows : list of dict
        As `Material.weights` gives them.
    """
    shown = sorted(rows, key=lambda r: -abs(r["elasticity"]))[:most]
    told = "Largest effects: " + "; ".join(
        f"{r['name']} {signed(r['elasticity'])} %" for r in shown[:4]) + "."
    svg, _ = picture(name, lambda sheet: _paint_elasticities(sheet, shown), alternative=told,
                     title="What long-run growth depends on", size=(7.2, 0.95 + 0.3 * len(shown)))
    data = table("Effect of each rate on the long-run growth rate",
                 ("Rate", "Best value", "Effect of 1 % more, in %", "Doubt (SD over value)",
                  "Effect times doubt"),
                 [(r["name"], rate(r["value"]), signed(r["elasticity"]), percent(r["spread"]),
                   percent(r["weight"])) for r in rows], numbers=(1, 2, 3, 4))
    caption = ("Dark bar: by how many percent the long-run growth rate changes when the rate is "
               "1 % higher. Diamond: the same times what we do not know about the rate (its "
               "standard deviation, in percent): the further right, the more it is worth "
               "measuring. No diamond: nothing is said about the doubt.")
    return Figure(name, caption, told, svg, data)


def _paint_elasticities(sheet, rows):
    axes = sheet.subplots()
    axes.grid(True, axis="x")
    axes.grid(False, axis="y")
    places = range(len(rows))
    axes.barh(places, [abs(r["elasticity"]) for r in rows], color=RIVER, height=0.42,
              label="effect of 1 % more (left axis, %)")
    names_at_rows(axes, [r["name"] for r in rows])
    axes.invert_yaxis()
    axes.set_xlabel("change of the growth rate in %, for 1 % of the rate")
    doubted = [(i, r) for i, r in enumerate(rows) if r["weight"]]
    if doubted:
        twin = axes.twiny()
        twin.grid(False)
        twin.plot([100 * r["weight"] for _, r in doubted], [i for i, _ in doubted], ls="",
                  marker="D", color=CLAY, mec="#ffffff", mew=0.8, ms=7)
        twin.set_xlim(0, None)
        twin.spines["top"].set_visible(True)
        twin.spines["top"].set_color(CLAY)
        twin.tick_params(axis="x", colors=CLAY)
        twin.set_xlabel("\N{BLACK DIAMOND} change of the growth rate in %, for one SD of doubt",
                        color=CLAY)
    axes.set_xlim(0, None)


def scenarios_figure(name: str, rows: list[tuple[str, float, float, float]], *,
                     wanted: float | None, replicates: int) -> Figure:
    """Chance of meeting every goal, scenario by scenario.

    Parameters
    ----------
    rows : list of (title, chance, low, high)
        The main scenario first.
    replicates : int
        In all, for chances that were never seen.
    """
    told = " ".join(f"{t}: {percent(c, replicates)} ({percent_range(lo, hi)})."
                    for t, c, lo, hi in rows)
    svg, _ = picture(name, lambda sheet: _paint_scenarios(sheet, rows, wanted, replicates),
                     alternative=told,
                     title="Scenarios compared", size=(7.2, 0.8 + 0.5 * len(rows)))
    data = table("Chance of meeting every goal, plan as written",
                 ("Scenario", "Chance", "95 % interval of the difference, from the main one"),
                 [(t, percent(c, replicates), percent_range(lo, hi)) for t, c, lo, hi in rows],
                 numbers=(1, 2))
    caption = ("Chance of meeting every goal with the plan as written; the main scenario stands "
               "first. Thin line: 95 % interval of the difference from it, in the same luck.")
    return Figure(name, caption, told, svg, data)


def _paint_scenarios(sheet, rows, wanted, replicates):
    axes = sheet.subplots()
    axes.grid(True, axis="x")
    axes.grid(False, axis="y")
    for i, (_, chance, low, high) in enumerate(rows):
        axes.plot([0, chance], [i, i], color=SHALLOW, lw=5, solid_capstyle="butt")
        axes.plot([low, high], [i, i], color=INK, lw=1.4)
        axes.plot([chance], [i], marker=MARKS[3] if i == 0 else MARKS[0], color=RIVER,
                  ms=8 if i == 0 else 6)
        at_line(axes, max(high, chance), i, percent(chance, replicates), dx=8)
    if wanted is not None:
        axes.axvline(wanted, color=CLAY, lw=1.2, ls=(0, (5, 2)))
        at_line(axes, wanted, -0.75, f"wanted {percent(wanted)}", color=CLAY, dx=0, dy=2,
                ha="center", va="bottom", size=8)
    names_at_rows(axes, [r[0] for r in rows])
    axes.set_ylim(len(rows) - 0.5, -0.75)
    axes.set_xlim(0, 1.06)
    axes.set_xticks([0, 0.2, 0.4, 0.6, 0.8, 1.0])
    in_percent(axes.xaxis)
    axes.spines["left"].set_visible(False)
    axes.tick_params(axis="x", labelcolor=QUIET)

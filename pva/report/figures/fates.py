"""What tags only heard may mean: survival with all of them dead, alive, or not counted."""

from __future__ import annotations

from pva.report.blocks import Figure, table
from pva.report.figures.canvas import CLAY, INK, RIVER, SHALLOW, names_at_rows, picture
from pva.report.words import known, share

_MARKS = (("if_all_dead", "all dead by then", "v", INK),
          ("value", "not counted (used)", "D", RIVER),
          ("if_all_alive", "all alive", "^", CLAY))


def fates_figure(name: str, rows: list[dict]) -> Figure:
    """One line a rate, from the lowest reading of heard-only tags to the highest.

    Parameters
    ----------
    rows : list of dict
        ``name``, ``value``, ``if_all_dead``, ``if_all_alive``.
    """
    told = " ".join(f"{r['name']}: " + ", ".join(
        f"{words} {share(r[key])}" for key, words, _, _ in _MARKS if known(r[key])) + "."
        for r in rows)
    svg, _ = picture(name, lambda sheet: _paint(sheet, rows), alternative=told,
                     title="Survival under other readings of heard tags",
                     size=(7.2, 0.95 + 0.36 * len(rows)))
    cells = [(r["name"], *(share(r[key]) for key, *_ in _MARKS)) for r in rows]
    return Figure(name, "A heard tag is not a live mussel. Triangle down: every animal only heard "
                  "was dead by then; triangle up: every one was alive; diamond: they are not "
                  "counted. These are readings, not bounds: a death moved from the time after "
                  "release into later years can cross them.", told, svg,
                  table("Survival under other readings of heard tags",
                        ("What", *(w.capitalize() for _, w, _, _ in _MARKS)), cells,
                        numbers=(1, 2, 3)))


def _paint(sheet, rows):
    axes = sheet.subplots()
    axes.grid(True, axis="x")
    axes.grid(False, axis="y")
    for i, row in enumerate(rows):
        values = [row[key] for key, *_ in _MARKS if known(row[key])]
        if values:
            axes.plot([min(values), max(values)], [i, i], color=SHALLOW, lw=4,
                      solid_capstyle="butt")
        for key, words, mark, color in _MARKS:
            if known(row[key]):
                hollow = key != "value"
                axes.plot([row[key]], [i], ls="", marker=mark, ms=6.5, mec=color, mew=1.3,
                          mfc="#ffffff" if hollow else color, label=words if i == 0 else None)
    names_at_rows(axes, [r["name"].replace("release/", "after release, ") for r in rows])
    axes.set_ylim(len(rows) - 0.4, -0.7)
    axes.spines["left"].set_visible(False)
    axes.set_xlabel("survival")
    axes.legend(loc="lower left", bbox_to_anchor=(0, 1.0), ncols=3, borderaxespad=0,
                handletextpad=0.2, columnspacing=1.6)

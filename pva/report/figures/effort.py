"""Survey effort: quadrats against the chance of a find; when a survey can tell."""

from __future__ import annotations

import numpy as np

from pva.decide.quadrat_effort import DENSITIES, FindingOne, chance_to_find
from pva.report.blocks import Figure, table
from pva.report.figures.canvas import (
    CLAY,
    DASHES,
    INK,
    MARKS,
    QUIET,
    RIVER,
    SHALLOW,
    STREAM,
    at_line,
    counted,
    in_percent,
    picture,
    whole_years,
)
from pva.report.words import count, exact, percent, percent_range

POINTS = 200
_SHOWN = (0.25, 0.5, 0.75, 1.0, 1.25, 1.5, 2.0)  # times the number advised, in the table


def finding_figure(name: str, asked: FindingOne) -> Figure:
    """Chance of finding at least one against the number of quadrats.

    Parameters
    ----------
    asked : FindingOne
    """
    needed = asked.effort.quadrats
    densities = [asked.density * times for times in DENSITIES]
    told = (f"With {exact(needed)} quadrats of {asked.quadrats.area_m2:g} m2 at least one is found "
            f"with a chance of {percent(asked.chance)} where {asked.density:g} per m2 live.")
    svg, _ = picture(name, lambda sheet: _paint_finding(sheet, asked, densities),
                     alternative=told, title="Chance of finding at least one, against quadrats")
    numbers = sorted({max(1, round(needed * times)) for times in _SHOWN})
    rows = [(exact(n), *(percent(float(chance_to_find(n, d, asked.quadrats)))
                         for d in densities)) for n in numbers]
    data = table("Chance of finding at least one",
                 ("Quadrats", *(f"{d:g} per m2" for d in densities)), rows,
                 numbers=range(len(densities) + 1))
    caption = ("Chance of finding at least one animal, against the number of quadrats, at three "
               "densities. The diamond is the number advised. More quadrats are more harm to the "
               "bed: dig no more than the question needs.")
    return Figure(name, caption, told, svg, data)


def _paint_finding(sheet, asked, densities):
    axes = sheet.subplots()
    needed = asked.effort.quadrats
    numbers = np.linspace(0, 2 * needed, POINTS)
    for density, dash, color in zip(densities, DASHES[1:3] + DASHES[:1], (STREAM, RIVER, STREAM),
                                    strict=False):
        here = density == asked.density
        axes.plot(numbers, chance_to_find(numbers, density, asked.quadrats), color=color,
                  ls="-" if here else dash, lw=2.2 if here else 1.3,
                  label=f"{density:g} per m2")
    axes.set_xlim(0, 2 * needed)
    axes.set_ylim(0, 1.02)
    axes.set_xlabel(f"Quadrats of {asked.quadrats.area_m2:g} m2")
    axes.set_ylabel("chance of finding at least one")
    counted(axes.xaxis)
    in_percent(axes.yaxis)
    axes.axhline(asked.chance, color=CLAY, lw=1.2, ls=(0, (5, 2)))
    at_line(axes, 2 * needed, asked.chance, f"wanted {percent(asked.chance)}", color=CLAY, dx=-2,
            dy=-7, ha="right", ground=True)
    axes.plot([needed], [asked.chance], marker="D", color=INK, ms=6.5)
    at_line(axes, needed, asked.chance, exact(needed), dx=9, dy=-12, size=11, weight="bold")
    axes.legend(loc="lower right")


def verdict_figure(name: str, summary: dict) -> Figure:
    """Chance of being right about success and about failure, by year of the survey.

    Parameters
    ----------
    summary : dict
        `SurveyVerdict.summary()`, with years.
    """
    rows, wanted = summary["years"], summary["wanted"]
    if summary["year"] is None:
        told = f"In no year do both chances reach {percent(wanted)}."
    else:
        told = f"From {summary['year']} on both chances reach {percent(wanted)}."
    svg, _ = picture(name, lambda sheet: _paint_verdict(sheet, rows, wanted, summary["year"]),
                     alternative=told, title="When a survey tells success from failure")
    data = table("What one survey tells, by year",
                 ("Year", "Says success if at least", "Right if success", "Right if failure",
                  "95 % interval of the lesser", "If all were counted"),
                 [(r["year"], count(r["at_least"]), percent(r["right_if_success"]),
                   percent(r["right_if_failure"]), percent_range(r["low"], r["high"]),
                   percent(r["everything_counted"])) for r in rows], numbers=range(6))
    caption = ("Chance that one survey in a year is right: about runs that succeed, and about runs "
               "that fail. Band: 95 % interval of the simulation for the lesser of the two. "
               "Dotted: the lesser if every animal were counted, which no survey can beat.")
    return Figure(name, caption, told, svg, data)


def _paint_verdict(sheet, rows, wanted, first):
    axes = sheet.subplots()
    years = [r["year"] for r in rows]

    def of(key):
        return [r[key] for r in rows]

    axes.fill_between(years, of("low"), of("high"), color=SHALLOW, alpha=0.6, lw=0)
    for key, words, mark, color in (("right_if_success", "right if it succeeds", MARKS[0], RIVER),
                                    ("right_if_failure", "right if it fails", MARKS[1], CLAY)):
        axes.plot(years, of(key), color=color, marker=mark, ms=3.8, lw=1.3, label=words)
    axes.plot(years, of("everything_counted"), color=QUIET, ls=DASHES[2], label="all counted")
    axes.axhline(wanted, color=INK, lw=1.0, ls=DASHES[1])
    at_line(axes, years[0], wanted, f"wanted {percent(wanted)}", dx=2, dy=6, size=8)
    if first is not None:
        axes.axvline(first, color=INK, lw=1.0, ls=DASHES[2])
        at_line(axes, first, 0.04, str(first), dx=4, weight="bold")
    axes.set_ylim(0, 1.02)
    axes.set_ylabel("chance of being right")
    in_percent(axes.yaxis)
    whole_years(axes.xaxis)
    axes.legend(loc="lower right", ncols=1)

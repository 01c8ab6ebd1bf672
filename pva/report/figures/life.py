"""The scenario drawn: its life cycle with the rates on it, and its model year step by step."""

from __future__ import annotations

from pva.model.matrix import best
from pva.report.blocks import Figure, table
from pva.report.figures.canvas import CLAY, INK, MIST, PAPER, QUIET, RIVER, boxed, picture, wrapped
from pva.report.words import count, percent, rate, share
from pva.results.wording import listed
from pva.scenario.resolved import AFTER, Calibration, Resolved

MOST_STAGES = 8
_LINKS = (("females", "females"), ("gravid", "of them gravid"), ("glochidia", "glochidia each"),
          ("attachment", "meet and stay on a fish"), ("settlement", "alive at the first census"))


def life_figure(name: str, resolved: Resolved) -> Figure | None:
    """Stages from left to right with survival and growth, and how young come about.

    None where there are too many stages to draw.
    """
    if len(resolved.stages) > MOST_STAGES or len(resolved.stages) < 2:
        return None
    rows = _stages(resolved)
    young = _young(resolved)
    told = " ".join(f"{r['name']}: survives a year with {r['lives']}{r['moves']}." for r in rows)
    told += f" Young: {young}."
    svg, _ = picture(name, lambda sheet: _paint_life(sheet, rows, young), alternative=told,
                     title="Life cycle of the scenario", size=(7.2, 3.0))
    site = resolved.sites[0].name if len(resolved.sites) > 1 else ""
    return Figure(name, "One box a stage, with the chance of living one year; on the arrow what "
                  "part of the survivors moves on. Dark rim: stages that breed. Best values"
                  + (f" of {site}" if site else "") + "; what is not known about them stands in "
                  "the table of every number.", told, svg,
                  table("Life cycle", ("Stage", "Lives a year", "Then"),
                        [(r["name"], r["lives"], r["moves"].strip(" ;,") or "stays")
                         for r in rows], numbers=(1,)))


def _stages(resolved):
    site = resolved.sites[0]
    rows = []
    for stage in resolved.stages:
        lives = site.survival.get(stage.name)
        moves = site.growth.get(stage.name) or {}
        words = "".join(f"; {share(best(r))} of survivors become {to}" for to, r in moves.items()
                        if to != stage.name)
        if stage.years is not None and not words:
            words = f"; moves on after {stage.years} year{'s' * (stage.years > 1)}"
        on = [share(best(r)) for to, r in moves.items() if to != stage.name][:1]
        rows.append({"name": stage.name, "lives": share(best(lives)) if lives else "not stated",
                     "moves": words, "breeds": stage.breeds or (resolved.is_matrix and stage.adult),
                     "label": on[0] if on else (f"after {stage.years} y" if stage.years else ""),
                     "range": _range(stage)})
    return rows


def _range(stage):
    if stage.length_mm is not None:
        return "{:g} to {:g} mm".format(*stage.length_mm)
    if stage.years is not None:
        return f"{stage.years} year{'s' * (stage.years > 1)}"
    return ""


def _young(resolved):
    recruitment = resolved.sites[0].recruitment
    if recruitment.form == "per_adult":
        return f"{rate(best(recruitment.per_adult))} recruits per adult and year"
    if recruitment.form == "entries":
        return listed([f"{rate(best(r))} {to} per {origin}" for (to, origin), r
                       in recruitment.entries.items() if best(r)]) or "none"
    parts = []
    for key, words in _LINKS:
        link = getattr(recruitment, key)
        if isinstance(link, Calibration):
            parts.append(f"{words}: solved")
        elif link is not None:
            parts.append(f"{words} {rate(best(link))}")
    hosts = listed([h.name for h in recruitment.hosts])
    return f"by way of {hosts}: " + ", ".join(parts)


def _paint_life(sheet, rows, young):
    axes = sheet.subplots()
    axes.axis("off")
    n = len(rows)
    wide = 0.62
    for i, row in enumerate(rows):
        boxed(axes, (i - wide / 2, -0.28), wide, 0.56, fill=MIST if row["breeds"] else PAPER,
              line=RIVER if row["breeds"] else QUIET, width_of_line=2.0 if row["breeds"] else 1.0)
        axes.text(i, 0.1, wrapped(row["name"], 14, 2), ha="center", va="center",
                  fontsize=9, fontweight="bold")
        axes.text(i, -0.12, row["range"], ha="center", va="center", fontsize=7.5, color=QUIET)
        axes.text(i, -0.42, f"lives {row['lives']}", ha="center", va="center", fontsize=8.5)
        if i < n - 1:
            _arrow(axes, (i + wide / 2, 0), (i + 1 - wide / 2, 0), RIVER)
            axes.text(i + 0.5, 0.07, row["label"], ha="center", va="bottom", fontsize=7.8)
    breeders = [i for i, r in enumerate(rows) if r["breeds"]] or [n - 1]
    for i in breeders:
        _arrow(axes, (i, 0.3), (0, 0.3), CLAY, curve=0.32 if i else 0.0)
    said = wrapped(young[0].upper() + young[1:], 92)
    axes.text((n - 1) / 2, 1.28, said, ha="center", va="top", fontsize=8.2, color=CLAY)
    axes.set_xlim(-0.5, n - 0.5)
    axes.set_ylim(-0.6, 1.32)


def _arrow(axes, start, end, color, curve=0.0):
    axes.annotate("", end, start, arrowprops={
        "arrowstyle": "-|>", "color": color, "lw": 1.4, "shrinkA": 1, "shrinkB": 1,
        "connectionstyle": f"arc3,rad={curve}"})


def calendar_figure(name: str, resolved: Resolved) -> Figure:
    """The steps of a model year in their order, with what each does in this scenario."""
    steps = _steps(resolved)
    told = " ".join(f"{i}: {title}, {words}." for i, (title, words) in enumerate(steps, start=1))
    svg, _ = picture(name, lambda sheet: _paint_calendar(sheet, steps), alternative=told,
                     title="The model year", size=(7.2, 2.9))
    return Figure(name, "From one census to the next, in this order. Pale: nothing happens there "
                  "in this scenario.", told, svg,
                  table("The model year", ("Step", "What happens", "In this scenario"),
                        [(str(i), *step) for i, step in enumerate(steps, start=1)],
                        numbers=(0,)))


def _steps(resolved):
    bad = [f"{b.name} ({percent(b.chance)} a year)" if b.chance else b.name
           for b in resolved.bad_years]
    moved = _stocked(resolved)
    after = resolved.census == AFTER
    space = [s.name for s in resolved.sites if any(
        getattr(s.limits, k) is not None for k in ("ceiling_animals", "ceiling_adults",
                                                   "beverton_holt", "ricker"))]
    movement = bool(resolved.movement or resolved.carried)
    return [
        ("The year is drawn", f"bad years: {listed(bad)}" if bad else "good and poor years"),
        ("Collections, then releases", "; ".join(moved) or "none"),
        ("Breeding", "survivors breed after growth" if after else "the animals counted breed"),
        ("Survival", "each animal lives or dies"),
        ("Growth", "survivors stay or move on"),
        ("Movement", "between sites" if movement else "none"),
        ("Limits of space", f"at {len(space)} of {len(resolved.sites)} sites" if space
         else "none"),
        ("Census", "everything is counted"),
    ]


def _stocked(resolved):
    numbers: dict[int, float] = {}
    for row in resolved.releases:
        for year, number in row.numbers.items():
            numbers[year] = numbers.get(year, 0.0) + number
    some = {y: n for y, n in numbers.items() if n > 0}
    out = [f"{count(sum(c.numbers.values()))} taken at {c.site}" for c in resolved.collections]
    if some:
        out.append(f"{count(max(some.values()))} a year, {min(some)} to {max(some)}")
    return out


def _paint_calendar(sheet, steps):
    axes = sheet.subplots()
    axes.axis("off")
    for i, (title, words) in enumerate(steps):
        x, y = (i % 4, 0.0) if i < 4 else (3 - i % 4, -1.0)
        idle = words == "none"
        boxed(axes, (x - 0.43, y - 0.36), 0.86, 0.72, fill=MIST if title == "Census" else PAPER,
              line=QUIET if idle else RIVER, width_of_line=0.8 if idle else 1.3)
        axes.text(x, y + 0.2, f"{i + 1} {wrapped(title, 18)}", ha="center", va="center",
                  fontsize=8.6, fontweight="normal" if idle else "bold",
                  color=QUIET if idle else INK)
        axes.text(x, y - 0.14, wrapped(words, 24), ha="center", va="center", fontsize=7.6,
                  color=QUIET)
    for i in range(7):
        x, y = (i % 4, 0.0) if i < 4 else (3 - i % 4, -1.0)
        if i == 3:
            _arrow(axes, (3, -0.37), (3, -0.63), RIVER)
        else:
            side = 0.44 if i < 3 else -0.44
            step = 1 if i < 3 else -1
            _arrow(axes, (x + side, y), (x + step - side, y), RIVER)
    _arrow(axes, (0, -0.63), (0, -0.37), CLAY)
    axes.text(0.06, -0.5, "next year", fontsize=7.8, color=CLAY, va="center")
    axes.set_xlim(-0.48, 3.48)
    axes.set_ylim(-1.4, 0.4)

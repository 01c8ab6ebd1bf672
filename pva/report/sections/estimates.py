"""What the records say: survival, release survival, detection, tags, growth, density, recruits.

Pictures need tables beside the summary: ``pictures['increments']`` with ``first_mm, years,
increment_mm`` for growth. Without them the tables stand alone.
"""

from __future__ import annotations

from pva.report.blocks import Heading, Note, Points, Section, Text, table
from pva.report.estimate_rows import is_release, rows_of
from pva.report.figures.estimates import Dot, dots_figure, growth_figure
from pva.report.material import Material
from pva.report.words import count, exact, interval, known, percent, rate, rate_range, share

LEVELS = {
    0: "no field data: every rate is published or assumed",
    1: "releases, batch marks and quadrats: density and evidence of recruitment",
    2: "tags and two visits: bounds on survival, not a point, because it cannot be told from "
       "detection",
    3: "tags and three or more visits: survival, growth and detection",
    4: "tags, three or more visits and double marks, shells or host fish: also tag loss, bounds "
       "for heard-only tags, or recruitment tied to hosts",
}


def section(material: Material) -> Section:
    """Third part of the page."""
    title, short = "What the records say", "Estimates"
    summary = material.estimates
    if not summary:
        return Section("estimates", title, (Text(
            "No rate on this page was estimated from field records."),), short)
    blocks = _level(summary)
    for part in (_survival, _release, _detection, _tags):
        blocks += part(summary)
    blocks += _growth(summary, material.pictures or {})
    for part in (_density, _recruits, _abundance, _models):
        blocks += part(summary)
    blocks += _refused(summary)
    notes = [str(n) for n in summary.get("notes") or ()]
    if notes:
        blocks += [Heading("Notes of the estimation"), Points(tuple(notes))]
    return Section("estimates", title, tuple(blocks), short)


def _level(summary):
    level = summary.get("level")
    if level is None:
        return []
    return [Text(f"The records reach level {level} of 4: {LEVELS.get(level, '')}.")]


def _dots(rows, *, other=None):
    return [Dot(r["name"], r["value"], r["low"], r["high"], r[other] if other else None)
            for r in rows]


def _rate_table(caption, rows, *, what, note="", say=share, behind="Animals"):
    """Rows with doubt; columns that nobody filled are left out."""
    columns = [("apparent", "Apparent", say), ("value", what, say), ("se", "SE", say),
               ("interval", "95 % interval", None), ("year_sd", "SD between years", say),
               ("n", behind, exact), ("note", "Mind", str)]
    full = [{**r, "interval": interval(r["low"], r["high"], say)} for r in rows]
    used = [c for c in columns if c[0] in ("value", "interval")
            or any(r[c[0]] not in (None, "") for r in full)]
    cells = [[r["name"], *(r[k] if tell is None else tell(r[k]) for k, _, tell in used)]
             for r in full]
    numbers = [i for i, (k, _, _) in enumerate(used, start=1) if k != "note"]
    return table(caption, ("What", *(w for _, w, _ in used)), cells, numbers=numbers, note=note)


def _survival(summary):
    rows = [r for r in rows_of(summary, "survival") if not is_release(r)]
    if not rows:
        return []
    both = any(known(r["apparent"]) for r in rows)
    blocks = [Heading("Survival in a year")]
    if any(known(r["value"]) for r in rows):
        blocks.append(dots_figure(
            "survival", _dots(rows, other="apparent" if both else None),
            title="Survival in a year", words="corrected for tag loss" if both else "estimate",
            other_words="apparent: lost tags counted as deaths" if both else "",
            caption="Chance of living one year, mean over years, with its 95 % interval. 0.02 "
                    "decides the plan: 0.95 against 0.93 leaves 60 % against 48 % of adults after "
                    "ten years."))
    blocks.append(_rate_table("Survival in a year", rows,
                              what="Corrected" if both else "Estimate"))
    return blocks + _heard(rows)


def _heard(rows):
    bounded = [r for r in rows if r["low_all_dead"] is not None]
    if not bounded:
        return []
    return [table("Survival bounded by what heard-only tags may mean",
                  ("What", "All heard-only animals dead by then", "All alive"),
                  [(r["name"], share(r["low_all_dead"]), share(r["high_all_alive"]))
                   for r in bounded], numbers=(1, 2))]


def _release(summary):
    rows = rows_of(summary, "release") or [r for r in rows_of(summary, "survival")
                                          if is_release(r)]
    if not rows:
        return []
    rows = [{**r, "name": r["name"].removeprefix("release/")} for r in rows]
    return [Heading("Survival after release"),
            Text("The first months after release are a number of their own, never pooled with "
                 "later survival; a release year survives with the product of both."),
            _rate_table("Survival after release, by source", rows, what="Estimate")]


def _detection(summary):
    rows = rows_of(summary, "detection")
    if not rows:
        return []
    blocks = [Heading("Detection")]
    if any(known(r["value"]) for r in rows):
        blocks.append(dots_figure("detection", _dots(rows), title="Detection at a visit",
                                  words="estimate",
                                  caption="Chance that an animal that is there and alive is met "
                                          "at a visit."))
    wide = [r["name"] for r in rows if known(r["low"]) and known(r["high"])
            and r["high"] - r["low"] > 0.7]
    blocks.append(_rate_table("Detection at a visit", rows, what="Estimate"))
    if wide:
        blocks.append(Note("The data cannot tell", f"The interval of {'; '.join(wide)} spans most "
                           "of 0 to 1."))
    return blocks


def _tags(summary):
    rows = rows_of(summary, "tag_retention")
    if not rows:
        return []
    return [Heading("Tags kept"), _rate_table("Chance that a tag is kept for a year", rows,
                                              what="Estimate", note="From animals with two marks. "
                                              "A loss of 2 % a year turns a true survival of 0.95 "
                                              "into an apparent 0.931.")]


def _growth(summary, pictures):
    growth = summary.get("growth")
    blocks = []
    if isinstance(growth, dict) and known(growth.get("asymptote_mm")):
        blocks.append(growth_figure("growth", growth, pictures.get("increments")))
        blocks.append(_growth_table(growth))
    elif growth:
        blocks.append(_rate_table("Chance that a survivor moves on to the next stage in a year",
                                  rows_of(summary, "growth"), what="Estimate"))
    transitions = rows_of(summary, "transitions")
    if transitions:
        blocks.append(_rate_table("Chance that a survivor moves on to the next stage in a year",
                                  transitions, what="Estimate"))
    return [Heading("Growth"), *blocks] if blocks else []


def _growth_table(growth):
    names = (("asymptote_mm", "Mean asymptote, mm"), ("rate", "Growth rate, per year"),
             ("asymptote_sd_mm", "SD of asymptotes between animals, mm"),
             ("measurement_sd_mm", "SD of one measurement, mm"),
             ("negative", "Increments below zero, kept"), ("animals", "Animals measured twice"))
    se, ends = growth.get("se") or {}, growth.get("interval") or {}
    rows = []
    for key, words in names:
        if known(growth.get(key)):
            low, high = ends.get(key, (None, None)) if isinstance(ends, dict) else (None, None)
            doubt = se.get(key) if isinstance(se, dict) else None
            rows.append((words, rate(growth[key]), rate(doubt), rate_range(low, high)))
    return table("Growth curve", ("What", "Estimate", "SE", "95 % interval"), rows,
                 numbers=(1, 2, 3))


def _density(summary):
    rows = rows_of(summary, "density")
    if not rows:
        return []
    unit = "animals per m\N{SUPERSCRIPT TWO}"
    blocks = [Heading("Density")]
    if any(known(r["value"]) for r in rows):
        blocks.append(dots_figure("density", _dots(rows), title="Density", words="estimate",
                                  chance=False, unit=unit,
                                  caption="Animals per square metre with 95 % intervals, blank "
                                          "quadrats counted. Where none was found the line ends "
                                          "at what the digging still allows."))
    blocks.append(_rate_table(f"Density, {unit}", rows, what="Estimate", say=rate,
                              behind="Units dug"))
    return blocks


def _recruits(summary):
    rows = rows_of(summary, "recruits")
    if not rows:
        return []
    blocks = [Heading("Recruits"),
              Text("Unmarked is not wild-born: worn marks and shed tags imitate recruits, so young "
                   "animals are sorted into definite, probable and cannot tell.")]
    given = summary["recruits"]
    given = given if isinstance(given, list) else [given]
    kinds = [k for k in ("definite", "probable", "cannot_tell") if any(k in g for g in given)]
    if kinds:
        cells = [[r["name"], *(count(g.get(k)) for k in kinds), interval(r["low"], r["high"])]
                 for r, g in zip(rows, given, strict=True)]
        heads = ("Where", *(k.replace("_", " ") for k in kinds), "Per m\N{SUPERSCRIPT TWO}, 95 %")
        blocks.append(table("Recruits found", heads, cells, numbers=range(1, len(heads))))
    else:
        blocks.append(_rate_table("Recruits", rows, what="Estimate", say=rate, behind="Found"))
    none = [r for r in rows if r["value"] == 0 and known(r["high"])]
    if none:
        blocks.append(Note("None found is not none there", "; ".join(
            f"{r['name']}: the digging still allows {rate(r['high'], 2)} per m\N{SUPERSCRIPT TWO}"
            for r in none) + "."))
    return blocks


def _abundance(summary):
    rows = rows_of(summary, "abundance")
    if not rows:
        return []
    cells = [(r["name"], count(r["value"]),
              f"{count(r['low'])} to {count(r['high'])}" if known(r["low"]) else rate(None))
             for r in rows]
    return [Heading("Abundance"), table("Animals by site and stage",
                                        ("What", "Estimate", "95 % interval"), cells,
                                        numbers=(1, 2))]


def _refused(summary):
    rows = [(r.get("what", ""), r.get("why", ""), r.get("needed", ""))
            for r in summary.get("refused") or () if isinstance(r, dict)]
    if not rows:
        return []
    return [Heading("What the records do not tell"),
            table("Numbers that the records do not give", ("What", "Why", "What it would take"),
                  rows)]


def _models(summary):
    models = summary.get("models") or []
    blocks = []
    if models:
        best = min((m["aicc"] for m in models if known(m.get("aicc"))), default=0.0)
        rows = [(m["name"], exact(m.get("parameters")), _beyond(m.get("aicc"), best),
                 percent(m.get("weight"))) for m in models]
        blocks.append(table("Models tried, best first", ("Model", "Parameters",
                                                         "AICc above the best", "Support"), rows,
                            numbers=(1, 2, 3)))
    fit = summary.get("fit") or {}
    if known(fit.get("overdispersion")):
        blocks.append(Text(f"Overdispersion is {fit['overdispersion']:.2f} (1 means that animals "
                           "behave independently); chance of a misfit this large if the model "
                           f"holds: {percent(fit.get('p_value'))}."))
    return [Heading("Models"), *blocks] if blocks else []


def _beyond(aicc, best):
    return f"{aicc - best:.1f}" if known(aicc) else rate(None)

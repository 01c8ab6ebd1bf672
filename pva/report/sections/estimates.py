"""What the records say: survival, release survival, detection, tags, growth, density, recruits.

Some pictures need tables beside the summary, as `StudyEstimates.tables` holds them:
``increments`` (``length_mm, years, increment_mm``) and ``survival_by_interval`` (``interval, stage,
value, low, high``). Without them the summary stands alone.
"""

from __future__ import annotations

import math
from dataclasses import replace

from pva.report.blocks import Folded, Heading, Note, Points, Section, Text, table
from pva.report.estimate_rows import columns_of, is_bad_year, is_release, rows_of, years_top
from pva.report.figures.estimates import Dot, dots_figure, growth_figure
from pva.report.figures.fates import fates_figure
from pva.report.figures.lengths import lengths_figure
from pva.report.figures.quadrats import quadrats_figure
from pva.report.material import Material
from pva.report.sections.beside import beside
from pva.report.words import count, exact, interval, known, percent, rate, sentence, share
from pva.results.wording import HEARD_COLUMNS, HEARD_TITLE, YEARS_ALIKE, heard_words

MOST_NOTE = 300  # letters of notes beneath a table; longer ones are folded away
MOST_MODELS = 8  # more are folded away
SQUARED = "\N{SUPERSCRIPT TWO}"
LEVELS = {
    0: "no field data: every rate is published or assumed",
    1: "releases, batch marks and quadrats: density and evidence of recruitment",
    2: "tags and two visits: bounds on survival, not a point, because it cannot be told from "
       "detection",
    3: "tags and three or more visits: survival, growth and detection",
    4: "tags, three or more visits and double marks, shells or host fish: also tag loss, other "
       "readings of heard-only tags, or recruitment tied to hosts",
}


def section(material: Material) -> Section:
    """Third part of the page."""
    title, short = "What the records say", "Estimates"
    summary = material.estimates
    if not summary:
        return Section("estimates", title, (Text(
            "No rate on this page was estimated from field records."),), short)
    blocks = _level(summary) + _survival(summary, _stages(material))
    blocks += _by_interval(columns_of(material.pictures, "survival_by_interval"))
    for part in (_release, _bad_years, _detection, _tags):
        blocks += part(summary)
    blocks += beside(summary)
    blocks += _growth(summary, columns_of(material.pictures, "increments"))
    blocks += _lengths(material)
    blocks += _density(summary, material.records)
    for part in (_recruits, _abundance, _hosts, _models):
        blocks += part(summary)
    blocks += _refused(summary)
    notes = [str(n) for n in summary.get("notes") or ()]
    if notes:
        said = Points(tuple(sentence(n) for n in notes))
        blocks += [Heading("Notes of the estimation"),
                   said if len(notes) < 9 else Folded(f"{len(notes)} notes", (said,))]
    return Section("estimates", title, tuple(blocks), short)


def _stages(material):
    """Stages in life order, as the study or the scenario names them."""
    if material.study is not None and material.study.spec.stages:
        return [s.name for s in material.study.spec.stages]
    return [s.name for s in material.scenario.resolved.stages] if material.scenario else []


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
               ("interval", "95 % interval", None), ("years", "SD between years", None),
               ("n", behind, exact)]
    full = [{**r, "interval": interval(r["low"], r["high"], say),
             "years": years_cell(r, say)} for r in rows]
    used = [c for c in columns if c[0] in ("value", "interval")
            or any(r[c[0]] not in (None, "") for r in full)]
    cells = [[r["name"], *(r[k] if tell is None else tell(r[k]) for k, _, tell in used)]
             for r in full]
    said = " ".join(p for p in (note, _notes(rows)) if p)
    return table(caption, ("What", *(w for _, w, _ in used)), cells,
                 numbers=range(1, len(used) + 1), note=said)


def years_cell(row: dict, say=share) -> str:
    """SD between years; an estimated 0 with what the intervals cannot tell."""
    if row["year_sd"] is None:
        return ""
    if row["year_sd"] > 0:
        return say(row["year_sd"])
    top = years_top(row["note"])
    return f"0 (to {say(top)})" if top is not None else "0"


def _notes(rows):
    """Notes of rows, each once with the rows it belongs to; heard-only tags have a table."""
    by_note: dict[str, list[str]] = {}
    for row in rows:
        for part in row["note"].split("; "):
            if part and "only heard" not in part:
                by_note.setdefault(part, []).append(row["name"])
    return " ".join(sentence(note if len(names) == len(rows) else f"{', '.join(names)}: {note}")
                    for note, names in by_note.items())


def _survival(summary, stages):
    rows = [r for r in rows_of(summary, "survival") if not is_release(r) and not is_bad_year(r)]
    if not rows:
        return []
    order = {name: i for i, name in enumerate(stages)}
    rows.sort(key=lambda r: order.get(r["name"].split(", ")[0], len(order)))
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
    shown = _rate_table("Survival in a year", rows, what="Corrected" if both else "Estimate")
    blocks += _notes_apart(shown)
    if any(r["year_sd"] == 0 for r in rows):
        blocks.append(Note("An SD between years of 0", YEARS_ALIKE))
    return blocks + _heard(summary)


def _notes_apart(shown):
    """A table whose notes are long, with the notes folded beneath it."""
    if len(shown.note) < MOST_NOTE:
        return [shown]
    notes = Points(tuple(p if p.endswith(".") else p + "." for p in shown.note.split(". ") if p))
    return [replace(shown, note=""), Folded("Notes on these rates", (notes,))]


def _heard(summary):
    rows = [r for g in ("survival", "release") for r in rows_of(summary, g)
            if r["if_all_dead"] is not None]
    if not rows:
        return []
    cells = []
    for r in rows:
        three = (r["if_all_dead"], r["if_all_alive"], r["value"])
        given = [x for x in three if known(x)]
        cells.append((r["name"], *(share(x) for x in three),
                      interval(min(given), max(given), share)))
    corrected = any(r["corrected"] for r in rows)
    return [fates_figure("heard-fates", rows),
            table(HEARD_TITLE, ("What", *HEARD_COLUMNS), cells, numbers=(1, 2, 3, 4),
                  note=heard_words(corrected=corrected))]


def _release(summary):
    rows = rows_of(summary, "release") or [r for r in rows_of(summary, "survival")
                                          if is_release(r)]
    if not rows:
        return []
    rows = [{**r, "name": r["name"].removeprefix("release/")} for r in rows]
    return [Heading("Survival after release"),
            Text("The first months after release are a number of their own, never pooled with "
                 "later survival; a release year survives with the product of both."),
            *_release_dots(rows),
            _rate_table("Survival after release, by source", rows, what="Estimate")]


def _release_dots(rows):
    if not any(known(r["value"]) for r in rows):
        return []
    return [dots_figure("release-survival", _dots(rows), title="Survival after release",
                        words="estimate", caption="Chance of living through the first months "
                        "after release, by source, with its 95 % interval.")]


def _by_interval(columns):
    if not columns or not columns.get("interval"):
        return []
    keys = ("stage", "interval", "value", "low", "high")
    rows = [(f"{stage}, {when}" if isinstance(stage, str) and stage else str(when), share(value),
             interval(low, high, share))
            for stage, when, value, low, high in zip(*(columns[k] for k in keys), strict=True)]
    return [Folded("Survival by interval", (table(
        "Yearly survival by interval between visits", ("What", "Estimate", "95 % interval"), rows,
        numbers=(1, 2)),))]


def _bad_years(summary):
    rows = [r for r in rows_of(summary, "survival") if is_bad_year(r)]
    if not rows:
        return []
    rows = [{**r, "name": r["name"].removeprefix("bad_year/")} for r in rows]
    return [_rate_table("Part of the ordinary survival that a named bad year left", rows,
                        what="Estimate")]


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
    blocks.append(_rate_table("Detection at a visit", rows, what="Estimate",
                              behind="Occasions"))
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


def _growth(summary, increments):
    growth = summary.get("growth")
    blocks = []
    if isinstance(growth, dict) and known(growth.get("asymptote_mm")):
        blocks.append(growth_figure("growth", growth, increments))
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
    growth = {**growth, "negative": growth.get("negative_increments", growth.get("negative"))}
    names = (("asymptote_mm", "Mean asymptote, mm"), ("rate", "Growth rate, per year"),
             ("asymptote_sd_mm", "SD of asymptotes between animals, mm"),
             ("measurement_sd_mm", "SD of one measurement, mm"),
             ("years_to_adult", "Years to adult length"),
             ("negative", "Increments below zero, kept, of those the curve was fitted to"),
             ("animals", "Animals measured twice or more"))
    rows = []
    for key, words in names:
        if known(growth.get(key)):
            whole = key in ("negative", "animals")
            rows.append((words, exact(growth[key]) if whole else rate(growth[key]),
                         rate(growth.get(f"{key}_se")),
                         interval(growth.get(f"{key}_low"), growth.get(f"{key}_high"))))
    return table("Growth curve", ("What", "Estimate", "SE", "95 % interval"), rows,
                 numbers=(1, 2, 3))


def _lengths(material):
    """Lengths against those of stocked cohorts, where records and a growth curve are at hand."""
    growth, study = (material.estimates or {}).get("growth"), material.study
    if material.records is None or not isinstance(growth, dict) or not known(
            growth.get("asymptote_mm")):
        return []
    season = getattr(getattr(study and study.spec, "growth", None), "season", None)
    drawn = lengths_figure("lengths", material.records, growth, tuple(season or (1, 12)))
    return [Heading("Lengths by date"), drawn] if drawn is not None else []


def _density(summary, records=None):
    rows = rows_of(summary, "density")
    if not rows:
        return []
    unit = "animals per m\N{SUPERSCRIPT TWO}"
    blocks = [Heading("Density")]
    whole = [r for r in rows if not r["stage"]] or rows
    parts = [r for r in rows if r["stage"]] if len(whole) < len(rows) else []
    last = {r["place"]: r for r in sorted(whole, key=lambda r: str(r["survey"]))}
    if any(known(r["value"]) for r in rows):
        blocks.append(dots_figure("density", _dots(last.values()),
                                  title="Density at the latest survey",
                                  words="estimate",
                                  chance=False, unit=unit,
                                  caption="Animals per square metre with 95 % intervals, blank "
                                          "quadrats counted. Where none was found the line ends "
                                          "at what the digging still allows."))
    drawn = None if records is None else quadrats_figure("quadrats", records, summary)
    blocks += [drawn] if drawn is not None else []
    blocks.append(_rate_table(f"Density, {unit}", whole, what="Estimate", say=rate,
                              behind="Units dug"))
    if parts:
        blocks.append(Folded("Density by stage", (_rate_table(
            f"Density by stage, {unit}", parts, what="Estimate", say=rate, behind="Units dug"),)))
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
        cells = [[r["name"], *(exact(g.get(k)) for k in kinds), rate(r["value"], 2),
                  interval(r["low"], r["high"], two)] for r, g in zip(rows, given, strict=True)]
        heads = ("Where", *(k.replace("_", " ") for k in kinds), _per(given), "95 % interval")
        blocks.append(table("Recruits found", heads, cells, numbers=range(1, len(heads))))
    else:
        blocks.append(_rate_table("Recruits", rows, what="Estimate", say=rate, behind="Found"))
    none = [(r["name"], g["density_high"]) for r, g in zip(rows, given, strict=True)
            if known(g.get("density_high"))]
    if none:
        blocks.append(Note("Not found is not absent", "; ".join(
            f"{name}: the digging still allows {rate(high, 2)} per m\N{SUPERSCRIPT TWO} (95 %)"
            for name, high in none) + "."))
    return blocks


def two(value) -> str:
    """Two significant figures."""
    return rate(value, 2)


def _per(rows):
    return "Young per adult" if any("per_adult" in r for r in rows) else \
        "Per m\N{SUPERSCRIPT TWO}"


def _abundance(summary):
    rows = rows_of(summary, "abundance")
    if not rows:
        return []
    cells = [(r["name"].replace("/", ", "), count(r["value"]),
              interval(r["low"], r["high"], count)) for r in rows]
    return [Heading("Abundance"), table("Animals by site and stage",
                                        ("What", "Estimate", "95 % interval"), cells,
                                        numbers=(1, 2))]


def _hosts(summary):
    """Host fish of the latest year, and what they carried."""
    last = {r["place"]: r for r in rows_of(summary, "hosts")}
    loads = rows_of(summary, "glochidia_per_host")
    blocks = [Heading("Host fish")] if last or loads else []
    for caption, rows in ((f"Fish per 100 m{SQUARED}, latest year", list(last.values())),
                          ("Glochidia per fish", loads)):
        if rows:
            blocks.append(table(caption, ("Host and site", "Estimate", "95 % interval"),
                                [(r["name"].replace("/", ", "), two(r["value"]),
                                  interval(r["low"], r["high"], two)) for r in rows],
                                numbers=(1, 2)))
    return blocks


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
        ordered = sorted(models, key=lambda m: m["aicc"] if known(m.get("aicc")) else math.inf)
        rows = [(m["name"], exact(m.get("parameters")), _beyond(m.get("aicc"), best),
                 percent(m.get("weight"))) for m in ordered]
        heads = ("Model", "Parameters", "AICc above the best", "Support")
        blocks.append(table("Models tried, best first", heads, rows[:MOST_MODELS],
                            numbers=(1, 2, 3)))
        if rows[MOST_MODELS:]:
            blocks.append(Folded(f"{len(rows) - MOST_MODELS} models with less support", (
                table("Other models tried", heads, rows[MOST_MODELS:], numbers=(1, 2, 3)),)))
    fit = summary.get("fit") or {}
    fit = fit if "overdispersion" in fit else {}
    if known(fit.get("overdispersion")):
        blocks.append(Text(f"Overdispersion is {fit['overdispersion']:.2f} (1 means that animals "
                           "behave independently); chance of a misfit this large if the model "
                           f"holds: {percent(fit.get('p_value'))}."))
    return [Heading("Models"), *blocks] if blocks else []


def _beyond(aicc, best):
    return f"{aicc - best:.1f}" if known(aicc) else rate(None)

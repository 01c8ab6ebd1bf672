"""What the records say, in order; the numbers stand in modules of their own.

Some pictures need tables beside the summary, as `StudyEstimates.tables` holds them:
``increments`` (``length_mm, years, increment_mm``) and ``survival_by_interval`` (``interval, stage,
value, low, high``). Without them the summary stands alone.
"""

from __future__ import annotations

import math

from pva.report.blocks import Folded, Heading, Points, Section, Text, table
from pva.report.estimate_rows import columns_of, is_release, named, rows_of
from pva.report.material import Material
from pva.report.sections.beside import beside
from pva.report.sections.density import abundance_part, density_part, hosts_part, recruits_part
from pva.report.sections.growth import growth_part, lengths_part
from pva.report.sections.survival import (
    bad_years_part,
    by_interval_part,
    detection_part,
    release_part,
    survival_part,
    tags_part,
)
from pva.report.words import exact, known, percent, rate, sentence
from pva.results.wording import listed

MOST_MODELS = 8  # more are folded away
LEVELS = {
    0: "no field data: every rate is published or assumed",
    1: "releases, batch marks or quadrats",
    2: "tags and two visits: bounds on survival, not a point, because it cannot be told from "
       "detection",
    3: "tags and three or more visits",
    4: "tags, three or more visits and double marks, shells, repeat passes or host fish",
}
GIVEN = (("survival", "survival"), ("release", "survival after release"),
         ("detection", "detection"), ("tag_retention", "tag loss"), ("growth", "growth"),
         ("density", "density"), ("recruits", "recruits"), ("hosts", "host fish"))


def section(material: Material) -> Section:
    """Third part of the page."""
    title, short = "What the records say", "Estimates"
    summary = material.estimates
    if not summary:
        return Section("estimates", title, (Text(
            "No rate on this page was estimated from field records."),), short)
    blocks = _level(summary) + survival_part(summary, _stages(material))
    blocks += by_interval_part(columns_of(material.pictures, "survival_by_interval"))
    for part in (release_part, bad_years_part, detection_part, tags_part):
        blocks += part(summary)
    blocks += beside(summary)
    blocks += growth_part(summary, columns_of(material.pictures, "increments"))
    blocks += lengths_part(material)
    blocks += density_part(summary, material.records)
    for part in (recruits_part, abundance_part, hosts_part, _models):
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
    got = [words for group, words in GIVEN if _is_given(summary, group)]
    told = f" They give {listed(got)}." if got else " No rate could be estimated from them."
    return [Text(f"The records reach level {level} of 4: {LEVELS.get(level, '')}.{told}")]


def _is_given(summary, group):
    """Whether a number of a kind was estimated; bounds alone are not."""
    rows = rows_of(summary, group)
    if group == "survival":
        rows = [r for r in rows if not is_release(r)]
    if group == "release" and not rows:
        rows = [r for r in rows_of(summary, "survival") if is_release(r)]
    found = any(known(r["value"]) for r in rows)
    given = summary.get("growth") if group == "growth" else None
    return found or (isinstance(given, dict) and known(given.get("asymptote_mm")))


def _refused(summary):
    rows = [(named(r.get("what", "")), r.get("why", ""), r.get("needed") or _needed(r))
            for r in summary.get("refused") or () if isinstance(r, dict)]
    if not rows:
        return []
    return [Heading("What the records do not tell"),
            table("Numbers that the records do not give", ("What", "Why", "What it would take"),
                  rows)]


def _needed(row):
    """What to say where the estimation names nothing: bounds are there, a point is not."""
    if row.get("why", "").startswith("bounds from a batch mark"):
        return "tags that tell single animals; without them bounds are all there is"
    if known(row.get("low")) or known(row.get("high")):
        return "more visits; the bounds stand in the table of survival"
    return "nothing that these records could give"


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

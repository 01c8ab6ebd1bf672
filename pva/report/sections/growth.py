"""How the animals grow, and what their lengths say of where they came from."""

from __future__ import annotations

from pva.report.blocks import Heading, table
from pva.report.estimate_rows import rows_of
from pva.report.figures.estimates import growth_figure
from pva.report.figures.lengths import lengths_figure
from pva.report.sections.rate_tables import rate_table
from pva.report.words import exact, interval, known, rate


def growth_part(summary, increments):
    """The growth curve and how fast survivors move on."""
    growth = summary.get("growth")
    blocks = []
    if isinstance(growth, dict) and known(growth.get("asymptote_mm")):
        blocks.append(growth_figure("growth", growth, increments))
        blocks.append(_growth_table(growth))
    elif growth:
        blocks.append(rate_table("Chance that a survivor moves on to the next stage in a year",
                                  rows_of(summary, "growth"), what="Estimate"))
    transitions = rows_of(summary, "transitions")
    if transitions:
        blocks.append(rate_table("Chance that a survivor moves on to the next stage in a year",
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


def lengths_part(material):
    """Lengths against those of stocked cohorts, where records and a growth curve are at hand."""
    growth, study = (material.estimates or {}).get("growth"), material.study
    if material.records is None or not isinstance(growth, dict) or not known(
            growth.get("asymptote_mm")):
        return []
    season = getattr(getattr(study and study.spec, "growth", None), "season", None)
    drawn = lengths_figure("lengths", material.records, growth, tuple(season or (1, 12)))
    return [Heading("Lengths by date"), drawn] if drawn is not None else []

"""Rows of density and abundance, by site, survey and stage."""

from __future__ import annotations

import numpy as np

from pva.estimate.combined import Told, quotient, weighted_sum
from pva.estimate.density import Density, density
from pva.estimate.designs import Stratum, allocation
from pva.estimate.options import Options
from pva.estimate.stage_steps import LengthStage
from pva.estimate.survey_density import double_density, stratified_density, systematic_density
from pva.estimate.surveys import BOTH, SURFACE, Survey
from pva.estimate.unit_options import STRATIFIED, SYSTEMATIC, Found

CORRECTED = "surface, corrected for what it misses"


def rows_of(survey: Survey, options: Options, surface: dict[str, Found]) -> list[dict]:
    """Density of all animals, then of every stage.

    Parameters
    ----------
    survey : Survey
    options : Options
    surface : dict of str to Found
        Stage -> share that a search of the surface finds.
    """
    stages = [None, *options.stages]
    told = {stage: _by_design(survey, stage, options) for stage in stages}
    ends = {stage: one.told for stage, one in told.items()}
    what = survey.what
    if what == SURFACE and options.stages and all(s.name in surface for s in options.stages):
        what = CORRECTED
        for stage in options.stages:
            ends[stage] = quotient(ends[stage], surface[stage.name].told)
        ends[None] = weighted_sum(np.ones(len(options.stages)),
                                  [ends[s] for s in options.stages])
    if options.units.efficiency is not None and what != SURFACE:
        ends = {k: quotient(e, options.units.efficiency.told) for k, e in ends.items()}
    return [_row(survey, stage.name if stage else "", told[stage], ends[stage], what, options)
            for stage in stages]


def _by_design(survey: Survey, stage: LengthStage | None, options: Options) -> Density:
    counts, areas, units = survey.counts(stage), survey.areas, survey.units
    if survey.what == BOTH:
        return double_density(survey.counts(stage, surface=True), areas, survey.dug,
                              counts=counts, by=options.units.double_by)
    if options.units.design == STRATIFIED and options.units.strata_of(survey.site):
        return stratified_density(strata_of(survey, counts, options))
    if options.units.design == SYSTEMATIC and units["start"].notna().all():
        return systematic_density(counts, areas, units["start"].to_numpy())
    return density(counts, areas)


def strata_of(survey: Survey, counts, options: Options) -> list[Stratum]:
    """Units of a survey by stratum, in the order of the study."""
    name, out = survey.units["stratum"].to_numpy(), []
    for one in options.units.strata_of(survey.site):
        own = name == one.name
        out.append(Stratum(counts[own], survey.areas[own], one.area_m2))
    return out


def where_next(survey: Survey, options: Options) -> list[dict]:
    """How the next units are best shared among the strata of a site.

    Returns
    -------
    list of dict
        site, survey, stratum, units (dug now), share (of the next); empty without strata, or where
        a stratum cannot say how its units differ.
    """
    strata = options.units.strata_of(survey.site)
    if options.units.design != STRATIFIED or not strata:
        return []
    parts = strata_of(survey, survey.counts(), options)
    if any(p.counts.size < 2 for p in parts):
        return []
    spread = [p.counts.std(ddof=1) / p.areas.mean() for p in parts]
    if not any(spread):
        return []
    share = allocation(1, [p.area_m2 for p in parts], spread, costs=[s.cost_each for s in strata])
    return [{"site": survey.site, "survey": survey.survey, "stratum": s.name,
             "units": int(p.counts.size), "share": float(x)}
            for s, p, x in zip(strata, parts, share, strict=True)]


def _row(survey: Survey, stage: str, told: Density, ends: Told, what: str, options: Options):
    area = (options.areas or {}).get(survey.site)
    total = Told(0, 0, 0) if area is None else ends.times(area)
    scale = ends.value / told.value if told.value else 1.0
    return {
        "name": f"density/{survey.site}" + (f"/{stage}" if stage else ""), "site": survey.site,
        "survey": survey.survey, "stage": stage, "value": ends.value, "low": ends.low,
        "high": ends.high, "se": None if told.se is None else told.se * scale,
        "units": told.units, "blanks": told.blanks, "animals": told.animals,
        "area_dug_m2": told.area_m2, "design": options.units.design, "interval_by": told.method,
        "clumping": told.clumping, "units_were": what,
        "total": None if area is None else total.value,
        "total_low": None if area is None else total.low,
        "total_high": None if area is None else total.high,
    }

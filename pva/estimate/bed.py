"""What the units dug say: density, abundance by stage and recruits, for every site and survey."""

from __future__ import annotations

from dataclasses import dataclass, field

import pandas as pd

from pva.estimate.cohorts import MarkKeeping
from pva.estimate.combined import Told
from pva.estimate.density_rows import CORRECTED, rows_of, where_next
from pva.estimate.estimates import Estimate
from pva.estimate.growth import Growth
from pva.estimate.options import Options
from pva.estimate.recruits import Judging, each_animal, judge
from pva.estimate.recruits_per_adult import ratios, recruit_row
from pva.estimate.refusal import Refusal
from pva.estimate.surface_search import surface_search
from pva.estimate.surveys import SURFACE, Survey, count_by_unit, each_survey
from pva.estimate.tag_loss import TagRetention
from pva.estimate.unit_options import DONOR, DOUBLE, REFERENCE, SYSTEMATIC, Found
from pva.field.records import ALIVE, FieldRecords
from pva.sources import Source

YOUNG_YEARS = 2.0  # growing time below which an animal counts as young of about a year
UNLISTED = "animal-in-unlisted-unit"  # reason code of the reader
MOST_UNLISTED = 0.1  # share of the animals in units not listed, above which blanks are unknown
FIGURE = ["survey", "site", "unit", "area_m2", "excavated", "animals"]


@dataclass(frozen=True)
class Bed:
    """Density, abundance and recruits.

    Parameters
    ----------
    rows : list of dict
        Density of every site, survey and stage (stage empty = all animals).
    density : dict of str to Estimate
        ``density/SITE`` and ``density/SITE/STAGE`` of the latest survey, and
        ``surface_search/STAGE``.
    abundance : dict of str to dict of str to Estimate
        Site -> stage -> animals, latest survey.
    recruits : list of dict
        One row a site and survey: definite, probable, cannot tell, per adult.
    ratios : dict of str to Estimate
        ``recruits_per_adult/SITE`` of the latest survey.
    surface : list of dict
        Share of animals found by a search of the surface, by stage.
    next_units : list of dict
        How the next units are best shared among strata, latest survey.
    judged : DataFrame
        Every unmarked small animal with its verdict.
    counts : DataFrame
        survey, site, unit, area_m2, excavated, animals: for the figure.
    refused : tuple of Refusal
    notes : tuple of str
    newest : dict of str to Survey
        The latest survey of each site, behind its density.
    """

    rows: list[dict] = field(default_factory=list)
    density: dict = field(default_factory=dict)
    abundance: dict = field(default_factory=dict)
    recruits: list[dict] = field(default_factory=list)
    ratios: dict = field(default_factory=dict)
    surface: list[dict] = field(default_factory=list)
    next_units: list[dict] = field(default_factory=list)
    judged: pd.DataFrame = field(default_factory=pd.DataFrame)
    counts: pd.DataFrame = field(default_factory=pd.DataFrame)
    refused: tuple[Refusal, ...] = ()
    notes: tuple[str, ...] = ()
    newest: dict[str, Survey] = field(default_factory=dict)


def estimate_bed(records: FieldRecords, options: Options, *, species: str | None = None,
                 growth: Growth | None = None, retention: TagRetention | None = None) -> Bed:
    """Estimate density, abundance and recruits.

    Parameters
    ----------
    records : FieldRecords
    options : Options
    species : str, optional
        Animals without a species count as this one.
    growth : Growth, optional
        For judging unmarked animals.
    retention : TagRetention, optional
        How long tags and second marks sit, likewise.
    """
    animals = _animals(records, species)
    lost = _in_unlisted_units(records)
    if not len(records.units) or lost > MOST_UNLISTED * (lost + len(animals)):
        return Bed(refused=_without_units(animals, lost))
    if _no_animals_table(records):
        return Bed(refused=(Refusal(
            "density", "units were dug, but no table says which animals were found in them: a "
            "blank unit cannot be told from one whose animals were not entered",
            "a table of the animals found (its header alone, where none were)"),))
    units = _units(records, animals)
    found = list(each_survey(units, animals, options.units))
    refused = [one for one in found if isinstance(one, Refusal)]
    surveys = [one for one in found if isinstance(one, Survey)]
    surface = surface_search(animals, units, options.stages)
    shares = _surface_shares(surface) | dict(options.units.surface)
    by_survey = [rows_of(one, options, shares) for one in surveys]
    newest = _newest(by_survey)
    judged, recruits = _recruits(records, options, surveys, Judging(
        species, _below(options), growth, MarkKeeping(retention, options.units.batch_mark_kept)))
    per_adult, lacking = ratios(recruits)
    last = {s.site: where_next(s, options) for s in surveys}
    notes = (*_notes(by_survey, surveys, options), *_lost_note(lost), *_roles(records, options))
    return Bed([row for rows in by_survey for row in rows],
               _densities(newest, options) | _surface_estimates(surface),
               _abundances(newest, options), recruits, per_adult, surface,
               [row for rows in last.values() for row in rows], judged, units[FIGURE],
               (*refused, *lacking), notes, {s.site: s for s in surveys})


def _animals(records: FieldRecords, species: str | None) -> pd.DataFrame:
    table = records.animals
    table = table[table["status"].isna() | table["status"].eq(ALIVE)]
    if species:
        table = table[table["species"].isna() | table["species"].eq(species)]
    return each_animal(table)


def _units(records: FieldRecords, animals: pd.DataFrame) -> pd.DataFrame:
    units = records.units
    for name in ("stratum", "start"):
        if name not in units:
            units = units.assign(**{name: None})
    return units.assign(animals=count_by_unit(units, animals))


def _in_unlisted_units(records: FieldRecords) -> int:
    """Rows of animals set aside because their unit is not among those dug."""
    aside = records.account.set_aside
    return int(aside["code"].eq(UNLISTED).sum()) if "code" in aside else 0


def _no_animals_table(records: FieldRecords) -> bool:
    """Whether the study reads units but no table of animals."""
    kinds = set(records.account.tables["is"]) if "is" in records.account.tables else set()
    return "units" in kinds and "animals" not in kinds


def _lost_note(lost: int) -> list[str]:
    if not lost:
        return []
    return [f"Animals in units that are not listed: {lost}. If units were dug and not listed, "
            "blank ones may be missing too, and densities are too high"]


def _without_units(animals: pd.DataFrame, lost: int) -> tuple[Refusal, ...]:
    if lost and (lost + len(animals)):
        return (Refusal("density", f"{lost} of {lost + len(animals)} animals lie in units that are "
                        "not listed: blanks are unknown", "a table of every unit dug, with its "
                        "area, blank ones too"),)
    if not len(animals):
        return ()
    return (Refusal("density", "animals are listed but not the units dug: blanks are unknown",
                    "a table of every unit dug, with its area"),)


def _surface_shares(rows: list[dict]) -> dict[str, Found]:
    return {r["stage"]: Found(Told(r["value"], r["low"], r["high"]), "measured") for r in rows
            if r["found"]}


def _surface_estimates(rows: list[dict]) -> dict[str, Estimate]:
    return {r["name"]: Estimate(
        r["name"], r["value"], interval=(r["low"], r["high"]), n=r["there"],
        source=Source("measured", f"{r['found']} of {r['there']} animals in units searched and "
                      "then dug were seen at the surface")) for r in rows}


def _newest(by_survey: list[list[dict]]) -> dict[str, list[dict]]:
    """Rows of the last survey of each site; surveys of a site come in order."""
    return {rows[0]["site"]: rows for rows in by_survey}


def _source(row: dict) -> Source:
    return Source("measured", f"{row['units']} units dug, survey {row['survey']}")


def _note_of(row: dict, options: Options) -> str:
    parts = []
    if row["animals"] == 0:
        parts.append("none found: the high end is a one-sided 95 % limit")
    if row["units_were"] == SURFACE:
        parts.append("surface only: a lower limit")
    if row["units_were"] == CORRECTED:
        parts.append(CORRECTED)
    if options.units.roles.get(row["site"]) == DONOR:
        parts.append("donor bed: plan with the low end")
    return "; ".join(parts)


def _densities(newest, options: Options) -> dict[str, Estimate]:
    return {row["name"]: Estimate(
        row["name"], row["value"], se=row["se"], interval=(row["low"], row["high"]),
        n=row["units"], source=_source(row), note=_note_of(row, options))
        for rows in newest.values() for row in rows}


def _abundances(newest, options: Options) -> dict[str, dict[str, Estimate]]:
    out: dict[str, dict[str, Estimate]] = {}
    for site, rows in newest.items():
        area = (options.areas or {}).get(site)
        if area is None:
            continue
        named = {r["stage"]: r for r in rows if r["stage"]} or {"animals": rows[0]}
        out[site] = {
            stage: Estimate(
                f"abundance/{site}/{stage}", row["total"],
                se=None if row["se"] is None else row["se"] * area,
                interval=(row["total_low"], row["total_high"]), n=row["animals"],
                source=_source(row), note=_note_of(row, options))
            for stage, row in named.items()
        }
    return out


def _below(options: Options) -> float | None:
    return options.recruits_below_mm or options.adult_from_mm


def _recruits(records, options: Options, surveys: list[Survey], judging: Judging):
    """Verdicts on unmarked small animals, and recruits of about one year per adult."""
    if judging.below_mm is None:
        return pd.DataFrame(), []
    judged = judge(records, options, judging)
    young = None
    if judging.growth is not None:
        young = min(float(judging.growth.length_after(0.0, YOUNG_YEARS)), judging.below_mm)
    return judged, [recruit_row(one, judged, judging.below_mm, young, options) for one in surveys]


def _notes(by_survey, surveys: list[Survey], options: Options) -> list[str]:
    """What was left out or taken for granted; one note each, however many surveys."""
    beside = [f"{s.site} {s.survey}: {s.left_out}" for s in surveys if s.left_out]
    alone = [f"{rows[0]['site']} {rows[0]['survey']}" for rows in by_survey
             if rows[0]["units_were"] == SURFACE]
    found = []
    if beside:
        found.append("Units looked at on the surface only are left out of the density "
                     f"({', '.join(beside)})")
    if alone:
        found.append("Units were looked at on the surface only, so that the density is that at "
                     f"the surface, a lower limit ({', '.join(alone)})")
    if options.units.design == SYSTEMATIC and any(
            s.units["start"].isna().any() or s.units["start"].nunique() < 2 for s in surveys):
        found.append("Units on a grid from one random start are taken as spread at random: one "
                     "start cannot tell its own error")
    if options.units.design == DOUBLE and options.units.efficiency is None and surveys:
        found.append("Digging is taken to find every animal in a unit")
    unsized = {f"{s.site} {s.survey}": n for s in surveys
               if (n := int(s.animals["length_mm"].isna().sum()))}
    if unsized and options.stages:
        found.append("Animals without a length count in the density of all and in no stage, so "
                     "that the stages add up to less ("
                     + ", ".join(f"{where}: {n}" for where, n in unsized.items()) + ")")
    return found


def _roles(records: FieldRecords, options: Options) -> list[str]:
    """Sites where nothing should have been stocked, and something was."""
    table = records.releases
    stocked = set(table.loc[table["source"].ne("first capture"), "site"].dropna())
    return [f"Animals were released at {site}, which the study calls a {role} site: unmarked "
            "animals there may be stocked ones"
            for site, role in options.units.roles.items()
            if role in (DONOR, REFERENCE) and site in stocked]

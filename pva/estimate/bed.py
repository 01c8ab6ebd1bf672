"""What the units dug say: density, abundance by stage and recruits, for every site and survey."""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np
import pandas as pd

from pva.estimate.density import Density, blanks_doubt, density
from pva.estimate.estimates import Estimate
from pva.estimate.growth import Growth
from pva.estimate.options import Options
from pva.estimate.recruits import CANNOT_TELL, DEFINITE, PROBABLE, judge, ratio
from pva.estimate.refusal import Refusal
from pva.field.records import ALIVE, FieldRecords
from pva.sources import Source

NO_BLANKS = 0.05  # chance below which a survey without any blank unit is not believed
FEWEST_EXCAVATED = 5


@dataclass(frozen=True)
class Bed:
    """Density, abundance and recruits.

    Parameters
    ----------
    rows : list of dict
        Density of every site, survey and stage (stage empty = all animals).
    density : dict of str to Estimate
        ``density/SITE`` and ``density/SITE/STAGE`` of the latest survey.
    abundance : dict of str to dict of str to Estimate
        Site -> stage -> animals, latest survey.
    recruits : list of dict
        One row a site and survey: definite, probable, cannot tell, per adult.
    ratios : dict of str to Estimate
        ``recruits_per_adult/SITE`` of the latest survey.
    judged : DataFrame
        Every unmarked small animal with its verdict.
    counts : DataFrame
        survey, site, unit, area_m2, excavated, animals: for the figure.
    refused : tuple of Refusal
    notes : tuple of str
    """

    rows: list[dict] = field(default_factory=list)
    density: dict = field(default_factory=dict)
    abundance: dict = field(default_factory=dict)
    recruits: list[dict] = field(default_factory=list)
    ratios: dict = field(default_factory=dict)
    judged: pd.DataFrame = field(default_factory=pd.DataFrame)
    counts: pd.DataFrame = field(default_factory=pd.DataFrame)
    refused: tuple[Refusal, ...] = ()
    notes: tuple[str, ...] = ()


def estimate_bed(records: FieldRecords, options: Options, *, species: str | None = None,
                 growth: Growth | None = None) -> Bed:
    """Estimate density, abundance and recruits.

    Parameters
    ----------
    records : FieldRecords
    options : Options
    species : str, optional
        Animals without a species count as this one.
    growth : Growth, optional
        For judging unmarked animals.
    """
    animals = _animals(records, species)
    if not len(records.units):
        return Bed(refused=_without_units(animals))
    units = records.units.merge(
        animals.groupby(["survey", "site", "unit"]).size().rename("animals").reset_index(),
        how="left", on=["survey", "site", "unit"])
    units["animals"] = units["animals"].fillna(0).astype(int)
    rows, refused, latest, looked_at = [], [], {}, _LookedAt()
    for (site, survey), own in units.groupby(["site", "survey"], sort=True):
        dug, what = _usable(own, f"{site} {survey}", looked_at)
        if blanks_doubt(dug["animals"], dug["area_m2"]) < NO_BLANKS:
            refused.append(Refusal(
                f"density/{site} {survey}",
                f"not one of {len(dug)} units is blank, which is hard to believe at so few animals "
                "a unit", "list every unit dug, also those without an animal"))
            continue
        for stage, counts in _counts_by_stage(dug, animals, options):
            told = density(counts, dug["area_m2"].to_numpy(float))
            rows.append(_row(site, survey, stage, told, what, options))
            latest.setdefault(site, {})[survey, stage] = rows[-1]
    newest = {site: _newest(found) for site, found in latest.items()}
    judged, recruit_rows = _recruits(records, options, species, growth, rows, animals)
    columns = ["survey", "site", "unit", "area_m2", "excavated", "animals"]
    return Bed(rows, _densities(newest), _abundances(newest, options), recruit_rows,
               _ratios(recruit_rows), judged, units[columns], tuple(refused), looked_at.notes())


def _animals(records: FieldRecords, species: str | None) -> pd.DataFrame:
    table = records.animals
    table = table[table["status"].isna() | table["status"].eq(ALIVE)]
    return table[table["species"].isna() | table["species"].eq(species)] if species else table


def _without_units(animals: pd.DataFrame) -> tuple[Refusal, ...]:
    if not len(animals):
        return ()
    return (Refusal("density", "animals are listed but not the units dug: blanks are unknown",
                    "a table of every unit dug, with its area"),)


@dataclass
class _LookedAt:
    """Where units were looked at on the surface only; one note each, however many surveys."""

    beside: dict[str, int] = field(default_factory=dict)
    alone: list[str] = field(default_factory=list)

    def notes(self) -> tuple[str, ...]:
        found = []
        if self.beside:
            named = ", ".join(f"{where}: {units}" for where, units in self.beside.items())
            found.append("Units looked at on the surface only are left out of the density "
                         f"({named})")
        if self.alone:
            found.append("Units were looked at on the surface only, so that the density is that at "
                         f"the surface, a lower limit ({', '.join(self.alone)})")
        return tuple(found)


def _usable(own: pd.DataFrame, where: str, looked_at: _LookedAt) -> tuple[pd.DataFrame, str]:
    """Excavated units where there are enough of them; the surface alone gives a lower limit."""
    surface = own["excavated"].eq(False)
    if (~surface).sum() >= FEWEST_EXCAVATED:
        if surface.any():
            looked_at.beside[where] = int(surface.sum())
        return own[~surface], "excavated"
    looked_at.alone.append(where)
    return own, "surface only"


def _counts_by_stage(dug, animals, options: Options):
    yield "", dug["animals"].to_numpy()
    key = dug[["survey", "site", "unit"]]
    for stage in options.stages:
        length = animals["length_mm"]
        own = animals[(length >= stage.low) & (length < stage.high)]
        counted = own.groupby(["survey", "site", "unit"]).size().rename("own").reset_index()
        merged = key.merge(counted, how="left", on=["survey", "site", "unit"])
        yield stage.name, merged["own"].fillna(0).to_numpy()


def _row(site, survey, stage, told: Density, what: str, options: Options) -> dict:
    share = options.efficiency or 1.0
    area = (options.areas or {}).get(site)
    return {
        "name": f"density/{site}" + (f"/{stage}" if stage else ""), "site": site,
        "survey": survey, "stage": stage, "value": told.value / share, "low": told.low / share,
        "high": told.high / share, "se": None if told.se is None else told.se / share,
        "units": told.units, "blanks": told.blanks, "animals": told.animals,
        "area_dug_m2": told.area_m2, "interval_by": told.method, "clumping": told.clumping,
        "units_were": what, "total": None if area is None else told.value / share * area,
        "total_low": None if area is None else told.low / share * area,
        "total_high": None if area is None else told.high / share * area,
    }


def _newest(found: dict) -> dict[str, dict]:
    last = max(survey for survey, _ in found)
    return {stage: row for (survey, stage), row in found.items() if survey == last}


def _source(row: dict) -> Source:
    return Source("measured", f"{row['units']} units dug, survey {row['survey']}")


def _notes_of(row: dict) -> str:
    parts = []
    if row["animals"] == 0:
        parts.append("none found: the high end is a one-sided 95 % limit")
    if row["units_were"] == "surface only":
        parts.append("surface only: a lower limit")
    return "; ".join(parts)


def _densities(newest) -> dict[str, Estimate]:
    out = {}
    for stages in newest.values():
        for row in stages.values():
            out[row["name"]] = Estimate(
                row["name"], row["value"], se=row["se"], interval=(row["low"], row["high"]),
                n=row["units"], source=_source(row), note=_notes_of(row))
    return out


def _abundances(newest, options: Options) -> dict[str, dict[str, Estimate]]:
    out: dict[str, dict[str, Estimate]] = {}
    for site, stages in newest.items():
        area = (options.areas or {}).get(site)
        if area is None:
            continue
        named = {s: r for s, r in stages.items() if s} or {"animals": stages[""]}
        out[site] = {
            stage: Estimate(
                f"abundance/{site}/{stage}", row["total"],
                se=None if row["se"] is None else row["se"] * area,
                interval=(row["total_low"], row["total_high"]), n=row["animals"],
                source=_source(row), note=_notes_of(row))
            for stage, row in named.items()
        }
    return out


def _recruits(records, options: Options, species, growth, rows, animals):
    """Verdicts on unmarked small animals, and recruits of about one year per adult."""
    below = options.recruits_below_mm or options.adult_from_mm
    if below is None:
        return pd.DataFrame(), []
    judged = judge(records, species=species, below_mm=below, growth=growth, season=options.season)
    young = None
    if growth is not None:
        young = min(float(growth.length_after(0.0, 2.0)), below)
    out = []
    for row in rows:
        if row["stage"]:
            continue
        own = judged[(judged["site"] == row["site"]) & (judged["survey"] == row["survey"])]
        tally = {v: int((own["verdict"] == v).sum()) for v in (DEFINITE, PROBABLE, CANNOT_TELL)}
        out.append({
            "name": f"recruits/{row['site']}", "site": row["site"], "survey": row["survey"],
            "definite": tally[DEFINITE], "probable": tally[PROBABLE],
            "cannot_tell": tally[CANNOT_TELL], "below_mm": below,
            "density_high": -np.log(0.05) / row["area_dug_m2"] if not tally[DEFINITE] else None,
            **_per_adult(own, animals, row, young, options),
        })
    return judged, out


def _per_adult(own, animals, row, young, options: Options) -> dict:
    """Recruits younger than two years per adult, from the units of the same survey."""
    nothing = {"per_adult": None, "per_adult_low": None, "per_adult_high": None, "adults": None,
               "young_below_mm": young, "young": None}
    if young is None or options.adult_from_mm is None:
        return nothing
    here = animals[(animals["site"] == row["site"]) & (animals["survey"] == row["survey"])]
    adults = int((here["length_mm"] >= options.adult_from_mm).sum())
    wild = own["verdict"].isin([DEFINITE, PROBABLE]) & (own["length_mm"] < young)
    value, low, high = ratio(int(wild.sum()), adults)
    return {"per_adult": value, "per_adult_low": low, "adults": adults, "young": int(wild.sum()),
            "per_adult_high": high if np.isfinite(high) else None, "young_below_mm": young}


def _ratios(rows) -> dict[str, Estimate]:
    out = {}
    for row in sorted(rows, key=lambda r: str(r["survey"])):
        if row["per_adult"] is None or row["per_adult_high"] is None:
            continue
        key = f"recruits_per_adult/{row['site']}"
        out[key] = Estimate(
            key, row["per_adult"], interval=(row["per_adult_low"], row["per_adult_high"]),
            n=row["young"] + row["adults"],
            source=Source("measured", f"unmarked animals below {row['young_below_mm']:.0f} mm per "
                          f"adult in units, survey {row['survey']}"),
            note="young animals are found less often than adults: a low estimate")
    return out

"""Unmarked small animals: recruits for certain, probably, or not to be told from stocked ones.

Unmarked is not wild-born: marks wear off and tags are shed. Each animal is judged by whether any
stocked cohort could be so small by then, and by how many unmarked stocked animals of its length
were to be expected in the units dug.
"""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np
import pandas as pd

from pva.estimate.cohorts import MarkKeeping, Stocked, cohorts, stocked_at
from pva.estimate.following import day_numbers
from pva.estimate.growth import Growth
from pva.estimate.options import Options
from pva.field.records import ALIVE, FieldRecords

DEFINITE, PROBABLE, CANNOT_TELL = "definite", "probable", "cannot tell"
CERTAIN, LIKELY = 0.001, 0.05  # chance of measuring so little
SURE, LIKELY_WILD = 0.99, 0.9  # chance of being wild-born, where it can be told
AT_LEAST = 0.5  # wild-born animals that a survey may hold before any is seen (judgement)
ROUNDS = 200
COLUMNS = ["survey", "site", "unit", "length_mm", "day", "verdict", "chance", "cohort", "wild"]


@dataclass(frozen=True)
class Judging:
    """What unmarked animals are judged against.

    Parameters
    ----------
    species : str or None
    below_mm : float
        Animals at least this long are not looked at.
    growth : Growth or None
        Without it cohorts are taken not to have grown, which calls fewer animals recruits.
    keeping : MarkKeeping
    """

    species: str | None
    below_mm: float
    growth: Growth | None = None
    keeping: MarkKeeping = field(default_factory=MarkKeeping)


def judge(records: FieldRecords, options: Options, judging: Judging) -> pd.DataFrame:
    """Judge every unmarked animal below a length found in units.

    Parameters
    ----------
    records : FieldRecords
    options : Options
    judging : Judging

    Returns
    -------
    DataFrame
        survey, site, unit, length_mm, day, verdict, chance (that a stocked animal measures so
        little), cohort (that comes closest), wild (chance of being wild-born, NaN where area or
        date are unknown).
    """
    found = unmarked(records, judging.species)
    found = found[found["length_mm"] < judging.below_mm]
    days = unit_days(records)
    found = found.assign(day=[days.get(k, np.nan) for k in zip(
        found["survey"], found["site"], found["unit"], strict=True)])
    all_cohorts = cohorts(records, species=judging.species, growth=judging.growth,
                          stages=options.stages)
    parts = [_judged(own, site, all_cohorts, _share_dug(records, options, site, survey), options,
                     judging)
             for (survey, site), own in found.groupby(["survey", "site"], sort=False)]
    return pd.concat(parts, ignore_index=True) if parts else pd.DataFrame(columns=COLUMNS)


def _judged(own, site, all_cohorts, share, options: Options, judging: Judging) -> pd.DataFrame:
    upstream = _upstream(site, options)
    by_day = {day: stocked_at(site, day, all_cohorts, growth=judging.growth, season=options.season,
                              keeping=judging.keeping, upstream=upstream)
              for day in own["day"].dropna().unique()}
    against: list[Stocked | None] = [by_day.get(day) for day in own["day"]]
    lengths = own["length_mm"].to_numpy(float)
    said = [(1.0, "") if s is None else s.as_small(x)
            for x, s in zip(lengths, against, strict=True)]
    stocked = np.array([np.nan if s is None or share is None and s.names else
                        (share or 0.0) * s.per_mm(x, judging.below_mm)
                        for x, s in zip(lengths, against, strict=True)])
    wild = wild_chance(stocked, judging.below_mm)
    chance = np.array([c for c, _ in said])
    return own.assign(verdict=[_verdict(c, w) for c, w in zip(chance, wild, strict=True)],
                      chance=chance, cohort=[n for _, n in said], wild=wild)[COLUMNS]


def wild_chance(stocked: np.ndarray, below_mm: float) -> np.ndarray:
    """Chance that each animal is wild-born, from unmarked stocked animals expected at its length.

    Wild-born animals may have any length below the limit; how many there are is told from the
    animals themselves, in rounds (expectation-maximisation), never less than `AT_LEAST`.

    Parameters
    ----------
    stocked : float array (animal)
        Unmarked stocked animals expected in the units dug, per mm at the animal's length; NaN
        where nobody can say.
    below_mm : float
    """
    known = ~np.isnan(stocked)
    number = AT_LEAST + known.sum()
    wild = np.full(stocked.shape, np.nan)
    for _ in range(ROUNDS):
        wild[known] = number / (number + below_mm * stocked[known])
        now = AT_LEAST + wild[known].sum()
        if abs(now - number) < 1e-9:
            break
        number = now
    return wild


def _verdict(chance: float, wild: float) -> str:
    if np.isnan(wild):
        return DEFINITE if chance < CERTAIN else PROBABLE if chance < LIKELY else CANNOT_TELL
    if chance < CERTAIN and wild >= SURE:
        return DEFINITE
    return PROBABLE if wild >= LIKELY_WILD else CANNOT_TELL


def _upstream(site: str, options: Options) -> tuple[str, ...]:
    km = options.units.river_km
    if not options.units.upstream_km or site not in km:
        return ()
    return tuple(s for s, at in km.items() if 0 < at - km[site] <= options.units.upstream_km)


def _share_dug(records: FieldRecords, options: Options, site: str, survey: str) -> float | None:
    """Share of the site that the units of a survey cover; None where its area is unknown."""
    area = (options.areas or {}).get(site)
    units = records.units
    if area is None or not len(units):
        return None
    own = units[units["site"].eq(site) & units["survey"].eq(survey)]
    return min(float(own["area_m2"].sum()) / area, 1.0)


def unmarked(records: FieldRecords, species: str | None) -> pd.DataFrame:
    """Living animals found in units without any mark."""
    table = records.animals
    table = table[table["length_mm"].notna() & (table["status"].isna() | table["status"].eq(ALIVE))]
    if species:
        table = table[table["species"].isna() | table["species"].eq(species)]
    for mark in ("batch_mark", "tag", "second_mark"):
        if mark in table:
            table = table[table[mark].isna() | table[mark].eq("")]
    return each_animal(table)


def each_animal(animals: pd.DataFrame) -> pd.DataFrame:
    """One row an animal, where rows stand for several of one size class (or for none)."""
    if "number" not in animals:
        return animals
    number = animals["number"].fillna(1).astype(int)
    return animals.loc[animals.index.repeat(number)].reset_index(drop=True)


def unit_days(records: FieldRecords) -> dict:
    """Day of every unit (survey, site, unit), as a proleptic ordinal."""
    units = records.units
    return dict(zip(zip(units["survey"], units["site"], units["unit"], strict=True),
                    day_numbers(units["date"]), strict=True))

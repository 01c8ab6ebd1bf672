"""Units of one site and survey: which of them count, and whether their blanks are accounted for."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
import pandas as pd

from pva.estimate.density import blanks_doubt
from pva.estimate.refusal import Refusal
from pva.estimate.stage_steps import LengthStage
from pva.estimate.unit_options import DOUBLE, STRATIFIED, UnitOptions

NO_BLANKS = 0.05  # chance below which a survey without any blank unit is not believed
FEWEST_EXCAVATED = 5
KEY = ["survey", "site", "unit"]
EXCAVATED, SURFACE, BOTH = "excavated", "surface only", "surface and excavated"


@dataclass(frozen=True)
class Survey:
    """Units of one site and survey that count for its density.

    Parameters
    ----------
    site, survey : str
    units : DataFrame
        survey, site, unit, area_m2, excavated, animals, stratum, start.
    animals : DataFrame
        Found in them.
    what : {'excavated', 'surface only', 'surface and excavated'}
    left_out : int
        Units looked at on the surface only that do not count.
    """

    site: str
    survey: str
    units: pd.DataFrame
    animals: pd.DataFrame
    what: str
    left_out: int = 0

    @property
    def areas(self) -> np.ndarray:
        """m2 of each unit."""
        return self.units["area_m2"].to_numpy(float)

    @property
    def dug(self) -> np.ndarray:
        """Units that were dug."""
        return ~self.units["excavated"].eq(False).to_numpy()

    def counts(self, stage: LengthStage | None = None, *, surface: bool = False) -> np.ndarray:
        """Animals in each unit, of one stage or all; `surface`: those seen at the surface alone."""
        own = self.animals
        if stage is not None:
            own = own[(own["length_mm"] >= stage.low) & (own["length_mm"] < stage.high)]
        if surface:
            own = own[own["excavated"].eq(False) | own["unit"].isin(self.units.loc[~self.dug,
                                                                                   "unit"])]
        return count_by_unit(self.units, own)


def count_by_unit(units: pd.DataFrame, animals: pd.DataFrame) -> np.ndarray:
    """Animals in each unit; a unit without animals is a zero."""
    counted = animals.groupby(KEY).size().rename("found").reset_index()
    merged = units[KEY].merge(counted, how="left", on=KEY)
    return merged["found"].fillna(0).to_numpy(int)


def each_survey(units: pd.DataFrame, animals: pd.DataFrame, options: UnitOptions
                ) -> Iterator[Survey | Refusal]:
    """Surveys whose density can be told, and refusals of the others.

    Parameters
    ----------
    units, animals : DataFrame
    options : UnitOptions
    """
    for (site, survey), own in units.groupby(["site", "survey"], sort=True):
        found = animals[animals["site"].eq(site) & animals["survey"].eq(survey)]
        whole = Survey(site, survey, own.reset_index(drop=True), found, BOTH)
        told = _counting(whole, options)
        refusal = told if isinstance(told, Refusal) else _blanks(whole, told, options)
        yield refusal or _with_strata(told, options)


def _counting(whole: Survey, options: UnitOptions) -> Survey | Refusal:
    """Excavated units where there are enough; the surface alone gives a lower limit."""
    dug = whole.dug
    if options.design == DOUBLE:
        return _double(whole)
    if dug.sum() < FEWEST_EXCAVATED:
        return _part(whole, np.ones(dug.size, bool), SURFACE)
    return _part(whole, dug, EXCAVATED)


def _part(whole: Survey, keep: np.ndarray, what: str) -> Survey:
    units = whole.units[keep].reset_index(drop=True)
    animals = whole.animals[whole.animals["unit"].isin(units["unit"])]
    return Survey(whole.site, whole.survey, units, animals, what, int((~keep).sum()))


def _double(whole: Survey) -> Survey | Refusal:
    what = f"density/{whole.site} {whole.survey}"
    dug = whole.dug
    if dug.sum() < FEWEST_EXCAVATED or dug.all():
        return Refusal(what, f"double sampling with {int(dug.sum())} of {dug.size} units dug",
                       f"units looked over at the surface alone, and at least {FEWEST_EXCAVATED} "
                       "dug as well; or another design")
    in_dug = whole.animals[whole.animals["unit"].isin(whole.units.loc[dug, "unit"])]
    if "excavated" not in in_dug or in_dug["excavated"].isna().any():
        return Refusal(what, "animals in units dug do not say whether they were seen at the "
                       "surface", "`excavated` for every animal: no where it was seen at the "
                       "surface, yes where only digging found it")
    return whole


def _blanks(whole: Survey, told: Survey, options: UnitOptions) -> Refusal | None:
    what = f"density/{whole.site} {whole.survey}"
    stated = options.dug.get((whole.site, whole.survey))
    listed = len(whole.units)
    if stated is not None and stated != listed:
        return Refusal(what, f"{stated} units were dug by the field sheet, {listed} are listed",
                       "list every unit dug, also those without an animal, or correct `units_dug`")
    if stated is None and blanks_doubt(told.counts(), told.areas) < NO_BLANKS:
        return Refusal(what, f"not one of {len(told.units)} units is blank, which is hard to "
                       "believe at so few animals a unit",
                       "list every unit dug, also those without an animal; if none was blank, say "
                       "how many were dug under `density: units_dug`")
    return None


def _with_strata(told: Survey, options: UnitOptions) -> Survey | Refusal:
    """Name the stratum of every unit: as written, or by its transect."""
    strata = options.strata_of(told.site)
    if options.design != STRATIFIED or not strata:
        return told
    what = f"density/{told.site} {told.survey}"
    names = [s.name for s in strata]
    by_transect = {str(t): s.name for s in strata for t in s.transects}
    units = told.units
    own = units["stratum"].where(units["stratum"].isin(names),
                                 units["transect"].map(_plain).map(by_transect))
    lost = units.loc[own.isna(), "unit"]
    if len(lost):
        return Refusal(what, f"{len(lost)} units lie in no stratum ({', '.join(lost[:3])})",
                       "name the stratum of every unit, or the transects of every stratum")
    empty = [n for n in names if n not in set(own)]
    if empty:
        return Refusal(what, f"no unit was dug in the stratum {', '.join(empty)}",
                       "units there, or strata drawn anew")
    return Survey(told.site, told.survey, units.assign(stratum=own), told.animals, told.what,
                  told.left_out)


def _plain(transect) -> str:
    """A transect that a spreadsheet turned into a number is the transect again."""
    text = "" if transect is None else str(transect)
    return text.removesuffix(".0")

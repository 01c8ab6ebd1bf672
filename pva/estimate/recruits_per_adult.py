"""Young of about a year per adult, with the doubt of who is wild-born and of how animals clump."""

from __future__ import annotations

from collections.abc import Iterable

import numpy as np
import pandas as pd
from scipy.stats import beta

from pva.estimate.density import CLUMPED, clumped_chance
from pva.estimate.estimates import Estimate
from pva.estimate.options import Options
from pva.estimate.recruits import CANNOT_TELL, DEFINITE, PROBABLE
from pva.estimate.refusal import Refusal
from pva.estimate.surveys import Survey, count_by_unit
from pva.sources import Source

VERDICTS = (DEFINITE, PROBABLE, CANNOT_TELL)
NOTE = ("young animals are found less often than adults: a low estimate; low end: definite young "
        "alone, high end: doubtful ones too")


def ratio(recruits: int, adults: int, *, level: float = 0.95) -> tuple[float | None, float, float]:
    """Recruits per adult with an exact interval (given how many animals were found in all).

    Returns
    -------
    value, low, high : float
        `value` None without adults; `high` inf where it cannot be bounded. With no recruit found,
        `high` is a one-sided limit.
    """
    tail = (1 - level) / 2 if recruits else 1 - level
    low = 0.0 if recruits == 0 else beta.ppf(tail, recruits, adults + 1)
    high = 1.0 if adults == 0 else beta.ppf(1 - tail, recruits + 1, adults)
    value = recruits / adults if adults else None
    return value, float(low / (1 - low)), float(high / (1 - high)) if high < 1 else np.inf


def recruit_row(survey: Survey, judged: pd.DataFrame, below_mm: float, young_mm: float | None,
                options: Options) -> dict:
    """Verdicts of one survey, and recruits per adult where adults are known.

    A young animal counts as evidence wherever it was found; for the ratio, young and adults come
    from the units that count for the density.

    Parameters
    ----------
    survey : Survey
    judged : DataFrame
        As `judge` gives it, all surveys.
    below_mm : float
    young_mm : float or None
        Length below which an animal counts as young of about a year.
    options : Options
    """
    own = judged[judged["site"].eq(survey.site) & judged["survey"].eq(survey.survey)]
    tally = {v: int((own["verdict"] == v).sum()) for v in VERDICTS}
    area = float(survey.areas.sum())
    return {
        "name": f"recruits/{survey.site}", "site": survey.site, "survey": survey.survey,
        "definite": tally[DEFINITE], "probable": tally[PROBABLE],
        "cannot_tell": tally[CANNOT_TELL],
        "wild_expected": None if own["wild"].isna().any() else float(own["wild"].sum()),
        "below_mm": below_mm,
        "density_high": -np.log(0.05) / area if not tally[DEFINITE] else None,
        **_per_adult(survey, own[own["unit"].isin(survey.units["unit"])], young_mm, options),
    }


def _per_adult(survey: Survey, own: pd.DataFrame, young_mm, options: Options) -> dict:
    nothing = {"per_adult": None, "per_adult_low": None, "per_adult_high": None, "adults": None,
               "young_below_mm": young_mm, "young": None}
    if young_mm is None or options.adult_from_mm is None:
        return nothing
    grown = survey.animals[survey.animals["length_mm"] >= options.adult_from_mm]
    young = own[own["length_mm"] < young_mm]
    doubt = young["verdict"].map({DEFINITE: 1.0, PROBABLE: 1.0, CANNOT_TELL: 0.0})
    share = young["wild"].where(young["verdict"].ne(DEFINITE) & young["wild"].notna(), doubt)
    adults, sure = len(grown), int(young["verdict"].eq(DEFINITE).sum())
    told = nothing | {"adults": adults, "young": int(doubt.sum())}
    if not adults:
        return told
    value = float(share.sum()) / adults
    low, high = ratio(sure, adults)[1], ratio(len(young), adults)[2]
    wider = _clumping(survey, young, grown)
    if value > 0:
        low = value * (low / value) ** wider if low > 0 else 0.0
        high = value * (high / value) ** wider
    return told | {"per_adult": value, "per_adult_low": low,
                   "per_adult_high": high if np.isfinite(high) else None}


def _clumping(survey: Survey, young: pd.DataFrame, grown: pd.DataFrame) -> float:
    """How much wider clumped animals make the interval than evenly scattered ones; at least 1."""
    y, a = count_by_unit(survey.units, young), count_by_unit(survey.units, grown)
    whole, n = y + a, y.size
    if not y.sum() or not a.sum() or clumped_chance(whole, survey.areas) >= CLUMPED:
        return 1.0
    share = y.sum() / a.sum()
    seen = n / (n - 1) * ((y - share * a) ** 2).sum()
    return max(1.0, float(np.sqrt(seen / (share * (1 + share) * a.sum()))))


def ratios(rows: Iterable[dict]) -> tuple[dict[str, Estimate], list[Refusal]]:
    """Estimates of the latest survey of each site, and why others have none.

    Parameters
    ----------
    rows : iterable of dict
        As `recruit_row` gives them.
    """
    last = {row["site"]: row for row in sorted(rows, key=lambda r: str(r["survey"]))}
    out, refused = {}, []
    for site, row in last.items():
        key = f"recruits_per_adult/{site}"
        if row["adults"] is None:
            continue
        if row["per_adult"] is None or row["per_adult_high"] is None:
            refused.append(Refusal(key, f"{row['adults']} adults were found in the units of survey "
                                   f"{row['survey']}", "more units, until adults are found"))
            continue
        out[key] = Estimate(
            key, row["per_adult"], interval=(row["per_adult_low"], row["per_adult_high"]),
            n=row["young"] + row["adults"],
            source=Source("measured", f"unmarked animals below {row['young_below_mm']:.0f} mm per "
                          f"adult in units, survey {row['survey']}"), note=NOTE)
    return out, refused

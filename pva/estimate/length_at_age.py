"""Growth from animals whose age is known, such as hatchery cohorts: length against age.

Least squares on ``length = asymptote - shortfall x ratio^age``. Animals differ and are measured
more than once, so that errors of one animal hang together: the standard errors allow for it.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd
from scipy.optimize import curve_fit

from pva.errors import CannotCompute, Problem
from pva.estimate.growth import growing_time

FEWEST = 8  # lengths, below which no curve is fitted
FARTHEST = 3.0  # asymptote over the longest, beyond which growth was not seen to slow down


@dataclass(frozen=True)
class LengthAtAge:
    """A curve of length against age.

    Parameters
    ----------
    asymptote_mm, shortfall_mm, ratio, residual_sd_mm : float
        Length towards which growth slows, how much a newborn lacks of it, share of what is lacking
        that is left a year later, SD of a length about the curve. In the unit of the lengths.
    se : dict of str to float
        Standard errors of the first three.
    lengths, animals : int
    youngest, oldest : float
        Ages with lengths, years; beyond them the curve is a guess.
    """

    asymptote_mm: float
    shortfall_mm: float
    ratio: float
    residual_sd_mm: float
    se: dict
    lengths: int
    animals: int
    youngest: float
    oldest: float

    @property
    def rate(self) -> float:
        """Growth rate, per year."""
        return float(-np.log(self.ratio))

    def length_at(self, age):
        """Mean length at an age in years."""
        return self.asymptote_mm - self.shortfall_mm * self.ratio ** np.asarray(age, float)

    def as_dict(self) -> dict:
        """For the summary."""
        return {"asymptote_mm": self.asymptote_mm, "asymptote_mm_se": self.se["asymptote_mm"],
                "rate": self.rate, "rate_se": self.se["ratio"] / self.ratio,
                "length_at_birth_mm": self.asymptote_mm - self.shortfall_mm,
                "residual_sd_mm": self.residual_sd_mm, "lengths": self.lengths,
                "animals": self.animals, "youngest": self.youngest, "oldest": self.oldest}


def fit_length_at_age(age, length, animal=None) -> LengthAtAge:
    """Fit length against age.

    Parameters
    ----------
    age, length : float array (measurement)
        Years, and mm (or any unit).
    animal : array (measurement), optional
        Who was measured; left out, every length is another animal's.

    Returns
    -------
    LengthAtAge

    Raises
    ------
    CannotCompute
        Fewer than eight lengths or three ages, or growth that does not slow down.
    """
    age, length = np.asarray(age, float), np.asarray(length, float)
    if age.size < FEWEST or np.unique(np.round(age, 2)).size < 3:
        raise _cannot(f"{age.size} lengths at {np.unique(np.round(age, 2)).size} ages",
                      f"at least {FEWEST} lengths at three ages or more")
    animal = np.arange(age.size) if animal is None else np.asarray(animal)

    def curve(t, top, lacking, log_rate):
        return top - lacking * np.exp(-np.exp(log_rate) * t)

    start = 1.05 * length.max(), 1.05 * length.max() - length.min(), np.log(2 / max(age.max(), 1))
    try:
        found, plain = curve_fit(curve, age, length, p0=start, maxfev=5000)
    except RuntimeError:
        found, plain = None, np.full((3, 3), np.inf)
    if not np.isfinite(plain).all() or found[0] > FARTHEST * length.max():
        raise _cannot("growth that does not slow down within these ages", "older animals")
    rate = np.exp(found[2])
    left = np.exp(-rate * age)
    slopes = np.column_stack([np.ones_like(age), -left, found[1] * left * age * rate])
    rest = length - curve(age, *found)
    whole = _clustered(slopes, rest, animal) if np.unique(animal).size < age.size else plain
    se = np.sqrt(np.diag(whole))
    ratio = float(np.exp(-rate))
    return LengthAtAge(
        float(found[0]), float(found[1]), ratio, float(np.sqrt(rest @ rest / (age.size - 3))),
        {"asymptote_mm": float(se[0]), "shortfall_mm": float(se[1]),
         "ratio": float(ratio * rate * se[2])},
        int(age.size), int(np.unique(animal).size), float(age.min()), float(age.max()))


def _clustered(slopes, rest, animal) -> np.ndarray:
    """Covariance that allows errors of one animal to hang together."""
    bread = np.linalg.pinv(slopes.T @ slopes)
    _, who = np.unique(animal, return_inverse=True)
    scores = np.zeros((who.max() + 1, 3))
    np.add.at(scores, who, slopes * rest[:, None])
    return bread @ (scores.T @ scores) @ bread * len(scores) / max(len(scores) - 3, 1)


def _cannot(why: str, needed: str) -> CannotCompute:
    return CannotCompute(Problem(f"length at age cannot be told from {why}",
                                 f"What would help: {needed}.", done="Nothing was fitted.",
                                 code="length-at-age"))


def lengths_at_age(lengths: pd.DataFrame, season) -> pd.DataFrame:
    """Lengths of released animals whose age at release is known.

    Parameters
    ----------
    lengths : DataFrame
        `animal`, `day`, `length_mm`, `age` (years at release) and `released_on` (day).
    season : (int, int)
        Months of growth: ages run in growing time.

    Returns
    -------
    DataFrame
        animal, age (years), length_mm.
    """
    if "age" not in lengths:
        return pd.DataFrame({"animal": [], "age": [], "length_mm": []})
    known = lengths[pd.to_numeric(lengths["age"], errors="coerce").notna()
                    & lengths["released_on"].notna()]
    if not len(known):
        return pd.DataFrame({"animal": [], "age": [], "length_mm": []})
    gone = growing_time(known["day"].to_numpy(float), season) - growing_time(
        known["released_on"].to_numpy(float), season)
    return pd.DataFrame({"animal": known["animal"], "length_mm": known["length_mm"],
                         "age": pd.to_numeric(known["age"]) + gone}).reset_index(drop=True)

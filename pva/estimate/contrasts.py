"""From parameters of a model to the rates people name: stages, sites, sources, methods, years."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.special import expit

from pva.estimate.choices import YEAR_TERM
from pva.estimate.fit import AT_BOUNDARY, FLAT
from pva.estimate.models import LUCK
from pva.estimate.profiles import profile_interval
from pva.estimate.survival import Fitted


@dataclass(frozen=True)
class Joint:
    """Several rates with their joint covariance, logit scale.

    Parameters
    ----------
    keys : tuple of str
    mean : float array (key)
    covariance : float array (key, key)
        NaN where a rate cannot be told or is stuck at 0 or 1.
    """

    keys: tuple[str, ...]
    mean: np.ndarray
    covariance: np.ndarray

    @property
    def se(self) -> np.ndarray:
        """Standard errors, logit scale."""
        return np.sqrt(np.diag(self.covariance))


def year_labels(fitted: Fitted) -> list[str]:
    """Intervals with a survival of their own, the last one included."""
    head = f"survival: {YEAR_TERM} "
    named = [n[len(head):] for n in fitted.laid.design.names if n.startswith(head)]
    if not named:
        return []
    columns = [i for i, n in enumerate(fitted.laid.design.names) if n.startswith(head)]
    rows = fitted.laid.at_steps("survival")[:, columns]
    last = fitted.steps["year"].to_numpy()[(rows == -1).all(axis=1)]
    return [*named, str(last[0])] if last.size else named


def survival_contrast(fitted: Fitted, *, stage: str | None = None, site: str | None = None,
                      source: str | None = None, batch: str | None = None,
                      years=None) -> np.ndarray:
    """Weights of the parameters (all kinds) in the logit survival of a stage, site and so on.

    What is not named is averaged over the years that animals of the stage were followed.

    Parameters
    ----------
    fitted : Fitted
    stage, site, source, batch : str, optional
    years : mapping of str to float, optional
        Weight of each interval; left out: ordinary intervals count alike.
    """
    names = fitted.laid.design.names
    where = fitted.laid.design.slices["survival"]
    rows, steps = fitted.laid.at_steps("survival"), fitted.steps
    time, labels = steps["years"].to_numpy(float), steps["year"].to_numpy()
    here = np.ones(len(steps), bool) if stage is None else steps["stage"].eq(stage).to_numpy()
    out = np.zeros(len(names))
    for column in range(where.start, where.stop):
        name = names[column].removeprefix("survival: ")
        values = rows[:, column - where.start]
        if name.startswith(LUCK + " "):
            continue  # a mean year
        if name.startswith(YEAR_TERM + " "):
            out[column] = _year_weight(values, labels, years)
            continue
        use = here.copy()
        for term, level in (("site", site), ("source", source), ("batch", batch)):
            if name.startswith(term + " ") and level is not None:
                use &= steps[term].eq(level).to_numpy()
        use = use if use.any() else np.ones(len(steps), bool)
        out[column] = np.average(values[use], weights=time[use])
    return out


def _year_weight(rows: np.ndarray, labels: np.ndarray, years) -> float:
    if not years:
        return 0.0
    return sum(weight * rows[np.argmax(labels == label)] for label, weight in years.items())


def release_contrast(fitted: Fitted, source: str) -> np.ndarray:
    """Weights of the parameters in the logit release survival of a source."""
    out = np.zeros(len(fitted.laid.design.names))
    where = fitted.laid.design.slices["release"]
    use = (fitted.steps["released"] & fitted.steps["source"].eq(source)).to_numpy()
    out[where] = fitted.laid.at_steps("release")[use].mean(axis=0)
    return out


def event_contrast(fitted: Fitted, name: str) -> np.ndarray:
    """Weights of the parameters in the logit relative survival of a bad year."""
    out = np.zeros(len(fitted.laid.design.names))
    where = fitted.laid.design.slices["event"]
    use = fitted.steps["bad_year"].eq(name).to_numpy()
    out[where] = fitted.laid.at_steps("event")[use][0]
    return out


def staying_contrast(fitted: Fitted) -> np.ndarray:
    """Weights of the parameters in the logit chance of staying at the site for a year."""
    out = np.zeros(len(fitted.laid.design.names))
    out[fitted.laid.design.slices["staying"]] = 1.0
    return out


def joint(fitted: Fitted, contrasts: dict[str, np.ndarray], inflation: float = 1.0) -> Joint:
    """Rates of several contrasts and their covariance.

    Parameters
    ----------
    fitted : Fitted
    contrasts : mapping of str to float array (parameter)
    inflation : float
        Overdispersion by which the covariance is multiplied, at least 1.
    """
    matrix = np.array(list(contrasts.values())).reshape(len(contrasts), fitted.fit.beta.size)
    out = inflation * matrix @ fitted.fit.along @ matrix.T
    vague = ~fitted.fit.tells(matrix)
    out[vague] = np.nan
    out[:, vague] = np.nan
    return Joint(tuple(contrasts), matrix @ fitted.fit.beta, out)


def detection_limit(fitted: Fitted, mask: np.ndarray, inflation: float = 1.0):
    """Profile limits of the chance of being seen at some steps where it sits at 0 or 1, else None.

    Returns
    -------
    tuple of float or None
        Low and high, natural scale.
    """
    visited = mask & fitted.steps["visit"].notna().to_numpy()
    contrast = np.zeros(fitted.fit.beta.size)
    where = fitted.laid.design.slices["detection"]
    contrast[where] = fitted.laid.at_steps("detection")[visited].mean(axis=0)
    if np.abs(contrast @ fitted.fit.beta) <= AT_BOUNDARY and not fitted.fit.stuck[
            np.abs(contrast) > FLAT].any():
        return None
    low, high = profile_interval(fitted.fit, contrast, inflation=inflation)
    return float(expit(low)), float(expit(high))


def average_detection(fitted: Fitted, mask: np.ndarray) -> tuple[float, float]:
    """Mean chance of being seen over the visits of some steps, and its SE, natural scale."""
    visited = mask & fitted.steps["visit"].notna().to_numpy()
    where = fitted.laid.design.slices["detection"]
    rows = fitted.laid.at_steps("detection")[visited]
    chance = expit(rows @ fitted.fit.beta[where])
    slope = (rows * (chance * (1 - chance))[:, None]).mean(axis=0)
    spread = slope @ fitted.fit.along[where, where] @ slope
    return float(chance.mean()), float(np.sqrt(spread))

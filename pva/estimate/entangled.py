"""What a model knows only as a product: its rates cannot be told apart, so none is a number.

Two cases occur in practice. Survival over the last interval and the chance of being seen at its
end, where both are free; release survival and survival of the first interval, where every release
has a first interval of its own.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.special import expit

from pva.estimate.link_scale import Z95
from pva.estimate.survival import Fitted


@dataclass(frozen=True)
class Product:
    """Two rates known only together.

    Parameters
    ----------
    what : str
        The two, in words.
    value, low, high : float
        Their product over the interval, with its 95 % interval; each of the two lies between it
        and 1.
    years : float
        Mean length of the interval.
    """

    what: str
    value: float
    low: float
    high: float
    years: float

    @property
    def words(self) -> str:
        """One sentence."""
        return (f"{self.what} are known only as their product over {self.years:.2g} years, "
                f"{self.value:.2f} ({self.low:.2f} to {self.high:.2f}): each lies between that "
                "and 1")


def products(fitted: Fitted) -> list[Product]:
    """Products behind the rates of a model that the data cannot tell.

    Parameters
    ----------
    fitted : Fitted

    Returns
    -------
    list of Product
        Empty where every survival and release survival is told.
    """
    steps, rows = fitted.steps, fitted.laid.rows
    unclear = {kind: _unclear(fitted, kind) for kind in ("survival", "release", "detection")}
    found = []
    for kind in ("release", "detection"):
        both = unclear["survival"] & unclear[kind]
        if kind == "detection":
            both &= ~unclear["release"] | ~steps["released"].to_numpy(bool)
        pairs = np.unique(np.column_stack([rows["survival"], rows[kind]])[both], axis=0)
        for survival_row, row in pairs:
            here = both & (rows["survival"] == survival_row) & (rows[kind] == row)
            product = _product(fitted, kind, int(survival_row), int(row), here)
            if product is not None:
                found.append(product)
    return found


def _unclear(fitted: Fitted, kind: str) -> np.ndarray:
    """Steps at which the rate of a kind acts and cannot be told."""
    rows = fitted.laid.rows[kind]
    if not (rows >= 0).any():
        return np.zeros(rows.size, bool)
    matrix, where = getattr(fitted.laid.design, kind), fitted.laid.design.slices[kind]
    wide = np.zeros((len(matrix), fitted.fit.beta.size))
    wide[:, where] = matrix
    told = fitted.fit.tells(wide)
    return (rows >= 0) & ~told[np.maximum(rows, 0)]


def _product(fitted: Fitted, kind: str, survival_row: int, row: int, here) -> Product | None:
    design, beta, steps = fitted.laid.design, fitted.fit.beta, fitted.steps[here]
    years = float(steps["years"].mean())
    slope = np.zeros(beta.size)
    value = 0.0
    for what, at, power in (("survival", survival_row, years), (kind, row, 1.0)):
        line, where = getattr(design, what)[at], design.slices[what]
        rate = expit(line @ beta[where])
        value += power * np.log(rate)
        slope[where] += power * (1 - rate) * line
    if not fitted.fit.tells(slope[None])[0]:
        return None
    se = float(np.sqrt(slope @ fitted.fit.along @ slope))
    low, high = np.exp(value - Z95 * se), min(np.exp(value + Z95 * se), 1.0)
    other = (f"release survival of {steps['source'].iloc[0]}" if kind == "release"
             else f"the chance of being found at {steps['visit'].iloc[0]}")
    return Product(f"survival {steps['year'].iloc[0]} and {other}", float(np.exp(value)),
                   float(low), float(high), years)

"""How many fish a stretch held, from catches that fall as fish are taken out pass by pass.

Every fish present is caught on a pass with the same chance, and nobody comes or goes meanwhile
(Zippin 1958, Journal of Wildlife Management 22:82-90, from memory). Fish that grow wary are caught
ever less often, which makes the number too low.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.optimize import brentq, minimize_scalar
from scipy.special import gammaln, xlogy
from scipy.stats import chi2

from pva.estimate.combined import Told

MOST_TIMES = 1000.0  # times the catch, beyond which the catches are not falling


@dataclass(frozen=True)
class Removal:
    """Fish that a stretch held.

    Parameters
    ----------
    fish : Told
        Number and interval.
    caught_per_pass : float
        Chance that a fish present is caught on a pass.
    catches : tuple of int
    """

    fish: Told
    caught_per_pass: float
    catches: tuple[int, ...]


def removal(catches, *, level: float = 0.95) -> Removal | None:
    """Number present and profile interval.

    Parameters
    ----------
    catches : int array (pass)
        Fish taken out on each pass, at least two.
    level : float

    Returns
    -------
    Removal or None
        None where the catches do not fall enough to bound the number.
    """
    catches = np.asarray(catches, float)
    total = catches.sum()
    if catches.size < 2 or total == 0:
        return None
    best = minimize_scalar(lambda x: -_loglik(total * np.exp(x), catches),
                           bounds=(0.0, np.log(MOST_TIMES)), method="bounded",
                           options={"xatol": 1e-9})
    top = max(-best.fun, _loglik(total, catches))
    number = total if _loglik(total, catches) >= -best.fun else total * float(np.exp(best.x))
    drop = chi2.ppf(level, 1) / 2

    def fallen(n):
        return top - _loglik(n, catches) - drop

    if fallen(total * MOST_TIMES) < 0:
        return None
    high = brentq(fallen, number, total * MOST_TIMES, xtol=1e-4)
    low = total if fallen(total) <= 0 else brentq(fallen, total, number, xtol=1e-4)
    return Removal(Told(float(number), float(low), float(high)), _chance(number, catches),
                   tuple(int(c) for c in catches))


def _chance(number: float, catches: np.ndarray) -> float:
    """Best chance of catching a fish on a pass, given the number there were."""
    before = np.concatenate([[0.0], np.cumsum(catches)[:-1]])
    return float(catches.sum() / (number - before).sum())


def _loglik(number: float, catches: np.ndarray) -> float:
    total, passes = catches.sum(), catches.size
    chance = min(_chance(number, catches), 1.0)
    missed = (number * passes - np.concatenate([[0.0], np.cumsum(catches)[:-1]]).sum()) - total
    return float(gammaln(number + 1) - gammaln(number - total + 1) + xlogy(total, chance)
                 + xlogy(missed, 1 - chance))

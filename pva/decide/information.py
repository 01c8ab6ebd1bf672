"""What it would be worth to know a rate exactly before the number to stock is chosen.

Expected value of partial perfect information. Success is worth a sum of money and animals cost
money; the best number under what is known now is compared with the best number for each value the
rate may turn out to have. Given the rate, the expected benefit of a number is found by smoothing
over parameter draws. What cannot change the choice is worth nothing, however uncertain it is.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache

import numpy as np

from pva.decide.outcomes import prepare, success
from pva.decide.rows import StockedRows
from pva.lifehistory.rates import Rate
from pva.model.draws import scramble_of_draw
from pva.scenario.rates_used import every_rate
from pva.scenario.resolved import Resolved

SHUFFLES = 40
_CHOICES = 9
_FEWEST_DRAWS = 24
_MOST_DEGREE = 7


@dataclass(frozen=True)
class Worth:
    """Value of knowing one rate exactly.

    Parameters
    ----------
    name : str
    value : float
        In the money of the scenario, 0 or more. Noise can only add to it: it is a little too high
        where it is small.
    error : float
        Standard error, from leaving out one scramble of draws at a time.
    noise : float
        Largest of `SHUFFLES` values with the rate's draws shuffled: what is not above it cannot be
        told from nothing.
    """

    name: str
    value: float
    error: float
    noise: float

    @property
    def clear(self) -> bool:
        """Whether the value can be told from nothing."""
        return self.value > self.noise


@dataclass(frozen=True)
class Information:
    """What knowing more would be worth for the number to stock.

    Parameters
    ----------
    worth_of_success : float
        Money at which the chance wanted is just worth its animals, or as given.
    implied : bool
        Whether it was worked out from the chance wanted.
    numbers : tuple of float
        Numbers per release year among which is chosen.
    best_number : float
        The best of them under what is known now.
    everything : float
        Value of knowing every rate exactly.
    rates : tuple of Worth
        Most valuable first.
    """

    worth_of_success: float
    implied: bool
    unit: str
    numbers: tuple[float, ...]
    best_number: float
    everything: float
    rates: tuple[Worth, ...]


def partial_information(benefit: np.ndarray, known: np.ndarray) -> float:
    """Expected gain of choosing after `known` is learned, noise not taken off.

    Parameters
    ----------
    benefit : ndarray, shape (draw, action)
        Benefit of each action in each draw; may hold simulation noise.
    known : ndarray, shape (draw,)
        What would be learned.

    Returns
    -------
    float
        In the unit of `benefit`, 0 or more.
    """
    gains = benefit - benefit[:, [int(benefit.mean(axis=0).argmax())]]
    expected = expected_given(known, gains)
    return float(max(expected.max(axis=1).mean() - expected.mean(axis=0).max(), 0.0))


def expected_given(known: np.ndarray, gains: np.ndarray) -> np.ndarray:
    """Expected gain of each action given what is known, shape (draw, action).

    Smooth curves over the ranks of `known`, which say as much as the values and are evenly spaced:
    polynomials whose degree is chosen for each action by generalised cross-validation.
    """
    size = len(known)
    ranks = np.empty(size)
    ranks[np.argsort(known, kind="stable")] = (np.arange(size) + 0.5) / size * 2 - 1
    basis, _ = np.linalg.qr(np.polynomial.legendre.legvander(ranks, _MOST_DEGREE))
    weights = basis.T @ gains
    best = np.full(gains.shape[1], np.inf)
    fitted = np.empty_like(gains)
    for degree in range(_MOST_DEGREE + 1):
        curve = basis[:, :degree + 1] @ weights[:degree + 1]
        score = ((gains - curve) ** 2).sum(axis=0) / (1 - (degree + 1) / size) ** 2
        better = score < best
        fitted[:, better], best[better] = curve[:, better], score[better]
    return fitted


def worth_of(name: str, benefit: np.ndarray, known: np.ndarray, *, seed: int) -> Worth:
    """Value of knowing one rate, with its error and the level of noise.

    Parameters
    ----------
    benefit : ndarray, shape (draw, action)
    known : ndarray, shape (draw,)
    """
    luck = np.random.default_rng([seed, len(known)])
    raw = partial_information(benefit, known)
    null = np.array([partial_information(benefit, luck.permutation(known))
                     for _ in range(SHUFFLES)])
    scramble = scramble_of_draw(len(known))
    left_out = [partial_information(benefit[scramble != g], known[scramble != g])
                for g in range(scramble[-1] + 1)]
    groups = len(left_out)
    error = (np.sqrt((groups - 1) / groups * ((left_out - np.mean(left_out)) ** 2).sum())
             if groups > 1 else np.nan)
    return Worth(name, raw, float(error), float(null.max()))


def information(resolved: Resolved, *, seed: int, numbers=None, worth: float | None = None,
                threads: int | None = None) -> Information | None:
    """What knowing each uncertain rate would be worth for the number to stock.

    Parameters
    ----------
    resolved : Resolved
    numbers : sequence of float or None
        Numbers per release year to choose from; None = nine, from 0 to well beyond the chance
        wanted.
    worth : float or None
        Money that success is worth; None = implied by the chance wanted.

    Returns
    -------
    Information or None
        None without goals, releases or uncertain rates, or with fewer than 24 draws.
    """
    enough = resolved.runs.draws >= _FEWEST_DRAWS and resolved.chance.unknown
    if not (resolved.goals and resolved.releases and enough):
        return None
    rows = StockedRows.of(resolved)
    ready = prepare(resolved, seed=seed, threads=threads)

    @cache
    def chance(number):
        return success(ready.with_releases(rows.planned(number)),
                       replicates=resolved.runs.replicates).mean(axis=1)

    if numbers is None:
        numbers = np.linspace(0, _far_enough(chance, rows, resolved.chance_wanted), _CHOICES)
    chances = np.column_stack([chance(n) for n in numbers])
    money = any(r.cost_each for r, c in zip(rows.rows, rows.chosen, strict=True) if c)
    costs = np.array([rows.cost(n) if money else rows.total(n) for n in numbers])
    implied = worth is None
    if implied:
        worth = implied_worth(chances.mean(axis=0), costs, resolved.chance_wanted)
    if worth is None:
        return None
    benefit = worth * chances - costs
    drawn = {k: v for k, v in ready.model.drawn.items() if np.ptp(v) > 0}
    rates = [worth_of(rate.key, benefit, drawn[rate.key], seed=seed)
             for rate in _uncertain(resolved) if rate.key in drawn]
    best = int(benefit.mean(axis=0).argmax())
    return Information(
        float(worth), implied, "money of the scenario" if money else "animals",
        tuple(float(n) for n in numbers), float(numbers[best]),
        everything=float(benefit.max(axis=1).mean() - benefit.mean(axis=0).max()),
        rates=tuple(sorted(rates, key=lambda w: (-w.value, w.name))))


def _far_enough(chance, rows, wanted) -> float:
    """A number well beyond the chance wanted, doubled from the plan; at most the largest tried."""
    number = rows.base
    while number < rows.most and chance(number).mean() < (1 + wanted) / 2:
        number = min(2 * number, rows.most)
    return number


def _uncertain(resolved) -> list[Rate]:
    return [r for r in every_rate(resolved) if r.is_uncertain]


def implied_worth(chances: np.ndarray, costs: np.ndarray, wanted: float) -> float | None:
    """Money at which it is best to stock up to the chance wanted.

    Parameters
    ----------
    chances, costs : ndarray, shape (number,)
        Rising with the number.
    wanted : float

    Returns
    -------
    float or None
        Cost of another animal over what it adds to the chance, where the curve crosses the chance
        wanted (at its end where it does not); None where no animal adds anything.
    """
    rises = np.maximum.accumulate(chances)
    above = np.flatnonzero(rises >= wanted)
    i = min(max(int(above[0]) if len(above) else len(chances) - 1, 1), len(chances) - 1)
    slope = (rises[i] - rises[i - 1]) / (costs[i] - costs[i - 1])
    return float(1 / slope) if slope > 0 else None

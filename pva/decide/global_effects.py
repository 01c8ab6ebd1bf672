"""All uncertain rates moved at once: shares of the variance of the chance of success.

First-order and total shares by Saltelli's design with scrambled Sobol points, through SALib. Rates
that were estimated together and whose errors are correlated count as one group: their shares cannot
be told apart.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np
from scipy.sparse.csgraph import connected_components

from pva.decide.outcomes import prepare, success
from pva.model.assemble import rates_in
from pva.model.draws import DrawTable
from pva.results.run import with_runs
from pva.results.uncertainty import rank_correlation
from pva.scenario.resolved import Resolved

RUNS = 40_000  # trajectories the design may take
FEWEST, MOST = 64, 1024  # base points; a power of two
_TIED = 1e-9  # correlation below which estimates count as independent


@dataclass(frozen=True)
class VarianceShare:
    """Share of the variance of an outcome due to one factor.

    Parameters
    ----------
    names : tuple of str
        The rate, or the rates of a group whose errors are correlated.
    first, total : float
        Share by the factor alone, and with all it acts through together with others.
    first_error, total_error : float
        Half width of the 95 % bootstrap interval.
    rank : float or None
        Rank correlation with the outcome over the design; None for a group.
    """

    names: tuple[str, ...]
    first: float
    first_error: float
    total: float
    total_error: float
    rank: float | None


def variance_indices(evaluate: Callable[[np.ndarray], np.ndarray], groups: Sequence[Sequence[str]],
                     *, points: int, seed: int) -> list[VarianceShare]:
    """Variance-based indices of any function of independent uniform numbers.

    Parameters
    ----------
    evaluate : callable
        From uniform numbers, shape (row, name), to the outcome, shape (row,).
    groups : sequence of sequence of str
        Names of the numbers, those of a factor together, in the order of the columns.
    points : int
        Base points, a power of two; the design has ``points * (factors + 2)`` rows.
    seed : int

    Returns
    -------
    list of VarianceShare
        In the order of the groups; zeros where the outcome never varies.

    References
    ----------
    Saltelli et al. 2010, Computer Physics Communications 181:259-270 (memory).
    """
    from SALib.analyze import sobol as analysis
    from SALib.sample import sobol as design

    names = [n for group in groups for n in group]
    labels = [f"{i:04d}" for i, group in enumerate(groups) for _ in group]
    problem = {"num_vars": len(names), "names": names, "groups": labels,
               "bounds": [[0.0, 1.0]] * len(names)}
    rows = design.sample(problem, points, calc_second_order=False, seed=seed % 2**32)
    outcome = evaluate(rows)
    if np.ptp(outcome) == 0:
        return [VarianceShare(tuple(g), 0.0, 0.0, 0.0, 0.0, None) for g in groups]
    found = analysis.analyze(problem, outcome, calc_second_order=False, seed=seed % 2**32)
    columns = np.cumsum([0, *(len(g) for g in groups)])
    return [VarianceShare(tuple(group), float(found["S1"][i]), float(found["S1_conf"][i]),
                          float(found["ST"][i]), float(found["ST_conf"][i]),
                          rank_correlation(rows[:, columns[i]], outcome) if len(group) == 1
                          else None)
            for i, group in enumerate(groups)]


def chance_shares(resolved: Resolved, *, seed: int, threads: int | None = None
                  ) -> list[VarianceShare]:
    """Shares of the variance of the chance of success due to each uncertain rate.

    Every row of the design meets the same luck, so that its chance is a function of the rates
    alone.

    Returns
    -------
    list of VarianceShare
        Largest total share first; empty where nothing is uncertain.
    """
    groups = factors(resolved, seed=seed)
    if not groups:
        return []
    points, replicates = _size(len(groups), resolved.runs.replicates)

    def evaluate(rows):
        columns = [name for _, group in groups for name in group]
        many = with_runs(resolved, draws=len(rows), replicates=replicates)
        ready = prepare(many, seed=seed, threads=threads,
                        points=dict(zip(columns, rows.T, strict=True)))
        return success(ready, replicates=replicates, same_luck=True).mean(axis=1)

    found = variance_indices(evaluate, [g for _, g in groups], points=points, seed=seed)
    named = [VarianceShare(names, s.first, s.first_error, s.total, s.total_error,
                           s.rank if len(s.names) == 1 else None)
             for (names, _), s in zip(groups, found, strict=True)]
    return sorted(named, key=lambda s: (-s.total, s.names))


def _size(factors: int, replicates: int) -> tuple[int, int]:
    """Base points and replicates whose product stays near `RUNS`."""
    replicates = max(1, min(replicates, 16))
    most = RUNS / (factors + 2) / replicates
    points = 2 ** int(np.clip(np.floor(np.log2(max(most, 1))), np.log2(FEWEST), np.log2(MOST)))
    return points, replicates


def factors(resolved: Resolved, *, seed: int) -> list[tuple[tuple[str, ...], tuple[str, ...]]]:
    """Uncertain rates, and the uniform numbers each is drawn from; correlated ones together.

    Returns
    -------
    list of (names of rates, names of uniform numbers)
    """
    if not resolved.chance.unknown:
        return []
    table = DrawTable(draws=2, seed=seed, unknown=True, covariance=resolved.covariance)
    group_of = _tied(resolved)
    rates: dict[tuple[str, ...], list[str]] = {}
    parts = (resolved.sites, resolved.releases, resolved.movement)
    for rate in (r for part in parts for r in rates_in(part) if r.is_uncertain):
        columns = table.columns_of(rate)
        if len(columns) > 1 or columns[0].startswith("estimate "):
            columns = group_of[rate.estimate]
        names = rates.setdefault(columns, [])
        if rate.key not in names:
            names.append(rate.key)
    return [(tuple(names), columns) for columns, names in rates.items()]


def _tied(resolved):
    """Uniform numbers behind each estimate: those of all estimates it is correlated with."""
    joint = resolved.covariance
    if joint is None:
        return {}
    sd = np.sqrt(np.maximum(np.diag(joint.matrix), 1e-300))
    tied = np.abs(joint.matrix / np.outer(sd, sd)) > _TIED
    _, label = connected_components(tied, directed=False)
    return {key: tuple(f"estimate {k}" for k, other in zip(joint.keys, label, strict=True)
                       if other == mine)
            for key, mine in zip(joint.keys, label, strict=True)}

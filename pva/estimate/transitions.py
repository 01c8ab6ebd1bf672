"""Yearly chance that a survivor grows into another length stage.

Animals of all ages, as a steady population would have them, are followed along their own growth
curves on a fine mesh of ages; the chance is that of those inside the stage.
"""

from __future__ import annotations

import numpy as np
from scipy.special import expit, logit

from pva.estimate.contrasts import Joint
from pva.estimate.growth import Growth

OLDEST, PER_YEAR, OWN = 90, 12, 9
YOUNGEST = 1.0  # years: the first census counts animals of about one year
DRAWS = 200
NEGLIGIBLE = 0.005


def transition_shares(asymptote, rate, asymptote_sd, survival, limits) -> np.ndarray:
    """Share of the survivors of each stage found in each stage a year later.

    Parameters
    ----------
    asymptote, rate, asymptote_sd : float array (draw)
        Growth, mm and per year.
    survival : float array (draw, stage)
        Yearly survival by stage.
    limits : float array (stage - 1)
        Lengths (mm) at which one stage ends and the next begins.

    Returns
    -------
    float array (draw, stage, stage)
        From (row) and to (column); a row is NaN where no animal is ever in the stage.
    """
    ages = np.arange(0, OLDEST * PER_YEAR) / PER_YEAR
    nodes, weights = np.polynomial.hermite_e.hermegauss(OWN)
    draws, stages = np.asarray(survival).shape
    own = np.asarray(asymptote)[:, None] + np.asarray(asymptote_sd)[:, None] * nodes
    own = np.maximum(own, 1.0)
    grown = -np.expm1(-np.asarray(rate)[:, None] * ages)
    sums = np.zeros((draws, stages, stages))
    for k in range(OWN):
        stage = np.searchsorted(limits, own[:, k, None] * grown, side="right")
        log_survival = np.log(np.take_along_axis(survival, stage, axis=1)) / PER_YEAR
        alive = np.exp(np.cumsum(log_survival, axis=1) - log_survival)
        before, after, kept = stage[:, :-PER_YEAR], stage[:, PER_YEAR:], alive[:, PER_YEAR:]
        kept = np.where(ages[:-PER_YEAR] >= YOUNGEST, kept, 0.0) * weights[k]
        for i in range(stages):
            for j in range(i, stages):
                sums[:, i, j] += np.where((before == i) & (after == j), kept, 0.0).sum(axis=1)
    with np.errstate(invalid="ignore"):
        return sums / sums.sum(axis=2, keepdims=True)


def transitions(growth: Growth, stages, survival: Joint, *, seed: int = 1):
    """Transition rates of every stage with their covariance, logit scale.

    Parameters
    ----------
    growth : Growth
    stages : sequence of LengthStage
        In order of length.
    survival : Joint
        Rates named ``survival/STAGE``; a stage without one borrows its neighbour's.
    seed : int
        Of the draws that carry the doubt through.

    Returns
    -------
    Joint
        `survival` with the keys ``growth/STAGE`` (and ``growth/STAGE > STAGE2`` where animals leap
        a stage) added.
    shares : float array (stage, stage)
        At the best values.
    """
    limits = np.array([s.low for s in stages[1:]])
    place = _survival_places(stages, survival)
    best = transition_shares(*_curve(growth.working[None, :4]), expit(survival.mean[place])[None],
                             limits)[0]
    rng = np.random.default_rng(seed)
    curves = rng.multivariate_normal(growth.working[:4], growth.covariance, DRAWS, method="eigh")
    known = ~np.isnan(survival.se)
    links = np.tile(survival.mean, (DRAWS, 1))
    links[:, known] = rng.multivariate_normal(survival.mean[known],
                                              survival.covariance[np.ix_(known, known)], DRAWS,
                                              method="eigh")
    drawn = transition_shares(*_curve(curves), expit(links[:, place]), limits)
    keys, means, columns = [], [], []
    for i, stage in enumerate(stages):
        for j in range(i + 1, len(stages)):
            if not np.isfinite(best[i, j]) or (j > i + 1 and best[i, j] < NEGLIGIBLE):
                continue
            keys.append(f"growth/{stage.name}" + (f" > {stages[j].name}" if j > i + 1 else ""))
            means.append(_logit(best[i, j]))
            columns.append(_logit(drawn[:, i, j]))
    return _joined(survival, links, known, keys, means, columns), best


def _curve(working: np.ndarray):
    return working[:, 0], np.exp(working[:, 1]), np.exp(working[:, 2])


def _logit(share):
    return logit(np.clip(share, 1e-6, 1 - 1e-6))


def _survival_places(stages, survival: Joint) -> np.ndarray:
    """Which survival rate each stage uses."""
    place = {key: i for i, key in enumerate(survival.keys)}
    own = [place.get(f"survival/{s.name}") for s in stages]
    fallback = place.get("survival/all", next((i for i in own if i is not None), 0))
    out: list[int] = []
    for i, one in enumerate(own):
        later = next((x for x in own[i:] if x is not None), None)
        out.append(one if one is not None else later if later is not None
                   else (out[-1] if out else fallback))
    return np.array(out)


def _joined(survival: Joint, links, known, keys, means, columns) -> Joint:
    """Survival and transitions together; what survival draws explain of a transition is shared."""
    if not keys:
        return survival
    new = np.array(columns)
    old, n = len(survival.keys), len(keys)
    covariance = np.full((old + n, old + n), np.nan)
    covariance[:old, :old] = survival.covariance
    covariance[old:, old:] = np.cov(new).reshape(n, n)
    cross = (new - new.mean(axis=1, keepdims=True)) @ (links - links.mean(axis=0)) / (DRAWS - 1)
    cross[:, ~known] = np.nan
    covariance[old:, :old], covariance[:old, old:] = cross, cross.T
    return Joint((*survival.keys, *keys), np.concatenate([survival.mean, means]), covariance)

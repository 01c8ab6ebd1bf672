"""Yearly chance that a survivor grows into another length stage.

Animals of all ages, as the population itself would have them, are followed along their own growth
curves on a fine mesh of ages and asymptotes; the chance is that of those inside the stage.
"""

from __future__ import annotations

import numpy as np
from scipy.special import expit, logit

from pva.estimate.contrasts import Joint
from pva.estimate.growth import Growth
from pva.estimate.stage_duration import stage_duration_shares

OLDEST, PER_YEAR, OWN = 90, 12, 25
YOUNGEST = 1.0  # growing years at the first census; later ones come a year apart, as births do
DRAWS = 200
NEGLIGIBLE = 0.005
FOLLOWED, DURATION = "animals followed", "stage duration"


def followed_year(asymptote, rate, asymptote_sd, survival, limits, *, growth_rate=1.0,
                  per_year: int = PER_YEAR, own: int = OWN, all_year: bool = False
                  ) -> tuple[np.ndarray, np.ndarray]:
    """Where animals of each stage are a year later, and how many of them live.

    Parameters
    ----------
    asymptote, rate, asymptote_sd : float array (draw)
        Growth, mm and per year.
    survival : float array (draw, stage)
        Yearly survival while in a stage.
    limits : float array (stage - 1)
        Lengths (mm) at which one stage ends and the next begins.
    growth_rate : float
        Yearly factor by which the population grows; 1 = a steady population.
    per_year, own : int
        Fineness of the mesh over ages and over own asymptotes.
    all_year : bool
        Whether animals are born all year, so that every age is met at a census; else they are one,
        two, three ... years old.

    Returns
    -------
    shares : float array (draw, stage, stage)
        Share of the survivors from (row) found in (column); NaN where no animal is ever in a stage.
    yearly : float array (draw, stage)
        Survival of a year of animals counted in the stage: those that leave it live partly by the
        survival of the next.
    """
    ages = np.arange(0, OLDEST * per_year) / per_year
    nodes, weights = _even(own)
    draws, stages = np.asarray(survival).shape
    tops = np.asarray(asymptote)[:, None] + np.asarray(asymptote_sd)[:, None] * nodes
    tops = np.maximum(tops, 1.0)
    grown = -np.expm1(-np.asarray(rate)[:, None] * ages)
    census = np.arange(round(YOUNGEST * per_year), ages.size - per_year,
                       1 if all_year else per_year)
    sums, begun = np.zeros(draws * stages * stages), np.zeros(draws * stages)
    place = (np.arange(draws) * stages)[:, None]
    for k in range(own):
        stage = np.searchsorted(limits, tops[:, k, None] * grown, side="right")
        log_survival = np.log(np.take_along_axis(survival, stage, axis=1)) / per_year
        alive = np.exp(np.cumsum(log_survival, axis=1) - log_survival)
        counted = weights[k] * float(growth_rate) ** -ages[census]
        at, later = place + stage[:, census], stage[:, census + per_year]
        sums += np.bincount((at * stages + later).ravel(),
                            (alive[:, census + per_year] * counted).ravel(), minlength=sums.size)
        begun += np.bincount(at.ravel(), (alive[:, census] * counted).ravel(),
                             minlength=begun.size)
    sums = sums.reshape(draws, stages, stages)
    with np.errstate(invalid="ignore"):
        return (sums / sums.sum(axis=2, keepdims=True),
                sums.sum(axis=2) / begun.reshape(draws, stages))


def transition_shares(asymptote, rate, asymptote_sd, survival, limits, **how) -> np.ndarray:
    """Share of the survivors of each stage found in each stage a year later; see `followed_year`.

    Returns
    -------
    float array (draw, stage, stage)
    """
    return followed_year(asymptote, rate, asymptote_sd, survival, limits, **how)[0]


def _even(own: int):
    """Even nodes over a normal: few nodes placed for a smooth curve would show at a limit."""
    nodes = np.linspace(-3.5, 3.5, own)
    weights = np.exp(-0.5 * nodes**2)
    return nodes, weights / weights.sum()


def duration_shares(asymptote, rate, survival, limits, *, growth_rate=1.0) -> np.ndarray:
    """The same from the years that the mean curve takes through a stage.

    Parameters
    ----------
    As for `transition_shares`.
    """
    asymptote, rate = np.asarray(asymptote)[:, None], np.asarray(rate)[:, None]
    ends = np.minimum(np.concatenate([[0.0], limits]) / asymptote, 1 - 1e-9)
    ages = -np.log1p(-ends) / rate
    ages[:, 0] = min(YOUNGEST, float(ages[:, 1].min())) if ages.shape[1] > 1 else YOUNGEST
    draws, stages = np.asarray(survival).shape
    out = np.zeros((draws, stages, stages))
    moving = stage_duration_shares(survival[:, :-1], np.diff(ages, axis=1), growth_rate)
    at = np.arange(stages - 1)
    out[:, at, at + 1] = moving
    out[:, at, at] = 1 - moving
    out[:, -1, -1] = 1.0
    return out


def transitions(growth: Growth, stages, survival: Joint, *, seed: int = 1, rule: str = FOLLOWED,
                growth_rate: float = 1.0):
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
    rule : str
        ``animals followed`` or ``stage duration``.
    growth_rate : float
        See `transition_shares`.

    Returns
    -------
    Joint
        `survival` with the keys ``growth/STAGE`` (``growth/STAGE > STAGE2`` where animals leap a
        stage, ``growth/STAGE @ LEVEL`` where growth differs) added.
    shares : float array (stage, stage)
        At the best values of the mean curve.
    """
    limits = np.array([s.low for s in stages[1:]])
    place = _survival_places(stages, survival)
    shares = _rule(rule, limits, growth_rate)
    rng = np.random.default_rng(seed)
    known = ~np.isnan(survival.se)
    links = np.tile(survival.mean, (DRAWS, 1))
    links[:, known] = rng.multivariate_normal(survival.mean[known],
                                              survival.covariance[np.ix_(known, known)], DRAWS,
                                              method="eigh")
    keys, means, columns, best_of_all = [], [], [], None
    for where, curve in {"": growth, **growth.curves}.items():
        best = shares(curve.working[None, :4], expit(survival.mean[place])[None])[0]
        best_of_all = best if best_of_all is None else best_of_all
        curves = rng.multivariate_normal(curve.working[:4], curve.covariance, DRAWS, method="eigh")
        drawn = shares(curves, expit(links[:, place]))
        for i, j in zip(*np.triu_indices(len(stages), 1), strict=True):
            if not np.isfinite(best[i, j]) or (j > i + 1 and best[i, j] < NEGLIGIBLE):
                continue
            keys.append(_key(stages[i].name, stages[j].name if j > i + 1 else "", where))
            means.append(_logit(best[i, j]))
            columns.append(_logit(drawn[:, i, j]))
    return _joined(survival, links, known, keys, means, columns), best_of_all


def _key(stage: str, leapt_to: str, where: str) -> str:
    return (f"growth/{stage}" + (f" > {leapt_to}" if leapt_to else "")
            + (f" @ {where}" if where else ""))


def _rule(rule: str, limits, growth_rate: float):
    """Function of working values of curves and of survival that gives the shares."""
    if rule == DURATION:
        return lambda w, s: duration_shares(w[:, 0], np.exp(w[:, 1]), s, limits,
                                            growth_rate=growth_rate)
    return lambda w, s: transition_shares(w[:, 0], np.exp(w[:, 1]), np.exp(w[:, 2]), s, limits,
                                          growth_rate=growth_rate)


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
    new = np.where(np.isfinite(new), new, np.array(means)[:, None])
    old, n = len(survival.keys), len(keys)
    covariance = np.full((old + n, old + n), np.nan)
    covariance[:old, :old] = survival.covariance
    covariance[old:, old:] = np.cov(new).reshape(n, n)
    cross = (new - new.mean(axis=1, keepdims=True)) @ (links - links.mean(axis=0)) / (DRAWS - 1)
    cross[:, ~known] = np.nan
    covariance[old:, :old], covariance[:old, old:] = cross, cross.T
    return Joint((*survival.keys, *keys), np.concatenate([survival.mean, means]), covariance)

"""Fitting the growth curve: grid, misread lengths, growth that differs, natural units."""

from __future__ import annotations

import numpy as np
from scipy.optimize import minimize
from scipy.special import expit

from pva.estimate.first_sizes import DEGREE, FirstSizes
from pva.estimate.fit import hessian
from pva.estimate.growth import FEWEST, NAMES, Curve, Growth
from pva.estimate.growth_model import (
    FINE,
    LOST,
    MISREAD,
    MOST_NODES,
    NODES_A_SD,
    GrowthModel,
    Measured,
    Terms,
)
from pva.estimate.likelihood_growth import Lengths, Rates, growth_posterior
from pva.estimate.link_scale import Z95

FIRST_NODES = 60
GROSS = 3.5  # error SDs off the own curve: where one length is, misread lengths are allowed for
FEW = 60  # animals, below which intervals without a correction are too narrow
FEWEST_MISREAD = 30  # animals, below which misread lengths are not told from animals that differ
AT_LIMIT = 0.15  # log error SD above the finest that the grid can hold, below which it is at it
NO_SPREAD = 0.005  # share of the asymptote below which its spread counts as none


def fit_growth(measured: Measured | Lengths, *, differs: tuple[str, ...] = (),
               handling: str = "none") -> Growth:
    """Fit the curve to animals measured at least twice.

    Where a length lies more than `GROSS` error SDs off its animal's curve, in either direction, a
    share of misread lengths is estimated besides (from `FEWEST_MISREAD` animals on): such a length
    then counts for little.

    Parameters
    ----------
    measured : Measured or Lengths
        Animals measured once are left out. `Lengths` alone: released animals, one curve, first
        sizes of any shape.
    differs : tuple of str
        Of ``asymptote`` and ``rate``, what differs between the levels of `measured`.
    handling : str
        See `Terms`.

    Returns
    -------
    Growth
    """
    if isinstance(measured, Lengths):
        measured = Measured.plain(measured)
    measured = measured.of_animals(np.flatnonzero(np.diff(measured.lengths.first) >= 2))
    if not differs:
        measured = measured.as_one()
    model, found, inverse = _fit(measured, Terms(differs, False, handling), _crude(measured))
    if measured.curve.size >= FEWEST_MISREAD and _far_off(model, found).any():
        model, found, _ = _fit(measured, Terms(differs, True, handling), found, model, inverse)
    return _described(model, found)


def growth_choices(measured: Measured, *, handling: str = "none") -> list[Growth]:
    """Growth the same for all, or different between the levels; best AICc first."""
    choices = [(), ("rate",), ("asymptote", "rate")] if len(measured.levels) > 1 else [()]
    fits = [fit_growth(measured, differs=d, handling=handling) for d in choices]
    told = [f for f in fits if f.is_told] or fits[:1]
    return sorted(told, key=lambda f: f.aicc)


def _fit(measured: Measured, terms: Terms, start, near: GrowthModel | None = None,
         inverse=None):
    """One fit, on a grid fine enough for the error of a length.

    Returns the model, the parameters, and the inverse of the second derivatives to begin a like
    fit with.
    """
    rough = np.asarray(start[:6], float)
    nodes = FIRST_NODES if near is None else near.sizes.share.size
    x = None
    for _ in range(3):
        rates = _rough_rates(rough, measured)
        sizes = FirstSizes.on_grid(measured.groups, nodes, rates) if near is None else near.sizes
        model = GrowthModel(measured, terms, sizes)
        if x is None:
            x, inverse = _start(model, near, start, inverse)
        found = minimize(model, x, jac=True, method="BFGS",
                         options={"gtol": 1e-3 * np.sqrt(model.size), "maxiter": 400,
                                  "hess_inv0": inverse})
        x, inverse = found.x, _positive(found.hess_inv)
        needed = min(int(np.ceil(NODES_A_SD * x[0] / np.exp(x[3]))), MOST_NODES)
        if nodes >= needed:
            break
        near, nodes, rough = None, min(int(needed * 1.15), MOST_NODES), x[:6]
        if needed == MOST_NODES:  # the coarse grid had spikes: not from there
            x, rough = None, np.asarray(start[:6], float)
    return model, x, inverse


def _start(model: GrowthModel, near: GrowthModel | None, start, inverse):
    """Where to begin: at the fit of a smaller model, or at rough values."""
    x = np.zeros(model.size)
    x[:6] = start[:6]
    for name, value in (("misread", MISREAD), ("lost", LOST)):
        if name in model.names:
            x[model.place(name)] = value
    if near is None:
        data = model.measured.lengths
        x[model.shapes] = model.sizes.start(data.length[data.first[:-1]], data.group)
        return x, None
    old = [*(near.place(n) for n in near.names), *range(len(near.names), near.size)]
    new = [*(model.place(n) for n in near.names), *range(len(model.names), model.size)]
    x[new] = np.asarray(start)[old]
    wide = 0.1 * np.eye(model.size)
    wide[np.ix_(new, new)] = inverse[np.ix_(old, old)]
    return x, wide


def _rough_rates(x, measured: Measured) -> Rates:
    levels = len(measured.levels)
    return Rates(np.full(levels, x[0]), np.full(levels, np.exp(x[1])), float(np.exp(2 * x[2])),
                 float(np.exp(2 * x[3])), np.full(measured.groups.humps.size, 0.5), 0.0, 0.0)


def _positive(matrix: np.ndarray) -> np.ndarray:
    """The nearest symmetric matrix whose axes are neither flat nor endless."""
    values, vectors = np.linalg.eigh(0.5 * (matrix + matrix.T))
    out = (vectors * np.clip(values, 1e-8, 1e3)) @ vectors.T
    return 0.5 * (out + out.T)


def _far_off(model: GrowthModel, x: np.ndarray) -> np.ndarray:
    """Lengths that lie far off the own curve of their animal."""
    rates, data = model.rates(x), model.measured.lengths
    elapsed, _ = model.elapsed(x)
    curve = model.measured.curve
    own, begun, _ = growth_posterior(data._replace(elapsed=elapsed), curve, rates,
                                     model.sizes.share,
                                     model.sizes.log_weights(x[model.shapes], rates.asymptote))
    count = np.diff(data.first)
    own, begun = np.repeat(own, count), np.repeat(begun, count)
    expected = own - (own - begun) * np.exp(-np.repeat(rates.rate[curve], count) * elapsed)
    return np.abs(data.length - expected) > GROSS * np.sqrt(rates.error_variance)


def _crude(measured: Measured):
    """Rough starting values: asymptote, log rate, log SDs, ties."""
    data, known = measured.lengths, measured.repeats
    top = float(np.quantile(data.length, 0.97))
    first, last = data.first[:-1], data.first[1:] - 1
    gone, years = data.length[last] - data.length[first], data.elapsed[last]
    left = np.maximum(1.05 * top - data.length[first], 0.05 * top)
    use = years > 0
    rate = np.clip(np.median(np.clip(gone[use] / left[use], 0.005, 0.9) / years[use]), 0.02, 1.0)
    error = 0.02 * top if known is None else known.sd_mm
    return 1.05 * top, np.log(rate), np.log(0.06 * top), np.log(error), 0.7, 0.7


def _described(model: GrowthModel, x: np.ndarray) -> Growth:
    """The fit in words and natural units."""
    whole = _covariance(model, x)
    rates, data = model.rates(x), model.measured.lengths
    mean = Curve(x[:4].copy(), whole[:4, :4])
    natural = np.array([x[0], *np.exp(x[1:4])])
    spread = np.minimum(np.sqrt(np.clip(np.diag(whole)[:4], 0, None)), [np.inf, 4.0, 4.0, 4.0])
    low = np.array([x[0] - Z95 * spread[0], *np.exp(x[1:4] - Z95 * spread[1:])])
    high = np.array([x[0] + Z95 * spread[0], *np.exp(x[1:4] + Z95 * spread[1:])])
    se, notes = spread * np.array([1.0, *natural[1:]]), []
    if _without_spread(x):
        notes.append("asymptotes of single animals could not be told apart")
        natural[2], se[2], low[2], high[2] = 0.0, np.nan, 0.0, np.nan
    thrice = of_three_occasions(data)
    if _at_limit(x):
        low[3] = 0.0
        notes.append(f"the error of a length is too small to be told; {natural[3]:.2f} mm is taken")
    interval = {n: (float(lo), float(hi)) for n, lo, hi in zip(NAMES, low, high, strict=True)}
    log_weight = model.sizes.log_weights(x[model.shapes], rates.asymptote)
    misread, share = 0, 0.0
    if model.terms.misread:
        misread, share = _misread(model, x, rates, log_weight, whole, interval)
        notes.append(f"{misread} of {data.length.size} lengths are more likely misread than not; "
                     "they count for little in growth: check these lengths and tags")
    lost = None
    if model.terms.handling != "none":
        at = model.place("lost")
        half = Z95 * np.sqrt(max(whole[at, at], 0.0))
        lost = float(np.exp(x[at]))
        interval["growth_lost_years"] = (float(np.exp(x[at] - half)), float(np.exp(x[at] + half)))
    same = np.repeat(np.arange(data.group.size), np.diff(data.first))
    steps = np.diff(data.length)[np.diff(same) == 0]
    return Growth(
        **dict(zip(NAMES, map(float, natural), strict=True)),
        se=dict(zip(NAMES, map(float, se), strict=True)), interval=interval,
        working=mean.working, covariance=mean.covariance, animals=int(data.group.size),
        measurements=int(data.length.size), negative=int((steps < 0).sum()), misread_share=share,
        misread=misread, growth_lost_years=lost, loglik=float(model.loglik(x)),
        parameters=model.size, terms=model.terms, curves=_curves(model, x, whole), rates=rates,
        share=model.sizes.share, log_weight=log_weight, notes=tuple(notes),
        error_told=not _at_limit(x) or thrice >= FEWEST,
    )


def _at_limit(x: np.ndarray) -> bool:
    """Whether the error of a length went to the least that the grid can hold."""
    return bool(x[3] < np.log(max(x[0], 1e-6)) + FINE + AT_LIMIT)


def of_three_occasions(data: Lengths) -> int:
    """Animals measured at three occasions or more: what tells the error of a length from
    differences between animals."""
    return int((np.diff(data.first) >= 3).sum())


def _without_spread(x: np.ndarray) -> bool:
    """Whether the animals do not differ in their asymptotes as far as anybody can tell."""
    return bool(np.exp(x[2]) < NO_SPREAD * x[0])


def _covariance(model: GrowthModel, x: np.ndarray) -> np.ndarray:
    """Inverse of the second derivatives; a spread of asymptotes at its limit is no longer free.

    With few animals it is widened as a variance by its degrees of freedom: the shape of the first
    sizes is fitted to the same animals.
    """
    animals = model.measured.lengths.group.size
    few = animals / (animals - DEGREE) if DEGREE < animals < FEW else 1.0
    curvature = hessian(model, x, step=1e-3)
    free = np.arange(x.size) != 2 if _without_spread(x) else np.ones(x.size, bool)
    values, vectors = np.linalg.eigh(curvature[np.ix_(free, free)])
    kept = values > 1e-10 * values.max()
    out = np.zeros_like(curvature)
    out[np.ix_(free, free)] = few * (vectors[:, kept] / values[kept]) @ vectors[:, kept].T
    return out


def _misread(model, x, rates, log_weight, whole, interval) -> tuple[int, float]:
    at = model.place("misread")
    half = Z95 * np.sqrt(max(whole[at, at], 0.0))
    interval["misread_share"] = (float(expit(x[at] - half)), float(expit(x[at] + half)))
    data = model.measured.lengths._replace(elapsed=model.elapsed(x)[0])
    chance = growth_posterior(data, model.measured.curve, rates, model.sizes.share, log_weight)[2]
    return int((chance > 0.5).sum()), float(expit(x[at]))


def _curves(model: GrowthModel, x, whole) -> dict:
    """Curve of every level, with its covariance."""
    if not model.terms.differs:
        return {}
    rates, out = model.rates(x), {}
    by_asymptote, by_rate = model.of_curves("asymptote"), model.of_curves("rate")
    for c, level in enumerate(model.measured.levels):
        to = np.zeros((4, model.size))
        to[0] = rates.asymptote[c] * by_asymptote[c]
        to[0, 0] = rates.asymptote[c] / x[0]
        to[1] = by_rate[c]
        to[1, 1] = to[2, 2] = to[3, 3] = 1.0
        working = np.array([rates.asymptote[c], np.log(rates.rate[c]), x[2], x[3]])
        out[level] = Curve(working, to @ whole @ to.T)
    return out

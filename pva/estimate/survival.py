"""Choosing and fitting survival models of one species: a small set, named in words, by AICc."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd

from pva.estimate.choices import YEAR_TERM, detection_choices, differs, survival_choices
from pva.estimate.coding import NOT_COUNTED, code
from pva.estimate.fit import Fit, fit
from pva.estimate.histories import from_steps
from pva.estimate.likelihood import ALIVE, SHELL, Histories
from pva.estimate.models import LUCK, Laid, Model, lay

ROUNDS = 3  # of choosing survival and detection in turn
SHELL_LOSS = (0.0, 0.3, 0.7, 1.5)  # per year; tried in turn, the best fitting is kept
WEAK_PULL = 0.25  # precision of the pull on year differences: SD 2 on the logit scale


@dataclass(frozen=True)
class Fitted:
    """A model with its fit to one reading of the records.

    Parameters
    ----------
    model : Model
    laid : Laid
    fit : Fit
    aicc : float
        With n the number of releases and live sightings that were followed.
    followed : int
    steps : DataFrame
        The steps behind it, in the order of `laid`.
    year_sd : float or None
        SD between years (logit scale) at which years were fitted as random effects; their columns
        are scaled by it. None: no random years.
    """

    model: Model
    laid: Laid
    fit: Fit
    aicc: float
    followed: int
    steps: pd.DataFrame
    year_sd: float | None = None

    @property
    def name(self) -> str:
        """The model in words."""
        return self.model.name


@dataclass(frozen=True)
class Data:
    """Everything a fit needs besides the model.

    Parameters
    ----------
    steps : DataFrame
        As made by `label_steps`.
    keep : float array (step)
        Chance that a mark is kept over the step; ones for apparent survival.
    shell_loss : float
        See `Histories`.
    """

    steps: pd.DataFrame
    keep: np.ndarray
    shell_loss: float = 0.0

    @property
    def shells(self) -> bool:
        """Whether shells were found."""
        return bool(self.steps["status"].eq("shell").any())


@dataclass(frozen=True)
class Prepared:
    """A model laid over one reading of the records, ready to be fitted.

    Parameters
    ----------
    laid : Laid
    histories : Histories
    steps : DataFrame
    seen : int array (step)
    """

    laid: Laid
    histories: Histories
    steps: pd.DataFrame
    seen: np.ndarray

    @property
    def lucky(self) -> np.ndarray:
        """Which parameters (bool) are years as random effects."""
        return np.array([n.startswith(f"survival: {LUCK} ") for n in self.laid.design.names])


def prepare(model: Model, data: Data, *, reading: str = NOT_COUNTED,
            luck: pd.DataFrame | None = None) -> Prepared:
    """Lay a model over one reading of the records; see `fit_model` and `models.lay`."""
    seen, kept = code(data.steps, reading)
    steps, seen = data.steps[kept], seen[kept]
    laid = lay(model, steps, shells=bool((seen == SHELL).any()),
               luck=None if luck is None else luck[kept])
    histories = from_steps(steps["follow"], steps["years"], laid.rows, data.keep[kept], seen,
                           shell_loss=data.shell_loss)
    return Prepared(laid, histories, steps, seen)


def fit_model(model: Model, data: Data, *, reading: str = NOT_COUNTED, pull_years: bool = False,
              near: Fitted | None = None, inflation: float = 1.0) -> Fitted:
    """Fit one model.

    Parameters
    ----------
    model : Model
    data : Data
    reading : str
        What heard-only tags mean, see `coding.code`.
    pull_years : bool
        Pull the differences between years weakly to 0, so that a year without a death keeps a
        finite estimate.
    near : Fitted, optional
        A like model from which the search begins.
    inflation : float
        Overdispersion that AICc allows for, at least 1.
    """
    ready = prepare(model, data, reading=reading)
    design = ready.laid.design
    pull = np.zeros(design.size)
    if pull_years:
        for i, name in enumerate(design.names):
            if name.startswith(f"survival: {YEAR_TERM} "):
                pull[i] = WEAK_PULL
    fitted = fit(ready.histories, design, near=near.fit if near else None, pull=pull)
    n = followed(ready.steps, ready.seen)
    return Fitted(model, ready.laid, fitted, aicc(fitted.loglik, fitted.rank, n, inflation), n,
                  ready.steps)


def followed(steps: pd.DataFrame, seen: np.ndarray) -> int:
    """Releases and live sightings with at least one visit after them."""
    last = steps["follow"].ne(steps["follow"].shift(-1)).to_numpy()
    return int(steps["follow"].nunique() + ((seen == ALIVE) & ~last).sum())


def aicc(loglik: float, parameters: int, n: int, inflation: float = 1.0) -> float:
    """Akaike's criterion, corrected for sample size and, where stated, for overdispersion."""
    room = n - parameters - 1
    correction = 2 * parameters * (parameters + 1) / room if room > 0 else np.inf
    return -2 * loglik / max(inflation, 1.0) + 2 * parameters + correction


def choose(data: Data, *, survival=(), detection=(), shell=(), release_separate: bool = True,
           inflation: float = 1.0) -> list[Fitted]:
    """Fit the set of models, best first.

    Detection is chosen first, under the richest and the plainest survival; then survival, under
    that detection; then both once more, each under the best of the other, until they stay.

    Parameters
    ----------
    data : Data
    survival, detection : sequence of str
        What the study says they may differ by.
    shell : sequence of str
        What the chance of finding a shell differs by.
    release_separate : bool
    inflation : float
        Overdispersion that the criterion allows for, at least 1.

    Returns
    -------
    list of Fitted
        By AICc; models whose survival cannot be told apart come last.
    """
    steps = data.steps
    separate = release_separate and bool(steps["released"].any())
    released = steps[steps["released"]]
    release = ("source",) if separate and differs(released, "source") else ()
    choices = survival_choices(survival, steps)
    ways = detection_choices(detection, steps)
    tried: dict[Model, Fitted] = {}

    def fit_all(survivals, detections, near=None):
        for by in detections:
            for survived in survivals:
                model = Model(survived, by, release, separate, shell)
                if model not in tried:
                    tried[model] = fit_model(model, data, inflation=inflation,
                                             near=near or next(reversed(tried.values()), None))
        return min(tried.values(), key=_rank)

    ends = dict.fromkeys((max(choices, key=len), min(choices, key=len)))
    best = fit_all(ends, ways)
    for _ in range(ROUNDS):
        before = best
        best = fit_all(choices, [best.model.detection], best)
        best = fit_all([best.model.survival], ways, best)
        if best.model.detection == before.model.detection:
            break
    ranked = sorted(tried.values(), key=_rank)
    # the one that is reported is searched for from far-off places too
    again = fit_model(ranked[0].model, data, inflation=inflation)
    return [again if again.fit.loglik > ranked[0].fit.loglik else ranked[0], *ranked[1:]]


def _rank(fitted: Fitted) -> tuple[bool, float]:
    """By AICc, those whose survival cannot be told last."""
    return not levels_told(fitted), fitted.aicc


def levels_told(fitted: Fitted) -> bool:
    """Whether the data can tell survival and release survival of the model apart.

    With survival by year and detection by visit the last of each are known only as a product, even
    where an estimate at its boundary makes them look told: such a model is shown, not reported.
    """
    if YEAR_TERM in fitted.model.survival and "visit" in fitted.model.detection:
        return False
    design, beta = fitted.laid.design, fitted.fit.beta
    if YEAR_TERM in fitted.model.survival:  # a product may end with one of the two at its limit
        known, where = fitted.fit.told | fitted.fit.stuck, design.slices
        return all(bool(known[where[kind]].all()) for kind in ("survival", "release"))
    # by rates, not by parameters: one source at its limit leaves those of the others told
    return all(bool((fitted.fit.tells(design.wide(kind)) | design.at_edge(kind, beta)).all())
               for kind in ("survival", "release") if getattr(design, kind).size)


def best_shell_loss(model: Model, steps: pd.DataFrame, keep) -> float:
    """How fast shells leave the bed (per year): whichever of a few rates fits best."""
    if not steps["status"].eq("shell").any():
        return 0.0
    near, fits = None, {}
    for loss in SHELL_LOSS:
        near = fit_model(model, Data(steps, keep, loss), near=near)
        fits[loss] = near.fit.loglik
    return max(fits, key=fits.get)


def weights(fits: list[Fitted]) -> np.ndarray:
    """Share of support of each model among those fitted to the same records."""
    values = np.array([f.aicc for f in fits])
    usable = np.array([levels_told(f) for f in fits])
    if not usable.any():
        usable[:] = True
    rest = np.where(usable & np.isfinite(values), values - values[usable].min(), np.inf)
    support = np.exp(-0.5 * rest)
    return support / support.sum()

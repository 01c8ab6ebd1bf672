"""Maximum likelihood on the logit scale: fit, covariance, what cannot be told."""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np
from scipy.optimize import minimize
from scipy.special import expit

from pva.estimate.likelihood import Histories, loglik_and_gradient
from pva.estimate.likelihood_joint import joint_loglik_and_gradient

KINDS = ("survival", "release", "event", "detection", "shell", "staying")
AT_BOUNDARY = 6.5  # logit beyond which a rate counts as stuck at 0 or 1 (0.9985)
RANK_TOLERANCE = 2e-6
NEW_PARAMETER = 0.05  # variance (logit) first taken for a parameter that a like model lacks
FLAT = 1e-3  # share of a flat direction in a combination beyond which it is not told
HALVINGS = 5  # of a Newton step that does not help
CONVERGED = 1e-6  # largest derivative of the log likelihood at the end


@dataclass(frozen=True)
class Design:
    """Which parameters each row of rates is made of, on the logit scale.

    Parameters
    ----------
    survival, release, event, detection, shell : float array (row, parameter of that kind)
    staying : float array (1, 1) or empty
        One row where animals may leave the site for good.
    names : tuple of str
        Names of the parameters, in that order of kinds.
    """

    survival: np.ndarray
    detection: np.ndarray
    release: np.ndarray = field(default_factory=lambda: np.zeros((0, 0)))
    event: np.ndarray = field(default_factory=lambda: np.zeros((0, 0)))
    shell: np.ndarray = field(default_factory=lambda: np.zeros((0, 0)))
    staying: np.ndarray = field(default_factory=lambda: np.zeros((0, 0)))
    names: tuple[str, ...] = ()

    @property
    def slices(self) -> dict[str, slice]:
        """Where the parameters of each kind stand."""
        out, at = {}, 0
        for kind in KINDS:
            width = getattr(self, kind).shape[1]
            out[kind] = slice(at, at + width)
            at += width
        return out

    @property
    def size(self) -> int:
        """Number of parameters."""
        return sum(getattr(self, kind).shape[1] for kind in KINDS)

    def wide(self, kind: str) -> np.ndarray:
        """Rows of one kind over all parameters (row, parameter)."""
        matrix = getattr(self, kind)
        out = np.zeros((len(matrix), self.size))
        out[:, self.slices[kind]] = matrix
        return out

    def at_edge(self, kind: str, beta: np.ndarray) -> np.ndarray:
        """Which rows of one kind sit at 0 or 1."""
        return np.abs(self.wide(kind) @ beta) > AT_BOUNDARY

    def rates(self, beta: np.ndarray) -> dict[str, np.ndarray]:
        """Rates of every row, by kind."""
        return {
            kind: expit(np.clip(getattr(self, kind) @ beta[where], -36.0, 36.0))
            for kind, where in self.slices.items()
        }


@dataclass(frozen=True)
class Fit:
    """A fitted model.

    Parameters
    ----------
    beta : float array (parameter)
        Estimates on the logit scale.
    covariance : float array (parameter, parameter)
        NaN for parameters that are stuck at a boundary or cannot be told apart.
    loglik : float
    told : bool array (parameter)
        False where the data cannot tell the parameter apart from others.
    stuck : bool array (parameter)
        True where a rate sits at 0 or 1 and the parameter has no finite estimate.
    histories, design : Histories, Design
    pull : float array (parameter)
        Precision of a weak pull towards 0; zeros in ordinary fits.
    rank : int
        Parameters the data can tell, those stuck at a boundary included: what AICc counts.
    vague : float array (parameter, direction)
        Directions in which the likelihood is flat; a combination of parameters is told when it
        lies across all of them.
    along : float array (parameter, parameter)
        Covariance with the flat directions left out, finite everywhere.
    """

    beta: np.ndarray
    covariance: np.ndarray
    loglik: float
    told: np.ndarray
    stuck: np.ndarray
    histories: Histories
    design: Design
    pull: np.ndarray
    rank: int
    vague: np.ndarray
    along: np.ndarray

    def rate(self, kind: str, row: int) -> float:
        """A rate on the natural scale."""
        return float(self.design.rates(self.beta)[kind][row])

    def tells(self, contrasts: np.ndarray) -> np.ndarray:
        """Which combinations (rows) of the parameters the data can tell."""
        size = np.maximum(np.linalg.norm(contrasts, axis=1, keepdims=True), 1e-12)
        return ~(np.abs(contrasts @ self.vague / size) > FLAT).any(axis=1)

    def logit(self, kind: str, contrast: np.ndarray) -> tuple[float, float]:
        """Estimate and SE, logit scale, of a combination of the parameters of one kind."""
        where = self.design.slices[kind]
        return (
            float(contrast @ self.beta[where]),
            float(np.sqrt(contrast @ self.covariance[where, where] @ contrast)),
        )


def objective(histories: Histories, design: Design, pull: np.ndarray):
    """Minus log likelihood (with pull) and gradient, as a function of the parameters."""
    slices = design.slices
    # shells found away from the site, or in the step of death only, need the wider likelihood
    wider = design.staying.size > 0 or np.isinf(histories.shell_loss)
    likelihood = joint_loglik_and_gradient if wider else loglik_and_gradient
    kinds = KINDS if wider else KINDS[:-1]

    def negative(beta):
        rates = design.rates(beta)
        loglik, *parts = likelihood(histories, *(rates[kind] for kind in kinds))
        if not np.isfinite(loglik):
            return 1e10, np.zeros_like(beta)
        gradient = np.empty_like(beta)
        for kind, part in zip(kinds, parts, strict=True):
            on_logit = part * rates[kind] * (1 - rates[kind])
            gradient[slices[kind]] = getattr(design, kind).T @ on_logit
        return -loglik + 0.5 * pull @ beta**2, -gradient + pull * beta

    return negative


def fit(histories: Histories, design: Design, *, near: Fit | None = None, pull=None) -> Fit:
    """Maximise the likelihood.

    Parameters
    ----------
    histories : Histories
    design : Design
    near : Fit, optional
        A fit of a like model: the search begins there alone, by the names of the parameters.
        Without it the search begins at two far-off places and the better end is taken.
    pull : float array (parameter), optional
        Precision (1 / SD^2, logit scale) of a weak pull towards 0.

    Returns
    -------
    Fit
    """
    pull = np.zeros(design.size) if pull is None else np.asarray(pull, float)
    negative = objective(histories, design, pull)
    starts = _standard_starts(design) if near is None else [_start_near(design, near)]
    best = None
    for start, inverse in starts:
        found = minimize(negative, start, jac=True, method="BFGS",
                         options={"gtol": 1e-3, "maxiter": 500, "hess_inv0": inverse})
        if best is None or found.fun < best.fun - 1e-7:
            best = found
    beta, information = newton(negative, best.x)
    value, _ = negative(beta)
    stuck = _stuck(design, beta, information)
    covariance, told, vague, along = _invert(information, stuck)
    edges = np.vstack([design.wide(k)[design.at_edge(k, beta)] for k in KINDS])
    at_edge = int(np.linalg.matrix_rank(edges @ vague, tol=FLAT)) if edges.size else 0
    rank = beta.size - vague.shape[1] + at_edge
    loglik = -(value - 0.5 * float(pull @ beta**2))
    return Fit(beta, covariance, loglik, told, stuck, histories, design, pull, rank, vague,
               along)


def _start_near(design: Design, near: Fit) -> tuple[np.ndarray, np.ndarray]:
    """Estimates and covariance of a like model, as far as the names agree."""
    place = {name: i for i, name in enumerate(near.design.names)}
    beta, inverse = np.zeros(design.size), np.eye(design.size) * NEW_PARAMETER
    known = [(i, place[n]) for i, n in enumerate(design.names) if n in place]
    for i, j in known:
        beta[i] = np.clip(near.beta[j], -AT_BOUNDARY, AT_BOUNDARY)
    clear = [(i, j) for i, j in known if np.isfinite(near.covariance[j, j])]
    if clear:
        here, there = (list(x) for x in zip(*clear, strict=True))
        values, vectors = np.linalg.eigh(near.covariance[np.ix_(there, there)])
        inverse[np.ix_(here, here)] = (vectors * np.clip(values, 1e-5, 25.0)) @ vectors.T
    return beta, 0.5 * (inverse + inverse.T)


def _standard_starts(design: Design):
    """High survival with middling detection, and the reverse."""
    for survival, detection in ((2.0, 0.0), (0.5, 1.5)):
        beta = np.zeros(design.size)
        where = design.slices
        for kind, level in (("survival", survival), ("detection", detection), ("release", 1.0),
                            ("event", 1.0), ("shell", -1.0), ("staying", 1.5)):
            matrix = getattr(design, kind)
            if matrix.size:
                target = np.full(matrix.shape[0], level)
                beta[where[kind]] = np.linalg.lstsq(matrix, target, rcond=None)[0]
        yield beta, np.eye(design.size)


def newton(negative, beta: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Newton steps with a rough second derivative, taken only where they help.

    Parameters
    ----------
    negative : callable
        As made by `objective`.
    beta : float array (parameter)
        Where to begin: near the end.

    Returns
    -------
    beta : float array (parameter)
    information : float array (parameter, parameter)
        Second derivatives there.
    """
    value, gradient = negative(beta)
    for _ in range(3):
        rough, moved = _one_sided(negative, beta, gradient), 0.0
        for _ in range(8):
            if np.abs(gradient).max(initial=0.0) < CONVERGED:
                break
            step = np.linalg.lstsq(rough, gradient, rcond=RANK_TOLERANCE)[0]
            step *= min(1.0, 2.0 / max(np.abs(step).max(initial=0.0), 1e-12))
            for _ in range(HALVINGS):
                tried, tried_gradient = negative(beta - step)
                if tried < value + 1e-10:
                    break
                step = step / 2
            else:
                break
            moved = max(moved, float(np.abs(step).max(initial=0.0)))
            beta, value, gradient = beta - step, tried, tried_gradient
        if np.abs(gradient).max(initial=0.0) < CONVERGED or moved < 1e-6:
            break
    return beta, hessian(negative, beta)


def _one_sided(negative, beta, gradient, step: float = 1e-4) -> np.ndarray:
    """Second derivatives good enough to step by, at half the cost."""
    columns = []
    for i in range(beta.size):
        shift = np.zeros_like(beta)
        shift[i] = step
        columns.append((negative(beta + shift)[1] - gradient) / step)
    matrix = np.array(columns).reshape(beta.size, beta.size)
    return 0.5 * (matrix + matrix.T)


def hessian(negative, beta: np.ndarray, step: float = 1e-4) -> np.ndarray:
    """Second derivatives by central differences of the exact gradient."""
    columns = []
    for i in range(beta.size):
        shift = np.zeros_like(beta)
        shift[i] = step
        columns.append((negative(beta + shift)[1] - negative(beta - shift)[1]) / (2 * step))
    matrix = np.array(columns).reshape(beta.size, beta.size)
    return 0.5 * (matrix + matrix.T)


def _stuck(design: Design, beta, information) -> np.ndarray:
    """Parameters that exist only in rows whose rate sits at 0 or 1."""
    stuck = np.zeros(beta.size, bool)
    largest = max(np.diag(information).max(initial=0.0), 1e-300)
    for kind, where in design.slices.items():
        matrix = getattr(design, kind)
        edge = np.abs(matrix @ beta[where]) > AT_BOUNDARY
        for i in range(matrix.shape[1]):
            rows = matrix[:, i] != 0
            flat = information[where, where][i, i] < 1e-3 * max(1.0, 1e-3 * largest)
            if rows.any() and edge[rows].all() and flat:
                stuck[where.start + i] = True
    return stuck


def _invert(information: np.ndarray, stuck: np.ndarray):
    """Covariance (NaN for what cannot be told), which parameters can be told, the directions in
    which the likelihood is flat, and the covariance across them."""
    free = np.flatnonzero(~stuck)
    vague = np.eye(stuck.size)[:, stuck]
    along = np.zeros_like(information)
    if free.size:
        values, vectors = np.linalg.eigh(information[np.ix_(free, free)])
        weak = values < RANK_TOLERANCE * values.max()
        flat = np.zeros((stuck.size, int(weak.sum())))
        flat[free] = vectors[:, weak]
        vague = np.column_stack([vague, flat])
        along[np.ix_(free, free)] = (vectors[:, ~weak] / values[~weak]) @ vectors[:, ~weak].T
    told = ~(np.abs(vague) > FLAT).any(axis=1)
    covariance = np.where(np.outer(told, told), along, np.nan)
    return covariance, told, vague, along

"""How well a model fits, judged by studies simulated from it: the same animals, visits and rates.

Each simulated study is put through the same tables as the records (`fit_tests`). The share that
fits as badly as the records is the chance of such a misfit when the model holds; the mean over them
is what the overdispersion should be compared with, for with small tables it need not be 1.
Histories that ended with a removal or a shell keep their length in the simulated studies.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd

from pva.estimate.fit_tests import FitTest, fit_test
from pva.estimate.survival import Data, Fitted
from pva.field.records import ALIVE, REMOVED, SHELL

NOWHERE = ""


@dataclass(frozen=True)
class SimulatedFit:
    """Misfit of the records against simulated studies.

    Parameters
    ----------
    studies : int
        Simulated studies with a usable table.
    worse : int
        Those that fit as badly as the records, or worse.
    overdispersion : float
        Of the records, over the mean of the simulated studies.
    error : float
        Standard error of `overdispersion` from the number of simulated studies.
    seed : int
    """

    studies: int
    worse: int
    overdispersion: float
    error: float
    seed: int

    @property
    def p_value(self) -> float:
        """Chance of a misfit as large when the model holds; the records count as one study."""
        return (self.worse + 1) / (self.studies + 1)

    @property
    def p_error(self) -> float:
        """Standard error of the p-value from the number of simulated studies."""
        return float(np.sqrt(self.p_value * (1 - self.p_value) / self.studies))

    @property
    def words(self) -> str:
        """One sentence."""
        return (f"of {self.studies} studies simulated from the reported model, {self.worse} fit as "
                f"badly as the records or worse (p {self.p_value:.3f}, simulation error "
                f"{self.p_error:.3f}); overdispersion against them {self.overdispersion:.2f} "
                f"(simulation error {self.error:.2f})")


def simulate_fit(fitted: Fitted, data: Data, visits: pd.DataFrame, observed: FitTest, *,
                 studies: int, seed: int = 1) -> SimulatedFit | None:
    """Simulate studies from a model and compare their misfit with that of the records.

    Parameters
    ----------
    fitted : Fitted
        Fitted to all steps of `data`.
    data : Data
    visits : DataFrame
        The steps from visit to visit that the tables are made of; those of `data.steps` are the
        same, cut where a stage ends.
    observed : FitTest
        Of the records.
    studies : int
        At least 1.
    seed : int

    Returns
    -------
    SimulatedFit or None
        None where the records or all simulated studies give no usable table, and where the model
        lets animals leave.
    """
    if not observed.degrees or fitted.laid.design.staying.size:
        return None
    at_visits = fitted.steps["visit"].notna().to_numpy()
    rng = np.random.default_rng(seed)
    found = []
    for _ in range(studies):
        told = fit_test(_relabelled(visits, simulate_statuses(fitted, data, rng)[at_visits]))
        if told.degrees:
            found.append(told.overdispersion)
    if not found:
        return None
    found = np.array(found)
    mean, spread = found.mean(), found.std(ddof=1) if found.size > 1 else np.nan
    ratio = observed.overdispersion / mean
    return SimulatedFit(found.size, int((found >= observed.overdispersion).sum()), float(ratio),
                        float(ratio * spread / mean / np.sqrt(found.size)), seed)


def simulate_statuses(fitted: Fitted, data: Data, rng: np.random.Generator) -> np.ndarray:
    """What is seen at each step of the model's animals in one simulated study.

    Parameters
    ----------
    fitted : Fitted
    data : Data
    rng : Generator

    Returns
    -------
    object array (step)
        alive, removed (seen alive where the records say removed), shell or nothing; nothing after
        a shell.
    """
    steps = fitted.steps
    rates = _rates(fitted, steps)
    follow = steps["follow"].to_numpy()
    first = np.flatnonzero(np.concatenate([[True], follow[1:] != follow[:-1]]))
    size = np.diff(np.append(first, len(steps)))
    out = np.full(len(steps), NOWHERE, object)
    taken = steps["status"].eq(REMOVED).to_numpy()
    years = steps["years"].to_numpy(float)
    alive, shell = np.ones(first.size, bool), np.zeros(first.size, bool)
    for k in range(int(size.max(initial=0))):
        here = np.flatnonzero(size > k)
        at = first[here] + k
        draw = rng.random((6, here.size))
        kept = alive[here] & (draw[0] < data.keep[at])
        started = kept & (draw[1] < rates["release"][at])
        lives = started & (draw[2] < rates["survival"][at])
        stays = _shells_that_stay(draw[3], data.shell_loss * years[at], kept & ~started,
                                  started & ~lives, shell[here])
        seen = lives & (draw[4] < rates["detection"][at])
        found = stays & (draw[5] < rates["shell"][at])
        out[at] = np.select([seen & taken[at], seen, found], [REMOVED, ALIVE, SHELL], NOWHERE)
        alive[here], shell[here] = lives, stays & ~found
    return out


def _rates(fitted: Fitted, steps: pd.DataFrame) -> dict[str, np.ndarray]:
    """Rate of each kind over each step; 1 where no release, 0 where nothing is looked for."""
    natural = fitted.laid.design.rates(fitted.fit.beta)

    def at(kind, otherwise):
        rows = fitted.laid.rows[kind]
        return np.where(rows >= 0, np.append(natural[kind], 0.0)[rows], otherwise)

    survival = natural["survival"][fitted.laid.rows["survival"]] ** steps["years"].to_numpy(float)
    return {"survival": survival * at("event", 1.0), "release": at("release", 1.0),
            "detection": at("detection", 0.0), "shell": at("shell", 0.0)}


def _shells_that_stay(draw, loss, early, within, before) -> np.ndarray:
    """Shells still in the bed at the end of the step: of deaths at its beginning, during it (the
    time of death even over the step), and before."""
    whole = np.exp(-loss)
    part = np.where(loss > 1e-9, -np.expm1(-loss) / np.maximum(loss, 1e-9), 1.0)
    return ((early | before) & (draw < whole)) | (within & (draw < part))


def _relabelled(visits: pd.DataFrame, statuses: np.ndarray) -> pd.DataFrame:
    """The steps from visit to visit with simulated statuses, cut after a shell."""
    made = visits.assign(status=statuses)
    over = made["status"].eq(SHELL).groupby(made["follow"], sort=False).cumsum()
    after = over.groupby(made["follow"], sort=False).shift(fill_value=0)
    return made[after == 0]

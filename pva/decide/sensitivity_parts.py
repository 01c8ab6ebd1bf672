"""The parts of a sensitivity analysis that can be done apart from each other, as tasks."""

from __future__ import annotations

from dataclasses import asdict
from typing import Any

import numpy as np

from pva.decide.flips import RateEffect, rate_effect
from pva.decide.global_effects import VarianceShare, chance_shares
from pva.decide.information import Information, Worth, information
from pva.decide.outcomes import prepare, success
from pva.scenario.resolved import Resolved

SUCCESS, RATE, SHARES, WORTH = "success", "one rate", "variance shares", "worth of knowing"


def part(kind: str, resolved: Resolved, seed: int, about: Any, *, threads: int | None
         ) -> dict[str, Any]:
    """One part, as plain values under ``found``.

    Parameters
    ----------
    kind : str
        ``SUCCESS``: whether every replicate succeeds; ``RATE``: effect of one rate, `about` being
        the rate and the chance wanted; ``SHARES``: of the variance; ``WORTH``: of knowing a rate,
        `about` being the worth of success.
    """
    if kind == SUCCESS:
        ready = prepare(resolved, seed=seed, threads=threads)
        return {"found": success(ready, replicates=resolved.runs.replicates)}
    if kind == RATE:
        rate, wanted = about
        return {"found": asdict(rate_effect(resolved, rate, seed=seed, wanted=wanted,
                                            threads=threads))}
    if kind == SHARES:
        return {"found": [asdict(s) for s in chance_shares(resolved, seed=seed, threads=threads)]}
    worth = information(resolved, seed=seed, worth=about, threads=threads)
    return {"found": worth and asdict(worth)}


def happened_of(answer: dict) -> np.ndarray:
    """Success of every replicate, shape (draw, replicate), bool."""
    return answer["found"]


def effect_of_answer(answer: dict) -> RateEffect:
    """Effect of a rate."""
    return RateEffect(**answer["found"])


def shares_of(answer: dict) -> tuple[VarianceShare, ...]:
    """Shares of the variance."""
    return tuple(VarianceShare(**s | {"names": tuple(s["names"])}) for s in answer["found"])


def information_of(answer: dict) -> Information | None:
    """Worth of knowing."""
    found = answer["found"]
    if found is None:
        return None
    return Information(**found | {"numbers": tuple(found["numbers"]),
                                  "rates": tuple(Worth(**w) for w in found["rates"])})

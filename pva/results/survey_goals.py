"""Goals on what a survey shows: the lower confidence limit of an estimate against its target."""

from __future__ import annotations

import math
from collections.abc import Mapping

from scipy.special import expit, logit, ndtri

from pva.estimate.estimates import Estimate, Estimates
from pva.estimate.estimates_file import read_estimates
from pva.estimate.link_scale import Z95, mean_over_years

MET, NOT_MET, CANNOT_TELL = "met", "not met", "cannot be told"
INTERVAL_TAIL = 0.975  # one-sided confidence of the low end of a 95 % interval


def judge_survey_goals(scenario) -> list[dict]:
    """Judge every survey goal of a scenario against its estimates file.

    A goal is met where the one-sided lower confidence limit of its estimate reaches the value
    wanted. It says what the survey showed, so no run changes it.

    Parameters
    ----------
    scenario : pva.scenario.scenario.Scenario

    Returns
    -------
    list of dict
        One a goal, in the order written: ``name``, ``estimate``, ``confidence``, ``lower_limit``
        (None where it cannot be told), ``at_least`` and ``verdict`` (met, not met, cannot be
        told). A resolved twin names no estimates file: nothing can be told there.
    """
    goals = scenario.resolved.survey_goals
    path = scenario.written.get("estimates")
    estimates = read_estimates(path) if goals and path else None
    return [_judged(goal, estimates) for goal in goals]


def _judged(goal, estimates: Estimates | None) -> dict:
    limit = None if estimates is None else _limit_of_key(goal.estimate, estimates, goal.confidence)
    met = CANNOT_TELL
    if limit is not None:
        met = MET if limit >= goal.lower_limit_at_least else NOT_MET
    return {"name": goal.name, "estimate": goal.estimate, "confidence": goal.confidence,
            "lower_limit": limit, "at_least": goal.lower_limit_at_least, "verdict": met}


def _limit_of_key(key: str, estimates: Estimates, confidence: float) -> float | None:
    if key in estimates.rates:
        return lower_limit(estimates.rates[key], confidence=confidence)
    stages = estimates.abundance.get(key.partition("/")[2])
    return None if stages is None else _limit_of_sum(stages, confidence)


def lower_limit(estimate: Estimate, *, confidence: float) -> float | None:
    """One-sided lower confidence limit of an estimate.

    Assumed: the doubt is normal on the log scale for amounts (density, abundance, recruits per
    adult) and on the logit scale for chances. Its SD is taken from the lower half of the 95 %
    interval, so that the limit at 97.5 % is the interval's low end itself, also where the
    interval is lopsided; without an interval, from the standard error divided by the value (for a
    chance p by p (1 - p)). A chance with link moments uses those, averaged over years. For a value
    of 0 the limit is 0, exactly: no count is too small to come from no animal. Where there is no
    such scale (no best value, a chance of 1, an interval from 0) the interval's low end is taken
    up to a confidence of 97.5 %; above it nothing can be told.

    Parameters
    ----------
    estimate : Estimate
    confidence : float
        One-sided, 0.5 to 0.9999.

    Returns
    -------
    float or None
        In the unit of the estimate; None where the estimate names no doubt.
    """
    value, chance, z = estimate.value, estimate.is_probability, float(ndtri(confidence))
    if chance and estimate.link is not None:
        link = estimate.link
        return float(mean_over_years(link.mean - z * link.se, link.year_sd))
    if value == 0:
        return 0.0
    low = None if estimate.interval is None else estimate.interval[0]
    if value is None or chance and value >= 1 or low is not None and low <= 0:
        return low if confidence <= INTERVAL_TAIL else None
    spread = _spread(value, low, estimate.se, chance=chance)
    if spread is None:
        return None
    return float(expit(logit(value) - z * spread)) if chance else value * math.exp(-z * spread)


def _spread(value: float, low: float | None, se: float | None, *, chance: bool) -> float | None:
    """SD on the scale of the link."""
    if low is not None:
        span = logit(value) - logit(low) if chance else math.log(value / low)
        return float(span) / Z95
    if se is None:
        return None
    return se / (value * (1 - value)) if chance else se / value


def _limit_of_sum(stages: Mapping[str, Estimate], confidence: float) -> float | None:
    """Lower limit of the animals of all stages; stages are taken as counted independently."""
    if len(stages) == 1:
        return lower_limit(next(iter(stages.values())), confidence=confidence)
    if any(e.value is None for e in stages.values()):
        return None
    found = [e for e in stages.values() if e.value > 0]
    if not found:
        return 0.0
    squares = 0.0
    for one in found:
        low = one.interval[0] if one.interval is not None and one.interval[0] > 0 else None
        spread = _spread(one.value, low, one.se, chance=False)
        if spread is None:
            return None
        squares += (spread * one.value) ** 2
    total = sum(e.value for e in found)
    return total * math.exp(-float(ndtri(confidence)) * math.sqrt(squares) / total)

"""Rates taken from an estimates file."""

from __future__ import annotations

import math
from dataclasses import replace
from typing import Any

from pva.estimate.link_scale import mean_over_years
from pva.lifehistory.links import match_probability
from pva.lifehistory.rates import PROBABILITY, LinkMoments, Rate


def rate_of_estimate(rate: Rate, found: Any, *, label: str | None) -> Rate:
    """Fill a rate from an estimate; its link moments are kept where it has them.

    An estimate that is known as a range only (two visits tell bounds, and a chance at its limit has
    one end) becomes that range: any value in it is drawn alike, the best value is its middle.
    """
    if is_range(found):
        low, high = (float(v) for v in found.interval)
        words = f"{found.source.text}; only the range {low:.3g} to {high:.3g} is known"
        return replace(rate, value=(low + high) / 2, interval=(low, high), distribution="uniform",
                       year_sd=float(found.year_sd or 0.0),
                       source=replace(found.source, text=words.removeprefix("; ")))
    link = found.link
    moments = None if link is None else LinkMoments(link.mean, link.se, link.year_sd)
    interval = None if found.se is not None or found.interval is None else tuple(found.interval)
    return replace(
        rate, value=float(found.value), se=found.se, interval=interval,
        year_sd=float(found.year_sd or 0.0), link=moments,
        estimate=label if moments is not None else None, source=found.source,
    )


def is_range(found: Any) -> bool:
    """Whether an estimate tells a range and no value: none at all, or a chance at 0 or 1."""
    if found.interval is None or found.link is not None:
        return False
    low, high = found.interval
    return low < high and (found.value is None or found.is_probability and (low <= 0 or high >= 1))


def with_other_years(rate: Rate, year_sd: float) -> Rate:
    """An estimate with another spread of years: mean over years, doubt and covariance stay."""
    if rate.kind != PROBABILITY or not 0 <= year_sd < math.sqrt(rate.value * (1 - rate.value)):
        return replace(rate, year_sd=year_sd, link=None, estimate=None)  # checked further on
    mean = float(mean_over_years(rate.link.mean, rate.link.year_sd))
    centre, spread = match_probability(mean, year_sd)
    return replace(rate, year_sd=year_sd, link=LinkMoments(centre, rate.link.se, spread))

"""How much what we do not know about each rate moves the long-run growth rate, to first order.

The quick answer to what matters most, from the matrix alone. Where a scenario was run, the rank
correlations over parameter draws (`depends_on` of the summary) say more: they see start numbers,
releases, limits and the goal itself.
"""

from __future__ import annotations

import numpy as np

from pva.lifehistory.rates import PROBABILITY, Rate
from pva.model.matrix import best
from pva.results.growth import LongRun
from pva.scenario.rates_used import every_rate
from pva.scenario.resolved import AFTER, Calibration, Resolved
from pva.scenario.tables import doubt_words

_Z = 1.959963984540054


def rate_weights(resolved: Resolved, companion: LongRun) -> list[dict]:
    """Rates with their pull on growth and the doubt about them, heaviest first.

    The target of a calibration stands for what is solved from it: its elasticity is that of all
    recruitment. An attachment that settlement makes up for has no weight of its own.

    Returns
    -------
    list of dict
        ``name, value, doubt`` (words), ``elasticity``, ``spread`` (SD over value, None where
        nothing is said), ``weight`` (size of elasticity times spread), ``source_kind, source``.
    """
    if companion.analysis.elasticities is None:
        return []
    pulls = dict(zip(companion.rates, companion.rate_elasticities, strict=True))
    rates = {r.key: r for r in every_rate(resolved) if r.key in pulls}
    for site in resolved.sites:
        settlement = site.recruitment.settlement
        if isinstance(settlement, Calibration) and settlement.target != "glochidia_per_host":
            rates.pop(getattr(site.recruitment.attachment, "key", None), None)
        for link in (settlement, site.recruitment.attachment):
            if isinstance(link, Calibration):
                rates[link.rate.key] = link.rate
                pulls[link.rate.key] = _of_recruitment(companion, resolved)
    rows = [_row(rate, float(pulls[key])) for key, rate in rates.items()]
    return sorted(rows, key=lambda r: (-(r["weight"] or 0), -abs(r["elasticity"])))


def _row(rate, elasticity):
    spread = relative_doubt(rate)
    return {"name": rate.key, "value": best(rate), "doubt": doubt_words(rate),
            "elasticity": elasticity, "spread": spread,
            "weight": None if spread is None else abs(elasticity) * spread,
            "source_kind": rate.source.kind, "source": rate.source.text}


def relative_doubt(rate: Rate) -> float | None:
    """Standard error, or about a quarter of the 95 % interval, over the value; None unsaid."""
    value = best(rate)
    if not value or not rate.is_uncertain:
        return None
    if rate.link is not None:
        return rate.link.se * (1 - value if rate.kind == PROBABILITY else 1.0)
    if rate.interval is not None:
        return (rate.interval[1] - rate.interval[0]) / (2 * _Z) / value
    return rate.se / value


def _of_recruitment(companion, resolved):
    matrix = companion.matrix
    young = matrix.f @ matrix.u if resolved.census == AFTER else matrix.f
    sensitivities = np.nan_to_num(companion.analysis.sensitivities)
    return float((sensitivities * young).sum() / companion.analysis.growth_rate)

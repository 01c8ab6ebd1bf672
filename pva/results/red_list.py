"""IUCN Red List criterion E from the extinction curve of the same run.

Critically endangered: at least 50 % within 10 years or three generations; endangered: at least
20 % within 20 years or five generations; vulnerable: at least 10 % within 100 years; generations
count up to 100 years (IUCN Red List Categories and Criteria version 3.1, criterion E; from memory).

The years of a rule run on the clock of extinction, from the census before it starts: the census of
the last release, or the first census where nothing is released. Years of stocking, in which nothing
counts as extinct, would otherwise pass for safe years and make the threat look smaller.
"""

from __future__ import annotations

import math

_RULES = (("critically endangered", 0.5, 10, 3), ("endangered", 0.2, 20, 5),
          ("vulnerable", 0.1, 100, 0))


def criterion_e(extinct_by_year, generation_years: float, *, first: int, from_year: int) -> dict:
    """What the run says of criterion E.

    Parameters
    ----------
    extinct_by_year : sequence of float
        Chance of extinction by census, from the first on.
    generation_years : float
        NaN or None unknown: then the years alone count.
    first : int
        Year of the first census.
    from_year : int
        First census at which extinction counts.

    Returns
    -------
    dict
        ``category`` (the highest whose rule is met; null while an unjudged rule could still be
        met), ``years_from`` (the census from which the years of the rules run) and ``rules``:
        years, chance (null where the horizon is too short), threshold, met.
    """
    years_from = max(first, from_year - 1)
    known = generation_years is not None and math.isfinite(generation_years)
    rules = []
    for category, threshold, years, generations in _RULES:
        within = years
        if known and generations:
            within = min(100, max(years, math.ceil(generations * generation_years)))
        census = years_from - first + within
        judged = census < len(extinct_by_year)
        chance = float(extinct_by_year[census]) if judged else None
        rules.append({"category": category, "within_years": within, "threshold": threshold,
                      "chance": chance, "met": chance >= threshold if judged else None})
    return {"category": _category(rules), "years_from": years_from, "rules": rules}


def _category(rules):
    for rule in rules:
        if rule["met"]:
            return rule["category"]
        if rule["met"] is None:
            return None
    return "not met"

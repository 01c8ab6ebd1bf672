"""What shows only once rates are known: shares that sum above 1, correlations that contradict."""

from __future__ import annotations

from collections.abc import Sequence

from pva.lifehistory.rates import Rate
from pva.lifehistory.year_effects import factors, rate_correlation
from pva.scenario.places import Problems
from pva.scenario.rates_used import every_rate
from pva.scenario.resolve_rates import nearest
from pva.scenario.resolved import Resolved, Site


def check_resolved(resolved: Resolved, problems: Problems) -> None:
    """Collect what is wrong with a resolved scenario."""
    for index, site in enumerate(resolved.sites):
        _check_growth(site, index, resolved, problems)
    _check_alike(resolved, problems)
    _check_movement(resolved, problems)
    _check_year_effects(resolved, problems)


def varies(rate: Rate | None) -> bool:
    """Whether a rate differs between years."""
    if rate is None:
        return False
    return (rate.link.year_sd if rate.link is not None else rate.year_sd) > 0


def effects_of(resolved: Resolved) -> tuple[list[str], list[str]]:
    """Names of all year effects, and of those that have an SD between years."""
    known: dict[str, bool] = {}
    for rate in _rates(resolved):
        known[rate.effect] = known.get(rate.effect, False) or varies(rate)
    return list(known), [n for n, on in known.items() if on]


def _rates(resolved: Resolved) -> Sequence[Rate]:
    return every_rate(resolved, with_start=False, each_site=True)


def _check_growth(site: Site, index: int, resolved: Resolved, problems: Problems) -> None:
    for stage, shares in site.growth.items():
        total = sum(r.value for r in shares.values())
        if total > 1 + 1e-9:
            own = any("@" in r.key for r in shares.values())
            path = ("sites", index, "growth", stage) if own else ("growth", stage)
            problems.add(
                path, f"the growth shares of `{stage}` sum to {total:.4g}, above 1",
                "Lower them: what they leave over stays in the stage.", code="shares-above-one",
            )


def _check_alike(resolved: Resolved, problems: Problems) -> None:
    """Sites may differ in every rate, but not in the way young come about."""
    first = resolved.sites[0]
    for index, site in enumerate(resolved.sites[1:], start=1):
        one, other = first.recruitment, site.recruitment
        path = ("sites", index, "recruitment")
        if one.form != other.form or one.enters != other.enters:
            what = "the stage that recruits enter" if one.form == other.form else (
                "recruits per adult or hosts"
            )
            problems.add(
                path, f"{{key}} differs from `{first.name}` in {what}",
                "Write the same way at every site; rates may differ.", code="sites-not-alike",
            )
        elif [h.name for h in one.hosts] != [h.name for h in other.hosts]:
            problems.add(
                (*path, "hosts"), f"{{key}} has other hosts than `{first.name}`",
                "Name all hosts at top level; where one is absent, leave out its density.",
                code="sites-not-alike",
            )


def _check_movement(resolved: Resolved, problems: Problems) -> None:
    for stage in [s.name for s in resolved.stages]:
        leaving: dict[str, float] = {}
        for i, row in enumerate(resolved.movement):
            if row.stage not in (stage, "all"):
                continue
            leaving[row.from_site] = leaving.get(row.from_site, 0.0) + row.share.value
            if leaving[row.from_site] > 1 + 1e-9:
                problems.add(
                    ("movement", i), f"the shares of `{stage}` that leave `{row.from_site}` sum to "
                    f"{leaving[row.from_site]:.4g}, above 1", "Lower them.",
                    code="shares-above-one",
                )


def _check_year_effects(resolved: Resolved, problems: Problems) -> None:
    effects = resolved.year_effects
    known, varying = effects_of(resolved)
    path = ("year_effects", "between_rates")
    if isinstance(effects.between_rates, dict):
        for pair, number in effects.between_rates.items():
            _check_pair(pair, number, known, path, problems)
    elif not -1 <= effects.between_rates <= 1:
        _not_correlation(effects.between_rates, path, problems)
        return
    if problems:
        return
    try:
        factors(varying, rate_correlation(varying, effects.between_rates))
    except ValueError as error:
        _contradiction(error, path, problems)
    _check_between_sites(resolved, problems)


def _check_between_sites(resolved: Resolved, problems: Problems) -> None:
    effects, path = resolved.year_effects, ("year_effects", "between_sites")
    if effects.between_sites is not None and not -1 <= effects.between_sites <= 1:
        _not_correlation(effects.between_sites, path, problems)
        return
    if effects.distance_km is not None:  # no places along a river contradict each other
        return
    try:
        factors([s.name for s in resolved.sites], effects.between_sites)
    except ValueError as error:
        _contradiction(error, path, problems)


def _check_pair(pair: tuple, number: float, known: list[str], path: tuple, problems) -> None:
    for name in pair:
        if name not in known:
            at = (*path, name) if name in (_written(problems, path) or {}) else path
            problems.add(at, f"{{key}} names the rate `{name}`, which does not exist",
                         nearest(name, known), code="unknown-rate")
    if not -1 <= number <= 1:
        _not_correlation(number, path, problems)


def _written(problems: Problems, path: tuple):
    data = problems.data
    for part in path:
        data = data.get(part) if isinstance(data, dict) else None
    return data


def _not_correlation(number: float, path: tuple, problems: Problems) -> None:
    problems.add(path, f"{{key}} holds {number:g}, which is no correlation",
                 "Write a number from -1 to 1.", code="out-of-range")


def _contradiction(error: ValueError, path: tuple, problems: Problems) -> None:
    problems.add(path, f"{{key}}: {error}", "Bring the numbers nearer to 0.",
                 code="not-positive-definite")

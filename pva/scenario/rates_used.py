"""Every rate of a resolved scenario, once."""

from __future__ import annotations

from collections.abc import Sequence

from pva.lifehistory.rates import Rate
from pva.scenario.resolved import Calibration, Resolved, Site

SPREAD_WRITTEN = "spread of years as written here"  # ends the source of an estimate with such one


def spread_is_measured(rate: Rate) -> bool:
    """Whether the spread between years of a rate comes from the records, as its value does."""
    return rate.source.kind == "measured" and not rate.source.text.endswith(SPREAD_WRITTEN)


def only_interval_counts(rate: Rate) -> bool:
    """Whether draws of a rate come from its interval alone, whatever its best value."""
    return rate.interval is not None and rate.link is None and rate.distribution != "triangular"


def every_rate(
    resolved: Resolved, *, with_start: bool = True, each_site: bool = False
) -> list[Rate]:
    """All rates of a scenario, in life order and then by site.

    Parameters
    ----------
    with_start : bool
        Whether numbers at the first census are among them.
    each_site : bool
        Whether a rate shared by sites is listed once a site; else every key once.
    """
    found: list[Rate] = []
    for site in resolved.sites:
        found += _site_rates(site, with_start)
    found += [r.first_year_survival for r in resolved.releases if r.first_year_survival]
    found += [m.share for m in resolved.movement]
    if each_site:
        return found
    once: dict[str, Rate] = {}
    for rate in found:
        once.setdefault(rate.key, rate)
    stages = [s.name for s in resolved.stages]
    return sorted(once.values(), key=lambda rate: _life_order(rate.key, stages))


def _life_order(key: str, stages: list[str]) -> tuple:
    path, _, site = key.partition(" @ ")
    group, _, rest = path.partition("/")
    place = _GROUPS.index(group) if group in _GROUPS else len(_GROUPS)
    stage = rest.split("/")[0]
    return place, stages.index(stage) if stage in stages else len(stages), site != ""


_GROUPS = ("survival", "growth", "recruitment", "hosts", "start", "release", "releases", "movement")


def _site_rates(site: Site, with_start: bool) -> Sequence[Rate]:
    r = site.recruitment
    rates = [*site.survival.values()]
    rates += [one for shares in site.growth.values() for one in shares.values()]
    rates += [r.per_adult, *r.entries.values(), r.females, r.gravid, r.glochidia]
    for rate in (r.attachment, r.settlement):
        rates.append(rate.rate if isinstance(rate, Calibration) else rate)
    for host in r.hosts:
        rates += [host.suitability, host.contact, host.capacity]
    rates += [h.density for h in site.hosts]
    rates += [*site.start.numbers.values()] if with_start else []
    return [rate for rate in rates if rate is not None]

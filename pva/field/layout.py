"""What a study says about units and host counts: strata, units dug and shares found make sense."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterator
from typing import TYPE_CHECKING

from pva.errors import Problem
from pva.field.form import nearest
from pva.field.spec import ShareSpec

if TYPE_CHECKING:
    from pva.field.study import Study

AREA_OFF = 0.01  # strata may miss the area of their site by rounding only


def layout_problems(study: Study) -> Iterator[Problem]:
    """Problems of `density` and `hosts` that no single key shows.

    Parameters
    ----------
    study : Study
    """
    density, place = study.spec.density, study.positions.problem
    if (density.design == "stratified") != bool(density.strata):
        yield place(("density", "strata" if density.strata else "design"),
                    "strata and the design `stratified` belong together",
                    "Write `design: stratified` and the strata with their areas, or neither.",
                    code="strata-design")
    yield from _sites(study, "strata")
    yield from _sites(study, "units_dug")
    yield from _areas(study)
    yield from _share(study, density.efficiency, ("density", "efficiency"))
    for name, share in density.surface_finds.items():
        yield from _share(study, share, ("density", "surface_finds", name))
    for name, share in study.spec.hosts.efficiency.items():
        yield from _share(study, share, ("hosts", "efficiency", name))


def _sites(study: Study, key: str) -> Iterator[Problem]:
    known = [s.name for s in study.sites]
    seen = set()
    for i, one in enumerate(getattr(study.spec.density, key)):
        path = ("density", key, i)
        if one.site not in known:
            yield study.positions.problem((*path, "site"), f"`{one.site}` is no site of the study",
                                          nearest(one.site, known), code="site-unknown")
        name = (one.site, one.name if key == "strata" else one.survey)
        if name in seen:
            yield study.positions.problem(path, f"`{name[1]}` of {name[0]} stands twice",
                                          "Keep one of the two.", code="name-twice")
        seen.add(name)


def _areas(study: Study) -> Iterator[Problem]:
    """The strata of a site must make up its area: density is their mean weighted by area."""
    sums: dict[str, float] = defaultdict(float)
    for one in study.spec.density.strata:
        sums[one.site] += one.area_m2
    for site in study.sites:
        total = sums.get(site.name)
        if total is None or not site.area_m2:
            continue
        if abs(total - site.area_m2) > AREA_OFF * site.area_m2:
            yield study.positions.problem(
                ("density", "strata"), f"the strata of `{site.name}` have {total:g} m2, the site "
                f"{site.area_m2:g} m2", "Name all strata, or correct an area.", code="strata-area")


def _share(study: Study, share: ShareSpec | None, path: tuple) -> Iterator[Problem]:
    if share is None or share.interval is None:
        return
    low, high = share.interval
    if not 0 < low <= share.value <= high <= 1:
        yield study.positions.problem(
            (*path, "interval"), f"the interval {low:g} to {high:g} does not hold the share "
            f"{share.value:g} within 0 to 1", "Correct the value or the interval.",
            code="share-interval")
    if not share.source:
        yield study.positions.problem(
            path, "a share with an interval names no source", "Write where it comes from: `source: "
            "...`.", code="share-source")

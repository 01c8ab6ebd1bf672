"""Written scenario -> `Resolved`: defaults, references, sites, plans, calibration base."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np

from pva.errors import MeaningError, PvaError
from pva.scenario.cautions import warnings_of
from pva.scenario.form import check_form, without_nulls
from pva.scenario.load import Written
from pva.scenario.meaning import check_meaning
from pva.scenario.meaning_resolved import check_resolved
from pva.scenario.places import Problems, WrittenMap
from pva.scenario.rates_used import every_rate
from pva.scenario.resolve_plan import (
    resolve_bad_years,
    resolve_carried,
    resolve_collections,
    resolve_goals,
    resolve_movement,
    resolve_quasi_extinction,
    resolve_releases,
    resolve_settings,
    resolve_solve,
    resolve_survey_goals,
    resolve_year_effects,
)
from pva.scenario.resolve_rates import RateReader
from pva.scenario.resolve_sites import SiteReader
from pva.scenario.resolved import (
    Calibration,
    CalibrationBase,
    JointCovariance,
    Recruitment,
    Resolved,
)
from pva.scenario.size import check_size
from pva.scenario.spec import BaseSpec, ScenarioSpec


def resolve(written: Written, *, base: CalibrationBase | None = None) -> Resolved:
    """Resolve a written scenario.

    Parameters
    ----------
    written : Written
    base : CalibrationBase or None
        Kept from the scenario that a change was made to; None = the root of the `extends` chain.

    Returns
    -------
    Resolved

    Raises
    ------
    FormError, MeaningError
        With all problems of the pass.
    """
    spec = check_form(written.data)
    problems = Problems(written.data)
    estimates = _read_estimates(spec, problems)
    reader = RateReader(problems, estimates, (spec.years.first, spec.years.last))
    check_meaning(spec, problems, reader)
    _stop_if_wrong(problems)
    resolved, sites = _resolve_all(spec, written.data, reader)
    check_size(resolved, problems)
    _stop_if_wrong(problems)
    check_resolved(resolved, problems)
    _stop_if_wrong(problems)
    if any(is_calibrated(s.recruitment) for s in resolved.sites):
        found = base or _base(spec, written, resolved, sites, reader)
        resolved = replace(resolved, base=found)
    _stop_if_wrong(problems)
    covariance = _covariance(spec, resolved, estimates)
    resolved = replace(resolved, covariance=covariance)
    found = warnings_of(resolved, estimates, already=[*(spec.warnings or ()), *sites.warnings])
    return replace(resolved, warnings=tuple(found))


def _stop_if_wrong(problems: Problems) -> None:
    if problems:
        raise MeaningError(problems.in_order())


def _read_estimates(spec: ScenarioSpec, problems: Problems) -> Any:
    if spec.estimates is None:
        return None
    from pva.estimate.estimates_file import read_estimates

    if not Path(spec.estimates).is_file():
        problems.add(
            ("estimates",), f"{{key}}: there is no file `{Path(spec.estimates).name}` there",
            "Run `pva estimate` on the study first, or correct the path (it is read from the "
            "folder of the scenario).", code="estimates-missing",
        )
        raise MeaningError(problems.found)
    return read_estimates(spec.estimates)


def _resolve_all(
    spec: ScenarioSpec, data: WrittenMap, reader: RateReader
) -> tuple[Resolved, SiteReader]:
    maker = SiteReader(spec, data, reader)
    sites = maker.read()
    releases = resolve_releases(spec, sites, reader)
    bad_years, reason = resolve_bad_years(spec, [s.name for s in maker.stages])
    resolved = Resolved(
        title=spec.title, species=spec.species or "", description=spec.description or "",
        first=spec.years.first, last=spec.years.last, census=spec.census, numbers=spec.numbers,
        stages=maker.stages, sites=sites, is_matrix=spec.matrix is not None,
        matrix=None if maker.matrix is None else maker.matrix.written,
        year_effects=resolve_year_effects(spec.year_effects),
        bad_years=bad_years, no_bad_years_reason=reason, releases=releases,
        collections=resolve_collections(spec, sites), movement=resolve_movement(spec, reader),
        carried=resolve_carried(spec),
        quasi_extinction=resolve_quasi_extinction(spec, releases),
        goals=resolve_goals(spec), survey_goals=resolve_survey_goals(spec),
        chance_wanted=spec.chance_wanted, solve=resolve_solve(spec, releases),
        **resolve_settings(spec),
    )
    return resolved, maker


# the place where calibrations are solved


def is_calibrated(recruitment: Recruitment) -> bool:
    """Whether attachment or settlement is solved for a target."""
    return any(
        isinstance(r, Calibration) for r in (recruitment.attachment, recruitment.settlement)
    )


def _base(
    spec: ScenarioSpec, written: Written, resolved: Resolved, sites: SiteReader,
    reader: RateReader,
) -> CalibrationBase:
    if spec.calibration_base is not None:
        return _base_of_twin(spec.calibration_base, reader)
    for document in written.chain[:-1]:
        found = _base_of_document(document)
        if found is not None:
            return found
    return base_of(resolved, sites)


def _base_of_document(document: WrittenMap) -> CalibrationBase | None:
    """Base values of an earlier file of the chain; None where it holds no calibration yet."""
    try:
        spec = check_form(document)
        problems = Problems(document)
        estimates = _read_estimates(spec, problems)
    except PvaError:
        return None  # a file that is only a part of a scenario
    if spec.recruitment is None or spec.matrix is not None:
        return None
    reader = RateReader(problems, estimates, (spec.years.first, spec.years.last))
    check_meaning(spec, problems, reader)
    if problems:
        return None
    resolved, sites = _resolve_all(spec, document, reader)
    if problems or not any(is_calibrated(s.recruitment) for s in resolved.sites):
        return None
    return base_of(resolved, sites)


def base_of(resolved: Resolved, sites: SiteReader) -> CalibrationBase:
    """Top-level values of a scenario, with the hosts and the area of its first site."""
    first = resolved.sites[0]
    life = sites.top_life(first)
    return CalibrationBase(
        stages=resolved.stages, census=resolved.census, numbers=resolved.numbers,
        survival=life.survival, growth=life.growth, recruitment=life.recruitment,
        first_site_hosts=first.hosts, area_m2=first.area_m2,
    )


def _base_of_twin(written: BaseSpec, reader: RateReader) -> CalibrationBase:
    data = WrittenMap(without_nulls(reader.problems.data["calibration_base"]))
    document = WrittenMap({
        "title": "base", "years": {"first": 0, "last": 1},
        "census": written.census, "numbers": written.numbers, "bad_years": {"none": "base"},
        "quasi_extinction": {"adults_below": 0}, "runs": {}, "start": {"project_from": "releases"},
        **{k: data[k] for k in ("stages", "survival", "growth", "recruitment") if k in data},
        "sites": [{"name": written.site, "area_m2": written.area_m2,
                   "hosts": data.get("hosts") or {}}],
    })
    inner = RateReader(Problems(document), None, None)
    resolved, sites = _resolve_all(check_form(document), document, inner)
    reader.problems.found.extend(inner.problems.found)
    return base_of(resolved, sites)


# covariance of the estimates used


def _covariance(spec: ScenarioSpec, resolved: Resolved, estimates: Any) -> JointCovariance | None:
    used = {r.estimate for r in every_rate(resolved) if r.link is not None and r.estimate}
    if spec.covariance is not None:
        keys, matrix = spec.covariance.keys, np.array(spec.covariance.matrix, float)
    elif estimates is not None and len(estimates.covariance.keys):
        keys, matrix = estimates.covariance.keys, estimates.covariance.matrix
    else:
        return None
    if not used & set(keys):
        return None
    # all of them, used or not: the root of a part is not part of the root, and scenarios of one
    # study, of which one leaves an estimate out, must still draw the others alike
    return JointCovariance(tuple(keys), matrix)

"""What a study asks of its units, its young animals and its host counts."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

from pva.errors import MeaningError
from pva.estimate.combined import Told
from pva.field.form import nearest
from pva.field.spec import ShareSpec, StratumSpec
from pva.field.study import Study

SIMPLE, STRATIFIED, SYSTEMATIC, DOUBLE = "simple", "stratified", "systematic", "double"
DONOR, REFERENCE = "donor", "reference"


@dataclass(frozen=True)
class Found:
    """A share of what is there that is found.

    Parameters
    ----------
    told : Told
        Share and interval, 0 to 1.
    source : str
    """

    told: Told
    source: str = ""


@dataclass(frozen=True)
class UnitOptions:
    """Choices behind densities, recruits and host densities.

    Parameters
    ----------
    design : {'simple', 'stratified', 'systematic', 'double'}
    strata : tuple of StratumSpec
    double_by : {'ratio', 'regression'}
    dug : mapping of (site, survey) to int
        Units dug by the field sheet.
    efficiency : Found or None
        Share of the animals in a unit dug that is found.
    surface : mapping of str to Found
        Stage -> share that a search of the surface finds, given.
    batch_mark_kept : float or None
        Share of batch marks that sits after a year; None = unknown, taken as worn off.
    upstream_km : float
        Animals stocked so far upstream count too.
    river_km : mapping of str to float
    roles : mapping of str to str
        Site -> role.
    effort_m2 : float or None
        m2 fished by a unit of effort.
    catches : mapping of str to Found
        Host -> share caught by one pass.
    """

    design: str = SIMPLE
    strata: tuple[StratumSpec, ...] = ()
    double_by: str = "ratio"
    dug: Mapping[tuple[str, str], int] = field(default_factory=dict)
    efficiency: Found | None = None
    surface: Mapping[str, Found] = field(default_factory=dict)
    batch_mark_kept: float | None = None
    upstream_km: float = 0.0
    river_km: Mapping[str, float] = field(default_factory=dict)
    roles: Mapping[str, str] = field(default_factory=dict)
    effort_m2: float | None = None
    catches: Mapping[str, Found] = field(default_factory=dict)

    def strata_of(self, site: str) -> list[StratumSpec]:
        """Strata of one site."""
        return [s for s in self.strata if s.site == site]


def unit_options(study: Study, stages: tuple[str, ...]) -> UnitOptions:
    """Read them from a study.

    Parameters
    ----------
    study : Study
    stages : tuple of str
        Names that `surface_finds` may use.

    Raises
    ------
    MeaningError
        A share is given for a stage that the study does not have.
    """
    spec, density = study.spec, study.spec.density
    unknown = [name for name in density.surface_finds if name not in stages]
    if unknown:
        raise MeaningError([study.positions.problem(
            ("density", "surface_finds", name), f"`{name}` is no stage of the study",
            nearest(name, stages) if stages else "Write `stages` with their lengths.",
            code="stage-unknown") for name in unknown])
    return UnitOptions(
        design=density.design, strata=tuple(density.strata), double_by=density.double_by,
        dug={(one.site, one.survey): one.number for one in density.units_dug},
        efficiency=None if density.efficiency is None else found(density.efficiency),
        surface={name: found(share) for name, share in density.surface_finds.items()},
        batch_mark_kept=spec.recruits.batch_mark_kept, upstream_km=spec.recruits.upstream_km,
        river_km={s.name: s.river_km for s in spec.sites if s.river_km is not None},
        roles={s.name: s.role for s in spec.sites}, effort_m2=spec.hosts.effort_m2,
        catches={name: found(share) for name, share in spec.hosts.efficiency.items()},
    )


def found(spec: ShareSpec) -> Found:
    """A share as written; without an interval it is taken as certain."""
    low, high = spec.interval or (spec.value, spec.value)
    return Found(Told(spec.value, low, high), spec.source)

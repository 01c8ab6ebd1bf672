"""What the study asks of its estimates."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

from pva.errors import PvaError
from pva.estimate.species_growth import GrowthOptions, growth_options
from pva.estimate.stage_steps import LengthStage, complete
from pva.estimate.staying import LEAVING, TAGS, Staying
from pva.estimate.unit_options import UnitOptions, unit_options
from pva.field.study import Study
from pva.files import read_yaml


@dataclass(frozen=True)
class Options:
    """Choices behind the estimates of a study.

    Parameters
    ----------
    stages : tuple of LengthStage
        In order of length, from 0 upwards; empty = no stages.
    adult_from_mm : float or None
        Where the last stage begins.
    survival, detection : tuple of str
        What they may differ by.
    release_separate : bool
    average : bool
        Whether rates are averaged over models.
    fit_simulations : int
        Studies simulated to judge the fit.
    bad_years : tuple of str
    season : (int, int)
        Months of growth.
    growth : GrowthOptions
    units : UnitOptions
        About units dug, young animals and host counts.
    recruits_below_mm : float or None
    areas : dict of str to float
        Site -> m2.
    species : tuple of str
    title : str
    shells_anywhere, shells_dated_by_death : bool
        Whether shells of animals that left the site are found too, and whether the date of a shell
        is that of the death.
    given : tuple of Staying
        Corrections of apparent survival given as yearly numbers.
    outside : tuple of str
        Sites searched only for animals that left.
    outside_searched : float or None
        How well they are searched, compared with the site itself.
    availability : Staying or None
        Share of the living animals that can be found at a visit, given as a number.
    """

    stages: tuple[LengthStage, ...] = ()
    survival: tuple[str, ...] = ()
    detection: tuple[str, ...] = ()
    release_separate: bool = True
    average: bool = False
    fit_simulations: int = 0
    bad_years: tuple[str, ...] = ()
    season: tuple[int, int] = (1, 12)
    growth: GrowthOptions = GrowthOptions()
    units: UnitOptions = UnitOptions()
    recruits_below_mm: float | None = None
    areas: dict | None = None
    species: tuple[str, ...] = ()
    title: str = ""
    shells_anywhere: bool = False
    shells_dated_by_death: bool = False
    given: tuple[Staying, ...] = ()
    outside: tuple[str, ...] = ()
    outside_searched: float | None = None
    availability: Staying | None = None

    @property
    def adult_from_mm(self) -> float | None:
        """Length at which the last stage begins."""
        return self.stages[-1].low if len(self.stages) > 1 else None


def options_of(study: Study) -> Options:
    """Read the choices of a study; stages fall back on those of the main scenario."""
    spec = study.spec
    stages = [LengthStage(s.name, *map(float, s.length_mm)) for s in spec.stages]
    if not stages and spec.report.main:
        stages = _scenario_stages(study.place(spec.report.main))
    return Options(
        stages=complete(_from_the_ground(stages)),
        survival=tuple(spec.survival.differs_by),
        detection=tuple(spec.detection.differs_by),
        release_separate=spec.survival.release == "separate",
        average=spec.survival.average,
        fit_simulations=spec.survival.fit_simulations,
        bad_years=tuple(spec.survival.bad_years),
        season=tuple(spec.growth.season),
        growth=growth_options(spec),
        units=unit_options(study, tuple(s.name for s in stages)),
        recruits_below_mm=spec.recruits.below_mm,
        areas={s.name: s.area_m2 for s in spec.sites if s.area_m2},
        species=tuple(spec.species),
        title=spec.title,
        shells_anywhere=spec.survival.shells.found == "anywhere",
        shells_dated_by_death=spec.survival.shells.dated == "when the animal died",
        given=_given(spec.survival),
        outside=tuple(s.name for s in spec.sites if s.role == "outside"),
        outside_searched=spec.survival.staying.outside_searched if spec.survival.staying else None,
        availability=_number(spec.detection.availability, "out of reach"),
    )


def _given(survival) -> tuple[Staying, ...]:
    """Corrections given as numbers."""
    staying = survival.staying
    told = (_number(staying if staying and staying.value else None, LEAVING),
            _number(survival.tag_retention, TAGS))
    return tuple(one for one in told if one is not None)


def _number(spec, what: str) -> Staying | None:
    return None if spec is None else Staying(spec.value, spec.se, spec.source, what)


def _from_the_ground(stages: list[LengthStage]) -> list[LengthStage]:
    """A lowest stage that begins near the smallest animals found is taken to begin at 0."""
    ordered = sorted(stages, key=lambda s: s.low)
    if ordered and ordered[0].low < ordered[0].high / 2:
        ordered[0] = LengthStage(ordered[0].name, 0.0, ordered[0].high)
    return ordered


def _scenario_stages(path: Path) -> list[LengthStage]:
    """Length stages of a scenario; shorter animals take the name of the stage before them."""
    try:
        written = read_yaml(path)[0].get("stages") or []
    except PvaError:
        return []
    stages, before = [], None
    for stage in written:
        if not isinstance(stage, dict):
            continue
        if stage.get("length_mm"):
            stages.append(LengthStage(str(stage["name"]), *map(float, stage["length_mm"])))
        elif not stages:
            before = str(stage.get("name"))
    if stages and before and stages[0].low > 0:
        stages.insert(0, LengthStage(before, 0.0, stages[0].low))
    return stages

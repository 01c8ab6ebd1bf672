"""Sites with their own complete set of rates, start numbers, hosts and limits."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Any

from pva.lifehistory.rates import POSITIVE, PROBABILITY, Rate
from pva.scenario.counts import check_count, most_of
from pva.scenario.estimated import rate_of_estimate
from pva.scenario.form import without_nulls
from pva.scenario.merging import merge_at_site
from pva.scenario.resolve_life import (
    LifeSpec,
    MatrixLife,
    Own,
    RecruitmentReader,
    merged_life,
    resolve_growth,
    resolve_matrix,
    resolve_stages,
    resolve_survival,
)
from pva.scenario.resolve_rates import RateReader, nearest
from pva.scenario.resolved import FEMALES, HostDensity, Limits, Recruitment, Site, Start
from pva.scenario.spec import ScenarioSpec
from pva.scenario.spec_plan import HostDensitySpec, SiteSpec, StartSpec
from pva.scenario.spec_rates import RateSpec
from pva.sources import Source

ONLY_SITE = "site"


@dataclass(frozen=True)
class Life:
    """Survival, growth and recruitment of one site."""

    survival: dict[str, Rate]
    growth: dict[str, dict[str, Rate]]
    recruitment: Recruitment


class SiteReader:
    """Makes the sites of a scenario.

    Parameters
    ----------
    spec : ScenarioSpec
    data : WrittenMap
        The merged written document that `spec` was read from.
    reader : RateReader
    """

    def __init__(self, spec: ScenarioSpec, data: Any, reader: RateReader):
        self.spec, self.data, self.reader = spec, data, reader
        self.females_only = spec.numbers == FEMALES
        self.matrix: MatrixLife | None = None
        self.warnings: list[str] = []
        if spec.matrix is not None:
            self.matrix = resolve_matrix(
                spec.matrix, spec.year_sd, spec.recruitment, reader,
                Own(ONLY_SITE, {}, (), ()), females_only=self.females_only,
            )
            self.stages = self.matrix.stages
        else:
            self.stages = resolve_stages(spec.stages)

    def read(self) -> tuple[Site, ...]:
        """All sites, in the order written; one called ``site`` where none is written."""
        specs = self.spec.sites
        if specs is None:
            return (self._site(SiteSpec(name=ONLY_SITE), None, None),)
        top = self.spec.start
        if top is not None and top.project_from is None and all(s.start is not None for s in specs):
            self.warnings.append("the start written at top level is used nowhere: every site has "
                                 "its own")
        written = self.data["sites"]
        return tuple(self._site(s, written[i], i) for i, s in enumerate(specs))

    def top_life(self, first: Site) -> Life:
        """The life cycle at top level, filled from the first site where only sites say it."""
        if self.matrix is not None:
            return Life(self.matrix.survival, self.matrix.growth, self.matrix.recruitment)
        own = Own("", {}, (), ())
        found = len(self.reader.problems.found)
        life = self._stage_life(merged_life(self.data, None), own)
        del self.reader.problems.found[found:]  # what is missing here is told where sites are read
        return Life({**first.survival, **life.survival}, life.growth, life.recruitment)

    def _site(self, spec: SiteSpec, written: Any, index: int | None) -> Site:
        here = () if index is None else ("sites", index)
        own = Own(spec.name, written or {}, (), here)
        life = self._life(written, own)
        return Site(
            spec.name, self._start(spec, own), life.survival, life.growth, life.recruitment,
            hosts=self._hosts(spec, life.recruitment, own), limits=self._limits(spec),
            area_m2=spec.area_m2, river_km=spec.river_km, role=spec.role or "",
        )

    # the life cycle

    def _life(self, written: Any, own: Own) -> Life:
        if self.matrix is not None:
            return self._matrix_life(written, own)
        return self._stage_life(merged_life(self.data, written), own)

    def _stage_life(self, life: LifeSpec, own: Own) -> Life:
        maker = RecruitmentReader(self.reader, own, females_only=self.females_only)
        return Life(
            resolve_survival(life, self.stages, self.reader, own),
            resolve_growth(life, self.stages, self.reader, own),
            maker.read(life.recruitment, self.stages),
        )

    def _matrix_life(self, written: Any, own: Own) -> Life:
        life = self.matrix
        survival, growth = dict(life.survival), dict(life.growth)
        written = without_nulls(written or {})
        for stage, over in (written.get("survival") or {}).items():
            if stage in survival:
                survival[stage] = self._over(survival[stage], over, own, "survival", stage)
        for stage, over in (written.get("growth") or {}).items():
            if isinstance(over, dict) and stage in growth:
                growth[stage] = dict(growth[stage])
                for to, one in over.items():
                    name = f"growth/{stage}/{to}"
                    below = growth[stage].get(to, Rate(name, PROBABILITY, 0.0, effect=name))
                    growth[stage][to] = self._over(below, one, own, "growth", stage, to)
        recruitment = life.recruitment
        if written.get("recruitment"):
            merged = merged_life(self.data, written).recruitment
            maker = RecruitmentReader(self.reader, own, females_only=self.females_only)
            recruitment = replace(recruitment, females=maker.females(merged),
                                  dispersion=merged.dispersion)
        return Life(survival, growth, recruitment)

    def _over(self, below: Rate, over: Any, own: Own, *path: str) -> Rate:
        plain = {"value": below.value, "year_sd": below.year_sd}
        spec = RateSpec.model_validate(merge_at_site(plain, over, ("survival",)))
        return self.reader.rate(spec, kind=PROBABILITY, key=below.key, path=(*own.here, *path),
                                site=own.site, effect=below.effect)

    # start

    def _start(self, spec: SiteSpec, own: Own) -> Start:
        start, path = spec.start, (*own.here, "start")
        if start is None:
            start, path = self.spec.start, ("start",)
        if start is None or start.project_from is not None:
            return Start()
        if start.estimate is not None:
            return self._counted_exactly(
                Start(self._start_from_estimate(start, spec.name, path)), path)
        if spec.start is None and len(self.spec.sites or ()) > 1 and start.numbers:
            note = "the start written at top level is used for every site without its own start"
            if note not in self.warnings:
                self.warnings.append(note)
        found = Start({
            stage: self.reader.rate(one, kind=POSITIVE, key=f"start/{stage}", path=(*path, stage),
                                    site=spec.name, effect="")
            for stage, one in start.numbers.items()
        })
        return self._counted_exactly(found, path)

    def _counted_exactly(self, start: Start, path: Sequence) -> Start:
        for stage, rate in start.numbers.items():
            check_count(most_of(rate), (*path, stage), self.reader.problems)
        return start

    def _start_from_estimate(self, start: StartSpec, site: str, path: Sequence) -> dict[str, Rate]:
        found = self.reader.find_estimate(start.estimate, path)
        if found is None:
            return {}
        if not isinstance(found, dict):
            self.reader.problems.add(
                path, f"{{key}} takes the estimate `{start.estimate}`, which is not an abundance",
                "Name a key that begins with `abundance/`.", code="wrong-estimate",
            )
            return {}
        known = [s.name for s in self.stages]
        numbers = {}
        for stage, one in found.items():
            if stage not in known and stage != "animals":
                self.reader.problems.add(
                    path, f"the estimate `{start.estimate}` counts `{stage}`, which is no stage of "
                    "this scenario", nearest(stage, known), code="unknown-stage",
                )
            elif one.value is None:
                self.reader.problems.add(
                    path, f"the estimate `{start.estimate}` has no best value for `{stage}`",
                    "Write the start numbers by stage.", code="estimate-without-value",
                )
            else:
                numbers[stage] = self._counted(one, stage, site)
        return numbers

    def _counted(self, found: Any, stage: str, site: str) -> Rate:
        """A start number from an estimate; a law that cannot reach 0 is not forced on it."""
        rate = Rate(f"start/{stage} @ {site}", POSITIVE, 0.0)
        rate = replace(rate_of_estimate(rate, found, label=None), year_sd=0.0, link=None)
        if rate.value == 0:
            return replace(rate, se=None, interval=None)
        if rate.interval is not None and rate.interval[0] <= 0:
            return replace(rate, distribution="normal")
        return rate

    # hosts and limits

    def _hosts(self, spec: SiteSpec, recruitment: Recruitment, own: Own) -> tuple:
        densities = []
        if spec.hosts and not recruitment.hosts:
            self.warnings.append(f"host densities at {spec.name} are not used: recruitment there "
                                 "does not depend on hosts")
        for host in recruitment.hosts:
            written = (spec.hosts or {}).get(host.name)
            if written is None:
                self.warnings.append(f"no density of host {host.name} is written for {spec.name}: "
                                     "no fish there")
            densities.append(self._density(host.name, written, own))
        return tuple(densities)

    def _density(self, host: str, spec: HostDensitySpec | None, own: Own) -> HostDensity:
        name, path = f"hosts/{host}", (*own.here, "hosts", host)
        if spec is None:
            rate = Rate(f"{name} @ {own.site}", POSITIVE, 0.0, effect=name,
                        source=Source("default", "not written"))
            return HostDensity(host, rate)
        ramped = spec.per_100m2 is None
        written = spec.then_per_100m2 if ramped else spec.per_100m2
        path = (*path, "then_per_100m2" if ramped else "per_100m2")
        rate = self.reader.rate(written or RateSpec(value=0), kind=POSITIVE, key=name, path=path,
                                site=own.site)
        if not ramped:
            return HostDensity(host, rate)
        return HostDensity(host, rate, blocked_until=spec.until, ramp_years=spec.ramp_years or 1)

    def _limits(self, spec: SiteSpec) -> Limits:
        found: dict[str, Any] = {}
        for block in (self.spec.limits, spec.limits):
            for name in ("ceiling", "beverton_holt", "ricker"):
                written = None if block is None else getattr(block, name)
                if written is not None:
                    found[name] = written
        ceiling = found.get("ceiling")
        adults = None if ceiling is None else ceiling.adults
        if spec.capacity_per_m2 is not None and spec.area_m2 is not None:
            if ceiling is None:
                adults = spec.capacity_per_m2 * spec.area_m2
            else:
                self.warnings.append(f"the ceiling written takes the place of capacity_per_m2 at "
                                     f"{spec.name}")
        return Limits(
            ceiling_animals=None if ceiling is None else ceiling.animals, ceiling_adults=adults,
            beverton_holt=found["beverton_holt"].adults if "beverton_holt" in found else None,
            ricker=found["ricker"].adults if "ricker" in found else None,
        )

"""Stages, survival, growth and recruitment of one site, from the merged written form."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

from pva.lifehistory.rates import POSITIVE, PROBABILITY, Rate
from pva.scenario.form import without_nulls
from pva.scenario.merging import merge_at_site
from pva.scenario.resolve_rates import RateReader
from pva.scenario.resolved import (
    Calibration,
    Host,
    MatrixWritten,
    Recruitment,
    Stage,
)
from pva.scenario.spec_life import (
    MatrixSpec,
    MatrixYearsSpec,
    PowerSpec,
    RecruitmentSpec,
    StageSpec,
)
from pva.scenario.spec_rates import CalibratedSpec, GrowthSpec, RateSpec
from pva.scenario.spec_types import Block, key
from pva.sources import Source

CHAIN_KEYS = ("gravid", "glochidia", "fertilised", "attachment", "settlement", "hosts")


class LifeSpec(Block):
    """The life cycle of one site, top level and site merged."""

    survival: dict[str, RateSpec] | None = key("", form="")
    growth: dict[str, GrowthSpec] | None = key("", form="")
    recruitment: RecruitmentSpec | None = key("", form="")


@dataclass(frozen=True)
class Own:
    """Which rates a site has as its own, and where they are written.

    Parameters
    ----------
    site : str
        Name of the site.
    written : mapping
        What the site itself writes (survival, growth, recruitment).
    top, here : tuple
        Paths of the top level and of the site in the written data.
    """

    site: str
    written: Any
    top: tuple
    here: tuple

    def place(self, *path: Any) -> tuple[str | None, tuple]:
        """Site name if the rate at `path` is the site's own (else None), and its place."""
        data = self.written
        for part in path:
            if isinstance(data, list) and isinstance(part, str):
                part = next((i for i, r in enumerate(data) if r.get("name") == part), None)
            try:
                data = data[part]
            except (KeyError, IndexError, TypeError):
                return None, (*self.top, *path)
        return self.site, (*self.here, *path)


def resolve_stages(specs: Sequence[StageSpec]) -> tuple[Stage, ...]:
    """Stages with `adult` following `breeds`."""
    return tuple(
        Stage(s.name, years=s.years, length_mm=None if s.length_mm is None else tuple(s.length_mm),
              breeds=s.breeds, adult=s.breeds if s.adult is None else s.adult)
        for s in specs
    )


def resolve_survival(life: LifeSpec, stages: Sequence[Stage], reader: RateReader, own: Own) -> dict:
    """Survival of every stage."""
    result = {}
    for stage in stages:
        spec = (life.survival or {}).get(stage.name)
        if spec is None:
            reader.problems.add(
                (*own.top, "survival"), f"the survival of stage `{stage.name}` is missing"
                + (f" at `{own.site}`" if own.here else ""),
                f"Write `survival: {{{stage.name}: RATE}}`.", code="survival-missing",
            )
            continue
        site, path = own.place("survival", stage.name)
        result[stage.name] = reader.rate(
            spec, kind=PROBABILITY, key=f"survival/{stage.name}", path=path, site=site
        )
    return result


def resolve_growth(life: LifeSpec, stages: Sequence[Stage], reader: RateReader, own: Own) -> dict:
    """Growth of every stage: stage reached -> share of survivors; empty for fixed years."""
    result: dict[str, dict[str, Rate]] = {}
    for index, stage in enumerate(stages):
        spec = (life.growth or {}).get(stage.name)
        shares: dict[str, RateSpec] = {}
        if isinstance(spec, RateSpec) and index + 1 < len(stages):
            site, path = own.place("growth", stage.name)
            rate = reader.rate(spec, kind=PROBABILITY, key=f"growth/{stage.name}", path=path,
                               site=site)
            result[stage.name] = {stages[index + 1].name: rate}
            continue
        if isinstance(spec, dict):
            shares = spec
        result[stage.name] = {}
        for to, one in shares.items():
            site, path = own.place("growth", stage.name, to)
            result[stage.name][to] = reader.rate(
                one, kind=PROBABILITY, key=f"growth/{stage.name}/{to}", path=path, site=site
            )
    return result


class RecruitmentReader:
    """Reads the recruitment block of one site."""

    def __init__(self, reader: RateReader, own: Own, *, females_only: bool):
        self.reader, self.own, self.females_only = reader, own, females_only

    def read(self, spec: RecruitmentSpec, stages: Sequence[Stage]) -> Recruitment:
        """Recruits per adult or the host chain, defaults filled in."""
        enters = spec.enters or stages[0].name
        females = self.females(spec)
        if spec.per_adult is not None:
            per_adult = self._rate(spec.per_adult, POSITIVE, "recruitment/per_adult", "per_adult")
            return Recruitment(enters, spec.dispersion, per_adult=per_adult, females=females)
        glochidia, power = self._glochidia(spec)
        return Recruitment(
            enters, spec.dispersion, females=females, gravid=self._gravid(spec),
            glochidia=glochidia, power=power, fertilised=_fertilised(spec),
            attachment=self._share(spec.attachment, "attachment"),
            settlement=self._share(spec.settlement, "settlement"),
            hosts=tuple(self._host(h) for h in spec.hosts or ()),
        )

    def _rate(self, spec: RateSpec, kind: str, name: str, *path: Any) -> Rate:
        site, place = self.own.place("recruitment", *path)
        return self.reader.rate(spec, kind=kind, key=name, path=place, site=site)

    def females(self, spec: RecruitmentSpec | None) -> Rate:
        name = "recruitment/females"
        if self.females_only:
            return Rate(name, PROBABILITY, 1.0, effect=name,
                        source=Source("default", "numbers count females only"))
        if spec is not None and spec.females is not None:
            return self._rate(spec.females, PROBABILITY, name, "females")
        return self.reader.default(0.5, kind=PROBABILITY, key=name, why="half of the animals")

    def _gravid(self, spec: RecruitmentSpec) -> Rate:
        name = "recruitment/gravid"
        if spec.gravid is not None:
            return self._rate(spec.gravid, PROBABILITY, name, "gravid")
        return self.reader.default(1.0, kind=PROBABILITY, key=name, why="every female, every year")

    def _glochidia(self, spec: RecruitmentSpec) -> tuple[Rate | None, float | None]:
        name = "recruitment/glochidia"
        if isinstance(spec.glochidia, PowerSpec):
            at = spec.glochidia.at_1_mm
            return self._rate(at, POSITIVE, name, "glochidia", "at_1_mm"), spec.glochidia.power
        if spec.glochidia is None:
            return None, None
        return self._rate(spec.glochidia, POSITIVE, name, "glochidia"), None

    def _share(self, spec: Any, name: str) -> Rate | Calibration | None:
        if spec is None:
            return None
        if isinstance(spec, RateSpec):
            return self._rate(spec, PROBABILITY, f"recruitment/{name}", name)
        return self._calibration(spec, name)

    def _calibration(self, spec: CalibratedSpec, name: str) -> Calibration | None:
        wanted = spec.calibrate
        for target in ("recruits_per_adult", "growth_rate", "glochidia_per_host"):
            rate = getattr(wanted, target)
            if rate is not None:
                made = self._rate(rate, POSITIVE, f"recruitment/{name}/{target}", name,
                                  "calibrate", target)
                return Calibration(target, made, wanted.hosts_per_100m2, wanted.adults_per_m2)
        return None

    def _host(self, spec: Any) -> Host:
        def rate(name: str, kind: str) -> Rate | None:
            written = getattr(spec, name)
            if written is None:
                return None
            return self._rate(written, kind, f"hosts/{spec.name}/{name}", "hosts", spec.name, name)

        most, half = 0.0, 1.0
        if spec.immunity is not None:
            most, half = spec.immunity.most, spec.immunity.half_load
        return Host(spec.name, rate("suitability", PROBABILITY), rate("contact", POSITIVE),
                    rate("capacity", POSITIVE), immunity_most=most, immunity_half_load=half)


def _fertilised(spec: RecruitmentSpec) -> tuple[str, float] | None:
    if spec.fertilised is None:
        return None
    if spec.fertilised.half_density is not None:
        return "half_density", spec.fertilised.half_density
    return "scale", spec.fertilised.scale


@dataclass(frozen=True)
class MatrixLife:
    """A matrix taken apart into survival, growth and recruitment entries."""

    written: MatrixWritten
    stages: tuple[Stage, ...]
    survival: dict[str, Rate]
    growth: dict[str, dict[str, Rate]]
    recruitment: Recruitment


def resolve_matrix(
    spec: MatrixSpec, years: MatrixYearsSpec | None, recruitment: RecruitmentSpec | None,
    reader: RateReader, own: Own, *, females_only: bool,
) -> MatrixLife:
    """Take a published matrix apart; the rates of one kind share one year effect."""
    names = spec.stages
    u, f = spec.survival_and_growth, spec.recruitment
    size = range(len(names))
    breeding = [any(f[i][j] for i in size) for j in size]
    adults = spec.adults
    if adults is None:
        adults = [n for n, b in zip(names, breeding, strict=True) if b]
    sds = {
        kind: {n: _sd_of(years, kind, n) for n in names} for kind in ("survival", "recruitment")
    }
    given = Source("given", "matrix as written")
    survival, growth, entries = {}, {}, {}
    for j, name in enumerate(names):
        alive = min(float(sum(u[i][j] for i in size)), 1.0)
        survival[name] = _matrix_rate(
            reader, f"survival/{name}", PROBABILITY, alive, sds["survival"][name], "survival",
            given, alike=not isinstance(getattr(years, "survival", None), dict),
        )
        growth[name] = {
            names[i]: Rate(f"growth/{name}/{names[i]}", PROBABILITY, min(u[i][j] / alive, 1.0),
                           source=given, effect=f"growth/{name}/{names[i]}")
            for i in size if i != j and u[i][j] > 0
        }
    for j, parent in enumerate(names):
        for i, to in enumerate(names):
            if f[i][j] > 0:
                entries[to, parent] = _matrix_rate(
                    reader, f"recruitment/{parent}/{to}", POSITIVE, f[i][j],
                    sds["recruitment"][parent], "recruitment", given, alike=True,
                )
    stages = tuple(
        Stage(n, breeds=b, adult=n in adults) for n, b in zip(names, breeding, strict=True)
    )
    maker = RecruitmentReader(reader, own, females_only=females_only)
    young = Recruitment(
        names[0], None if recruitment is None else recruitment.dispersion, entries=entries,
        females=maker.females(recruitment),
    )
    written = MatrixWritten(
        tuple(names), tuple(adults), tuple(map(tuple, u)), tuple(map(tuple, f)),
        tuple((n, survival[n].year_sd) for n in names),
        tuple((n, sds["recruitment"][n] if b else 0.0)
              for n, b in zip(names, breeding, strict=True)),
    )
    return MatrixLife(written, stages, survival, growth, young)


def _sd_of(years: MatrixYearsSpec | None, kind: str, stage: str) -> float:
    written = getattr(years, kind, None)
    if isinstance(written, dict):
        return written.get(stage, 0.0)
    return written or 0.0


def _matrix_rate(reader, name, kind, value, sd, effect, source, *, alike) -> Rate:
    """A rate of a matrix; an SD written for all stages alike leaves stages at 0 alone."""
    if alike and value == 0:
        sd = 0.0
    rate = Rate(name, kind, value, year_sd=sd, source=source, effect=effect)
    reader.check_sd(rate, "year_sd", sd, value, ("year_sd", effect), match=True)
    return rate


def merged_life(top: Any, over: Any) -> LifeSpec:
    """The written life cycle of a site: what it writes itself over the top level."""
    merged = {}
    for name in ("survival", "growth", "recruitment"):
        below, above = top.get(name), (over or {}).get(name)
        if below is None or above is None:
            merged[name] = above if below is None else below
        else:
            merged[name] = merge_at_site(below, above, (name,))
    return LifeSpec.model_validate(without_nulls(merged))

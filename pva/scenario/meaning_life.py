"""What can be wrong with the life cycle: stages or matrix, rates, recruitment, bad years."""

from __future__ import annotations

from collections.abc import Sequence

from pva.scenario.places import Problems
from pva.scenario.resolve_life import CHAIN_KEYS, merged_life
from pva.scenario.resolve_rates import nearest
from pva.scenario.spec import ScenarioSpec
from pva.scenario.spec_life import NoBadYearsSpec, PowerSpec, RecruitmentSpec
from pva.scenario.spec_rates import RATE_KEYS, CalibratedSpec, RateSpec

RESERVED_STAGES = {"all", "animals", "project_from", *RATE_KEYS}
_TARGETS = ("recruits_per_adult", "growth_rate", "glochidia_per_host")


def check_life(spec: ScenarioSpec, problems: Problems) -> None:
    """Collect what is wrong with the life cycle."""
    if spec.matrix is not None:
        _check_matrix_alone(spec, problems)
        _check_matrix(spec, problems)
    else:
        _check_stages_form(spec, problems)
    names = stage_names(spec)
    _check_names(names, ("matrix", "stages") if spec.matrix else ("stages",), problems)
    _check_bad_years(spec, names, problems)


def stage_names(spec: ScenarioSpec) -> list[str]:
    """Names of the stages, from the matrix or the rows."""
    if spec.matrix is not None:
        return list(spec.matrix.stages)
    return [s.name for s in spec.stages or ()]


def unknown_stage(problems: Problems, path: Sequence, stage: str, names: Sequence[str]) -> None:
    """Record a stage that does not exist."""
    problems.add(path, f"{{key}} names the stage `{stage}`, which does not exist",
                 nearest(stage, names), code="unknown-stage")


def _check_names(names: Sequence[str], path: tuple, problems: Problems) -> None:
    for i, name in enumerate(names):
        if name in names[:i]:
            problems.add((*path, i), f"the stage `{name}` stands twice",
                         "Give every stage its own name.", code="name-twice")
        if name in RESERVED_STAGES:
            problems.add((*path, i), f"`{name}` cannot be the name of a stage: it has a meaning "
                         "of its own in scenarios", "Choose another name.",
                         code="reserved-name")


# matrix


def _check_matrix_alone(spec: ScenarioSpec, problems: Problems) -> None:
    for name in ("stages", "survival", "growth"):
        if getattr(spec, name) is not None:
            problems.add((name,), "{key} stands beside `matrix`, which takes its place",
                         f"Keep `matrix` or `{name}`, not both.",
                         code="matrix-and-stages")
    if spec.recruitment is not None:
        for name in ("per_adult", "enters", *CHAIN_KEYS):
            if getattr(spec.recruitment, name) is not None:
                problems.add(("recruitment", name), "{key} stands beside `matrix`, which holds the "
                             "recruitment", "Remove it; only `females`, `dispersion` and `carried` "
                             "may stand beside a matrix.", code="matrix-and-stages")


def _check_matrix(spec: ScenarioSpec, problems: Problems) -> None:
    matrix = spec.matrix
    size = len(matrix.stages)
    if size == 0:
        problems.add(("matrix", "stages"), "{key} is empty", "Name at least one stage.",
                     code="no-stages")
    for name in ("survival_and_growth", "recruitment"):
        rows, path = getattr(matrix, name), ("matrix", name)
        if len(rows) != size or any(len(r) != size for r in rows):
            _shape_problem(rows, size, path, problems)
            continue
        for i, row in enumerate(rows):
            for j, number in enumerate(row):
                if number < 0:
                    problems.add((*path, i), f"{{key}} holds {number:g} (from {matrix.stages[j]} "
                                 f"to {matrix.stages[i]})", "Write numbers of 0 or more.",
                                 code="out-of-range")
        if name == "survival_and_growth":
            _check_columns(rows, matrix.stages, problems)
    if not any(map(any, matrix.recruitment)) and not matrix.adults:
        problems.add(("matrix",), "no stage of {key} counts as adult, and none has recruitment",
                     "Write `adults: [STAGE]`.", code="no-adults")
    for i, name in enumerate(matrix.adults or ()):
        if name not in matrix.stages:
            unknown_stage(problems, ("matrix", "adults", i), name, matrix.stages)
    for kind in ("survival", "recruitment"):
        written = getattr(spec.year_sd, kind, None)
        for stage in written if isinstance(written, dict) else ():
            if stage not in matrix.stages:
                unknown_stage(problems, ("year_sd", kind, stage), stage, matrix.stages)


def _shape_problem(rows: Sequence, size: int, path: tuple, problems: Problems) -> None:
    wrong = [
        f"row {i + 1} holds {len(row)} number{'s' * (len(row) != 1)}"
        for i, row in enumerate(rows) if len(row) != size
    ]
    shape = f"is {len(rows)} x {max(map(len, rows), default=0)}"
    if wrong:
        shape = f"has {len(rows)} rows, of which {', '.join(wrong)}"
    problems.add(path, f"{{key}} {shape}, but there are {size} stages",
                 f"Write {size} rows of {size} numbers.", code="matrix-shape")


def _check_columns(rows: Sequence, names: Sequence[str], problems: Problems) -> None:
    for j, name in enumerate(names):
        total = sum(row[j] for row in rows)
        if total > 1 + 1e-9:
            problems.add(
                ("matrix", "survival_and_growth"),
                f"the column of `{name}` in {{key}} sums to {total:.4g}, above 1",
                "Columns are the stage left, rows the stage reached; move young to `recruitment`.",
                code="column-above-one",
                why="An animal can be alive in one stage only, so the shares of a stage sum to its "
                "survival",
            )


# stages, survival, growth


def _check_stages_form(spec: ScenarioSpec, problems: Problems) -> None:
    if spec.year_sd is not None:
        problems.add(("year_sd",), "{key} at top level belongs to a matrix",
                     "Write `year_sd` with each rate.", code="year-sd-without-matrix")
    if not spec.stages:
        problems.add(
            ("stages",), "the scenario has neither `stages` nor a `matrix`",
            "Write `stages`, `survival` and `recruitment`, or a `matrix`.", code="no-stages",
        )
        return
    for i, stage in enumerate(spec.stages):
        _check_stage(stage, ("stages", i), problems)
    if not any(s.breeds for s in spec.stages):
        problems.add(("stages",), "no stage breeds", "Write `breeds: true` at the adult stage.",
                     code="nobody-breeds")
    elif not any(s.breeds if s.adult is None else s.adult for s in spec.stages):
        problems.add(("stages",), "no stage counts as adult", "Write `adult: true` at one of them.",
                     code="no-adults")
    names = stage_names(spec)
    places = [((), spec)] + [(("sites", i), s) for i, s in enumerate(spec.sites or ())]
    for path, block in places:
        for stage in block.survival or {}:
            if stage not in names:
                unknown_stage(problems, (*path, "survival", stage), stage, names)
        _check_growth(spec, block.growth, (*path, "growth"), problems)
        if block.recruitment is not None:
            _check_recruitment(spec, block.recruitment, (*path, "recruitment"), problems)
    _check_left(spec, problems)
    _check_recruitment_written(spec, problems)


def _check_stage(stage, path: tuple, problems: Problems) -> None:
    if stage.years is not None and stage.length_mm is not None:
        problems.add(path, f"stage `{stage.name}` has both `years` and `length_mm`",
                     "Keep one.", code="two-kinds-of-stage")
    if stage.length_mm is not None and not 0 <= stage.length_mm[0] < stage.length_mm[1]:
        problems.add((*path, "length_mm"), "{key} does not rise", "Write [low, high] in mm.",
                     code="lengths-order")
    if stage.years is not None and stage.years > 200:
        problems.add((*path, "years"), f"{{key}} is {stage.years}", "Write at most 200 years.",
                     code="out-of-range")


def _check_growth(spec: ScenarioSpec, growth, path: tuple, problems: Problems) -> None:
    stages = {s.name: s for s in spec.stages}
    names = list(stages)
    for stage, written in (growth or {}).items():
        if stage not in stages:
            unknown_stage(problems, (*path, stage), stage, names)
        elif stages[stage].years is not None:
            problems.add(
                (*path, stage), f"{{key}} is written for a stage of {stages[stage].years} fixed "
                "years, which animals leave when these are over",
                "Remove it, or give the stage a length range in place of `years`.",
                code="growth-of-fixed-stage",
            )
        elif isinstance(written, RateSpec):
            if stage == names[-1]:
                problems.add((*path, stage), "{key}: there is no stage after the last",
                             "Remove it, or name the stage reached: `{STAGE: RATE}`.",
                             code="growth-of-last-stage")
        else:
            for to in written:
                if to not in stages:
                    unknown_stage(problems, (*path, stage, to), to, names)
                elif to == stage:
                    problems.add((*path, stage, to), "{key} leads back to the same stage",
                                 "Remove it: what the shares leave over stays.",
                                 code="growth-to-itself")


def _check_left(spec: ScenarioSpec, problems: Problems) -> None:
    """Every stage but the last must be left one day."""
    for stage in spec.stages[:-1]:
        if stage.years is not None or (spec.growth or {}).get(stage.name) is not None:
            continue
        sites = spec.sites or []
        if sites and all((s.growth or {}).get(stage.name) is not None for s in sites):
            continue
        problems.add(
            ("growth",), f"the stage `{stage.name}` can never be left: it has neither `years` nor "
            "growth", f"Write `growth: {{{stage.name}: RATE}}`, or `years` with the stage.",
            code="stage-never-left",
        )


# recruitment


def _check_recruitment_written(spec: ScenarioSpec, problems: Problems) -> None:
    blocks = [s.recruitment for s in spec.sites or ()]
    top = spec.recruitment
    if top is None and (not blocks or None in blocks):
        problems.add(
            ("recruitment",), "the scenario says nothing about recruitment",
            "Write `recruitment: {per_adult: RATE}`, or the chain through hosts.",
            code="no-recruitment",
        )
        return
    if top is not None and (not blocks or None in blocks):
        _check_complete(top, ("recruitment",), problems)
    for i, block in enumerate(blocks):
        if block is not None:
            merged = merged_life(problems.data, problems.data["sites"][i]).recruitment
            _check_complete(merged, ("sites", i, "recruitment"), problems)


def _check_complete(block: RecruitmentSpec, path: tuple, problems: Problems) -> None:
    """Recruits per adult, or all links of the chain, a site with what it inherits."""
    if block.per_adult is not None:
        return
    missing = [k for k in ("glochidia", "attachment", "settlement", "hosts")
               if getattr(block, k) is None]
    if missing:
        problems.add(
            path, f"{{key}} has neither `per_adult` nor the whole chain through hosts (missing: "
            f"{', '.join(missing)})", f"Write `per_adult`, or {' and '.join(missing)}.",
            code="recruitment-incomplete",
        )
    parts = [(("hosts", i), h) for i, h in enumerate(block.hosts or ())]
    if isinstance(block.glochidia, PowerSpec):
        parts.append((("glochidia",), block.glochidia))
    for name in ("attachment", "settlement"):
        if isinstance(getattr(block, name), CalibratedSpec):
            parts.append(((name, "calibrate"), getattr(block, name).calibrate))
    for ending, part in parts:
        for key, info in type(part).model_fields.items():
            if info.json_schema_extra["partly"] and getattr(part, key) is None:
                at = (*path, *ending)
                problems.add(at, f"the key `{key}` is missing from {{key}}", f"Write `{key}`.",
                             code="missing-key", why=info.description)


def _check_recruitment(spec, block: RecruitmentSpec, path: tuple, problems: Problems) -> None:
    names = stage_names(spec)
    both = [k for k in CHAIN_KEYS if getattr(block, k) is not None]
    if block.per_adult is not None and both:
        problems.add(
            (*path, "per_adult"), f"{{key}} stands beside `{both[0]}` of the chain through hosts",
            "Keep one of the two ways.", code="two-ways-of-recruitment",
        )
    if block.enters is not None and block.enters not in names:
        unknown_stage(problems, (*path, "enters"), block.enters, names)
    if block.females is not None and spec.numbers == "females":
        problems.add((*path, "females"), "{key} is written, but `numbers: females` fixes it at 1",
                     "Remove one of the two.", code="females-fixed")
    if isinstance(block.glochidia, PowerSpec):
        for stage in spec.stages:
            if stage.breeds and stage.length_mm is None:
                problems.add(
                    (*path, "glochidia"), f"{{key}} depends on length, but the breeding stage "
                    f"`{stage.name}` has no `length_mm`", "Write its range of lengths.",
                    code="length-missing",
                )
    if block.fertilised is not None:
        _check_fertilised(block.fertilised, (*path, "fertilised"), problems)
    for name in ("attachment", "settlement"):
        if isinstance(getattr(block, name), CalibratedSpec):
            _check_calibrate(getattr(block, name), name, (*path, name, "calibrate"), problems)
    _check_hosts(block, path, problems)
    if block.carried is not None and path[0] == "sites":
        problems.add((*path, "carried"), "{key} joins sites and belongs at top level",
                     "Move it to `recruitment.carried`.", code="carried-at-site")


def _check_fertilised(block, path: tuple, problems: Problems) -> None:
    values = [v for v in (block.half_density, block.scale) if v is not None]
    if len(values) != 1:
        problems.add(path, "{key} needs one of `half_density` and `scale`", "Write one of them.",
                     code="one-of")
    elif values[0] <= 0:
        problems.add(path, f"{{key}} is {values[0]:g} animals per m2", "Write a number above 0.",
                     code="out-of-range")


def _check_calibrate(block: CalibratedSpec, name: str, path: tuple, problems: Problems) -> None:
    wanted = block.calibrate
    written = [t for t in _TARGETS if getattr(wanted, t) is not None]
    if len(written) != 1:
        problems.add(path, "{key} needs one target", f"Write one of {', '.join(_TARGETS)}.",
                     code="one-of")
        return
    fits = written[0] == "glochidia_per_host" if name == "attachment" else (
        written[0] != "glochidia_per_host"
    )
    if not fits:
        wants = ("glochidia_per_host" if name == "attachment"
                 else "recruits_per_adult or growth_rate")
        problems.add((*path, written[0]), f"{{key}} says nothing about {name}",
                     f"Calibrate {name} to {wants}.", code="wrong-target")
    for density in ("hosts_per_100m2", "adults_per_m2"):
        if getattr(wanted, density) == 0:
            problems.add((*path, density), "{key} is 0, where nothing can be calibrated",
                         "Write the density at which the target holds.",
                         code="out-of-range")


def _check_hosts(block: RecruitmentSpec, path: tuple, problems: Problems) -> None:
    names = [h.name for h in block.hosts or ()]
    if block.hosts is not None and not names:
        problems.add((*path, "hosts"), "{key} is empty", "Write at least one host.",
                     code="no-hosts")
    for i, host in enumerate(block.hosts or ()):
        if host.name in names[:i]:
            problems.add((*path, "hosts", i), f"the host `{host.name}` stands twice",
                         "Give every host its own name.", code="name-twice")
        if host.immunity is not None and host.immunity.half_load <= 0:
            problems.add((*path, "hosts", i, "immunity", "half_load"),
                         f"{{key}} is {host.immunity.half_load:g}", "Write a number above 0.",
                         code="out-of-range")


# bad years


def _check_bad_years(spec: ScenarioSpec, names: Sequence[str], problems: Problems) -> None:
    if isinstance(spec.bad_years, NoBadYearsSpec):
        return
    if not spec.bad_years:
        problems.add(
            ("bad_years",), "{key} is empty, without a reason",
            'Name a kind of bad year, or write `bad_years: {none: "why there are none"}`.',
            code="bad-years-without-reason",
            why="Leaving out droughts, floods and spills makes every plan look safer than it is",
        )
    seen: list[str] = []
    for i, row in enumerate(spec.bad_years):
        path = ("bad_years", i)
        if row.name in seen:
            problems.add(path, f"the bad year `{row.name}` stands twice",
                         "Give every kind its own name.", code="name-twice")
        seen.append(row.name)
        if (row.chance is None) == (row.years is None):
            problems.add(path, "{key} needs one of `chance` and `years`",
                         "Write how often it starts, or in which years.", code="one-of")
        for year in row.years or ():
            if not spec.years.first <= year <= spec.years.last:
                problems.add((*path, "years"), f"{{key}} holds {year}, outside the years of the "
                             f"scenario, {spec.years.first} to {spec.years.last}",
                             "Move the year, or change `years`.", code="year-outside")
        for stage in row.survival if isinstance(row.survival, dict) else ():
            if stage not in names:
                unknown_stage(problems, (*path, "survival", stage), stage, names)
        if not isinstance(row.strikes, str) and not 0 <= row.strikes <= 1:
            problems.add((*path, "strikes"), f"{{key}} is {row.strikes:g}",
                         "Write a correlation from 0 to 1.", code="out-of-range")

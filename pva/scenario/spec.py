"""The written scenario: every key, its form, its plain words, its default.

The models check form only (keys, types, what is required). What the words mean together is checked
in `pva.scenario.meaning`.
"""

from __future__ import annotations

import typing
from collections.abc import Iterator
from dataclasses import dataclass
from typing import Annotated, Any, Literal

from pydantic import Discriminator, Tag

from pva.scenario.spec_life import (
    BadYearSpec,
    LimitsSpec,
    MatrixSpec,
    MatrixYearsSpec,
    NoBadYearsSpec,
    RecruitmentSpec,
    StageSpec,
    YearEffectsSpec,
)
from pva.scenario.spec_plan import (
    ChanceSpec,
    CollectionSpec,
    GeneticsSpec,
    GoalSpec,
    HostDensitySpec,
    MovementSpec,
    QuasiExtinctionSpec,
    ReleaseSpec,
    RunsSpec,
    SiteSpec,
    SolveSpec,
    StartSpec,
    SurveyGoalSpec,
    YearsSpec,
)
from pva.scenario.spec_rates import GrowthSpec, RateSpec
from pva.scenario.spec_types import Block, Number, Text, key


class CovarianceSpec(Block):
    """Joint covariance of estimates on the link scale."""

    keys: list[Text] = key("Keys of the estimates.", form="[key]", required=True)
    matrix: list[list[Number]] = key("Covariances.", form="rows of numbers", required=True)


class BaseSpec(Block):
    """Values of the base file at which calibrations are solved."""

    stages: list[StageSpec] = key("Stages.", form="as at top level", required=True)
    census: Literal["before breeding", "after breeding"] = key(
        "Census.", form="as at top level", required=True
    )
    numbers: Literal["both sexes", "females"] = key(
        "Sexes counted.", form="as at top level", default="both sexes"
    )
    survival: dict[str, RateSpec] = key(
        "Survival.", form="as at top level", kind="probability", required=True
    )
    growth: dict[str, GrowthSpec] | None = key(
        "Growth.", form="as at top level", kind="probability"
    )
    recruitment: RecruitmentSpec = key("Recruitment.", form="as at top level", required=True)
    site: Text = key("Name of the first site.", form="text", required=True)
    area_m2: Number | None = key("Area of the first site, m2.", form="number above 0")
    hosts: dict[str, HostDensitySpec] | None = key(
        "Hosts of the first site.", form="as at a site"
    )


def _bad_years_form(value: Any) -> str:
    return "‹none›" if isinstance(value, dict | NoBadYearsSpec) else "‹rows›"


BadYears = Annotated[
    Annotated[list[BadYearSpec], Tag("‹rows›")] | Annotated[NoBadYearsSpec, Tag("‹none›")],
    Discriminator(_bad_years_form),
]


class ScenarioSpec(Block):
    """A scenario as written, `extends` already followed."""

    title: Text = key("Title, one line.", form="text", required=True)
    species: Text | None = key("Species.", form="text", default_words="empty")
    description: Text | None = key("What the scenario asks.", form="text", default_words="empty")
    extends: Text | None = key(
        "Scenario that this one changes: only what is written is replaced, lists by `name` where "
        "rows have one, else whole; an empty value (null) takes a key away.",
        form="path",
    )
    estimates: Text | None = key("The estimates file.", form="path")
    years: YearsSpec = key("First and last census.", form="{first, last}", required=True)
    census: Literal["before breeding", "after breeding"] = key(
        "Whether the yearly census stands before or after breeding.",
        form="before breeding or after breeding", required=True,
    )
    numbers: Literal["both sexes", "females"] = key(
        "What the numbers count; `females` fixes the share of females at 1.",
        form="both sexes or females", default="both sexes",
    )
    stages: list[StageSpec] | None = key("Stages of life, in life order.", form="rows")
    survival: dict[str, RateSpec] | None = key(
        "Chance of living one year, by stage.", form="{stage: RATE}", kind="probability"
    )
    growth: dict[str, GrowthSpec] | None = key(
        "Chance that a survivor moves on within the year, by stage; not written for stages of "
        "fixed years.",
        form="{stage: RATE} or {stage: {stage: RATE}}", kind="probability",
    )
    recruitment: RecruitmentSpec | None = key(
        "Young: per adult, or through hosts.", form="keys of recruitment"
    )
    matrix: MatrixSpec | None = key(
        "A published matrix in place of stages, survival, growth and recruitment.",
        form="{stages, adults, survival_and_growth, recruitment}",
    )
    year_sd: MatrixYearsSpec | None = key(
        "How years differ, with a matrix only.", form="{survival, recruitment}", default_words="0"
    )
    movement: list[MovementSpec] | None = key(
        "Movement between sites.", form="rows", default_words="none"
    )
    year_effects: YearEffectsSpec = key(
        "How the luck of years is shared.", form="{between_rates, between_sites, carry_over}",
        default=YearEffectsSpec(), default_words="0, 1, 0",
    )
    bad_years: BadYears = key(
        "Kinds of bad years, or `{none: reason}`.", form="rows or {none: reason}", required=True
    )
    limits: LimitsSpec | None = key(
        "Limits of space, for every site alike.", form="{ceiling, beverton_holt, ricker}",
        default_words="none",
    )
    start: StartSpec | None = key(
        "Animals at the first census, for sites without a start of their own.",
        form="{stage: number}, {estimate} or {project_from}",
    )
    sites: list[SiteSpec] | None = key(
        "Sites.", form="rows", default_words="one site called `site`"
    )
    releases: list[ReleaseSpec] | None = key("Releases.", form="rows", default_words="none")
    collections: list[CollectionSpec] | None = key(
        "Animals taken from sites.", form="rows", default_words="none"
    )
    quasi_extinction: QuasiExtinctionSpec = key(
        "When the population counts as as good as gone.", form="{adults_below, from, where}",
        required=True,
    )
    goals: list[GoalSpec] | None = key("Recovery goals.", form="rows", default_words="none")
    survey_goals: list[SurveyGoalSpec] | None = key(
        "Goals on survey estimates.", form="rows", default_words="none"
    )
    chance_wanted: Number = key(
        "Chance of meeting all goals that is wanted.", form="number", default=0.9, low=0, high=1
    )
    solve: SolveSpec | None = key(
        "What `pva stock` varies.", form="{vary, releases, most}",
        default_words="number of all releases",
    )
    chance: ChanceSpec = key(
        "Layers of chance that are on.", form="{unknown, years, individuals}",
        default=ChanceSpec(), default_words="all on",
    )
    genetics: GeneticsSpec | None = key(
        "For heterozygosity kept.", form="{ne_over_n, founders}",
        default_words="no heterozygosity",
    )
    runs: RunsSpec = key(
        "How much is simulated.", form="{draws, replicates, seed, keep_trajectories}",
        required=True,
    )
    covariance: CovarianceSpec | None = key(
        "Joint covariance of the estimates used.", form="{keys, matrix}", twin_only=True
    )
    calibration_base: BaseSpec | None = key(
        "Values of the base file at which calibrations are solved.", form="keys of the base file",
        twin_only=True,
    )
    warnings: list[Text] | None = key(
        "Warnings raised when the scenario was resolved.", form="[text]", twin_only=True
    )


@dataclass(frozen=True)
class KeyWords:
    """One line of the reference of keys."""

    path: str
    form: str
    meaning: str
    default: str
    required: bool
    twin_only: bool


def every_key() -> list[KeyWords]:
    """All keys of the written form, in order; rows as ``[]``, free names in capitals.

    Returns
    -------
    list of KeyWords
        One entry a key; RATE is described once, under ``RATE``.
    """
    return list(_keys_of(ScenarioSpec, "")) + list(_keys_of(RateSpec, "RATE."))


def _keys_of(block: type[Block], prefix: str) -> Iterator[KeyWords]:
    for name, info in block.model_fields.items():
        path = prefix + (info.alias or name)
        words = info.json_schema_extra
        default = words["default_words"]
        if not default and not info.is_required() and isinstance(info.default, str | int | float):
            default = _plain(info.default)
        yield KeyWords(path, words["form"], info.description, default,
                       info.is_required() or words["partly"],
                       words["twin_only"])
        if path != "calibration_base":
            for inner, ending in _blocks_in(info.annotation):
                if inner is not RateSpec and not (prefix and inner in _ONCE):
                    yield from _keys_of(inner, path + ending + ".")


_ONCE = (RecruitmentSpec, LimitsSpec, StartSpec)


def _plain(value: Any) -> str:
    if isinstance(value, bool):
        return "on" if value else "off"
    return f"{value:g}" if isinstance(value, int | float) else str(value)


def _blocks_in(annotation: Any, ending: str = "") -> Iterator[tuple[type[Block], str]]:
    if isinstance(annotation, type) and issubclass(annotation, Block):
        yield annotation, ending
        return
    origin, inside = typing.get_origin(annotation), typing.get_args(annotation)
    if origin is list:
        ending += "[]"
    if origin is dict:
        ending, inside = ending + ".NAME", inside[1:]
    if origin is Annotated:
        inside = inside[:1]
    for part in inside:
        yield from _blocks_in(part, ending)

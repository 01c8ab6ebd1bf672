"""The life cycle as written: stages or a matrix, recruitment, year effects, bad years, limits."""

from __future__ import annotations

from typing import Annotated, Any

from pydantic import BeforeValidator, Discriminator, Tag
from pydantic_core import PydanticCustomError

from pva.scenario.spec_rates import RateOrCalibrated, RateSpec
from pva.scenario.spec_types import Block, Number, Switch, Text, Whole, key, to_number


class StageSpec(Block):
    """One stage of life, in life order."""

    name: Text = key("Name of the stage.", form="text", required=True)
    years: Whole | None = key("Fixed number of years spent in it.", form="whole number", low=1)
    length_mm: tuple[Number, Number] | None = key("Range of lengths, mm.", form="[low, high]")
    breeds: Switch = key("Whether animals of this stage breed.", form="on/off", default=False)
    adult: Switch | None = key(
        "Whether they count as adults.", form="on/off", default_words="as `breeds`"
    )


class MatrixSpec(Block):
    """A published projection matrix, in place of stages, survival, growth and recruitment."""

    stages: list[Text] = key("Names of the stages, in life order.", form="[text]", required=True)
    adults: list[Text] | None = key(
        "Stages that count as adults.", form="[stage]", default_words="stages with recruitment"
    )
    survival_and_growth: list[list[Number]] = key(
        "Share of the animals of a column that is in the stage of the row a year later; a column "
        "may not sum above 1.",
        form="rows of numbers", required=True,
    )
    recruitment: list[list[Number]] = key(
        "Young in the stage of the row at the next census per animal of the column.",
        form="rows of numbers", required=True,
    )


class FertilisedSpec(Block):
    """Share fertilised, by density of mature animals."""

    half_density: Number | None = key(
        "D50 in D / (D + D50): animals per m2 at which half is fertilised.", form="number"
    )
    scale: Number | None = key("d in 1 - exp(-D / d), animals per m2.", form="number")


class PowerSpec(Block):
    """Glochidia per female as a power law of length."""

    at_1_mm: RateSpec | None = key(
        "Glochidia per gravid female at a length of 1 mm.", form="RATE", kind="positive",
        partly=True,
    )
    power: Number | None = key("Power of length.", form="number", partly=True)


class ImmunitySpec(Block):
    """Immunity of hosts gained from last year's load."""

    most: Number = key("Largest share of glochidia rejected.", form="number", required=True,
                       low=0, high=1)
    half_load: Number = key(
        "Glochidia offered per fish last year at which half of `most` is reached.",
        form="number", required=True,
    )


class HostSpec(Block):
    """A host fish as a host; its density stands with the sites."""

    name: Text = key("Name of the host.", form="text", required=True)
    suitability: RateSpec | None = key(
        "Share of attached glochidia that metamorphose.", form="RATE", kind="probability",
        partly=True,
    )
    contact: RateSpec | None = key(
        "Contact constant a: glochidia meet hosts with chance 1 - exp(-sum of a x fish per "
        "100 m2).",
        form="RATE", kind="positive", partly=True,
    )
    capacity: RateSpec | None = key(
        "Most glochidia one fish can carry.", form="RATE", kind="positive",
        default_words="no saturation",
    )
    immunity: ImmunitySpec | None = key(
        "Immunity from the load offered last year; 0 in the first year.",
        form="{most, half_load}", default_words="none",
    )


class CarriedSpec(Block):
    """Recruits that hosts carry from one site to another."""

    from_: Text = key("Site of birth.", form="site", required=True, alias="from")
    to: Text = key("Site of arrival.", form="site", required=True)
    share: Number = key("Share of the recruits carried.", form="number", required=True,
                        low=0, high=1)


def _is_power(value: Any) -> str:
    if isinstance(value, dict) and ("at_1_mm" in value or "power" in value):
        return "‹power›"
    return "‹power›" if isinstance(value, PowerSpec) else "‹rate›"


GlochidiaSpec = Annotated[
    Annotated[RateSpec, Tag("‹rate›")] | Annotated[PowerSpec, Tag("‹power›")],
    Discriminator(_is_power),
]


class RecruitmentSpec(Block):
    """Recruits per adult, or the chain from females over glochidia and hosts to recruits."""

    per_adult: RateSpec | None = key(
        "Young in stage 1 at the next census per adult (both sexes unless `numbers: females`).",
        form="RATE", kind="positive",
    )
    enters: Text | None = key(
        "Stage that recruits enter.", form="stage", default_words="the first"
    )
    females: RateSpec | None = key(
        "Share of adults that are females.", form="RATE", kind="probability", default_words="0.5"
    )
    gravid: RateSpec | None = key(
        "Share of females gravid in a year.", form="RATE", kind="probability", default_words="1"
    )
    glochidia: GlochidiaSpec | None = key(
        "Glochidia per gravid female and year, or a power law of length averaged over the "
        "lengths of the stage.",
        form="RATE or {at_1_mm: RATE, power}", kind="positive",
    )
    fertilised: FertilisedSpec | None = key(
        "Share fertilised by density of animals that may breed this year, both sexes.",
        form="{half_density} or {scale}", default_words="all",
    )
    attachment: RateOrCalibrated | None = key(
        "Share of glochidia meeting a fish that attach.", form="RATE or {calibrate: ...}",
        kind="probability",
    )
    settlement: RateOrCalibrated | None = key(
        "Share of metamorphosed juveniles alive at the first census.",
        form="RATE or {calibrate: ...}", kind="probability",
    )
    hosts: list[HostSpec] | None = key("Host fishes.", form="rows")
    dispersion: Number | None = key(
        "k of the negative binomial: variance of a site's recruits m + m2/k.",
        form="number above 0", default_words="none: Poisson",
    )
    carried: list[CarriedSpec] | None = key(
        "Recruits carried between sites by hosts.", form="rows", default_words="none"
    )


class RiverSpec(Block):
    """Correlation between sites that fades with distance along the river."""

    river_km: Number = key(
        "Scale: correlation exp(-distance / scale).", form="number above 0", required=True
    )


def _is_mapping(value: Any) -> str:
    return "‹mapping›" if isinstance(value, dict | Block) else "‹number›"


class YearEffectsSpec(Block):
    """How the luck of years is shared between rates, sites and years."""

    between_rates: Annotated[
        Annotated[Number, Tag("‹number›")]
        | Annotated[dict[str, dict[str, Number]], Tag("‹mapping›")],
        Discriminator(_is_mapping),
    ] = key(
        "Correlation between rates that have `year_sd`, host densities included: one number, or "
        "pairs by key path such as `survival/adult`; pairs not written are 0.",
        form="number or {rate: {rate: number}}", default=0.0,
    )
    between_sites: Annotated[
        Annotated[Number, Tag("‹number›")] | Annotated[RiverSpec, Tag("‹mapping›")],
        Discriminator(_is_mapping),
    ] = key(
        "Correlation of the same rate between sites.", form="number or {river_km: scale}",
        default=1.0,
    )
    carry_over: Number = key(
        "Correlation of one year with the next.", form="number", default=0.0, low=-0.999, high=0.999
    )


def to_strikes(value: Any) -> str | float:
    """``together``, ``separately`` or a correlation."""
    if value in ("together", "separately"):
        return value
    try:
        return to_number(value)
    except PydanticCustomError:
        needed = "`together`, `separately` or a correlation from 0 to 1"
        raise PydanticCustomError("form", "{needed}", {"needed": needed}) from None


NumberOrByStage = Annotated[
    Annotated[Number, Tag("‹number›")] | Annotated[dict[str, Number], Tag("‹mapping›")],
    Discriminator(_is_mapping),
]


class BadYearSpec(Block):
    """A kind of bad year."""

    name: Text = key("Name of the kind.", form="text", required=True)
    chance: Number | None = key(
        "Chance per year that one starts.", form="number", low=0, high=1
    )
    years: list[Whole] | None = key("Years in which it happens for certain.", form="[year]")
    length: Whole = key("Length in years.", form="whole number", default=1, low=1)
    survival: NumberOrByStage | None = key(
        "Multiplier on survival, for all stages or by stage.", form="number or {stage: number}",
        default_words="1", low=0, high=1,
    )
    recruitment: Number = key("Multiplier on recruitment.", form="number", default=1.0, low=0)
    hosts: Number = key("Multiplier on host densities.", form="number", default=1.0, low=0)
    strikes: Annotated[str | float, BeforeValidator(to_strikes)] = key(
        "Whether it strikes the sites together, separately, or with a correlation of the "
        "underlying normal.",
        form="together, separately or a number", default="together",
    )


class NoBadYearsSpec(Block):
    """No bad years, with the reason why."""

    none: Text = key("Why there are no bad years.", form="text", required=True)


class CeilingSpec(Block):
    """A ceiling on adults or on all animals of a site."""

    adults: Number | None = key(
        "Most adults at a site; adults are removed at random.", form="number", low=0, count=True
    )
    animals: Number | None = key(
        "Most animals at a site; removed from all stages and origins alike.", form="number", low=0,
        count=True,
    )


class CrowdingSpec(Block):
    """Number of adults at which crowding cuts recruitment."""

    adults: Number = key(
        "K, in animals at the site that may breed this year.", form="number above 0", required=True
    )


class LimitsSpec(Block):
    """Limits of space, per site."""

    ceiling: CeilingSpec | None = key(
        "Ceiling, rounded down; cancels `capacity_per_m2`.", form="{adults} or {animals}",
        default_words="none",
    )
    beverton_holt: CrowdingSpec | None = key(
        "Recruits divided by 1 + A / K.", form="{adults}", default_words="none"
    )
    ricker: CrowdingSpec | None = key(
        "Recruits times exp(-A / K).", form="{adults}", default_words="none"
    )


class MatrixYearsSpec(Block):
    """How years differ, for a matrix."""

    survival: NumberOrByStage | None = key(
        "SD of the yearly survival of a stage (column sum), for all stages or by stage; one "
        "shared normal.",
        form="number or {stage: number}", default_words="0", low=0,
    )
    recruitment: NumberOrByStage | None = key(
        "SD of each recruitment entry, for all or by stage of the parents; one shared normal.",
        form="number or {stage: number}", default_words="0", low=0,
    )



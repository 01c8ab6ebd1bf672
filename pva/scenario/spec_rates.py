"""RATE as written: a best value, what we do not know, how years differ, and where it comes from."""

from __future__ import annotations

from typing import Annotated, Any, Literal

from pydantic import BeforeValidator, Discriminator, Tag, model_validator
from pydantic_core import PydanticCustomError

from pva.scenario.spec_types import Block, Number, Text, Whole, key, to_number, to_text
from pva.sources import KINDS

RATE_KEYS = (
    "value", "se", "interval", "distribution", "year_sd", "by_year", "source", "estimate",
    "published", "link", "draw",
)
RATE_FORM = (
    "a number, or a mapping with `value`, or `{estimate: KEY}`, or `{published: KEY}`"
)


def to_source(value: Any) -> dict[str, str]:
    """One kind of source and its words, ``{measured: recaptures 2018-2025}``."""
    if isinstance(value, dict) and len(value) == 1:
        kind, words = next(iter(value.items()))
        if kind in KINDS:
            return {kind: "" if words in (None, "") else to_text(words)}
    needed, todo = "one kind of source with its words", (
        f"Write it like `{{assumed: expert range}}`; kinds are {', '.join(KINDS)}."
    )
    raise PydanticCustomError("form", "{needed}", {"needed": needed, "todo": todo})


class LinkSpec(Block):
    """Moments of an estimated rate on the link scale."""

    mean: Number = key("Mean over years on the link scale.", form="number", required=True)
    se: Number = key("Standard error of `mean`.", form="number", default=0.0, low=0)
    year_sd: Number = key("SD of years on the link scale.", form="number", default=0.0, low=0)


class RateSpec(Block):
    """RATE: one vital rate with its doubt, its years and its source."""

    value: Number | None = key(
        "Best value: the mean over years without named bad years, per year. Left out, it is the "
        "first entry of `by_year`, or the middle of the interval's law.",
        form="number",
    )
    se: Number | None = key(
        "Standard error: what we do not know. Alone it means logit-normal for a probability and "
        "lognormal for a positive rate.",
        form="number", low=0,
    )
    interval: tuple[Number, Number] | None = key(
        "95 % interval in place of `se`; alone it is normal on the link scale. For uniform, "
        "log-uniform and triangular laws it holds the bounds.",
        form="[low, high]",
    )
    distribution: (
        Literal[
            "logit-normal", "beta", "lognormal", "normal", "uniform", "log-uniform", "triangular"
        ]
        | None
    ) = key(
        "Law of what we do not know.", form="name of a law",
        default_words="normal on the link scale",
    )
    year_sd: Number | None = key(
        "SD between years on the natural scale, process variance only.",
        form="number", default_words="0", low=0,
    )
    by_year: dict[Whole, Number] | None = key(
        "Best values that hold from the year named until the next year named.",
        form="{year: value}",
    )
    source: Annotated[dict[str, str], BeforeValidator(to_source)] | None = key(
        "Where the number comes from.", form="{kind: words}", default_words="given, no source"
    )
    estimate: Text | None = key(
        "Key in the estimates file. Other keys written beside it replace that part of the "
        "estimate, on the natural scale.",
        form="key",
    )
    published: Text | None = key(
        "Key in the catalogue of published values. Other keys written beside it replace that "
        "part of the entry.",
        form="key",
    )
    link: LinkSpec | None = key(
        "Link-scale moments taken from an estimates file; `estimate` is then a label only.",
        form="{mean, se, year_sd}", twin_only=True,
    )
    draw: Text | None = key(
        "Name of the parameter draw, where it is not the path of the rate.", form="text",
        twin_only=True,
    )

    @model_validator(mode="before")
    @classmethod
    def _bare_number(cls, data: Any) -> Any:
        if isinstance(data, dict | RateSpec):
            return data
        try:
            return {"value": to_number(data)}
        except PydanticCustomError:
            if isinstance(data, float):
                raise
            raise PydanticCustomError("form", "{needed}", {"needed": RATE_FORM}) from None


class CalibrateSpec(Block):
    """A rate solved so that a target holds at a stated host and adult density."""

    recruits_per_adult: RateSpec | None = key(
        "Target: young in stage 1 at the next census per adult.", form="RATE", kind="positive"
    )
    growth_rate: RateSpec | None = key(
        "Target: yearly growth rate of the population.", form="RATE", kind="positive"
    )
    glochidia_per_host: RateSpec | None = key(
        "Target: glochidia carried per fish.", form="RATE", kind="positive"
    )
    hosts_per_100m2: Number | None = key(
        "Fish per 100 m2 at which the target holds: all hosts together, split as at the first "
        "site.",
        form="number", partly=True, low=0,
    )
    adults_per_m2: Number | None = key(
        "Breeding adults per m2 at which the target holds.", form="number", partly=True, low=0
    )


class CalibratedSpec(Block):
    """Wrapper that tells a calibrated rate from a given one."""

    calibrate: CalibrateSpec = key(
        "Solve the rate so that a target holds at the best values of the base file.",
        form="{recruits_per_adult | growth_rate | glochidia_per_host: RATE, hosts_per_100m2, "
        "adults_per_m2}",
        required=True,
    )


def _is_calibrated(value: Any) -> str:
    has = isinstance(value, CalibratedSpec) or isinstance(value, dict) and "calibrate" in value
    return "‹calibrated›" if has else "‹rate›"


def _is_shares(value: Any) -> str:
    if isinstance(value, dict) and value and not any(k in RATE_KEYS for k in value):
        return "‹stages›"
    return "‹rate›"


RateOrCalibrated = Annotated[
    Annotated[RateSpec, Tag("‹rate›")] | Annotated[CalibratedSpec, Tag("‹calibrated›")],
    Discriminator(_is_calibrated),
]
GrowthSpec = Annotated[
    Annotated[RateSpec, Tag("‹rate›")] | Annotated[dict[str, RateSpec], Tag("‹stages›")],
    Discriminator(_is_shares),
]

"""Places and plans as written: sites, start, releases, movement, goals, runs."""

from __future__ import annotations

from typing import Annotated, Any, Literal

from pydantic import ConfigDict, Discriminator, Tag

from pva.scenario.spec_life import LimitsSpec, RecruitmentSpec
from pva.scenario.spec_rates import GrowthSpec, RateSpec
from pva.scenario.spec_types import Block, Number, Switch, Text, Where, Whole, key

MEASURES = (
    "adults", "animals", "wild_adults", "stocked_adults", "females", "recruits", "adults_per_m2",
    "sites_occupied", "replacement_ratio", "wild_share", "heterozygosity", "glochidia_per_host",
    "cost",
)
Measure = Literal[MEASURES]
MOST_YEAR = 100_000
MOST_SEED = 2**64 - 1


class YearsSpec(Block):
    """First and last census."""

    first: Whole = key("Year of the first census.", form="year", required=True, low=-MOST_YEAR,
                       high=MOST_YEAR)
    last: Whole = key("Year of the last census.", form="year", required=True, low=-MOST_YEAR,
                      high=MOST_YEAR)


class StartSpec(Block):
    """Animals at the census of the first year."""

    model_config = ConfigDict(extra="allow", frozen=True)
    __pydantic_extra__: dict[str, RateSpec]

    estimate: Text | None = key("Key in the estimates file, with numbers by stage.", form="key")
    project_from: Literal["releases"] | None = key(
        "Start with no animals; all come from releases.", form="releases"
    )

    @property
    def numbers(self) -> dict[str, RateSpec]:
        """Numbers by stage, or under ``animals``."""
        return dict(self.__pydantic_extra__ or {})


class HostDensitySpec(Block):
    """Density of one host at one site."""

    per_100m2: RateSpec | None = key(
        "Fish per 100 m2; `by_year` for a table of years.", form="RATE", kind="positive"
    )
    until: Whole | None = key("Last year without fish.", form="year")
    blocked: Switch | None = key("Says that fish are kept out through `until`.", form="on")
    then_per_100m2: RateSpec | None = key(
        "Fish per 100 m2 once the ramp is over.", form="RATE", kind="positive"
    )
    ramp_years: Whole | None = key(
        "Years of equal steps up to the full density.", form="whole number", default_words="1",
        low=1,
    )


class SiteSpec(Block):
    """A site, and only what differs there."""

    name: Text = key("Name of the site.", form="text", required=True)
    area_m2: Number | None = key("Area, m2.", form="number above 0")
    river_km: Number | None = key("Place along the river, km.", form="number")
    start: StartSpec | None = key(
        "Animals at the first census.", form="{stage: number}, {estimate} or {project_from}",
        default_words="the top-level start",
    )
    capacity_per_m2: Number | None = key(
        "Adults per m2 the site can hold: a ceiling on adults unless a ceiling is written.",
        form="number", default_words="no ceiling", low=0,
    )
    survival: dict[str, RateSpec] | None = key(
        "Survival where it differs here; a bare number replaces the value and keeps the rest.",
        form="{stage: RATE}", kind="probability",
    )
    growth: dict[str, GrowthSpec] | None = key(
        "Growth where it differs here.", form="{stage: RATE}", kind="probability"
    )
    recruitment: RecruitmentSpec | None = key(
        "Recruitment where it differs here.", form="keys of recruitment"
    )
    limits: LimitsSpec | None = key(
        "Limits of this site; each key replaces the top-level one.", form="keys of limits"
    )
    role: Literal["donor"] | None = key(
        "`donor` for a bed that animals are taken from.", form="donor"
    )
    hosts: dict[str, HostDensitySpec] | None = key(
        "Density of each host here.",
        form="{host: {per_100m2: RATE}} or {host: {until, blocked: true, then_per_100m2, "
        "ramp_years}}",
        default_words="0 fish",
    )


class DeliveredSpec(Block):
    """Share of the planned animals that is delivered."""

    mean: Number = key("Mean share.", form="number", default=1.0, low=0, high=1)
    sd: Number = key("SD of the share, logit-normal, own per row and year.", form="number",
                     default=0.0, low=0)


class UntilSpec(Block):
    """When a release stops for good."""

    measure: Measure = key("Yearly measure that is watched.", form="measure", required=True)
    at_least: Number = key("Value to be reached.", form="number", required=True)
    where: Where = key("River, or sites summed.", form="river or [site]", default="river")
    running: Whole = key("Years running.", form="whole number", default=1, low=1)


class RepeatSpec(Block):
    """When a release is repeated after its planned years."""

    measure: Measure = key("Yearly measure that is watched.", form="measure", required=True)
    at_most: Number = key("Value at or below which animals are ordered again.", form="number",
                          required=True)
    where: Where = key("River, or sites summed.", form="river or [site]", default="river")
    running: Whole = key("Years running.", form="whole number", default=1, low=1)
    last: Whole | None = key("Last year of release.", form="year",
                             default_words="the year before the last")


def _is_table(value: Any) -> str:
    return "‹mapping›" if isinstance(value, dict) else "‹number›"


Numbers = Annotated[
    Annotated[Number, Tag("‹number›")] | Annotated[dict[Whole, Number], Tag("‹mapping›")],
    Discriminator(_is_table),
]


class ReleaseSpec(Block):
    """Animals released, each year just after the census."""

    name: Text | None = key("Name of the row.", form="text", default_words="STAGE at SITE")
    site: Text | None = key("Site of release.", form="site", default_words="the only site")
    stage: Text = key("Stage released.", form="stage", required=True)
    age: Whole | None = key(
        "Year within a stage of fixed years, first = 1.", form="whole number", default_words="1",
        low=1,
    )
    source: Text = key("Hatchery, or the site the animals are taken from.", form="text",
                       default="hatchery")
    number: Numbers = key("Animals per release year, or by year.", form="number or {year: number}",
                          required=True, low=0, count=True)
    first: Whole | None = key("First year; alone, the only one.", form="year")
    last: Whole | None = key("Last year.", form="year", default_words="as `first`")
    interval: Whole | None = key("Years from one release to the next.", form="whole number",
                                 default_words="1", low=1)
    order_lead: Whole = key("Years from order to release.", form="whole number", default=0, low=0)
    delivered: DeliveredSpec = key(
        "Share of the planned number that is delivered.", form="{mean, sd}",
        default_words="1, always",
    )
    first_year_survival: RateSpec | None = key(
        "Survival of the year of release, in place of the stage's own. From a `release/...` "
        "estimate it multiplies the stage's survival of that year.",
        form="RATE", kind="probability", default_words="survival of the stage",
    )
    times_survival: Switch | None = key(
        "Whether `first_year_survival` multiplies that year's survival of the stage.",
        form="on/off", default_words="on for a `release/...` estimate", twin_only=True,
    )
    cost_each: Number = key(
        "Cost of one animal: of those planned in totals and order sheets, of those delivered in "
        "the measure `cost`.", form="number", default=0.0, low=0)
    mothers_per_1000: Number = key(
        "Gravid females needed for 1,000 animals.", form="number", default=0.0, low=0
    )
    delivered_so_far: dict[Whole, Number] | None = key(
        "Animals really released so far, by year: they replace the planned years up to the last of "
        "them, where a year not written means none.",
        form="{year: number}", default_words="none yet", low=0, count=True,
    )
    made: Switch | None = key(
        "Says that the row was released already: it is neither varied nor ordered.",
        form="on/off", default_words="off", twin_only=True,
    )
    until: UntilSpec | None = key(
        "Stops the release after the census at which a measure holds.",
        form="{measure, at_least, where, running}", default_words="never",
    )
    repeat: RepeatSpec | None = key(
        "Repeats the number of the last planned year in later years: ordered at a census at which "
        "the measure is low, released `order_lead` years after it.",
        form="{measure, at_most, where, running, last}", default_words="never",
    )


class CollectionSpec(Block):
    """Animals taken from a site just after the census."""

    name: Text | None = key("Name of the row.", form="text", default_words="STAGE from SITE")
    site: Text | None = key("Site.", form="site", default_words="the only site")
    stage: Text = key("Stage taken.", form="stage", required=True)
    number: Numbers = key("Animals per year, or by year.", form="number or {year: number}",
                          required=True, low=0, count=True)
    first: Whole | None = key("First year; alone, the only one.", form="year")
    last: Whole | None = key("Last year.", form="year", default_words="as `first`")
    interval: Whole | None = key("Years from one to the next.", form="whole number",
                                 default_words="1", low=1)


class MovementSpec(Block):
    """Animals that move once a year, after growth."""

    stage: Text = key("Stage, or `all`.", form="stage or all", required=True)
    from_: Text = key("Site left.", form="site", required=True, alias="from")
    to: Text = key("Site reached, or `lost`.", form="site or lost", required=True)
    share: RateSpec = key("Share that moves.", form="RATE", kind="probability", required=True)


class QuasiExtinctionSpec(Block):
    """Number of adults below which the population counts as as good as gone."""

    adults_below: Number = key("Threshold, adults.", form="number", required=True, low=0,
                               count=True)
    from_: Whole | None = key(
        "First census that counts.", form="year", alias="from",
        default_words="year after the last release, or first + 1",
    )
    where: Where = key("Where, as in goals.", form="as in goals", default="river")


class GoalSpec(Block):
    """A recovery goal."""

    name: Text | None = key("Name of the goal.", form="text", default_words="the goal in words")
    measure: Measure = key("Yearly measure.", form="measure", required=True)
    at_least: Number | None = key("Value to be reached.", form="number")
    at_most: Number | None = key("Value not to be passed.", form="number")
    in_: Whole | None = key("The year in which it must hold.", form="year", alias="in")
    in_years: tuple[Whole, Whole] | None = key(
        "First and last year; every year of them unless said otherwise.", form="[first, last]"
    )
    of_years: Whole | None = key("Years of `in_years` that are enough.", form="whole number", low=1)
    running: Whole | None = key("Years running that are enough.", form="whole number", low=1)
    where: Where = key(
        "The river; each site or a number of sites, judged one by one; or sites summed.",
        form="river, each site, a number, or [site]", default="river",
    )


class SurveyGoalSpec(Block):
    """A goal on what a survey shows."""

    name: Text = key("Name of the goal.", form="text", required=True)
    estimate: Text = key("Key in the estimates file.", form="key", required=True)
    lower_limit_at_least: Number = key(
        "Value the lower confidence limit must reach.", form="number", required=True
    )
    confidence: Number = key("One-sided confidence.", form="number", default=0.95,
                             low=0.5, high=0.9999)


class OptionSpec(Block):
    """One way to stock, held against others."""

    name: Text = key("Name of the option.", form="text", required=True)
    releases: list[Text] = key("Rows that make it up, scaled alike.", form="[release]",
                               required=True)


class SolveSpec(Block):
    """What `pva stock` varies."""

    vary: Literal["number", "total", "mothers"] = key(
        "Number per release year, total, or mothers.", form="number, total or mothers",
        default="number",
    )
    releases: list[Text] | None = key(
        "Rows that are scaled alike.", form="[release]", default_words="all"
    )
    options: list[OptionSpec] | None = key(
        "Ways to stock held against each other, in place of `releases`: each is varied alone, with "
        "the rows of the others at none; rows in no option stay as written.",
        form="[{name, releases}]", default_words="none",
    )
    most: Number = key("Largest number tried.", form="number above 0", default=10000.0,
                       count=True)


class ChanceSpec(Block):
    """Layers of chance that are on."""

    unknown: Switch = key("What we do not know.", form="on/off", default=True)
    years: Switch = key("How years differ.", form="on/off", default=True)
    individuals: Switch = key("Chance of single animals.", form="on/off", default=True)


class GeneticsSpec(Block):
    """What is needed for heterozygosity kept."""

    ne_over_n: Number = key("Effective over counted adults.", form="number", required=True,
                            low=0, high=2)
    founders: Number = key("Founders, animals.", form="number", required=True)


class RunsSpec(Block):
    """How much is simulated."""

    draws: Whole = key("Parameter draws.", form="whole number", default=200, low=1)
    replicates: Whole = key("Replicates per draw.", form="whole number", default=50, low=1)
    seed: Whole | None = key(
        "Seed of the random numbers; 0 is a seed.", form="whole number",
        default_words="drawn and printed", low=0, high=MOST_SEED,
    )
    keep_trajectories: Whole = key("Trajectories kept.", form="whole number", default=0, low=0)

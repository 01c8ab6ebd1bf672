"""The written form of study.yaml: every key, its type and its default."""

from __future__ import annotations

from typing import Annotated, Any, Literal

from pydantic import BeforeValidator, Field

from pva.field.form import Form
from pva.field.records import COLUMNS

KINDS = ("releases", "visits", "encounters", "reader log", "units", "animals", "hosts")
MARKED_AT_FIRST_CAPTURE = "marked at first capture"
MARKED_AT_RELEASE = "released with a tag"
UNIT_FACTORS = {"mm": 1.0, "cm": 10.0, "m": 1000.0, "inch": 25.4, "m2": 1.0, "ft2": 0.09290304,
                "cm2": 1e-4, "ha": 1e4}

# what a table may hold besides the columns that every reader downstream relies on
EXTRA_TARGETS = {
    "releases": ["remarks"],
    "visits": [],
    "encounters": ["event", "effort_hours", "time", "position", "pass",
                   "datum"],
    "units": ["excavated", "stratum", "start", "animals_found", "remarks"],
    "animals": ["date", "tag", "excavated", "number", "remarks"],
    "hosts": ["area_m2", "pass", "remarks"],
}


def targets(kind: str) -> list[str]:
    """Names that the `columns`, `values` and `fill` of a table of this kind may use."""
    kind = "encounters" if kind == "reader log" else kind
    own = [c for c in COLUMNS[kind] if c != "animal"]
    return own + [c for c in EXTRA_TARGETS[kind] if c not in own]


def _text(value: Any) -> Any:
    """Words of a table stay as written: YAML's own yes/no and numbers become text again."""
    if isinstance(value, bool):
        return "yes" if value else "no"
    return "" if value is None else value


def _words(value: Any) -> Any:
    if not isinstance(value, dict):
        return value
    return {str(_text(k)): _text(v) for k, v in value.items()}


def _fill(value: Any) -> Any:
    return {k: _text(v) for k, v in value.items()} if isinstance(value, dict) else value


def _list(value: Any) -> Any:
    return value if isinstance(value, list) or value is None else [value]


def _header(value: Any) -> Any:
    return 0 if value == "none" else value


def _column(value: Any) -> Any:
    return {"column": value} if isinstance(value, str | int | float) else value


def _share(value: Any) -> Any:
    return {"value": value} if isinstance(value, int | float) else value


def _file(value: Any) -> Any:
    return {"file": value} if isinstance(value, str) else value


class ColumnPart(Form):
    """One column of the table, or a part of its text counted from either end."""

    column: str
    first: int | None = Field(None, ge=1)
    last: int | None = Field(None, ge=1)


Part = Annotated[ColumnPart, BeforeValidator(_column)]


class ColumnSource(Form):
    """Where a value comes from: one column, or several joined; and its unit."""

    column: str | None = None
    first: int | None = Field(None, ge=1)
    last: int | None = Field(None, ge=1)
    join: list[Part] = []
    between: str = ""
    unit: Literal["mm", "cm", "m", "inch", "m2", "ft2", "cm2", "ha"] | None = None

    def parts(self) -> list[ColumnPart]:
        """The pieces of text, in order."""
        if self.column is not None:
            return [ColumnPart(column=self.column, first=self.first, last=self.last)]
        return self.join


Source = Annotated[ColumnSource, BeforeValidator(_column)]
Values = dict[str, Annotated[dict[str, str], BeforeValidator(_words)]]


class TableFile(Form):
    """One table and how to read it."""

    file: str
    sheet: int | str | None = None
    header_row: Annotated[int | None, BeforeValidator(_header), Field(ge=0)] = None
    delimiter: Literal["comma", "semicolon", "tab", "space"] | None = None
    decimal: Literal["point", "comma"] | None = None
    dates: Literal["day first", "month first", "year first"] | None = None
    add_days: int = Field(0, ge=-20_000, le=20_000)
    columns: dict[str, Source] = {}
    values: Values = {}
    fill: Annotated[dict[str, str], BeforeValidator(_fill)] = {}

    @property
    def label(self) -> str:
        """How the account names this table."""
        return self.file if self.sheet is None else f"{self.file} [{self.sheet}]"


class TableSpec(TableFile):
    """A field table; `is` says what kind of fact its rows hold."""

    kind: Literal["releases", "visits", "encounters", "reader log", "units", "animals",
                  "hosts"] = Field(alias="is")


class VisitsSpec(Form):
    """Visits listed in a table, or made of the days on which animals were seen.

    `made_of_days: N` joins a day to the visit before it at the same site when at most N days lie
    from one to the next.
    """

    table: Annotated[TableFile, BeforeValidator(_file)] | None = Field(None, alias="from")
    made_of_days: int | None = Field(None, ge=0)


class SiteSpec(Form):
    """One reach where animals are released or looked for."""

    name: str
    also_called: Annotated[list[str], BeforeValidator(_list)] = []
    area_m2: float | None = Field(None, gt=0)
    river_km: float | None = None
    corners: list[Annotated[list[float], Field(min_length=2, max_length=2)]] = []
    role: Literal["restoration", "donor", "reference", "outside"] = "restoration"
    remarks: str = ""


class StageSpec(Form):
    """A stage of life by length, for transitions and for abundance by stage."""

    name: str
    length_mm: Annotated[list[float], Field(min_length=2, max_length=2)]


class UsedAgainSpec(Form):
    """A tag that was recovered and is on another animal from a day on."""

    tag: str
    from_day: str = Field(alias="from")


class TagsSpec(Form):
    """Tags of test transponders besides those with prefix 999, and tags used again."""

    test_tags: Annotated[list[str], BeforeValidator(_list)] = []
    used_again: list[UsedAgainSpec] = []


class LengthsSpec(Form):
    """Limits for lengths. A shell does not shrink: a larger drop than `drop_mm` is flagged."""

    drop_mm: float = Field(10.0, ge=0)
    largest_mm: float = Field(300.0, gt=0)


class ShellsSpec(Form):
    """Where shells of marked animals are looked for or reported, and which day they stand for."""

    found: Literal["at the site", "anywhere"] = "at the site"
    dated: Literal["when found", "when the animal died"] = "when found"


class GivenSpec(Form):
    """A chance known from elsewhere, with its doubt and its source."""

    value: float = Field(gt=0, le=1)
    se: float = Field(0.0, ge=0)
    source: str


class StayingSpec(Form):
    """Chance that an animal stays at its site for a year: a number, or from meetings outside it."""

    value: float | None = Field(None, gt=0, le=1)
    se: float = Field(0.0, ge=0)
    source: str = ""
    outside_searched: float | None = Field(None, gt=0)


class SurvivalSpec(Form):
    """How survival is to be told apart, and what it is corrected for."""

    differs_by: Annotated[list[str], BeforeValidator(_list)] = []
    release: Literal["separate", "pooled"] = "separate"
    bad_years: Annotated[list[str], BeforeValidator(_list)] = []
    shells: ShellsSpec = ShellsSpec()
    staying: StayingSpec | None = None
    tag_retention: GivenSpec | None = None
    average: bool = False
    fit_simulations: int = Field(0, ge=0, le=10000)


class DetectionSpec(Form):
    """How the chance of being found is to be told apart."""

    differs_by: Annotated[list[str], BeforeValidator(_list)] = []
    availability: GivenSpec | None = None


class GrowthSpec(Form):
    """Months (first, last) in which shells grow, what growth differs by, and how steps are made."""

    season: Annotated[list[int], Field(min_length=2, max_length=2)] = [4, 10]
    differs_by: Annotated[list[str], BeforeValidator(_list)] = []
    handling: Literal["none", "release", "each"] = "none"
    steps: Literal["animals followed", "stage duration"] = "animals followed"
    population_growth: float = Field(1.0, gt=0.5, lt=2)


class ShareSpec(Form):
    """A share that is found, with its doubt and where it comes from."""

    value: float = Field(gt=0, le=1)
    interval: Annotated[list[float], Field(min_length=2, max_length=2)] | None = None
    source: str = ""


Share = Annotated[ShareSpec, BeforeValidator(_share)]


class StratumSpec(Form):
    """A part of a site that was sampled by itself."""

    name: str
    site: str
    area_m2: float = Field(gt=0)
    transects: Annotated[list[str], BeforeValidator(_list)] = []
    cost_each: float = Field(1.0, gt=0)


class UnitsDugSpec(Form):
    """How many units a survey dug, blank ones too, by the field sheet."""

    site: str
    survey: str
    number: int = Field(gt=0)


class DensitySpec(Form):
    """How units were laid out, and which share of the animals in a unit is found."""

    design: Literal["simple", "stratified", "systematic", "double"] = "simple"
    strata: list[StratumSpec] = []
    double_by: Literal["ratio", "regression"] = "ratio"
    units_dug: list[UnitsDugSpec] = []
    efficiency: Share | None = None
    surface_finds: dict[str, Share] = {}


class RecruitsSpec(Form):
    """Which unmarked animals may be recruits, and what a stocked animal may have become."""

    below_mm: float | None = Field(None, gt=0)
    batch_mark_kept: float | None = Field(None, ge=0, le=1)
    upstream_km: float = Field(0.0, ge=0)


class HostsSpec(Form):
    """What host counts stand for."""

    effort_m2: float | None = Field(None, gt=0)
    efficiency: dict[str, Share] = {}


class MapSpec(Form):
    """A grid of the main scenario, drawn as a map."""

    vary: dict[str, list[float | str]] = Field(min_length=1)
    draws: int | None = Field(None, ge=1)
    replicates: int | None = Field(None, ge=1)


class DonorSpec(Form):
    """The scenario that takes animals from a donor bed; plain text names it alone."""

    scenario: str
    draws: int | None = Field(None, ge=1)
    replicates: int | None = Field(None, ge=1)


def _scenario(value):
    return {"scenario": value} if isinstance(value, str) else value


class SensitivitySpec(Form):
    """How many runs show what the goal depends on."""

    draws: int | None = Field(None, ge=1)
    replicates: int | None = Field(None, ge=1)


def _sensitivity(value):
    """Yes or no, or the runs; a no is nothing at all."""
    return {True: {}, False: None}[value] if isinstance(value, bool) else value


class CheckDataSpec(Form):
    """The scenario that tells the past; plain text names it alone."""

    scenario: str
    hold_out: int | None = None
    draws: int | None = Field(None, ge=1)
    replicates: int | None = Field(None, ge=1)


class ReportSpec(Form):
    """Scenarios that the page answers."""

    main: str | None = None
    compare: Annotated[list[str], BeforeValidator(_list)] = []
    sensitivity: Annotated[SensitivitySpec | None, BeforeValidator(_sensitivity)] = None
    check_data: Annotated[CheckDataSpec | None, BeforeValidator(_scenario)] = None
    donor: Annotated[DonorSpec | None, BeforeValidator(_scenario)] = None
    map: MapSpec | None = None


class StudySpec(Form):
    """study.yaml as written."""

    title: str
    description: str = ""
    species: Annotated[list[str], BeforeValidator(_list)] = []
    sites: list[SiteSpec] = []
    tables: list[TableSpec] = []
    visits: VisitsSpec | None = None
    new_animals: Literal["released with a tag", "marked at first capture"] = MARKED_AT_RELEASE
    tags: TagsSpec = TagsSpec()
    lengths: LengthsSpec = LengthsSpec()
    corrected: str | None = None
    accepted: str | None = None
    stages: list[StageSpec] = []
    survival: SurvivalSpec = SurvivalSpec()
    detection: DetectionSpec = DetectionSpec()
    growth: GrowthSpec = GrowthSpec()
    density: DensitySpec = DensitySpec()
    recruits: RecruitsSpec = RecruitsSpec()
    hosts: HostsSpec = HostsSpec()
    report: ReportSpec = ReportSpec()

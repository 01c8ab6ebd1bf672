"""The scenario with nothing implied: what the model is built from and `pva show` prints.

Every default is filled in, every reference (estimate, published value, `extends`) followed, every
site holds its own complete set of rates. The model reads only this, never the written form.
"""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np

from pva.lifehistory.rates import Rate

BEFORE = "before breeding"
AFTER = "after breeding"
BOTH_SEXES = "both sexes"
FEMALES = "females"
RIVER = "river"
EACH_SITE = "each site"
LOST = "lost"


@dataclass(frozen=True)
class Stage:
    """One stage of life, in life order; `years` (fixed), `length_mm`, or neither (open)."""

    name: str
    years: int | None = None
    length_mm: tuple[float, float] | None = None
    breeds: bool = False
    adult: bool = False


@dataclass(frozen=True)
class Calibration:
    """A rate solved so that a target holds at a stated host and adult density.

    `target` is ``recruits_per_adult``, ``growth_rate`` or ``glochidia_per_host``; `rate` its value.
    """

    target: str
    rate: Rate
    hosts_per_100m2: float | None
    adults_per_m2: float | None


@dataclass(frozen=True)
class Host:
    """A host fish as a host: everything but its density. `capacity` None = no saturation."""

    name: str
    suitability: Rate
    contact: Rate
    capacity: Rate | None = None
    immunity_most: float = 0.0
    immunity_half_load: float = 1.0


@dataclass(frozen=True)
class HostDensity:
    """Fish per 100 m2 of one host at one site.

    `density` is the full density (may hold `by_year`, `year_sd`, `se`). Where `blocked_until` is
    a year Y, density is 0 through Y and rises in equal steps to full in Y + `ramp_years`.
    """

    host: str
    density: Rate
    blocked_until: int | None = None
    ramp_years: int = 1


@dataclass(frozen=True)
class Recruitment:
    """Either `per_adult`, or `entries` (matrix form), or the host chain.

    Parameters
    ----------
    enters : str
        Stage that recruits enter (first age class of it); unused with `entries`.
    entries : mapping of (str, str) to Rate
        (to stage, from stage) -> young per animal; matrix form only.
    glochidia : Rate or None
        Per gravid female and year; with `power` set, the value at 1 mm length.
    fertilised : tuple or None
        ("half_density", D50) or ("scale", d), mature animals of both sexes per m2.
    dispersion : float or None
        k of the negative binomial; None = Poisson.
    """

    enters: str
    dispersion: float | None = None
    per_adult: Rate | None = None
    entries: dict = field(default_factory=dict)
    females: Rate | None = None
    gravid: Rate | None = None
    glochidia: Rate | None = None
    power: float | None = None
    fertilised: tuple[str, float] | None = None
    attachment: Rate | Calibration | None = None
    settlement: Rate | Calibration | None = None
    hosts: tuple[Host, ...] = ()

    @property
    def form(self) -> str:
        """``entries``, ``per_adult`` or ``hosts``."""
        if self.per_adult is not None:
            return "per_adult"
        return "hosts" if self.glochidia is not None else "entries"


@dataclass(frozen=True)
class Limits:
    """Limits of one site; None = absent. Animals, adults or breeding adults at the site."""

    ceiling_animals: float | None = None
    ceiling_adults: float | None = None
    beverton_holt: float | None = None
    ricker: float | None = None


@dataclass(frozen=True)
class Start:
    """Animals at the census of the first year.

    `numbers` maps a stage name, or ``animals`` for a total, to a Rate (kind positive; usually
    without uncertainty; from an estimates file with an interval).
    """

    numbers: dict = field(default_factory=dict)


@dataclass(frozen=True)
class Site:
    """A site with its own complete set of rates."""

    name: str
    start: Start
    survival: dict[str, Rate]
    growth: dict[str, dict[str, Rate]]  # stage -> {stage reached: share of survivors}
    recruitment: Recruitment
    hosts: tuple[HostDensity, ...] = ()  # in the order of recruitment.hosts
    limits: Limits = Limits()
    area_m2: float | None = None
    river_km: float | None = None
    role: str = ""


@dataclass(frozen=True)
class YearEffects:
    """`between_rates`: number, or {(effect, effect): r}; `between_sites`: number, or the scale in
    km given as ``distance_km`` (then `between_sites` is None)."""

    between_rates: float | dict = 0.0
    between_sites: float | None = 1.0
    distance_km: float | None = None
    carry_over: float = 0.0


@dataclass(frozen=True)
class BadYear:
    """A kind of bad year. `strikes`: 1 together, 0 separately, else correlation."""

    name: str
    chance: float = 0.0
    years: tuple[int, ...] = ()
    length: int = 1
    survival: dict[str, float] = field(default_factory=dict)  # every stage -> multiplier
    recruitment: float = 1.0
    hosts: float = 1.0
    strikes: float = 1.0


@dataclass(frozen=True)
class Until:
    """Stops a release after the census at which `measure` has held for `running` years."""

    measure: str
    at_least: float
    where: str | tuple[str, ...] = RIVER
    running: int = 1


@dataclass(frozen=True)
class Repeat:
    """Repeats a release after its planned years, through `last`.

    Animals are ordered at each census at which `measure` has been at most `at_most` for `running`
    years, and released `order_lead` years later.
    """

    measure: str
    at_most: float
    last: int
    where: str | tuple[str, ...] = RIVER
    running: int = 1


@dataclass(frozen=True)
class Release:
    """One row of releases; `numbers` maps year -> planned number.

    `first_year_survival` None = the ordinary survival of the stage. With `times_survival` the
    rate is the release survival R of the estimates and is multiplied by that year's survival.
    `source` is ``hatchery`` (or any text) or the name of a site, then `from_site` is set.
    """

    name: str
    site: str
    stage: str
    numbers: dict[int, float]
    age: int = 1
    source: str = "hatchery"
    from_site: str | None = None
    age_written: bool = False
    order_lead: int = 0
    delivered_mean: float = 1.0
    delivered_sd: float = 0.0
    first_year_survival: Rate | None = None
    times_survival: bool = False
    cost_each: float = 0.0
    mothers_per_1000: float = 0.0
    made: bool = False  # released already: neither varied nor ordered
    until: Until | None = None
    repeat: Repeat | None = None

    @property
    def last_planned(self) -> int:
        """Last year with a planned number."""
        return max(self.numbers)


@dataclass(frozen=True)
class Collection:
    """Animals taken from a site; `numbers` maps year -> number."""

    name: str
    site: str
    stage: str
    numbers: dict[int, float]


@dataclass(frozen=True)
class Movement:
    """Share of a stage that moves once a year, after growth; `to` a site or ``lost``."""

    stage: str  # a stage name or "all"
    from_site: str
    to: str
    share: Rate


@dataclass(frozen=True)
class Carried:
    """Share of the recruits of a site that hosts carry to another."""

    from_site: str
    to: str
    share: float


@dataclass(frozen=True)
class QuasiExtinction:
    """First passage of adults below `adults_below`, counted from census `from_year` on."""

    adults_below: float
    from_year: int
    where: str | int | tuple[str, ...] = RIVER


@dataclass(frozen=True)
class Goal:
    """`measure` at least / at most `value` in every year of `years` (first, last inclusive), or in
    `of_years` of them, or in `running` of them in a row. `where`: ``river``, ``each site``, a
    number of sites, or a tuple of site names summed."""

    name: str
    measure: str
    value: float
    at_most: bool
    years: tuple[int, int]
    of_years: int | None = None
    running: int | None = None
    where: str | int | tuple[str, ...] = RIVER


@dataclass(frozen=True)
class SurveyGoal:
    """A goal on an estimate: its lower confidence limit is at least a value."""

    name: str
    estimate: str
    lower_limit_at_least: float
    confidence: float


@dataclass(frozen=True)
class Option:
    """One way to stock: release rows that are scaled alike."""

    name: str
    releases: tuple[str, ...]


@dataclass(frozen=True)
class Solve:
    """What `pva stock` varies: ``number`` per release year, ``total`` or ``mothers``.

    With `options`, `releases` holds the rows of all of them.
    """

    vary: str
    releases: tuple[str, ...]
    most: float
    options: tuple[Option, ...] = ()


@dataclass(frozen=True)
class Chance:
    """Layers of chance that are on."""

    unknown: bool = True
    years: bool = True
    individuals: bool = True


@dataclass(frozen=True)
class Genetics:
    """`ne_over_n` and the number of `founders`."""

    ne_over_n: float
    founders: float


@dataclass(frozen=True)
class Runs:
    """`seed` None = drawn when run, printed and stored."""

    draws: int = 200
    replicates: int = 50
    seed: int | None = None
    keep_trajectories: int = 0


@dataclass(frozen=True)
class JointCovariance:
    """Covariance of estimates on the link scale. `matrix`: (estimate, estimate)."""

    keys: tuple[str, ...]
    matrix: np.ndarray


@dataclass(frozen=True)
class CalibrationBase:
    """Top-level best values of the base file, where calibrations are solved (6-keys)."""

    stages: tuple[Stage, ...]
    census: str
    numbers: str
    survival: dict[str, Rate]
    growth: dict[str, dict[str, Rate]]
    recruitment: Recruitment
    first_site_hosts: tuple[HostDensity, ...]
    area_m2: float | None = None


@dataclass(frozen=True)
class MatrixWritten:
    """A published matrix as written, kept so that the resolved twin can show it unchanged.

    Rows are stages reached, columns stages left. `survival_sd` and `recruitment_sd`: (stage, SD
    between years) of column sums and of the entries of a parent stage.
    """

    stages: tuple[str, ...]
    adults: tuple[str, ...]
    survival_and_growth: tuple[tuple[float, ...], ...]
    recruitment: tuple[tuple[float, ...], ...]
    survival_sd: tuple[tuple[str, float], ...] = ()
    recruitment_sd: tuple[tuple[str, float], ...] = ()


@dataclass(frozen=True)
class Resolved:
    """The whole question, complete."""

    title: str
    first: int
    last: int
    census: str
    stages: tuple[Stage, ...]
    sites: tuple[Site, ...]
    quasi_extinction: QuasiExtinction
    species: str = ""
    description: str = ""
    numbers: str = BOTH_SEXES
    is_matrix: bool = False
    year_effects: YearEffects = YearEffects()
    bad_years: tuple[BadYear, ...] = ()
    no_bad_years_reason: str | None = None
    releases: tuple[Release, ...] = ()
    collections: tuple[Collection, ...] = ()
    movement: tuple[Movement, ...] = ()
    carried: tuple[Carried, ...] = ()
    goals: tuple[Goal, ...] = ()
    survey_goals: tuple[SurveyGoal, ...] = ()
    chance_wanted: float = 0.9
    solve: Solve | None = None
    chance: Chance = Chance()
    genetics: Genetics | None = None
    runs: Runs = Runs()
    covariance: JointCovariance | None = None
    base: CalibrationBase | None = None
    matrix: MatrixWritten | None = None
    warnings: tuple[str, ...] = ()

    @property
    def years(self) -> range:
        """Census years, first to last inclusive."""
        return range(self.first, self.last + 1)

    def site(self, name: str) -> Site:
        """The site of that name."""
        return next(s for s in self.sites if s.name == name)

    def stage(self, name: str) -> Stage:
        """The stage of that name."""
        return next(s for s in self.stages if s.name == name)

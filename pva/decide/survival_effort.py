"""Tags and visits for a wanted precision of survival, from the expected information of a plan."""

from __future__ import annotations

from dataclasses import asdict, dataclass, replace

import numpy as np
from scipy.special import expit, logit

from pva.decide.effort import check_parts, check_positive, whole_up
from pva.errors import CannotCompute, MeaningError, Problem
from pva.estimate.fit import Design, hessian, objective
from pva.estimate.histories import pack
from pva.estimate.likelihood import ALIVE, NONE, UNSEEN, Histories
from pva.results.summary import plain

MOST_VISITS = 30
FEW_DEATHS = 10  # below which a standard error is a rough guide (judgement)
_Z = 1.959963984540054


@dataclass(frozen=True)
class TagPlan:
    """Animals marked, and visits that look for them.

    Parameters
    ----------
    animals : int
        Marked in each release.
    visits : int
        After the first release, evenly spaced; at least 2.
    releases : int
        The first at the beginning, the others at the first visits.
    interval : float
        Years between visits.
    survival, detection : float
        Yearly survival, and chance that a marked animal that lives is found at a visit.
    release_survival : float or None
        Survival of the release itself, estimated beside later survival; None = all get over it,
        and it is not estimated.
    tag_kept : float
        Yearly chance that a tag stays, taken as known.
    year_sd : float
        How yearly survival differs between years (SD), beyond what animals share by chance.
    cost_tag, cost_visit : float or None
        Money for an animal marked and for a visit.
    """

    animals: int
    visits: int
    releases: int = 1
    interval: float = 1.0
    survival: float = 0.9
    detection: float = 0.5
    release_survival: float | None = None
    tag_kept: float = 1.0
    year_sd: float = 0.0
    cost_tag: float | None = None
    cost_visit: float | None = None

    @property
    def tags(self) -> int:
        """Animals marked in all."""
        return self.animals * self.releases

    @property
    def cost(self) -> float | None:
        """Money in all; None where neither cost is given."""
        if self.cost_tag is None and self.cost_visit is None:
            return None
        return self.tags * (self.cost_tag or 0.0) + self.visits * (self.cost_visit or 0.0)

    def check(self) -> None:
        """Refuse what lies outside its range, or cannot tell survival at all."""
        check_positive(animals=self.animals, releases=self.releases, interval=self.interval,
                       tag_kept=self.tag_kept)
        check_parts(survival=self.survival, detection=self.detection)
        if self.release_survival is not None:
            check_parts(release_survival=self.release_survival)
        if self.visits < 2:
            raise CannotCompute(Problem(
                "one visit cannot tell an animal that died from one that was overlooked",
                "Plan two visits after the first release, or more.",
                done="nothing was computed", code="one-visit"))
        if self.visits > MOST_VISITS or self.releases > self.visits or self.tag_kept > 1:
            raise MeaningError(Problem(
                f"{self.visits} visits, {self.releases} releases, {self.tag_kept:g} of the tags "
                "kept a year", f"Plan at most {MOST_VISITS} visits, no more releases than visits, "
                "and keep at most all tags.", done="nothing was computed", code="effort-range"))


@dataclass(frozen=True)
class SurvivalEffort:
    """Precision that a plan reaches, and what a wanted precision needs.

    Parameters
    ----------
    plan : TagPlan
    se : float
        Standard error of yearly survival averaged over the years followed: animals and years.
    se_animals, se_years : float
        Its two parts: few animals, and few years.
    low, high : float
        95 % interval to be expected.
    se_detection : float
    se_each_interval : tuple of (float or None)
        Standard error of the yearly survival of each interval, were each estimated on its own.
    deaths, sightings : float
        Expected while followed.
    precision : float or None
        Standard error wanted.
    animals_needed : int or None
        In each release, for it; None = no number is enough, the years alone leave more.
    table : tuple of dict
        For other numbers of visits: ``visits, se, animals_needed, cost``.
    """

    plan: TagPlan
    se: float
    se_animals: float
    se_years: float
    low: float
    high: float
    se_detection: float
    se_each_interval: tuple[float | None, ...]
    deaths: float
    sightings: float
    precision: float | None
    animals_needed: int | None
    table: tuple[dict, ...]

    def summary(self) -> dict:
        """Plain dictionary for JSON."""
        plan = asdict(self.plan) | {"tags": self.plan.tags, "cost": self.plan.cost}
        return plain(asdict(self) | {"question": "survival", "plan": plan,
                                     "few_deaths": self.deaths < FEW_DEATHS})


def survival_effort(plan: TagPlan, *, precision: float | None = None) -> SurvivalEffort:
    """Standard error of yearly survival to be expected from a plan of tags and visits.

    The model is *survival constant, detection constant* (release survival its own where given).
    Information is the second derivative of the package's own likelihood at the counts that the plan
    leads one to expect, so it is exact for large samples. Differences between years add their
    own part, which more animals cannot shrink.

    Parameters
    ----------
    plan : TagPlan
    precision : float or None
        Standard error of yearly survival that is wanted, such as 0.02.

    Raises
    ------
    MeaningError
        If a number lies outside its range.
    CannotCompute
        If the plan has fewer than two visits.
    """
    plan.check()
    if precision is not None:
        check_positive(precision=precision)
    animals, detection = _standard_errors(plan)
    years = years_error(plan)
    se = float(np.hypot(animals, years))
    spread = se / (plan.survival * (1 - plan.survival))
    low, high = expit(logit(plan.survival) + np.array([-_Z, _Z]) * spread)
    visits = sorted({*range(2, min(plan.visits + 4, MOST_VISITS + 1))})
    return SurvivalEffort(
        plan=plan, se=se, se_animals=animals, se_years=years, low=float(low), high=float(high),
        se_detection=detection, se_each_interval=_each_interval(plan), deaths=_deaths(plan),
        sightings=_sightings(plan), precision=precision,
        animals_needed=_needed(plan, animals, precision),
        table=tuple(_with_visits(plan, v, precision) for v in visits if v >= plan.releases))


def years_error(plan: TagPlan) -> float:
    """Standard error of mean survival that the number of years leaves by itself."""
    return plan.year_sd / float(np.sqrt(max(plan.visits * plan.interval, 1.0)))


def _needed(plan, animals_se, precision):
    if precision is None:
        return None
    left = precision**2 - years_error(plan) ** 2
    return whole_up(plan.animals * animals_se**2 / left) if left > 0 else None


def _with_visits(plan, visits, precision):
    other = replace(plan, visits=visits)
    animals, _ = _standard_errors(other)
    needed = _needed(other, animals, precision)
    cost = None if needed is None else replace(other, animals=needed).cost
    return {"visits": visits, "se": float(np.hypot(animals, years_error(other))),
            "animals_needed": needed, "cost": cost}


def _standard_errors(plan: TagPlan) -> tuple[float, float]:
    """Of yearly survival and of detection, natural scale, years alike."""
    covariance = _covariance(plan, np.ones((plan.visits, 1)))
    survival, detection = plan.survival, plan.detection
    return (float(np.sqrt(covariance[0, 0]) * survival * (1 - survival)),
            float(np.sqrt(covariance[-1, -1]) * detection * (1 - detection)))


def _each_interval(plan):
    covariance = _covariance(plan, np.eye(plan.visits))
    wide = plan.survival * (1 - plan.survival)
    return tuple(float(np.sqrt(v) * wide) if np.isfinite(v) and v > 0 else None
                 for v in np.diag(covariance)[:plan.visits])


def _covariance(plan: TagPlan, survival: np.ndarray) -> np.ndarray:
    """Expected covariance on the logit scale: survival, release survival, detection in order."""
    release = np.zeros((0, 0)) if plan.release_survival is None else np.ones((1, 1))
    design = Design(survival=survival, detection=np.ones((plan.visits, 1)), release=release)
    levels = [logit(plan.survival)] * survival.shape[1]
    levels += [] if plan.release_survival is None else [logit(plan.release_survival)]
    beta = np.array([*levels, logit(plan.detection)])
    negative = objective(expected_histories(plan), design, np.zeros(beta.size))
    information = hessian(negative, beta)
    if np.linalg.cond(information) > 1e12:
        return np.full(information.shape, np.nan)
    return np.linalg.inv(information)


def expected_histories(plan: TagPlan) -> Histories:
    """Counts to be expected: animals last met at a visit and next met at a later one, or never.

    Every meeting begins a new history, which says the same as whole histories, because what
    comes after a meeting does not depend on what came before it.
    """
    steps, counts = [], []
    met = np.zeros(plan.visits + 1)  # animals met again at each visit (0 = the first release)
    for start in range(plan.visits):
        for number, new in ((plan.animals if start < plan.releases else 0, True),
                            (met[start], False)):
            if number > 0:
                chances, rest = _next_meeting(plan, start, new=new)
                for later, chance in chances.items():
                    met[later] += number * chance
                    steps.append(_steps(plan, start, later, new=new, seen=True))
                    counts.append(number * chance)
                steps.append(_steps(plan, start, plan.visits, new=new, seen=False))
                counts.append(number * rest)
    return pack(steps)._replace(count=np.array(counts))


def _next_meeting(plan, start, *, new):
    """Chance that the next meeting is at each later visit, and that there is none."""
    alive = plan.release_survival if new and plan.release_survival is not None else 1.0
    step = (plan.survival * plan.tag_kept) ** plan.interval
    chances = {}
    for visit in range(start + 1, plan.visits + 1):
        alive *= step
        chances[visit] = alive * plan.detection
        alive *= 1 - plan.detection
    return chances, 1.0 - sum(chances.values())


def _steps(plan, start, end, *, new, seen):
    separate = new and plan.release_survival is not None
    return [(plan.interval, k, 0 if separate and k == start else NONE, NONE, k, NONE,
             plan.tag_kept**plan.interval, ALIVE if seen and k == end - 1 else UNSEEN)
            for k in range(start, end)]


def _deaths(plan):
    """Deaths of marked animals while they are followed."""
    over = 1.0 if plan.release_survival is None else plan.release_survival
    years = [(plan.visits - r) * plan.interval for r in range(plan.releases)]
    return float(sum(plan.animals * (1 - over * plan.survival**y) for y in years))


def _sightings(plan):
    h = expected_histories(plan)
    last = h.first[1:] - 1
    return float(h.count[h.seen[last] == ALIVE].sum())

"""From which year on a survey can tell a plan that will succeed from one that will fail."""

from __future__ import annotations

from dataclasses import asdict, dataclass

import numpy as np
from scipy.stats import t as student

from pva.decide.effort import Digging, Quadrats, check_parts, check_positive
from pva.decide.outcomes import Ready, prepare
from pva.decide.quadrat_effort import relative_variance
from pva.engine.run import simulate
from pva.errors import CannotCompute, MeaningError, Problem
from pva.model.draws import scramble_of_draw
from pva.results.goals import below_by, judge
from pva.results.measures import measure
from pva.results.run import Progress, seed_of
from pva.results.summary import plain
from pva.results.uncertainty import never_limit, wilson
from pva.scenario.scenario import Scenario

COUNTED = ("adults", "animals", "wild_adults", "recruits")
FEWEST = 20  # runs of either outcome below which nothing is said
_STREAM = 0x5EED_0F5A  # keeps the luck of surveys apart from other uses of a seed
_Z = 1.959963984540054


@dataclass(frozen=True)
class YearVerdict:
    """What one survey in a year can tell.

    Parameters
    ----------
    year : int
    at_least : int
        Animals found from which on the survey says success.
    density : float
        The same as animals per m2.
    right_if_success, right_if_failure : float
        Chance that the survey is right about a run that succeeds, and about one that fails.
    right, low, high : float
        The lesser of the two, with its 95 % Monte Carlo interval.
    everything_counted : float
        The lesser of the two if every animal were counted: no survey can do better.
    """

    year: int
    at_least: int
    density: float
    right_if_success: float
    right_if_failure: float
    right: float
    low: float
    high: float
    everything_counted: float


@dataclass(frozen=True)
class SurveyVerdict:
    """Years in which a survey of a given size tells success from failure.

    Parameters
    ----------
    title, digest : str
    seed, draws, replicates : int
    outcome : str
        What success is: ``all goals``, or ``no quasi-extinction`` without goals.
    success : float
        Share of the runs that succeed.
    runs : tuple of int
        Runs that succeed, runs that fail.
    counted : str
        Measure the survey sees.
    sites : tuple of str
    wanted : float
        Chance of being right that is wanted.
    quadrats : Quadrats
    effort : Digging
        Of one survey.
    years : tuple of YearVerdict
        Empty where too few runs succeed, or too few fail.
    year : int or None
        First year in which one survey is right with the chance wanted, whichever outcome is true.
    year_beyond_doubt : int or None
        The same by the low end of the interval.
    year_everything_counted : int or None
        The same if every animal were counted.
    """

    title: str
    digest: str
    seed: int
    draws: int
    replicates: int
    outcome: str
    success: float
    runs: tuple[int, int]
    counted: str
    sites: tuple[str, ...]
    wanted: float
    quadrats: Quadrats
    effort: Digging
    years: tuple[YearVerdict, ...]
    year: int | None
    year_beyond_doubt: int | None
    year_everything_counted: int | None
    warnings: tuple[str, ...] = ()

    def summary(self) -> dict:
        """Plain dictionary as written to ``NAME.verdict.json``."""
        return plain(asdict(self) | {"question": "verdict"})


def survey_verdict(scenario: Scenario, *, number: int, quadrats: Quadrats, counted: str = "adults",
                   sites: tuple[str, ...] = (), wanted: float = 0.8, seed: int | None = None,
                   threads: int | None = None, progress: Progress | None = None
                   ) -> SurveyVerdict:
    """Find the years in which one survey tells success from failure.

    Every run of the scenario is surveyed in every year: quadrats spread over the sites by area,
    each animal found with the chance `quadrats.found`. A survey says *success* where it finds at
    least so many animals, a number chosen for each year so that the lesser of the two chances of
    being right (about runs that succeed, about runs that fail) is as high as can be. The number is
    chosen on one half of the runs and tried on the other.

    Parameters
    ----------
    scenario : Scenario
    number : int
        Quadrats of one survey.
    quadrats : Quadrats
    counted : {'adults', 'animals', 'wild_adults', 'recruits'}
        What the crew counts.
    sites : tuple of str
        Surveyed; empty = all.
    wanted : float
        Chance of being right, whichever outcome is true.
    seed, threads, progress
        As in `pva.run`.

    Raises
    ------
    MeaningError
        If a number, measure or site does not exist.
    CannotCompute
        If a site surveyed has no area.
    """
    resolved = scenario.resolved
    quadrats.check()
    check_positive(number=number)
    check_parts(wanted=wanted)
    where = _places(resolved, counted, sites)
    seed = seed_of(resolved, seed)
    ready = prepare(resolved, seed=seed, threads=threads)
    area = ready.places.area[where]
    if number * quadrats.area_m2 > area.sum():
        raise MeaningError(Problem(
            f"{number} quadrats of {quadrats.area_m2:g} m2 are more than the {area.sum():g} m2 "
            "there are", "Ask for fewer quadrats.", done="nothing was run", code="effort-range"))
    happened, animals = _runs(ready, counted, where, progress)
    found = surveyed(animals, area=area, number=number, quadrats=quadrats,
                     rng=np.random.default_rng([seed, _STREAM]))
    groups = _independent(ready)
    rows: tuple[YearVerdict, ...] = ()
    if min(happened.sum(), (~happened).sum()) >= FEWEST:
        searched = number * quadrats.area_m2 * quadrats.found
        everything = animals.sum(axis=2)
        rows = tuple(_year(resolved.first + y, found[:, y], everything[:, y], happened, groups,
                           searched) for y in range(1, found.shape[1]))
    return SurveyVerdict(
        title=resolved.title, digest=scenario.digest, seed=seed, draws=resolved.runs.draws,
        replicates=resolved.runs.replicates,
        outcome="all goals" if resolved.goals else "no quasi-extinction",
        success=float(happened.mean()), runs=(int(happened.sum()), int((~happened).sum())),
        counted=counted, sites=tuple(resolved.sites[i].name for i in where), wanted=wanted,
        quadrats=quadrats, effort=quadrats.digging(number), years=rows,
        year=_first(rows, "right", wanted), year_beyond_doubt=_first(rows, "low", wanted),
        year_everything_counted=_first(rows, "everything_counted", wanted),
        warnings=(*scenario.warnings, *ready.model.warnings))


def _first(rows, what, wanted):
    return next((r.year for r in rows if getattr(r, what) >= wanted), None)


def _places(resolved, counted, sites) -> np.ndarray:
    names = [s.name for s in resolved.sites]
    unknown = [s for s in sites if s not in names]
    if counted not in COUNTED:
        raise MeaningError(Problem(
            f"a survey does not count `{counted}`", f"Count one of: {', '.join(COUNTED)}.",
            done="nothing was run", code="not-counted"))
    if unknown:
        raise MeaningError(Problem(
            f"there is no site `{unknown[0]}` in the scenario", f"Name one of: {', '.join(names)}.",
            done="nothing was run", code="unknown-site"))
    where = [i for i, name in enumerate(names) if name in sites or not sites]
    bare = [names[i] for i in where if resolved.sites[i].area_m2 is None]
    if bare:
        raise CannotCompute(Problem(
            f"the area of {', '.join(bare)} is not known", "Write area_m2 for the sites surveyed.",
            why="without it a number of animals is no density", done="nothing was run",
            code="no-area"))
    return np.array(where)


def _runs(ready: Ready, counted, where, progress):
    """Whether each run succeeds, shape (replicate,); animals, shape (replicate, census, site)."""
    resolved, happened, animals, done = ready.resolved, [], [], 0
    total = resolved.runs.draws * resolved.runs.replicates
    for block in simulate(ready.model.plan, ready.model.draws, seed=ready.seed,
                          replicates=resolved.runs.replicates, threads=ready.threads):
        met = [judge(g, block.tallies, ready.places, resolved) for g in resolved.goals]
        happened.append(np.logical_and.reduce(met) if met
                        else ~below_by(block.tallies, resolved)[:, -1])
        animals.append(np.stack([measure(counted, block.tallies, ready.places, np.array([i]))
                                 for i in where], axis=2))
        done += len(block.tallies)
        if progress is not None:
            progress(done, total)
    return np.concatenate(happened).astype(bool), np.nan_to_num(np.concatenate(animals))


def surveyed(animals: np.ndarray, *, area: np.ndarray, number: float, quadrats: Quadrats,
             rng: np.random.Generator) -> np.ndarray:
    """Animals that a survey finds, quadrats spread over the sites by area.

    Parameters
    ----------
    animals : float array (replicate, census, site)
    area : float array (site,)
        m2.
    number : float
        Quadrats over all sites.
    quadrats : Quadrats
    rng : numpy.random.Generator

    Returns
    -------
    ndarray of int, shape (replicate, census)
    """
    here = number * area / area.sum()
    mean = animals / area * quadrats.area_m2 * quadrats.found  # a quadrat
    with np.errstate(divide="ignore", invalid="ignore"):
        k = here * _clumping(mean, quadrats.clumping)
        uneven = np.where(np.isfinite(k), rng.gamma(np.where(np.isfinite(k), k, 1.0)) / k, 1.0)
    return rng.poisson(np.where(mean > 0, mean * here * uneven, 0.0)).sum(axis=2)


def _clumping(mean: np.ndarray, clumping: float | None) -> np.ndarray:
    """Dispersion at each mean: as given, or as the variance law implies (infinite: even)."""
    if clumping is not None:
        return np.full(mean.shape, clumping)
    flat = np.unique(mean[mean > 0])
    extra = np.array([max(relative_variance(m, None)[0] - 1 / m, 0.0) for m in flat])
    k = np.full(mean.shape, np.inf)
    k[mean > 0] = (1 / extra)[np.searchsorted(flat, mean[mean > 0])] if flat.size else np.inf
    return k


def _independent(ready: Ready) -> tuple[np.ndarray, np.ndarray]:
    """Draw and scramble of every replicate; every replicate its own where draws do not differ."""
    runs = ready.resolved.runs
    draw = np.repeat(np.arange(runs.draws), runs.replicates)
    if not ready.model.doubtful:
        return np.arange(draw.size), np.zeros(draw.size, int)
    return draw, scramble_of_draw(runs.draws)[draw]


def _year(year, found, everything, happened, groups, searched) -> YearVerdict:
    right = said_right(found, happened)
    chances = [float(right[happened].mean()), float(right[~happened].mean())]
    lesser = happened if chances[0] <= chances[1] else ~happened
    low, high = _doubt(right[lesser], *(g[lesser] for g in groups))
    full = said_right(everything, happened)
    at_least = int(np.ceil(best_edge(found, happened)))
    return YearVerdict(
        year=year, at_least=at_least, density=at_least / searched, right_if_success=chances[0],
        right_if_failure=chances[1], right=min(chances), low=low, high=high,
        everything_counted=float(min(full[happened].mean(), full[~happened].mean())))


def said_right(found: np.ndarray, happened: np.ndarray) -> np.ndarray:
    """Whether the survey is right about each run, by an edge chosen on the other half of them."""
    right = np.zeros(found.size, bool)
    half = np.arange(found.size) % 2 == 0
    for own in (half, ~half):
        edge = best_edge(found[~own], happened[~own])
        right[own] = (found[own] >= edge) == happened[own]
    return right


def best_edge(found: np.ndarray, happened: np.ndarray) -> float:
    """Number found from which on success is said: the lesser chance of being right is largest."""
    success, failure = np.sort(found[happened]), np.sort(found[~happened])
    edges = np.unique(found)
    if not success.size or not failure.size:
        return float(edges[0])
    said = 1 - np.searchsorted(success, edges, side="left") / success.size
    denied = np.searchsorted(failure, edges, side="left") / failure.size
    return float(edges[np.argmax(np.minimum(said, denied))])


def _doubt(right: np.ndarray, draw: np.ndarray, scramble: np.ndarray) -> tuple[float, float]:
    """95 % Monte Carlo interval of a chance of being right among some of the runs."""
    chance, total = float(right.mean()), right.size
    if chance in (0.0, 1.0):
        limit = never_limit(np.unique(draw).size)
        return (0.0, limit) if chance == 0 else (1 - limit, 1.0)
    sizes = np.bincount(scramble)
    groups = int((sizes > 0).sum())
    if groups > 1:
        excess = np.bincount(scramble, weights=right) - sizes * chance
        error = np.sqrt(float((excess**2).sum()) * groups / (groups - 1)) / total
        if error > 0:
            return wilson(chance, chance * (1 - chance) / error**2,
                          float(student.ppf(0.975, groups - 1)))
    return wilson(chance, total, _Z)

"""What a donor bed can give: the largest yearly collection within an agreed added risk.

Risk is the chance that the donor's adults fall below a threshold at some census after the first
collection. Every collection meets the same luck as none, so that taking nothing adds exactly
nothing. The bed is judged twice: from the best value and from the lower limit of its abundance; the
lower one decides.
"""

from __future__ import annotations

from dataclasses import asdict, dataclass, replace

import numpy as np
from scipy.optimize import isotonic_regression

from pva.decide.compare import difference, groups
from pva.decide.flips import stated_range
from pva.decide.outcomes import Ready, prepare
from pva.engine.run import simulate
from pva.errors import CannotCompute, MeaningError, Problem
from pva.model.matrix import best
from pva.results.goals import below_by
from pva.results.measures import measure
from pva.results.run import seed_of
from pva.results.summary import plain
from pva.scenario.resolve_rates import nearest
from pva.scenario.resolved import Collection, QuasiExtinction, Resolved
from pva.scenario.scenario import Scenario

AGREED = 0.05
LIKELY = 0.5  # risk left alone above which a bed is no donor: there is little left to add to it
_SHARES = (0.0, 0.02, 0.05, 0.1, 0.15, 0.2, 0.3, 0.5, 1.0)  # of the animals there, over all years
_BACK = 0.95  # a bed has regained what was taken at this part of the bed left alone
_MOST_LOOKS = 10
NAME = "taken from the donor"


@dataclass(frozen=True)
class Taken:
    """A yearly collection and what it does to the donor.

    Parameters
    ----------
    number : int
        Animals a year.
    added, low, high : float
        Added risk and its 95 % Monte Carlo interval; exactly 0 for 0.
    """

    number: int
    added: float
    low: float
    high: float


@dataclass(frozen=True)
class Judged:
    """The donor judged from one number of animals at the start.

    Parameters
    ----------
    start : str
        ``lower limit`` or ``best value``.
    adults : float
        Adults at the first census.
    risk : float
        With nothing taken.
    largest : int
        Largest number a year whose added risk is at most the agreed one; 0 = take none, also
        where the bed left alone is likelier than not to be harmed.
    surely : int
        Largest number a year whose whole interval is.
    all_there : bool
        Whether `largest` is as many as there are at the first census: no more was tried.
    years_to_regain : int or None
        Years after the last collection until the median of adults is back at 95 % of the median of
        the bed left alone; None = not within the years of the scenario, or nothing taken.
    curve : tuple of Taken
    """

    start: str
    adults: float
    risk: float
    largest: int
    surely: int
    years_to_regain: int | None
    curve: tuple[Taken, ...]
    all_there: bool = False


@dataclass(frozen=True)
class Way:
    """Another way of taking, from the lower limit: stage, once or spread, and what it allows.

    `all_there` as in `Judged`: the number at the first census is the limit, and not the risk.
    """

    stage: str
    spread: bool
    years: tuple[int, ...]
    total: int
    years_to_regain: int | None
    all_there: bool = False


@dataclass(frozen=True)
class DonorAnswer:
    """What the donor can give.

    Parameters
    ----------
    number : int
        Largest yearly collection from the lower limit of abundance; 0 = take none.
    threshold : float
        Adults of the donor below which it counts as harmed.
    judged : tuple of Judged
        From the lower limit, then from the best value.
    ways : tuple of Way
        Adults against subadults, once against spread.
    """

    title: str
    digest: str
    seed: int
    draws: int
    replicates: int
    independent_runs: int
    site: str
    stage: str
    years: tuple[int, ...]
    threshold: float
    added_risk: float
    number: int
    judged: tuple[Judged, ...]
    ways: tuple[Way, ...]
    warnings: tuple[str, ...] = ()

    def summary(self) -> dict:
        """Plain dictionary as written to ``NAME.donor.json``."""
        return plain(asdict(self))


def donor(scenario: Scenario, *, site: str | None = None, below: float | None = None,
          added_risk: float = AGREED, seed: int | None = None, threads: int | None = None,
          progress=None) -> DonorAnswer:
    """Find the largest yearly collection that a donor bed can bear.

    Parameters
    ----------
    scenario : Scenario
        With a collection, or a release whose source is a site: its stage and years are kept, its
        number is varied.
    site : str or None
        The donor; None = the only site that is taken from, or that has the role of a donor.
    below : float or None
        Adults of the donor below which it counts as harmed; None = half of the adults that its
        lower limit allows.
    added_risk : float
        Agreed, 0 to 1.
    progress : callable or None
        Called with steps done and in all.

    Returns
    -------
    DonorAnswer

    Raises
    ------
    CannotCompute
        If nothing is taken anywhere, or the donor is empty.
    MeaningError
        If the site is unknown, or not the only donor.
    """
    resolved = scenario.resolved
    place = _donor_site(resolved, site)
    stage, years = _plan(resolved, place)
    seed = seed_of(resolved, seed)
    low, best_start = _starts(resolved, place, lower=True), _starts(resolved, place, lower=False)
    adults = _adults(resolved, low)
    if below is None:
        below = float(round(adults / 2))
    bed = _Bed(_left_alone(resolved, place, years, below), place, seed, threads)
    stages = [stage, *(s for s in _stages(resolved) if s != stage)]
    steps = 2 + 2 * len(stages)

    def told(done):
        if progress is not None:
            progress(done, steps)

    judged = []
    for i, (name, start) in enumerate((("lower limit", low), ("best value", best_start))):
        judged.append(_judge(bed, name, start, _adults(resolved, start), stage, years, added_risk))
        told(i + 1)
    ways = []
    for i, (one, spread) in enumerate((s, p) for s in stages for p in (True, False)):
        when = years if spread else years[:1]
        found = judged[0] if when == years and one == stage else _judge(
            bed, "lower limit", low, adults, one, when, added_risk, briefly=True)
        ways.append(Way(one, spread, when, found.largest * len(when), found.years_to_regain,
                        found.all_there))
        told(3 + i)
    model = prepare(resolved, seed=seed, threads=threads).model
    return DonorAnswer(
        title=resolved.title, digest=scenario.digest, seed=seed, draws=resolved.runs.draws,
        replicates=resolved.runs.replicates,
        independent_runs=model.independent_runs(resolved.runs.replicates), site=place, stage=stage,
        years=years, threshold=below, added_risk=added_risk, number=judged[0].largest,
        judged=tuple(judged), ways=tuple(ways), warnings=(*scenario.warnings, *model.warnings))


def _donor_site(resolved: Resolved, asked: str | None) -> str:
    names = [s.name for s in resolved.sites]
    if asked is not None:
        if asked not in names:
            raise MeaningError(Problem(f"the scenario has no site `{asked}`", nearest(asked, names),
                                       done="nothing was run", code="unknown-site"))
        return asked
    taken = dict.fromkeys([c.site for c in resolved.collections]
                          + [r.from_site for r in resolved.releases if r.from_site]
                          or [s.name for s in resolved.sites if s.role == "donor"])
    if len(taken) > 1:
        raise MeaningError(Problem(f"animals are taken from several sites: {', '.join(taken)}",
                                   "Say which is asked about, with --site.",
                                   done="nothing was run", code="several-donors"))
    if not taken:
        raise CannotCompute(Problem(
            "nothing is taken from any site, so there is no donor to judge",
            "Write a collection (collections: - {site, stage, number, first, last}), or a release "
            "whose source is a site.", done="nothing was run", code="no-donor"))
    return next(iter(taken))


def _plan(resolved: Resolved, site: str) -> tuple[str, tuple[int, ...]]:
    """Stage and years of what is taken at the site, from the first row that takes there."""
    rows = [c for c in resolved.collections if c.site == site]
    rows += [r for r in resolved.releases if r.from_site == site]
    if not rows:
        raise CannotCompute(Problem(
            f"no row says when animals are taken from {site}, and of which stage",
            "Write a collection there (collections: - {site, stage, number, first, last}); its "
            "number does not matter.", done="nothing was run", code="no-donor"))
    years = tuple(sorted(y for y in rows[0].numbers if y < resolved.last))
    return rows[0].stage, years


def _stages(resolved: Resolved) -> list[str]:
    """Adults, and the stage before them."""
    names = [s.name for s in resolved.stages]
    adults = [i for i, s in enumerate(resolved.stages) if s.adult]
    return [names[i] for i in dict.fromkeys([*adults, max(min(adults) - 1, 0)])]


def _starts(resolved: Resolved, site: str, *, lower: bool) -> dict[str, float]:
    """Animals at the first census by key of the rate: lower limits, or best values."""
    found = {}
    for rate in resolved.site(site).start.numbers.values():
        low = stated_range(rate)[0] if lower else None
        found[rate.key] = best(rate) if low is None else low
    return found


def _adults(resolved: Resolved, start: dict[str, float]) -> float:
    """Adults among the animals held at the start; all animals where no stage is told apart."""
    names = {s.name for s in resolved.stages if s.adult}
    adults = sum(v for k, v in start.items() if k.partition("/")[2].partition(" @ ")[0] in names)
    return adults or sum(start.values())


def _of_stage(start: dict[str, float], stage: str) -> float:
    """Animals of a stage at the start; all where no stage is told apart."""
    return sum(v for k, v in start.items()
               if k.partition("/")[2].partition(" @ ")[0] == stage) or sum(start.values())


def _left_alone(resolved: Resolved, site: str, years, below: float) -> Resolved:
    """The scenario with nothing taken from the donor, and its risk as quasi-extinction."""
    from_year = min(years[0] + 1, resolved.last)
    return replace(
        resolved, goals=(),
        collections=tuple(c for c in resolved.collections if c.site != site),
        releases=tuple(replace(r, from_site=None, source="hatchery") if r.from_site == site else r
                       for r in resolved.releases),
        quasi_extinction=QuasiExtinction(below, from_year, (site,)))


class _Bed:
    """Runs of the scenario with one number a year taken from the donor, always in the same luck."""

    def __init__(self, resolved: Resolved, site: str, seed: int, threads: int | None):
        self.resolved, self.site = resolved, site
        self._seed, self._threads = seed, threads
        self._ready: dict = {}

    def ready(self, stage: str, start: dict[str, float]) -> Ready:
        """Assembled once for every stage and start."""
        key = (stage, tuple(start.items()))
        if key not in self._ready:
            row = Collection(NAME, self.site, stage, {self.resolved.first: 0.0})
            taking = replace(self.resolved, collections=(*self.resolved.collections, row))
            self._ready[key] = prepare(taking, seed=self._seed, threads=self._threads, held=start)
        return self._ready[key]

    def run(self, stage, start, years, number) -> tuple[np.ndarray, np.ndarray]:
        """Whether each replicate is harmed, shape (draw, replicate), and median adults by year."""
        ready = self.ready(stage, start)
        numbers = ready.model.plan.collections.collect_number.copy()
        numbers[-1] = 0.0
        numbers[-1, [y - self.resolved.first for y in years]] = number
        collections = ready.model.plan.collections._replace(collect_number=numbers)
        plan = ready.model.plan._replace(collections=collections)
        here = np.array([[s.name for s in self.resolved.sites].index(self.site)])
        harmed, adults = [], []
        for block in simulate(plan, ready.model.draws, seed=self._seed,
                              replicates=self.resolved.runs.replicates, threads=self._threads):
            harmed.append(below_by(block.tallies, self.resolved)[:, -1])
            adults.append(measure("adults", block.tallies, ready.places, here))
        shape = (-1, self.resolved.runs.replicates)
        return (np.concatenate(harmed).reshape(shape).astype(float),
                np.median(np.concatenate(adults), axis=0))


def _judge(bed: _Bed, name, start, adults, stage, years, agreed, *, briefly=False) -> Judged:
    """Largest number a year within the agreed added risk, from one start."""
    none, alone = bed.run(stage, start, years, 0)
    ready = bed.ready(stage, start)
    scramble = groups(bed.resolved.runs.draws, doubtful=ready.model.doubtful)
    seen: dict[int, Taken] = {0: Taken(0, 0.0, 0.0, 0.0)}
    medians = {0: alone}

    def look(number: int) -> Taken:
        if number not in seen:
            harmed, medians[number] = bed.run(stage, start, years, number)
            d = difference("added", none, harmed, scramble, certain=ready.model.certain)
            seen[number] = Taken(number, d.difference, d.low, d.high)
        return seen[number]

    most = max(1, int(_of_stage(start, stage)))  # no more can be taken in a year than are there
    for share in _SHARES:
        look(max(int(share * most / (1 if share == 1 else len(years))), share > 0))
    largest = surely = 0  # a bed likelier than not to be harmed by itself gives nothing
    if none.mean() <= LIKELY:
        largest = _largest(look, seen, lambda t: t.added, agreed)
        surely = 0 if briefly else _largest(look, seen, lambda t: t.high, agreed)
    return Judged(name, adults, float(none.mean()), largest, surely,
                  _regained(medians, look, largest, years, bed.resolved), _curve(seen),
                  largest == max(seen))


def _largest(look, seen, end, agreed) -> int:
    """Largest whole number up to which the added risk stays within what was agreed."""
    numbers = sorted(seen)
    over = next((n for n in numbers if end(seen[n]) > agreed), None)
    if over is None:
        return numbers[-1]
    under = max(n for n in numbers if n < over)
    for _ in range(_MOST_LOOKS):
        if over - under <= max(1, under // 50):
            break
        middle = (under + over) // 2
        if end(look(middle)) > agreed:
            over = middle
        else:
            under = middle
    return under


def _curve(seen) -> tuple[Taken, ...]:
    """Every look in order; added risk never falls, for taking more cannot help the bed."""
    rows = [seen[n] for n in sorted(seen)]
    columns = []
    for name in ("added", "low", "high"):
        rising = isotonic_regression([getattr(t, name) for t in rows[1:]]).x
        columns.append([0.0, *np.maximum(rising, 0.0 if name != "low" else -1.0)])
    return tuple(Taken(t.number, *map(float, values))
                 for t, values in zip(rows, zip(*columns, strict=True), strict=True))


def _regained(medians, look, number, years, resolved) -> int | None:
    if number == 0:
        return None
    look(number)
    after = years[-1] + 1 - resolved.first
    back = medians[number][after:] >= _BACK * medians[0][after:]
    still = np.flatnonzero(~back)
    first = 0 if len(still) == 0 else int(still[-1]) + 1
    return None if first >= len(back) else first + 1

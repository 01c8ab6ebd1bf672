"""How many to stock: the smallest planned number whose chance of meeting all goals is enough."""

from __future__ import annotations

from dataclasses import dataclass

from pva.decide.limits import find_limit
from pva.decide.outcomes import Ready, goals_met, prepare
from pva.decide.rows import StockedRows
from pva.decide.search import Curve, Point, search
from pva.errors import CannotCompute, Problem
from pva.model.draws import scramble_of_draw
from pva.results.run import seed_of
from pva.results.summary import plain
from pva.results.uncertainty import chance_with_doubt
from pva.scenario.resolved import Resolved
from pva.scenario.scenario import Scenario


@dataclass(frozen=True)
class StockAnswer:
    """Answer to how many to stock.

    Parameters
    ----------
    reachable : bool or None
        None: cannot tell yet (the best chance found is within error of the chance wanted).
    number : int or None
        Planned animals per release year, all chosen rows together, before the delivered share.
    low, high : float or None
        From Monte Carlo error; `high` None = not bounded within `most`.
    draw_low, draw_high : float or None
        2.5 and 97.5 % over parameter draws; None where the draw cannot reach it.
    chance_at_number, best_chance : float
        `best_number` is where the best chance was found.
    band : tuple of float or None
        Smallest and largest number that succeed, where more animals are not always better.
    limit : str or None
        What binds when it is not reachable: ``hosts``, ``space``, ``survival``, ``bad years`` or
        ``number stocked``.
    limits_lifted : tuple of (str, float)
        Best chance with each limit lifted in turn.
    total_animals, cost, mothers : float or None
        Of the varied releases at `number`, as planned; `cost` and `mothers` are None where no
        varied release says what an animal costs or how many mothers it takes.
    """

    title: str
    digest: str
    seed: int
    draws: int
    replicates: int
    independent_runs: int
    releases: tuple[str, ...]
    release_years: tuple[int, ...]
    goals: tuple[str, ...]
    most: float
    chance_wanted: float
    reachable: bool | None
    number: int | None
    low: float | None
    high: float | None
    draw_low: float | None
    draw_high: float | None
    chance_at_number: float | None
    best_chance: float
    best_number: float
    band: tuple[float, float] | None
    more_is_better: bool
    limit: str | None
    limits_lifted: tuple[tuple[str, float], ...]
    total_animals: float | None
    cost: float | None
    mothers: float | None
    curve: Curve
    order_sheet: tuple[dict, ...]
    warnings: tuple[str, ...] = ()

    def summary(self) -> dict:
        """Plain dictionary as written to ``stock.json``."""
        fields = dict(vars(self))
        fields["curve"] = {"number": self.curve.numbers, "chance": self.curve.chances,
                           "low": self.curve.lows, "high": self.curve.highs}
        fields["limits_lifted"] = [{"limit": n, "best_chance": c} for n, c in self.limits_lifted]
        return plain(fields)


def stock(scenario: Scenario, *, chance_wanted: float | None = None, seed: int | None = None,
          threads: int | None = None, progress=None) -> StockAnswer:
    """Find the number to stock.

    Parameters
    ----------
    scenario : Scenario
        With goals, releases and, for `vary` and `most`, a `solve` block.
    chance_wanted : float or None
        None = the scenario's.
    progress : callable or None
        Called with steps done and in all.

    Returns
    -------
    StockAnswer

    Raises
    ------
    CannotCompute
        Without goals or releases to vary.
    """
    resolved = scenario.resolved
    _check(resolved)
    wanted = resolved.chance_wanted if chance_wanted is None else chance_wanted
    seed = seed_of(resolved, seed)
    ready = prepare(resolved, seed=seed, threads=threads)
    rows = StockedRows.of(resolved)
    look = Looker(ready, rows)
    monotone = more_is_better(resolved)
    found = search(look, rows.most, wanted, monotone=monotone, unknown=ready.model.doubtful,
                   replicates=resolved.runs.replicates, progress=progress)
    limit, lifted = None, ()
    if found.number is None:
        limit, lifted = find_limit(ready, rows, best_number=found.best.number,
                                   best_chance=found.best.chance)
    return _answer(scenario, ready, rows, wanted, found, monotone, limit, lifted)


class Looker:
    """Chance of meeting all goals at a number stocked, always in the same luck."""

    def __init__(self, ready: Ready, rows: StockedRows):
        self._ready, self._rows = ready, rows
        self._scramble = scramble_of_draw(ready.resolved.runs.draws)

    def __call__(self, number: float, replicates: int) -> Point:
        ready = self._ready.with_releases(self._rows.planned(number))
        by_draw = goals_met(ready, replicates=replicates).sum(axis=1)
        doubt = chance_with_doubt(by_draw, replicates=replicates, scramble=self._scramble,
                                  unknown=ready.model.doubtful, certain=ready.model.certain)
        return Point(number, doubt.chance, doubt.low, doubt.high, by_draw / replicates, replicates)


def _check(resolved: Resolved) -> None:
    if not resolved.goals:
        raise CannotCompute(Problem(
            what="The scenario has no goals, so no number of animals can be enough or too few",
            todo="Write at least one goal (goals: - {name, measure, at_least, in})",
            done="nothing was run", code="no-goals"))
    if not resolved.releases:
        raise CannotCompute(Problem(
            what="The scenario has no releases, so there is nothing to vary",
            todo="Write the release rows whose number is asked for (releases: - {stage, number, "
                 "first, last})", done="nothing was run", code="no-releases"))


_GAINS = {"adults", "animals", "females", "recruits", "adults_per_m2", "sites_occupied",
          "wild_adults", "stocked_adults", "heterozygosity"}
_SHARED_SPACE = {"wild_adults", "recruits"}  # stocked animals can crowd these out


def more_is_better(resolved: Resolved) -> bool:
    """Whether every goal can only gain from more animals stocked."""
    crowded = any(s.limits.ceiling_adults is not None for s in resolved.sites)
    if any(s.limits.ricker is not None or s.limits.ceiling_animals is not None
           for s in resolved.sites):
        return False  # young crowd out adults, or adults their own young
    if any(h.immunity_most > 0 for s in resolved.sites for h in s.recruitment.hosts):
        return False
    if any(r.until or r.repeat or r.from_site is not None for r in resolved.releases):
        return False
    return all(not g.at_most and g.measure in _GAINS
               and not (crowded and g.measure in _SHARED_SPACE) for g in resolved.goals)


def _answer(scenario, ready, rows, wanted, found, monotone, limit, lifted) -> StockAnswer:
    resolved = scenario.resolved
    number = found.number
    plan = rows.planned(number) if number is not None else None
    return StockAnswer(
        title=resolved.title, digest=scenario.digest, seed=ready.seed, draws=resolved.runs.draws,
        replicates=resolved.runs.replicates,
        independent_runs=ready.model.independent_runs(resolved.runs.replicates),
        releases=rows.names, release_years=rows.years,
        goals=tuple(g.name for g in resolved.goals), most=rows.most, chance_wanted=wanted,
        reachable=found.reachable, number=number, low=found.low, high=found.high,
        draw_low=found.draw_low, draw_high=found.draw_high,
        chance_at_number=found.chance_at_number, best_chance=found.best.chance,
        best_number=found.best.number, band=found.band, more_is_better=monotone, limit=limit,
        limits_lifted=lifted,
        total_animals=None if plan is None else rows.total(number),
        cost=_stated(rows, "cost_each", rows.cost, number),
        mothers=_stated(rows, "mothers_per_1000", rows.mothers, number),
        curve=found.curve, order_sheet=() if plan is None else _orders(rows, number),
        warnings=(*scenario.warnings, *ready.model.warnings))


def _stated(rows: StockedRows, field: str, of, number: int | None) -> float | None:
    """A total of the varied releases; None where nobody wrote what it is made of."""
    varied = [r for r, chosen in zip(rows.rows, rows.chosen, strict=True) if chosen]
    if number is None or not any(getattr(r, field) for r in varied):
        return None
    return of(number)


def _orders(rows: StockedRows, number: int) -> tuple[dict, ...]:
    """The order sheet; cost and mothers that nobody wrote are None."""
    return tuple(line | {k: line[k] or None for k in ("cost", "mothers")}
                 for line in rows.order_sheet(number))

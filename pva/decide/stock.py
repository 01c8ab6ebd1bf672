"""How many to stock: the smallest planned number whose chance of meeting all goals is enough."""

from __future__ import annotations

from dataclasses import dataclass, replace

from pva.decide.curve import Curve
from pva.decide.duty import Duty, find_duty
from pva.decide.limits import find_limit
from pva.decide.looking import Looker
from pva.decide.options import CheapestPlan, OptionAnswer, cheapest_plan
from pva.decide.outcomes import Ready, prepare
from pva.decide.rows import StockedRows
from pva.decide.search import Found, search
from pva.errors import CannotCompute, Problem
from pva.results.run import seed_of
from pva.results.summary import plain
from pva.results.tasks import Tasks
from pva.scenario.resolved import Resolved
from pva.scenario.scenario import Scenario


@dataclass(frozen=True)
class Asked:
    """The answer in the unit asked for: ``number`` per release year, ``total`` or ``mothers``."""

    unit: str
    number: float | None
    low: float | None
    high: float | None
    draw_low: float | None
    draw_high: float | None
    most: float


@dataclass(frozen=True)
class StockAnswer:
    """Answer to how many to stock.

    Parameters
    ----------
    reachable : bool or None
        None: cannot tell yet (the best chance found is within error of the chance wanted).
    number : int, float or None
        Planned animals per release year, all chosen rows together, before the delivered share;
        whole unless a total or mothers were asked for.
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
    asked : Asked
        The number in the unit asked for.
    duty : Duty or None
        When stocking may stop; None where no number is enough or none is needed.
    options : tuple of OptionAnswer
        Every option alone; the answer itself is that of the cheapest of them.
    cheapest : CheapestPlan or None
        The cheapest plan found, mixtures of two options among them.
    made : tuple of dict
        What was released already.
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
    number: float | None
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
    asked: Asked
    duty: Duty | None = None
    options: tuple[OptionAnswer, ...] = ()
    cheapest: CheapestPlan | None = None
    made: tuple[dict, ...] = ()
    warnings: tuple[str, ...] = ()

    def summary(self) -> dict:
        """Plain dictionary as written to ``stock.json``."""
        fields = dict(vars(self))
        fields["curve"] = {"number": self.curve.numbers, "chance": self.curve.chances,
                           "low": self.curve.lows, "high": self.curve.highs}
        for name in ("asked", "duty", "cheapest"):
            fields[name] = _nested(fields[name])
        fields["options"] = [_nested(o) for o in self.options]
        fields["limits_lifted"] = [{"limit": n, "best_chance": c} for n, c in self.limits_lifted]
        return plain(fields)


def _nested(found):
    """A frozen answer within the answer as plain data."""
    if isinstance(found, tuple | list):
        return [_nested(f) for f in found]
    return {k: _nested(v) for k, v in vars(found).items()} if hasattr(found, "__dict__") else found


def stock(scenario: Scenario, *, chance_wanted: float | None = None, shorter_duty: bool = False,
          seed: int | None = None, threads: int | None = None, progress=None,
          tasks: Tasks | None = None) -> StockAnswer:
    """Find the number to stock.

    With `solve.options` every option is searched alone, and mixtures of two are tried.

    Parameters
    ----------
    scenario : Scenario
        With goals, releases and, for `vary` and `most`, a `solve` block.
    chance_wanted : float or None
        None = the scenario's.
    shorter_duty : bool
        Also find the number needed for every shorter duty.
    progress : callable or None
        Called with steps done and in all.
    tasks : Tasks or None
        Where runs are done; None = here. Numbers do not depend on it.

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
    ready = prepare(resolved, seed=seed_of(resolved, seed), threads=threads, tasks=tasks)
    ask = _Ask(scenario, ready, wanted, more_is_better(resolved), progress)
    options = resolved.solve.options if resolved.solve else ()
    if not options:
        return ask.answer(StockedRows.of(resolved), shorter_duty=shorter_duty)
    found = []
    for option in options:
        rows = StockedRows.of(resolved, option.releases)
        found.append((option.name, rows, ask.answer(rows, shorter_duty=shorter_duty)))
    return _best_of(ask, found)


class _Ask:
    """One question, and how an answer to it is made."""

    def __init__(self, scenario, ready: Ready, wanted: float, monotone: bool, progress):
        self.scenario, self.ready, self.wanted = scenario, ready, wanted
        self.monotone, self.progress = monotone, progress

    def answer(self, rows: StockedRows, *, shorter_duty: bool) -> StockAnswer:
        ready, look = self.ready, Looker(self.ready, rows)
        found = search(look, rows.most, self.wanted, monotone=self.monotone,
                       unknown=ready.model.doubtful, certain=ready.model.certain,
                       replicates=ready.resolved.runs.replicates, progress=self.progress)
        limit, lifted, duty = None, (), None
        if found.number is None:
            limit, lifted = find_limit(ready, rows, best_number=rows.per_year(found.best.number),
                                       best_chance=found.best.chance, wanted=self.wanted)
        elif found.number > 0 and not any(r.repeat for r in ready.resolved.releases):
            duty = self._duty(look, found, shorter_duty)
        return _answer(self, rows, found, limit=limit, lifted=lifted, duty=duty)

    def _duty(self, look, found: Found, shorter: bool) -> Duty:
        rows, number = look.rows, look.rows.per_year(found.number)
        at = max(number if found.high is None else rows.per_year(found.high), rows.base)
        return find_duty(look, number=at, found=number, chance_at_found=found.chance_at_number,
                         wanted=self.wanted, shorter=shorter, monotone=self.monotone)


def _best_of(ask: _Ask, found) -> StockAnswer:
    """The answer of the cheapest option alone, beside it all options and the cheapest plan."""
    told = [(OptionAnswer(name, *(getattr(a, k) for k in (
        "releases", "release_years", "reachable", "number", "low", "high", "draw_low", "draw_high",
        "total_animals", "cost", "mothers", "chance_at_number", "best_chance", "limit"))), rows)
        for name, rows, a in found]
    answers = [a for *_, a in found]
    enough = [a for a in answers if a.number is not None]
    if enough:
        priced = all(a.cost is not None for a in enough if a.number)
        best = min(enough, key=lambda a: (a.cost or 0.0) if priced else a.total_animals)
    else:
        best = max(answers, key=lambda a: a.best_chance)
    plan = cheapest_plan(Looker(ask.ready, told[0][1]), told, ask.wanted)
    return replace(best, options=tuple(one for one, _ in told), cheapest=plan)


def _check(resolved: Resolved) -> None:
    if not resolved.goals:
        raise CannotCompute(Problem(
            what="The scenario has no goals, so no number of animals can be enough or too few",
            todo="Write at least one goal (goals: - {name, measure, at_least, in})",
            done="nothing was run", code="no-goals"))
    if not resolved.releases:
        raise CannotCompute(Problem(
            what="The scenario has no releases, so there is nothing to vary",
            todo="Write the rows whose number is asked for, such as `releases: [{stage: subadult, "
                 "number: 50, first: 2027, last: 2034}]`, and their site where there are several",
            done="nothing was run", code="no-releases"))


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


def _answer(ask: _Ask, rows: StockedRows, found: Found, *, limit, lifted, duty) -> StockAnswer:
    ready, resolved = ask.ready, ask.ready.resolved
    exact = None if found.number is None else rows.per_year(found.number)

    def year(value):
        return None if value is None else rows.per_year(value)

    number = int(exact) if exact is not None and rows.vary == "number" else exact
    curve = Curve(tuple(replace(p, number=rows.per_year(p.number)) for p in found.curve.points))
    return StockAnswer(
        title=resolved.title, digest=ask.scenario.digest, seed=ready.seed,
        draws=resolved.runs.draws, replicates=resolved.runs.replicates,
        independent_runs=ready.model.independent_runs(resolved.runs.replicates),
        releases=rows.names, release_years=rows.years,
        goals=tuple(g.name for g in resolved.goals), most=rows.most_per_year,
        chance_wanted=ask.wanted, reachable=found.reachable, number=number,
        low=year(found.low), high=year(found.high), draw_low=year(found.draw_low),
        draw_high=year(found.draw_high), chance_at_number=found.chance_at_number,
        best_chance=found.best.chance, best_number=rows.per_year(found.best.number),
        band=None if found.band is None else tuple(year(v) for v in found.band),
        more_is_better=ask.monotone, limit=limit, limits_lifted=lifted,
        total_animals=None if exact is None else rows.total(exact),
        cost=None if exact is None else rows.stated("cost_each", exact),
        mothers=None if exact is None else rows.stated("mothers_per_1000", exact),
        curve=curve, order_sheet=() if exact is None else rows.order_sheet(exact),
        asked=Asked(rows.vary, found.number, found.low, found.high, found.draw_low,
                    found.draw_high, rows.most),
        duty=duty, made=tuple(
            {"release": r.name.removesuffix(", delivered so far"), "year": y, "number": n}
            for r in resolved.releases if r.made for y, n in r.numbers.items()),
        warnings=(*ask.scenario.warnings, *ready.model.warnings))

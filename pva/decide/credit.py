"""Animal-years above a baseline: what a plan adds, year by year, in the same luck, discounted.

One animal counted at the census of a year is one animal-year of that year. The credit is the sum
over years of scenario minus baseline, replicate by replicate, each year weighted by
(1 + rate) ** (base year - year): a bookkeeping sum (compound discounting, common practice), no
ecology.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from pva.decide.compare import difference, groups
from pva.decide.credit_period import Period, period_of
from pva.decide.outcomes import Ready, prepare
from pva.decide.same_draws import drawn_together
from pva.engine.run import block_size, simulate
from pva.model.draws import SCRAMBLES, scramble_of_draw
from pva.results.measures import measure as measure_of
from pva.results.run import Progress, seed_of, with_runs
from pva.results.summary import plain
from pva.results.uncertainty import ChanceDoubt, chance_with_doubt
from pva.scenario.cautions import only_ranges
from pva.scenario.scenario import Scenario

COUNTED = ("adults", "animals", "wild_adults")
SURE = (0.5, 0.8, 0.9, 0.95)  # chances for which the largest credit so sure is told
_ENDS = (0.025, 0.975)


@dataclass(frozen=True)
class Amount:
    """A mean over all runs with its doubt.

    `low` and `high` hold 95 % of the simulation error of the mean (None where one run tells
    nothing of it), `draw_low` and `draw_high` 95 % of the parameter draws (None where they do not
    differ), `run_low` and `run_high` 95 % of all single runs. `settled`: the interval of the mean
    leaves out 0, or is exactly 0.
    """

    mean: float
    low: float | None
    high: float | None
    draw_low: float | None
    draw_high: float | None
    run_low: float
    run_high: float
    settled: bool


@dataclass(frozen=True)
class Price:
    """What the plan costs more than the baseline, and per animal-year where that can be told."""

    plain: float
    discounted: float
    per_animal_year: float | None
    low: float | None
    high: float | None


@dataclass(frozen=True)
class Credit:
    """Animal-years of a scenario above a baseline.

    Parameters
    ----------
    titles, digests : tuple of str
        Scenario, then baseline.
    seed, draws, replicates, independent_runs : int
    measure : str
        One of `COUNTED`.
    numbers : str
        Sexes that both count.
    period : Period
    credit, undiscounted : Amount
        Animal-years.
    claimed : float or None
        Animal-years that somebody claims.
    chance : ChanceDoubt or None
        Chance that the credit is at least the number claimed.
    price : Price or None
        None where no release has a cost.
    runs : ndarray, shape (draw, replicate)
        Discounted credit of every run.
    levels : ndarray, shape (2, year)
        Mean of scenario and baseline at every census of the period.
    by_year : tuple of Amount
        Difference at every census, not discounted.
    by_draw : ndarray, shape (draw, year)
        Mean difference of every parameter draw.
    warnings : tuple of str
    """

    titles: tuple[str, str]
    digests: tuple[str, str]
    seed: int
    draws: int
    replicates: int
    independent_runs: int
    measure: str
    numbers: str
    period: Period
    credit: Amount
    undiscounted: Amount
    claimed: float | None
    chance: ChanceDoubt | None
    price: Price | None
    runs: np.ndarray
    levels: np.ndarray
    by_year: tuple[Amount, ...]
    by_draw: np.ndarray
    warnings: tuple[str, ...] = ()

    def summary(self) -> dict:
        """Plain dictionary for JSON."""
        chance = None if self.chance is None else {"number": self.claimed} | vars(self.chance)
        return plain({
            "scenario": self.titles[0], "baseline": self.titles[1],
            "digests": list(self.digests), "seed": self.seed, "draws": self.draws,
            "replicates": self.replicates, "independent_runs": self.independent_runs,
            "measure": self.measure, "numbers": self.numbers, "unit": "animal-years",
            "rate": self.period.rate,
            "base_year": self.period.base, "from": self.period.first, "to": self.period.last,
            "credit": vars(self.credit), "undiscounted": vars(self.undiscounted),
            "reached_with": [{"chance": c, "animal_years": float(np.quantile(
                self.runs, 1 - c, method="lower"))} for c in SURE],
            "claimed": chance, "cost": None if self.price is None else vars(self.price),
            "years": self._years(), "warnings": list(self.warnings),
        })

    def _years(self) -> list[dict]:
        rows, so_far = [], 0.0
        for y, (year, weight, away) in enumerate(zip(
                self.period.years, self.period.weights, self.by_year, strict=True)):
            so_far += weight * away.mean
            rows.append({"year": int(year), "weight": weight, "scenario": self.levels[0, y],
                         "baseline": self.levels[1, y], "difference": away.mean}
                        | {k: v for k, v in vars(away).items() if k not in ("mean", "settled")}
                        | {"discounted": weight * away.mean, "so_far": so_far})
        return rows


def credit(scenario: Scenario, baseline: Scenario, *, rate: float, measure: str = "adults",
           first: int | None = None, last: int | None = None, base: int | None = None,
           claimed: float | None = None, seed: int | None = None, threads: int | None = None,
           progress: Progress | None = None) -> Credit:
    """Animal-years of a scenario above a baseline, replicate by replicate in the same luck.

    Draws, replicates and seed are those of the scenario. Years in which the baseline holds more
    count negative.

    Parameters
    ----------
    scenario, baseline : Scenario
        With the same first year, census and sexes counted.
    rate : float
        Yearly discount rate, 0 (a plain sum) to below 1.
    measure : {'adults', 'animals', 'wild_adults'}
        What is counted, in the whole river.
    first, last : int or None
        First and last census counted; None = those that both scenarios have.
    base : int or None
        Year to which animal-years (and money) are discounted; None = the scenario's first year.
    claimed : float or None
        Animal-years claimed, to tell the chance that the credit is at least that.
    seed, threads, progress
        As in `pva.run`.

    Returns
    -------
    Credit

    Raises
    ------
    MeaningError
        The two cannot be compared, or the period or rate makes no sense; all problems together.
    CannotCompute
        If a calibration has no solution.
    """
    period = period_of(scenario.resolved, baseline.resolved, rate=rate, first=first, last=last,
                       base=base, measure=measure, counted=COUNTED, claimed=claimed)
    seed, runs = seed_of(scenario.resolved, seed), scenario.resolved.runs
    together, apart = drawn_together([
        with_runs(s.resolved, draws=runs.draws, replicates=runs.replicates)
        for s in (scenario, baseline)])
    pair = tuple(prepare(one, seed=seed, threads=threads) for one in together)
    levels, spent = _simulated(pair, measure, period, progress)
    away, money = levels[0] - levels[1], spent[0] - spent[1]
    doubtful = any(one.model.doubtful for one in pair)

    def amount(values):
        return _amount(values.reshape(runs.draws, runs.replicates), doubtful=doubtful)

    total = (away @ period.weights).reshape(runs.draws, runs.replicates)
    return Credit(
        (scenario.resolved.title, baseline.resolved.title), (scenario.digest, baseline.digest),
        seed, runs.draws, runs.replicates,
        min(one.model.independent_runs(runs.replicates) for one in pair), measure,
        scenario.resolved.numbers, period,
        amount(total), amount(away.sum(axis=1)), claimed,
        None if claimed is None else _chance(total >= claimed, pair, doubtful=doubtful),
        _price(money, total, period, doubtful=doubtful) if spent.any() else None, total,
        levels.mean(axis=1), tuple(amount(away[:, y]) for y in range(away.shape[1])),
        away.reshape(runs.draws, runs.replicates, -1).mean(axis=1),
        (*_warnings(scenario, baseline, levels, period), *apart,
         *_few(runs.draws, doubtful=doubtful)))


def _simulated(pair: tuple[Ready, Ready], measure: str, period: Period, progress
               ) -> tuple[np.ndarray, np.ndarray]:
    """Counts of the period, and money spent in each year, shape (2, run, census of the period).

    Money of releases is tallied at the census after them, so it is dated a year earlier here.
    """
    replicates = pair[0].resolved.runs.replicates
    total = pair[0].resolved.runs.draws * replicates
    size = min(block_size(one.model.plan) for one in pair)
    blocks = [simulate(one.model.plan, one.model.draws, seed=one.seed, replicates=replicates,
                       threads=one.threads, size=size) for one in pair]
    counts, money = ([], []), ([], [])
    for both in zip(*blocks, strict=True):
        for k, (one, block) in enumerate(zip(pair, both, strict=True)):
            counted = measure_of(measure, block.tallies, one.places)
            cost = measure_of("cost", block.tallies, one.places)
            counts[k].append(counted[:, period.censuses])
            money[k].append(np.diff(cost[:, :period.censuses.stop], axis=1))
        if progress is not None:
            progress(both[0].first + len(both[0].draw), total)
    return (np.stack([np.concatenate(c) for c in counts]),
            np.stack([np.concatenate(m) for m in money]))


def _amount(values: np.ndarray, *, doubtful: bool) -> Amount:
    """Mean and doubt of one number of every run, shape (draw, replicate)."""
    draw_low = draw_high = None
    if doubtful and len(values) > 1:
        draw_low, draw_high = (float(v) for v in np.quantile(values.mean(axis=1), _ENDS))
    run_low, run_high = (float(v) for v in np.quantile(values, _ENDS))
    if values.size == 1:
        mean = float(values.mean())
        return Amount(mean, None, None, draw_low, draw_high, run_low, run_high, mean == 0)
    found = difference("", np.zeros_like(values), values,
                       groups(len(values), doubtful=doubtful))
    return Amount(found.difference, found.low, found.high, draw_low, draw_high, run_low, run_high,
                  found.settled)


def _chance(reached: np.ndarray, pair, *, doubtful: bool) -> ChanceDoubt:
    return chance_with_doubt(
        reached.sum(axis=1), replicates=reached.shape[1],
        scramble=scramble_of_draw(len(reached)), unknown=doubtful,
        certain=all(one.model.certain for one in pair))


def _price(money: np.ndarray, total: np.ndarray, period: Period, *, doubtful: bool) -> Price:
    """Money over animal-years, both discounted; error of a ratio of means (its linear part)."""
    spent = (money @ period.money_weights).reshape(total.shape)
    plain_sum, mean = float(money.sum(axis=1).mean()), float(spent.mean())
    bought = _amount(total, doubtful=doubtful)
    if bought.low is None or bought.low <= 0:
        return Price(plain_sum, mean, None, None, None)
    ratio = mean / bought.mean
    error = _amount((spent - ratio * total) / bought.mean, doubtful=doubtful)
    return Price(plain_sum, mean, ratio, ratio + error.low, ratio + error.high)


def _few(draws: int, *, doubtful: bool) -> tuple[str, ...]:
    if not doubtful or draws >= SCRAMBLES:
        return ()
    if draws == 1:
        return ("one draw of the rates: the ranges tell nothing of what is not known of them",)
    return (f"only {draws} draws of the rates: what is not known of them is told roughly",)


def _warnings(scenario: Scenario, baseline: Scenario, levels: np.ndarray, period: Period
              ) -> tuple[str, ...]:
    found = [f"{s.resolved.title}: {w}" for s in (scenario, baseline) for w in s.warnings]
    if period.first == scenario.resolved.first:
        ahead = float((levels[0, :, 0] - levels[1, :, 0]).mean())
        if ahead:
            found.append(f"the two begin with different numbers: {ahead:+,.0f} at the census of "
                         f"{period.first}, before the plan has done anything, count in the credit")
    if any(only_ranges(s.resolved) for s in (scenario, baseline)):
        found.append("only a range is known of some rates: read the spread over draws, not the "
                     "mean, which rests on how values in a range are drawn")
    found += _of_money(scenario, baseline) + _of_years(scenario, baseline, period)
    runs = [s.resolved.runs for s in (scenario, baseline)]
    if (runs[0].draws, runs[0].replicates) != (runs[1].draws, runs[1].replicates):
        found.append("draws and replicates are those of the scenario, not of the baseline")
    return tuple(dict.fromkeys(found))


def _of_money(scenario: Scenario, baseline: Scenario) -> list[str]:
    """Releases without a cost beside others that have one: the money told is too little."""
    rows = [r for s in (scenario, baseline) for r in s.resolved.releases if any(r.numbers.values())]
    free = list(dict.fromkeys(r.name for r in rows if not r.cost_each))
    if not free or len(free) == len({r.name for r in rows}):
        return []
    return [f"no cost stands at some releases ({', '.join(free)}), so the money told is too little"]


def _of_years(scenario: Scenario, baseline: Scenario, period: Period) -> list[str]:
    """The years that only one of the two has are not counted."""
    last = (scenario.resolved.last, baseline.resolved.last)
    if last[0] == last[1] or period.last != min(last):
        return []
    return [f"the scenario ends in {last[0]}, the baseline in {last[1]}: later years than "
            f"{period.last} are not counted"]

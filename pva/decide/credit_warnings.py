"""What a reader of a credit must know besides: how the two differ, and what is not in it."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from pva.decide.credit_period import Period
from pva.model.draws import SCRAMBLES
from pva.scenario.cautions import only_ranges
from pva.scenario.scenario import Scenario

_NAMED = 3  # numbers that differ, named one by one


def credit_warnings(scenario: Scenario, baseline: Scenario, period: Period, *, ahead: float,
                    apart: Sequence[str] = (), doubtful: bool = True) -> tuple[str, ...]:
    """Warnings of the credit itself first, then those of the scenarios, each once.

    Parameters
    ----------
    ahead : float
        Animals that the scenario holds more than the baseline at the first census counted.
    apart : sequence of str
        Why draws are not the same.
    doubtful : bool
        Whether draws differ.
    """
    found = [*apart, *_head_start(scenario, period, ahead), *_sites(scenario, baseline),
             *_numbers(scenario, baseline), *_years(scenario, baseline, period),
             *_money(scenario, baseline),
             *_draws(scenario, baseline, doubtful=doubtful)]
    both = [w for w in scenario.warnings if w in baseline.warnings]
    found += [f"both: {w}" for w in both]
    found += [f"{s.resolved.title}: {w}" for s in (scenario, baseline) for w in s.warnings
              if w not in both]
    return tuple(dict.fromkeys(found))


def _head_start(scenario: Scenario, period: Period, ahead: float) -> Iterator[str]:
    if ahead and period.first == scenario.resolved.first:
        yield (f"the two begin with different numbers: {ahead:+,.0f} at the census of "
               f"{period.first}, before the plan has done anything, count in the credit")


def _sites(scenario: Scenario, baseline: Scenario) -> Iterator[str]:
    ours, theirs = ({s.name for s in one.resolved.sites} for one in (scenario, baseline))
    if ours != theirs:
        yield (f"sites that only one of the two holds ({', '.join(sorted(ours ^ theirs))}): all "
               "their animals count as a difference")


def _numbers(scenario: Scenario, baseline: Scenario) -> Iterator[str]:
    """Numbers of the same name that differ: the credit is that of these as well."""
    ours, theirs = ({row["name"]: row for row in one.parameters()} for one in (scenario, baseline))
    names = [n for n in ours if n in theirs and any(
        ours[n][k] != theirs[n][k] for k in ("value", "se", "low", "high", "years_sd", "by_year"))]
    if names:
        more = f" and {len(names) - _NAMED} more" if len(names) > _NAMED else ""
        yield (f"the two differ in more than releases ({', '.join(names[:_NAMED])}{more}): the "
               "credit is that of these differences as well")


def _years(scenario: Scenario, baseline: Scenario, period: Period) -> Iterator[str]:
    """The years that only one of the two has are not counted."""
    last = (scenario.resolved.last, baseline.resolved.last)
    if last[0] != last[1] and period.last == min(last):
        yield (f"the scenario ends in {last[0]}, the baseline in {last[1]}: later years than "
               f"{period.last} are not counted")


def _money(scenario: Scenario, baseline: Scenario) -> Iterator[str]:
    """Releases without a cost beside others that have one: the money told is too little."""
    rows = [r for s in (scenario, baseline) for r in s.resolved.releases if any(r.numbers.values())]
    free = list(dict.fromkeys(r.name for r in rows if not r.cost_each))
    if free and len(free) < len({r.name for r in rows}):
        yield (f"no cost stands at some releases ({', '.join(free)}), so the money told is too "
               "little")


def _draws(scenario: Scenario, baseline: Scenario, *, doubtful: bool) -> Iterator[str]:
    if any(only_ranges(s.resolved) for s in (scenario, baseline)):
        yield ("only a range is known of some rates: read the spread over draws, not the mean, "
               "which rests on how values in a range are drawn")
    ours, theirs = (s.resolved.runs for s in (scenario, baseline))
    if (ours.draws, ours.replicates) != (theirs.draws, theirs.replicates):
        yield "draws and replicates are those of the scenario, not of the baseline"
    if doubtful and ours.draws < SCRAMBLES:
        yield f"only {ours.draws} draws of the rates: what is not known of them is told roughly"
    if doubtful and ours.replicates == 1:
        yield ("one replicate a draw: the range over what is not known of the rates holds the luck "
               "of single runs as well")
    if ours.draws == 1 and any(_uncertain(s) for s in (scenario, baseline)):
        yield "one draw of the rates: the ranges tell nothing of what is not known of them"


def _uncertain(scenario: Scenario) -> bool:
    return scenario.resolved.chance.unknown and any(
        row["se"] or row["low"] is not None for row in scenario.parameters())

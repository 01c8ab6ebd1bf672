"""A credit in words and tables."""

from __future__ import annotations

from pva.report.words import count, percent, signed
from pva.results.measures import WORDS
from pva.results.wording import chance_words
from pva.scenario.resolved import FEMALES

CAUTIONS = (
    "This is an accounting figure of a model, not a credit that anybody has granted. The agency's "
    "rules decide what counts, from when, at which rate, and with which proof in the field.",
    "The baseline drives it: what would have happened without the plan is never seen. Show the "
    "credit against every baseline that somebody could reasonably defend.",
    "Animals counted are not yet a population that keeps itself up: read the share of wild-born "
    "animals and the replacement ratio beside it.",
)
CONVENTION = ("One animal counted at the census of a year is one animal-year of that year; years "
              "in which the baseline holds more count negative.")


def answer_of_credit(summary: dict) -> str:
    """One sentence: the animal-years and their doubt."""
    found, first, last = summary["credit"], summary["from"], summary["to"]
    how = "not discounted" if not summary["rate"] else (
        f"discounted at {100 * summary['rate']:.3g} % a year to {summary['base_year']}")
    if _nothing(found):
        return (f"\"{summary['scenario']}\" and \"{summary['baseline']}\" hold the same "
                f"{_counted(summary)} in every year {first} to {last}: the credit is 0.")
    side = "above" if found["mean"] >= 0 else "below"
    return (f"\"{summary['scenario']}\" gives {count(abs(found['mean']))} animal-years "
            f"({_counted(summary)}, {first} to {last}, {how}) {side} "
            f"\"{summary['baseline']}\"{_doubt(found)}.")


def _counted(summary: dict) -> str:
    """What is counted; females alone are said to be so, since they are half a credit."""
    only = ", females only" if summary["numbers"] == FEMALES else ""
    return WORDS[summary["measure"]] + only


def _nothing(found: dict) -> bool:
    return found["run_low"] == found["run_high"] == found["mean"] == 0


def _doubt(found: dict) -> str:
    if found["low"] is None:
        return " (one run, which tells nothing of its doubt)"
    parts = [f"simulation error {_ends(found['low'], found['high'])}"]
    if found["draw_low"] is not None:
        parts.append(f"{_ends(found['draw_low'], found['draw_high'])} over what is not known of "
                     "the rates")
    parts.append(f"{_ends(found['run_low'], found['run_high'])} over single runs")
    if not found["settled"]:
        parts.append("it may be luck")
    return f" ({'; '.join(parts)})"


def _ends(low: float, high: float) -> str:
    return f"{_number(low)} to {_number(high)}"


def _number(value: float) -> str:
    return ("\N{MINUS SIGN}" if value < 0 else "") + count(abs(value))


def credit_words(summary: dict) -> list[str]:
    """What else the credit tells: without discount, how sure, what was claimed, what it costs."""
    plain = summary["undiscounted"]["mean"]
    said = [CONVENTION]
    if summary["rate"]:
        said.append(f"Without discount: {_number(plain)} animal-years.")
    if summary["claimed"] is not None:
        claim = summary["claimed"]
        said.append(
            f"The chance that the credit is at least the {count(claim['number'])} animal-years "
            f"claimed is {chance_words(claim['chance'], summary['independent_runs'])} (simulation "
            f"error {percent(claim['low'])} to {percent(claim['high'])}).")
    return said + _cost_words(summary)


def _cost_words(summary: dict) -> list[str]:
    cost = summary["cost"]
    if cost is None:
        return ["No release has a cost (`cost_each`), so no cost per animal-year is told."]
    discounted = f", {_number(cost['discounted'])} discounted" if summary["rate"] else ""
    said = (f"Releases cost {_number(cost['plain'])} more than the baseline's{discounted}, in the "
            "money of the scenario; monitoring, land and staff are not in it.")
    if cost["per_animal_year"] is None:
        return [f"{said} A cost per animal-year is not told, because the credit is not clearly "
                "above 0."]
    return [f"{said} That is {cost['per_animal_year']:.3g} per animal-year (simulation error "
            f"{cost['low']:.3g} to {cost['high']:.3g})."]


def sure_table(summary: dict) -> tuple[list[str], list[list]]:
    """The largest credit that a run reaches with a stated chance."""
    return ["chance", "animal-years reached or passed"], [
        [chance_words(row["chance"]), _number(row["animal_years"])]
        for row in summary["reached_with"]]


def year_table(summary: dict) -> tuple[list[str], list[list]]:
    """Some of the years: levels, difference, and the discounted sum so far."""
    years = summary["years"]
    step = max(1, (len(years) - 1) // 6)
    rows = [[y["year"], count(y["scenario"]), count(y["baseline"]), signed(y["difference"], 3),
             f"{y['weight']:.3f}", _number(y["so_far"])]
            for i, y in enumerate(years) if i % step == 0 or i == len(years) - 1]
    return ["year", "scenario", "baseline", "difference", "weight", "animal-years so far"], rows

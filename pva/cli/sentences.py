"""Answers in sentences, made from summaries; numbers said no more exactly than they are known."""

from __future__ import annotations

import math

from pva.results.wording import (
    animals,
    animals_up,
    chance_between,
    chance_ends,
    chance_words,
    in_ten,
    rate_prose,
)

VERDICT_WORDS = {
    "met": "the chance{} is reached",
    "not met": "the chance{} is not reached",
    "cannot tell yet": "cannot tell yet whether the chance{} is reached",
}
JUDGED_BY = {"all goals": "of meeting all goals",
             "quasi-extinction": "of falling below the threshold"}
ONE_DRAW = ("Every rate stands at its best value (one draw): nothing of what is not known about "
            "the rates is in these numbers.")
LAYER_WORDS = {
    "unknown": ("what is not known of the rates", "Better field data would narrow it most."),
    "years": ("good and bad years", "No field work narrows that; only a plan with more margin "
              "helps."),
    "individuals": ("the luck of single animals", "Larger numbers would narrow it most."),
}


def chance_range(low: float | None, high: float | None) -> str:
    """Ends of an interval, "24 % to 100 %"; empty where there are none."""
    if low is None or high is None:
        return ""
    first, last = chance_ends(low, high)
    return f"{first} %" if first == last else f"{first} % to {last} %"


def answer_of_run(summary: dict, wanted: float | None = None) -> str:
    """One sentence: the chance of all goals and its doubt, or the risk where there is no goal."""
    joint = summary["all_goals"]
    if joint["chance"] is None:
        return _risk(summary)
    names = [g["name"] for g in summary["goals"]]
    what = f"meeting the goal \"{names[0]}\""
    if len(names) > 1:
        count = "both" if len(names) == 2 else f"all {len(names)}"
        what = f"meeting {count} goals in the same run"
    chance = chance_between(joint["chance"], joint["low"], joint["high"])
    return (f"The chance of {what} is {chance} ({in_ten(joint['chance'])}; simulation error "
            f"{chance_range(joint['low'], joint['high'])}"
            f"{_over_draws(joint['draw_low'], joint['draw_high'])}): "
            f"{VERDICT_WORDS[joint['verdict']].format(_wanted(wanted))}.")


def _wanted(wanted: float | None) -> str:
    return " wanted" if wanted is None else f" wanted ({chance_words(wanted)})"


def _over_draws(low: float | None, high: float | None) -> str:
    if low is None or high is None:
        return ""
    return f"; {chance_range(low, high)} over what is not known of the rates"


def _risk(summary: dict) -> str:
    quasi, last = summary["quasi_extinction"], summary["years"][-1]
    chance, low, high, draw_low, draw_high = (
        quasi[k][-1] for k in ("chance", "low", "high", "draw_low", "draw_high"))
    return (f"The chance that adults fall below {animals(quasi['threshold'])} by {last} is "
            f"{chance_between(chance, low, high)} ({in_ten(chance)}; simulation error "
            f"{chance_range(low, high)}{_over_draws(draw_low, draw_high)}).")


def what_would_change_run(summary: dict) -> list[str]:
    """Where the spread of the outcome comes from, and what would narrow it."""
    if summary["draws"] == 1:
        return [ONE_DRAW]
    shares = [s for s in summary["variance_shares"] if s["unknown"] is not None]
    if not shares:
        return []
    outcome = shares[1] if len(shares) > 1 else shares[0]
    layer = max(LAYER_WORDS, key=lambda k: outcome[k])
    words, helps = LAYER_WORDS[layer]
    said = (f"{_percent(outcome[layer])} of the spread of \"{outcome['outcome']}\" comes from "
            f"{words}. {helps}")
    if summary["all_goals"]["verdict"] == "cannot tell yet":
        said += " More draws and replicates (runs) would settle the verdict."
    return [said]


def leading_words(found: dict) -> str:
    """The assumption that matters most."""
    doubt = f", {found['doubt']}" if found["doubt"] else ""
    source = f"{found['source_kind']}" + (f": {found['source']}" if found["source"] else "")
    return ("The number that matters most, by its pull on growth and its doubt, is "
            f"{rate_prose(found['name'])} ({found['value']:g}{doubt}; {source}).")


def followed_words(row: dict, parameter: dict, *, goals: bool) -> str:
    """The uncertain number that the outcome follows most over parameter draws."""
    pull = row["adults"] if row["goals"] is None else row["goals"]
    outcome = "the chance of meeting the goals" if goals else "the number of adults"
    way = "rises" if pull > 0 else "falls"
    source = parameter["source_kind"] + (f": {parameter['source']}" if parameter["source"] else "")
    return (f"The number that matters most is {rate_prose(row['parameter'])} "
            f"({parameter['value']:g}; {source}): of all that is not known exactly, "
            f"{outcome} follows it most and {way} with it (rank correlation {pull:+.2f}).")


def answer_of_compare(summary: dict) -> str:
    """One sentence for every scenario against the first."""
    total = summary["independent_runs"]
    return "\n".join(_against(entry, summary["scenarios"][0], total)
                     for entry in summary["against_first"])


def _against(entry: dict, first: str, total: int) -> str:
    rows = {d["outcome"]: d for d in entry["differences"]}
    name = next((n for n in JUDGED_BY if n in rows), None)
    if name is None:
        return f"\"{entry['scenario']}\" and \"{first}\" have no outcome in common."
    row, what = rows[name], JUDGED_BY[name]
    if row["difference"] == 0:
        return f"\"{entry['scenario']}\": the chance {what} is the same as in \"{first}\"."
    move = "higher" if row["difference"] > 0 else "lower"
    settled = "" if row["settled"] else "; that difference may be luck"
    low, high = points(row["low"], sign=True), points(row["high"], sign=True)
    return (f"\"{entry['scenario']}\": the chance {what} is {points(abs(row['difference']))} "
            f"points {move} than in \"{first}\" ({chance_words(row['other'], total)} against "
            f"{chance_words(row['first'], total)}; 95 % interval of the difference {low} to "
            f"{high} points{settled}).")


def points(difference: float, *, sign: bool = False) -> str:
    """A difference of chances in percentage points."""
    size = 100 * difference
    return f"{size:{'+' if sign else ''}.{0 if abs(size) >= 5 else 1}f}"


def compared(row: dict, total: int) -> list[str]:
    """Cells of one line of a comparison; `total` replicates."""
    if row["outcome"] == "adults in the last year":
        said, away = animals, lambda x: ("-" if x < 0 else "+") + animals(abs(x))
        unit = ""
    else:
        said, unit = lambda x: chance_words(x, total), " points"
        away = lambda x: points(x, sign=True)  # noqa: E731
    cells = [row["outcome"], said(row["first"]), said(row["other"])]
    if row["low"] == row["high"] == 0:
        return [*cells, "none", "", ""]
    return [*cells, away(row["difference"]) + unit,
            f"{away(row['low'])} to {away(row['high'])}{unit}",
            "" if row["settled"] else _may_be_luck(row)]


def _may_be_luck(row: dict) -> str:
    """An unsettled difference, and how many more runs would settle it if it stays as it is."""
    if not row.get("more_runs"):
        return "may be luck"
    times = max(2, math.ceil(row["more_runs"]))
    return f"may be luck; {animals_up(times)} times the {row['more_of']} would tell"


def answer_of_matrix(summary: dict) -> str:
    """One sentence: the growth rate, with what varying years make of it."""
    growth = summary["growth_rate"]
    if not growth:
        return "No lineage lasts: the growth rate is 0."
    move = "grows" if growth >= 1 else "falls"
    said = (f"In the long run the population {move} by {100 * abs(growth - 1):.2g} % a year "
            f"(growth rate {growth:.4g}")
    long_run = summary["stochastic_growth_rate"]
    if long_run["log"] is not None and f"{long_run['factor']:.4g}" != f"{growth:.4g}":
        said += (f"; with the luck of years {long_run['factor']:.4g}, 95 % interval of the "
                 f"simulation {long_run['factor_low']:.4g} to {long_run['factor_high']:.4g}")
    return said + "), without limits of space and without releases."


def _percent(share: float) -> str:
    return f"{100 * share:.0f} %"


def lives(summary: dict) -> list[str]:
    """Times in years, which biologists can check."""
    said = []
    if summary["years_to_maturity"] is not None:
        said.append(f"An animal that matures takes {summary['years_to_maturity']:.1f} years")
    if summary["generation_time_years"] is not None:
        said.append(f"parents are {summary['generation_time_years']:.1f} years old on average")
    if summary["net_reproductive_rate"] is not None:
        said.append(f"an animal leaves {summary['net_reproductive_rate']:.3g} young in its life")
    if not said:
        return []
    text = "; ".join(said)
    return [text[0].upper() + text[1:] + "."]

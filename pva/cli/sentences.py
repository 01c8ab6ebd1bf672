"""Answers in sentences, made from summaries; numbers said no more exactly than they are known."""

from __future__ import annotations

import math

from pva.results.wording import (
    LIFT_WORDS,
    animals,
    animals_up,
    chance_ends,
    chance_words,
    in_ten,
    rate_prose,
    rough,
)

LIMIT_WORDS = {
    "hosts": "the host fish limit recruitment",
    "space": "the sites have no room for more",
    "survival": "too many animals die each year",
    "bad years": "bad years undo what is stocked",
    "number stocked": "more animals would be needed than the largest number tried",
}
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


def chance_between(chance: float, low: float, high: float) -> str:
    """A chance in words; one never seen, or never missed, by the end of its interval."""
    if chance <= 0:
        return f"below {chance_words(high)}"
    if chance >= 1:
        return f"above {chance_words(low)}"
    return chance_words(chance)


def chance_range(low: float | None, high: float | None) -> str:
    """Ends of an interval, "24 % to 100 %"; empty where there are none."""
    if low is None or high is None:
        return ""
    first, last = chance_ends(low, high)
    return f"{first} %" if first == last else f"{first} % to {last} %"


def before_the_answer(summary: dict, question, asked_seed: int | None) -> list[str]:
    """Remarks on how the answer came about: the seed if one was drawn."""
    if asked_seed is None and question.resolved.runs.seed is None:
        return [f"Seed drawn: {summary['seed']}. Give --seed {summary['seed']} for the same "
                "numbers."]
    return []


def answer_of_run(summary: dict, wanted: float | None = None) -> str:
    """One sentence: the chance of all goals and its doubt, or the risk where there is no goal."""
    total = summary["independent_runs"]
    joint = summary["all_goals"]
    if joint["chance"] is None:
        return _risk(summary, total)
    names = [g["name"] for g in summary["goals"]]
    what = f"meeting the goal \"{names[0]}\""
    if len(names) > 1:
        count = "both" if len(names) == 2 else f"all {len(names)}"
        what = f"meeting {count} goals in the same run"
    chance = chance_words(joint["chance"], total)
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


def _risk(summary: dict, total: int) -> str:
    quasi, last = summary["quasi_extinction"], summary["years"][-1]
    chance, low, high, draw_low, draw_high = (
        quasi[k][-1] for k in ("chance", "low", "high", "draw_low", "draw_high"))
    return (f"The chance that adults fall below {animals(quasi['threshold'])} by {last} is "
            f"{chance_words(chance, total)} ({in_ten(chance)}; simulation error "
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


def answer_of_stock(summary: dict) -> str:
    """One sentence: the number to stock and its doubt, or why there is none."""
    total = summary["independent_runs"]
    wanted = chance_words(summary["chance_wanted"])
    if summary["reachable"] is None:
        best = chance_words(summary["best_chance"], total)
        return (f"Cannot tell yet: the best chance found, {best} at "
                f"{animals(summary['best_number'])} a year, is within simulation error of the "
                f"{wanted} wanted.")
    if not summary["reachable"]:
        return _not_reachable(summary, wanted, total)
    years = summary["release_years"]
    when = f"in {years[0]}" if len(years) == 1 else f"a year ({years[0]} to {years[-1]})"
    if summary["number"] == 0:
        return (f"No stocking is needed: with none, the chance of meeting the goals is already "
                f"{chance_words(summary['chance_at_number'], total)} (wanted {wanted}).")
    return (f"Stock {animals(summary['number'])} animals {when} for {_article(wanted)} {wanted} "
            f"chance ({in_ten(summary['chance_wanted'])}) of meeting the goals{_safe(summary)}"
            f"; roughly {_rough_range(summary)} over what is not known of the rates.")


def _safe(summary: dict) -> str:
    """The best single estimate, and the end of its interval that is on the safe side."""
    low, high, most = summary["low"], summary["high"], animals(summary["most"])
    if high is None:
        return (f": the best single estimate; from simulation error {animals(low or 0)} to more "
                f"than {most}, so no number tried is a safe choice")
    if math.ceil(high) <= summary["number"]:
        return ""
    return (f": the best single estimate; from simulation error {animals(low or 0)} to "
            f"{animals_up(high)}, whose upper end, {animals_up(high)}, is the safe choice")


def _article(words: str) -> str:
    return "an" if words.startswith(("8", "11 ", "18 ")) else "a"


def _not_reachable(summary: dict, wanted: str, total: int) -> str:
    best = chance_words(summary["best_chance"], total)
    level = f"levels off at {best}" if summary["best_chance"] > 0 else f"stays {best}"
    said = (f"Not reachable: the chance {level} (wanted {wanted}; at most "
            f"{animals(summary['most'])} a year tried)")
    if summary["limit"] is None:
        return said + "; lifting no single limit helps."
    lifted = dict((x["limit"], x["best_chance"]) for x in summary["limits_lifted"])
    return (f"{said}, because {LIMIT_WORDS[summary['limit']]}; "
            f"{LIFT_WORDS[summary['limit']]} it would be "
            f"{chance_words(lifted[summary['limit']], looks(summary))}.")


def looks(summary: dict) -> int:
    """Independent runs behind a chance with a limit lifted: a quarter of the replicates."""
    return max(summary["draws"], summary["independent_runs"] // 4)


def _rough_range(summary) -> str:
    low, high, most = summary["draw_low"], summary["draw_high"], animals(summary["most"])
    if low is None and high is None:
        return f"no number up to {most}"
    if high is None:
        return f"{rough(low or 0)} to more than {most}"
    return f"{rough(low or 0)} to {rough(high)}"


def totals_words(summary: dict) -> str:
    """Totals of the plan, beside them the sums of the order sheet's whole numbers."""
    lines = [x for x in summary["order_sheet"] if x["release"] in summary["releases"]]
    sums = {k: sum(x[k] or 0 for x in lines) for k in ("number", "mothers", "cost")}
    said = [f"In all {animals(summary['total_animals'])} animals planned "
            f"(order sheet, every order a whole number: {sums['number']:,})"]
    said.append("mothers not stated" if summary["mothers"] is None else
                f"{animals(summary['mothers'])} mothers (order sheet: {sums['mothers']:,})")
    said.append("cost not stated" if summary["cost"] is None else
                f"cost {animals(summary['cost'])} (order sheet: {sums['cost']:,.0f})")
    return "; ".join(said) + ". Numbers are planned ones, before deliveries fall short."


def late_orders(summary: dict, first: int) -> list[str]:
    """A warning where orders must be placed before the plan begins."""
    years = [x["order_year"] for x in summary["order_sheet"]]
    late = [y for y in years if y < first]
    if not late:
        return []
    when = f"in {late[0]}" if len(set(late)) == 1 else f"from {min(late)} on"
    return [f"{len(late)} of {len(years)} orders must have been placed before {first}, the first "
            f"year of the plan ({when}). If they were not, the first releases fall later and the "
            "answer changes."]


def thinned(curve: dict, number: float | None) -> list[tuple]:
    """Rows of the curve, none within 3 % of another; the one nearest the answer stays."""
    rows = list(zip(*(curve[k] for k in ("number", "chance", "low", "high")), strict=True))
    near = None if number is None else min((r[0] for r in rows), key=lambda n: abs(n - number))
    kept: list[tuple] = []
    for row in rows:
        if not kept or row[0] >= 1.03 * kept[-1][0]:
            kept.append(row)
        elif row[0] == near:
            kept[-1] = row
    return kept


def what_would_change_stock(summary: dict) -> list[str]:
    """What else limits, and whether more is better."""
    lines = []
    if summary["limits_lifted"]:
        each = [f"{LIFT_WORDS[x['limit']]} {chance_words(x['best_chance'], looks(summary))}"
                for x in summary["limits_lifted"]]
        lines.append(f"Best chance {'; '.join(each)}.")
    if summary["band"] and summary["band"][1] < summary["most"]:
        low, high = summary["band"]
        lines.append(f"More is not always better here: numbers from {animals(low)} to "
                     f"{animals(high)} a year reach the chance wanted.")
    return lines


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
            "" if row["settled"] else "may be luck"]


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

"""The number to stock in words and rows of tables."""

from __future__ import annotations

import math

from pva.cli.sentences import chance_range
from pva.decide.options import orders_of
from pva.results.wording import (
    LIFT_WORDS,
    animals,
    animals_up,
    chance_between,
    chance_words,
    in_ten,
    rough,
    years_words,
)

LIMIT_WORDS = {
    "hosts": "the host fish limit recruitment",
    "space": "the sites have no room for more",
    "survival": "too many animals die each year",
    "bad years": "bad years undo what is stocked",
    "number stocked": "more animals would be needed than the largest number tried",
}
OPTION_COLUMNS = ("option", "animals a year", "years", "in all", "mothers", "cost", "chance")
SHORTER_COLUMNS = ("last year of release", "animals a year", "in all", "cost")


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
    if summary["number"] == 0:
        return (f"No stocking is needed: with none, the chance of meeting the goals is already "
                f"{chance_words(summary['chance_at_number'], total)} (wanted {wanted}).")
    return (f"{_which(summary)}{_amount(summary)} for {_article(wanted)} {wanted} "
            f"chance ({in_ten(summary['chance_wanted'])}) of meeting the goals{_safe(summary)}"
            f"{_rough_range(summary)}.")


def _which(summary: dict) -> str:
    """The option the answer is about, where there are several."""
    if not summary["options"]:
        return "Stock "
    one = next(o for o in summary["options"] if o["releases"] == summary["releases"])
    return f"With \"{one['name']}\" alone, the cheapest option: stock "


def _amount(summary: dict) -> str:
    """How many and when, in the unit asked for first."""
    years, asked = summary["release_years"], summary["asked"]
    when = f"in {years[0]}" if len(years) == 1 else f"a year ({years_words(years)})"
    yearly = f"{animals(summary['number'])} animals {when}"
    if asked["unit"] == "total":
        return f"{animals(asked['number'])} animals in all, {yearly},"
    if asked["unit"] == "mothers":
        return f"the young of {asked['number']:,.0f} mothers in all, {yearly},"
    return yearly


def _unit(summary: dict) -> str:
    return {"number": "", "total": " in all", "mothers": " mothers"}[summary["asked"]["unit"]]


def _safe(summary: dict) -> str:
    """The best single estimate, and the end of its interval that is on the safe side."""
    asked = summary["asked"]
    low, high, most = asked["low"], asked["high"], animals(asked["most"]) + _unit(summary)
    if high is None:
        return (f": the best single estimate; from simulation error {animals(low or 0)} to more "
                f"than {most}, so no number tried is a safe choice")
    if math.ceil(high) <= asked["number"]:
        return ""
    return (f": the best single estimate; from simulation error {animals(low or 0)} to "
            f"{animals_up(high)}{_unit(summary)}, whose upper end, {animals_up(high)}, is the safe "
            "choice")


def _article(words: str) -> str:
    return "an" if words.startswith(("8", "11 ", "18 ")) else "a"


def _not_reachable(summary: dict, wanted: str, total: int) -> str:
    best = chance_words(summary["best_chance"], total)
    level = f"stays {best}" if summary["best_chance"] == 0 else (
        f"is {best} at most" if summary["limit"] == "number stocked" else f"levels off at {best}")
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
    asked = summary["asked"]
    low, high, most = asked["draw_low"], asked["draw_high"], animals(asked["most"])
    most += _unit(summary)
    if low is None:  # the draws reach the chance on average, so they are all alike
        return "; nothing of what is not known of the rates is in it"
    end = f"more than {most}" if high is None else f"{rough(high)}{_unit(summary)}"
    return f"; roughly {rough(low)} to {end} over what is not known of the rates"


def totals_words(summary: dict) -> str:
    """Totals of the plan, beside them the sums of the order sheet's whole numbers."""
    sums = _sums([x for x in summary["order_sheet"] if x["release"] in summary["releases"]])
    sheet = "whole orders" if _mixture(summary) else "order sheet"
    said = [f"In all {animals(summary['total_animals'])} animals planned "
            f"({sheet}, every order a whole number: {sums['number']:,})"]
    said.append("mothers not stated" if summary["mothers"] is None else
                f"{animals(summary['mothers'])} mothers ({sheet}: {sums['mothers']:,})")
    said.append("cost not stated" if summary["cost"] is None else
                f"cost {animals(summary['cost'])} ({sheet}: {sums['cost']:,.0f})")
    return ("; ".join(said) + ". Numbers are planned ones, before deliveries fall short."
            + _besides(summary))


def _sums(lines: list[dict]) -> dict:
    return {k: sum(x[k] or 0 for x in lines) for k in ("number", "mothers", "cost")}


def _mixture(summary: dict) -> bool:
    """Whether the cheapest plan, whose order sheet is written, is not the answer itself."""
    return bool(summary["cheapest"]) and len(summary["cheapest"]["parts"]) > 1


def _besides(summary: dict) -> str:
    """Releases that are not varied: ordered too, and in none of the sums."""
    varied = {*summary["releases"], *(r for o in summary["options"] for r in o["releases"])}
    others = [x for x in orders_of(summary) if x["release"] not in varied]
    number = sum(x["number"] for x in others)
    if not number:
        return ""
    names = ", ".join(dict.fromkeys(x["release"] for x in others if x["number"]))
    return (f" Besides these, {number:,} animals are ordered as the plan says ({names}): the order "
            "sheet holds them, these sums do not. `solve.releases` names what is varied.")


def late_orders(summary: dict, first: int) -> list[str]:
    """A warning where orders must be placed before the plan begins."""
    years = [x["order_year"] for x in orders_of(summary)]
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


def made_words(summary: dict) -> list[str]:
    """What was released already, and what the number is for."""
    if not summary["made"]:
        return []
    years = [m["year"] for m in summary["made"]]
    count = sum(m["number"] for m in summary["made"])
    when = f"in {years[0]}" if min(years) == max(years) else years_words(years)
    return [f"{animals(count)} animals were delivered already ({when}); the number is that of the "
            f"years left, {years_words(summary['release_years'])}."]


def option_rows(summary: dict) -> list[list[str]]:
    """Cells of every option alone."""
    return [_option_row(o, summary) for o in summary["options"]]


def _option_row(one: dict, summary: dict) -> list[str]:
    years = one["release_years"]
    when = years_words(years)
    if one["number"] is None:
        said = "cannot tell yet" if one["reachable"] is None else "not reachable"
        best = chance_words(one["best_chance"], summary["independent_runs"])
        return [one["name"], said, when, "", "", "", f"at best {best}"]
    return [one["name"], animals(one["number"]), when, animals(one["total_animals"]),
            _or_not_stated(one["mothers"]), _or_not_stated(one["cost"]),
            chance_words(one["chance_at_number"], summary["independent_runs"])]


def _or_not_stated(value: float | None) -> str:
    return "not stated" if value is None else animals(value)


def cheapest_words(summary: dict) -> str:
    """The cheapest plan, and what was tried."""
    plan, enough = summary["cheapest"], [o for o in summary["options"] if o["number"] is not None]
    if plan is None:
        return ("No plan is the cheapest: " + (
            "an option does not say what an animal costs (cost_each)." if enough else
            "no option is enough, nor any mixture of two that was tried."))
    parts = " and ".join(f"{p['number']:,} a year of \"{p['option']}\"" for p in plan["parts"])
    kind, sheet = "one option alone", ""
    if _mixture(summary):
        sums = _sums(plan["order_sheet"])
        kind = "a mixture"
        sheet = (f" The order sheet is that of the mixture: {sums['number']:,} animals, "
                 f"{sums['mothers']:,} mothers, cost {sums['cost']:,.0f}.")
    return (f"Cheapest plan found, {kind}: {parts}, cost {animals(plan['cost'])}; chance "
            f"{chance_words(plan['chance'])} ({chance_range(plan['low'], plan['high'])}). Tried: "
            f"{plan['tried']}. A mixture is told where it saves at least 2 %.{sheet}")


def duty_words(summary: dict) -> list[str]:
    """The year the duty can end, in one sentence."""
    duty = summary["duty"]
    if duty is None:
        return []
    wanted, last = chance_words(summary["chance_wanted"]), duty["last_year"][-1]
    start = f"With {animals_up(duty['number'])} animals a year "
    if duty["ends"] in (None, last):
        return [f"{start}the duty cannot end before {last}: stopping earlier leaves less than the "
                f"{wanted} wanted."]
    if duty["ends"] < summary["release_years"][0]:
        return [f"{start}no release is needed for the {wanted} wanted."]
    sure = duty["ends_surely"]
    known = ("; simulation error leaves it open whether any of these years is late enough"
             if sure is None else "" if sure == duty["ends"] else
             f"; beyond simulation error the last is {sure}")
    return [f"{start}the last release needed for the {wanted} wanted is that of "
            f"{duty['ends']}{known}."]


def duty_rows(summary: dict) -> list[list[str]]:
    """Chance by the last year of release."""
    duty, first = summary["duty"], summary["release_years"][0]
    return [["none" if y < first else str(y), chance_between(c, lo, hi), chance_range(lo, hi)]
            for y, c, lo, hi in zip(duty["last_year"], duty["chance"], duty["low"], duty["high"],
                                    strict=True)]


def shorter_rows(summary: dict) -> list[list[str]]:
    """Number needed for every earlier end."""
    most = f"more than {animals(summary['most'])}"
    return [[str(s["last_year"]), most, "", ""] if s["number"] is None else
            [str(s["last_year"]), animals(s["number"]), animals(s["total_animals"]),
             _or_not_stated(s["cost"])] for s in summary["duty"]["shorter"]]

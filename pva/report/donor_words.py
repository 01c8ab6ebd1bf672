"""What a donor bed can give, in words and tables made from the summary."""

from __future__ import annotations

from pva.decide.donor import LIKELY
from pva.report.words import exact
from pva.results.wording import animals, animals_down, chance_words

ALL_THERE = ", as many a year as are there at first"


def answer_of_donor(summary: dict) -> str:
    """One sentence: the number a year, or take none, and what the best value would say."""
    low, best = summary["judged"]
    agreed = chance_words(summary["added_risk"])
    harm = f"fall below {exact(summary['threshold'])} adults"
    years = _years(summary["years"])
    if low["risk"] > LIKELY:
        text = (f"Take none: from the lower limit of its abundance, {animals(low['adults'])} "
                f"adults, {summary['site']} is more likely than not to {harm} by itself")
    elif summary["number"] == 0:
        text = (f"Take none: from the lower limit of its abundance, {animals(low['adults'])} "
                f"adults, any collection of {summary['stage']} animals raises the chance that "
                f"{summary['site']} will {harm} by more than {agreed}")
    else:
        surely = _most(low["surely"])
        sure = "" if low["surely"] == low["largest"] else (
            f" ({surely} where simulation error is not to matter, the safe choice)")
        sure += ALL_THERE if low.get("all_there") else ""
        text = (f"At most {_most(summary['number'])} {summary['stage']} animals a year{sure}, "
                f"{years}: so the chance that {summary['site']} will {harm} rises by at most "
                f"{agreed}, judged from the lower limit of its abundance, "
                f"{animals(low['adults'])} adults")
    return (f"{text}; from the best value, {animals(best['adults'])} adults, it would be "
            f"{_most(best['largest'])}.")


def _most(number: int) -> str:
    """The most that may be taken, rounded down."""
    return animals_down(number) if number else "none"


def _years(years: list[int]) -> str:
    if len(years) == 1:
        return f"in {years[0]}"
    if years == list(range(years[0], years[-1] + 1)):
        return f"{years[0]} to {years[-1]}"
    return ", ".join(map(str, years))


def safe_words(summary: dict) -> list[str]:
    """The bed left alone, and what the simulation error allows."""
    low = summary["judged"][0]
    total = summary["independent_runs"]
    lines = [f"Left alone, the bed has a chance of {chance_words(low['risk'], total)} of falling "
             f"below {exact(summary['threshold'])} adults (from the lower limit)."]
    if low["risk"] > LIKELY:
        lines.append("A bed in such a state is no donor: where the risk is high already, little "
                     "can be added to it, and the added risk says nothing.")
    if low["surely"] < low["largest"]:
        lines.append(f"Beyond simulation error the added risk stays within what was agreed up to "
                     f"{_most(low['surely'])} a year.")
    return lines


def judged_table(summary: dict) -> tuple[list[str], list[list[str]]]:
    """Both judgements side by side."""
    total = summary["independent_runs"]
    rows = [[j["start"], animals(j["adults"]), chance_words(j["risk"], total),
             _most(j["largest"]), _most(j["surely"]),
             _regain(j["years_to_regain"], j["largest"])]
            for j in summary["judged"]]
    return ["bed judged from", "adults", "risk left alone", "at most a year",
            "beyond simulation error", "years to regain"], rows


def _regain(years, number):
    if number == 0:
        return ""
    return "not within the years run" if years is None else str(years)


def ways_table(summary: dict) -> tuple[list[str], list[list[str]]]:
    """Adults against younger animals, once against spread."""
    rows = [[w["stage"], "spread over " + _years(w["years"]) if w["spread"] else
             f"once, {_years(w['years'])}", _most(w["total"]) + (
                 ALL_THERE if w.get("all_there") and w["total"] else ""),
             _regain(w["years_to_regain"], w["total"])] for w in summary["ways"]]
    return ["if taken as (lower limit)", "when", "at most in all", "years to regain"], rows

"""Sensitivity in words and tables, made from its summary."""

from __future__ import annotations

from pva.results.wording import animals, chance_ends, chance_words, rate_prose, rate_words

MOST_ROWS = 12
_OUTCOME = {"all goals": "of meeting all goals",
            "no quasi-extinction": "of not falling below the threshold"}


def answer_of_sensitivity(summary: dict) -> str:
    """One sentence: what the chance follows most, and the nearest flip that is not ruled out."""
    total = summary["independent_runs"]
    chance = summary["chance"]
    text = (f"The chance {_OUTCOME[summary['outcome']]} is "
            f"{chance_words(chance['chance'], total)}")
    if not summary["rates"]:
        return f"{text}; the scenario has no rate that could be otherwise."
    top = summary["rates"][0]
    if _reach(top) == 0:
        return (f"{text}, and stays so whichever single rate is moved within what is known of it "
                "or by one step.")
    low, high = sorted(_ends(top))
    within = "within what is known of it" if top["low"] is not None else "within one step"
    text += (f"; it depends most on {rate_prose(top['name'])}, {within} from "
             f"{chance_words(low, total)} to {chance_words(high, total)}")
    if summary["verdict"] is None:
        return f"{text}."
    open_ = [r for r in summary["rates"] if r["ruled_out"] is False]
    wanted = chance_words(summary["chance_wanted"])
    if not open_:
        unsaid = any(r["flip"] is not None and r["ruled_out"] is None for r in summary["rates"])
        return (f"{text}; within what is known no single rate flips whether the {wanted} wanted "
                "is reached" + (", but of some rates nothing is known." if unsaid else "."))
    flips = "; ".join(f"{rate_prose(r['name'])} at {_value(r['flip'])} instead of "
                      f"{_value(r['value'])}" for r in open_[:3])
    more = f" and {len(open_) - 3} more" if len(open_) > 3 else ""
    return (f"{text}. Whether the {wanted} wanted is reached flips within what is known of "
            f"{flips}{more}.")


def _reach(row):
    """Largest change of the chance that the table shows."""
    shown = [row[k] for k in ("chance_low", "chance_high", "chance_less", "chance_more")]
    return max(abs(c - row["chance"]) for c in shown if c is not None)


def _ends(row):
    if row["chance_low"] is None:
        return row["chance_less"], row["chance_more"]
    return row["chance_low"], row["chance_high"]


def rate_table(summary: dict) -> tuple[list[str], list[list[str]]]:
    """One rate at a time, in its own unit; rates that move nothing are only counted."""
    total, judged = summary["independent_runs"], summary["verdict"] is not None
    header = ["one rate at a time", "value", "95 % of what is known", "chance there",
              "step down, up", *(["flips at", ""] if judged else [])]
    moving = [r for r in summary["rates"] if _reach(r) > 0 or r["flip"] is not None]
    rows = []
    for row in moving[:MOST_ROWS]:
        known = row["low"] is not None
        there = (f"{chance_words(row['chance_low'], total)}, "
                 f"{chance_words(row['chance_high'], total)}" if known else "")
        steps = f"{chance_words(row['chance_less'], total)}, " \
                f"{chance_words(row['chance_more'], total)}"
        rows.append([rate_words(row["name"]), _value(row["value"]),
                     f"{_value(row['low'])} to {_value(row['high'])}" if known else "not stated",
                     there, f"{steps} ({_value(row['step'])})",
                     *([_flip(row), _standing(row)] if judged else [])])
    still = len(summary["rates"]) - len(moving)
    for left, words in ((len(moving) - MOST_ROWS, "with less reach (--json lists all)"),
                        (still, "that move nothing")):
        if left > 0 and moving:
            rows.append([f"and {left} {words}", *[""] * (len(header) - 1)])
    return header, rows


def _flip(row):
    return "nowhere" if row["flip"] is None else _value(row["flip"])


def _standing(row):
    if row["flip"] is None:
        return ""
    if row["ruled_out"] is None:
        return "doubt not stated"
    if not row["ruled_out"]:
        return "possible"
    return "ruled out (95 %)" if row["source_kind"] == "measured" else "outside the range"


def growth_words(summary: dict) -> list[str]:
    """What the long-run growth rate follows most, from the matrix."""
    rows = sorted(summary["elasticities"], key=lambda r: -abs(r["elasticity"]))[:3]
    if not rows:
        return []
    parts = "; ".join(f"{rate_prose(r['name'])} ({r['elasticity']:+.2f})" for r in rows)
    return [f"One percent of these moves the long-run growth rate most, in percent: {parts}."]


def switch_table(summary: dict) -> tuple[list[str], list[list[str]]]:
    """Mechanisms switched off, in the same luck."""
    total = summary["independent_runs"]
    rows = []
    for row in summary["switches"]:
        low, high = chance_ends(abs(row["low"]), abs(row["high"]))
        ends = (f"{'-' if row['low'] < 0 else '+'}{low} to "
                f"{'-' if row['high'] < 0 else '+'}{high}")
        points = f"{100 * row['difference']:+.0f}" if row["difference"] else "0"
        rows.append([row["outcome"], chance_words(row["other"], total), points,
                     ends if row["difference"] else "", "" if row["settled"] else "not settled"])
    return ["if instead", "chance", "change in points", "95 % interval", ""], rows


def share_table(summary: dict) -> tuple[list[str], list[list[str]]]:
    """Shares of the variance of the chance, all uncertain rates moved at once."""
    rows = []
    for row in summary["variance_shares"][:MOST_ROWS]:
        names = "; ".join(rate_words(n) for n in row["names"])
        rows.append([names, _share(row["first"], row["first_error"]),
                     _share(row["total"], row["total_error"]),
                     "" if row["rank"] is None else f"{row['rank']:+.2f}"])
    return ["all rates at once: share of the chance's variance", "alone", "with others",
            "rank correlation"], rows


def _share(value, error):
    return f"{100 * max(value, 0):.0f} % +- {100 * error:.0f}"


def information_words(found: dict | None) -> list[str]:
    """What knowing a rate exactly would be worth for the number to stock."""
    if found is None:
        return []
    unit = " animals" if found["unit"] == "animals" else ""
    implied = (" (implied by the chance wanted; --worth sets it)" if found["implied"] else "")
    lines = [f"If success is worth {animals(found['worth_of_success'])}{unit}{implied}, knowing "
             f"every rate exactly before choosing the number to stock would be worth "
             f"{animals(found['everything'])}{unit}."]
    clear = [r for r in found["rates"] if r["value"] > r["noise"]][:3]
    if not clear:
        return lines + ["No single rate is worth more than these runs can tell from nothing."]
    parts = [f"{rate_prose(r['name'])}: {animals(r['value'])} (standard error "
             f"{animals(r['error'])})" for r in clear]
    return lines + [f"Of single rates: {'; '.join(parts)}. A survey that costs more than that is "
                    "not worth it for this choice alone."]


def goal_tables(summary: dict) -> list[tuple[list[str], list[list[str]], str]]:
    """Each goal at other values (down) and years (across)."""
    total = summary["independent_runs"]
    tables = []
    for name in dict.fromkeys(r["goal"] for r in summary["goals"]):
        rows = [r for r in summary["goals"] if r["goal"] == name]
        years = list(dict.fromkeys(tuple(r["years"]) for r in rows))
        cells = {(r["value"], tuple(r["years"])): r for r in rows}
        header = ["value"] + [_years(y) for y in years]
        lines = [[_value(value)] + [chance_words(cells[value, y]["chance"], total)
                                   + ("*" if cells[value, y]["named"] else "") for y in years]
                 for value in dict.fromkeys(r["value"] for r in rows)]
        tables.append((header, lines, f"Chance of \"{name}\" at other values and years "
                                      "(* as written)"))
    return tables


def confidence_words(summary: dict) -> list[str]:
    """The verdict of each goal as written at other chances wanted."""
    lines = []
    for row in (r for r in summary["goals"] if r["named"]):
        said = ", ".join(f"{chance_words(v['chance_wanted'])}: {v['verdict']}"
                         for v in row["verdicts"])
        lines.append(f"Verdict on \"{row['goal']}\" by the chance wanted: {said}.")
    return lines


def _years(years):
    first, last = years
    return str(first) if first == last else f"{first}-{last}"


def _value(value: float) -> str:
    if value >= 1000:
        return animals(value)
    return f"{value:.3g}" if value < 0.1 or value >= 1 else f"{value:.3f}".rstrip("0")

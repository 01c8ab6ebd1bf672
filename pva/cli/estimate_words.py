"""What `pva estimate` says about its numbers."""

from __future__ import annotations

from pva.cli.bed_words import between, latest, tell_beds
from pva.cli.terminal import Terminal
from pva.results.wording import HEARD_COLUMNS, HEARD_TITLE, YEARS_ALIKE, chance_words, heard_words

MARKED = "survival/marked "


def tell_estimate(terminal: Terminal, summary: dict) -> None:
    """Say the answer, then tables in the order of the page."""
    terminal.answer(answer_of_estimate(summary))
    terminal.table(["survival in a year", "apparent", "corrected", "SE", "95 % interval",
                   "years SD", "animals"],
                  [survival_cells(r) for r in summary["survival"]
                   if r["per"] == "year" and _value(r) is not None])
    terminal.table(["through the event", "survival", "SE", "95 % interval", "animals"],
                  [_event(r) for r in summary["survival"]
                   if r["per"] != "year" and _value(r) is not None])
    if any(r.get("year_sd") == 0 for r in summary["survival"]):
        terminal.say("\nSD between years: " + YEARS_ALIKE)
    _tell_heard(terminal, summary["survival"])
    terminal.table(["detection at a visit", "value", "95 % interval"],
                  [[r["name"], share(r["value"]), _interval(r)] for r in summary["detection"]])
    for line in (*growth_lines(summary), *_tag_lines(summary), *correction_lines(summary)):
        terminal.say(line)
    tell_crude(terminal, summary)
    terminal.table(["moves on within a year", "share of survivors", "95 % interval"],
                  [[r["name"], share(r["value"]), _interval(r)]
                   for r in summary.get("transitions", [])])
    tell_beds(terminal, summary)
    for line in not_told(summary):
        terminal.say(line)
    for text in summary.get("notes", []):
        terminal.note(f"Note: {text}")


AT_LIMIT = 0.9995  # prints as 1.000


def answer_of_estimate(summary: dict) -> str:
    """One sentence: the survival that decides the plan, else what the records allow."""
    yearly = [r for r in summary["survival"] if r["per"] == "year" and _value(r) is not None]
    level = f"The records reach level {summary['level']} of 4"
    if summary.get("level_words"):
        level += f" ({summary['level_words']})"
    if not yearly:
        bounds = next((r for r in summary["refused"] if r["what"].startswith("survival/")
                       and None not in (r.get("low"), r.get("high"))), None)
        if bounds is None:
            return f"{level}; they give no survival{_instead(summary)}."
        return (f"{level}; they bound survival ({bounds['what'].partition('/')[2]}) between "
                f"{share(bounds['low'])} and {share(bounds['high'])} a year and give no point.")
    row = next((r for r in yearly if r["name"] == "survival/adult"), yearly[0])
    of = row["name"].partition("/")[2]
    if _value(row) >= AT_LIMIT and row["low"] is not None:
        return (f"{level}; {of} survival sits at its limit: it is at least {share(row['low'])} a "
                "year (one-sided 95 % limit), and the records say no more.")
    said = f"{level}: {of} survival is {share(_value(row))} a year (95 % interval {_interval(row)}"
    if row["corrected"] is not None and row["apparent"] is not None:
        lost = " and ".join(row.get("corrected_for") or ["lost tags"])
        said += f"; {share(row['apparent'])} with {lost} counted as deaths"
    return said + ")."


def _instead(summary: dict) -> str:
    """What records without a survival are good for."""
    beds = [r for r in latest(summary["density"]) if not r["stage"]]
    if beds:
        return ", but density: " + "; ".join(
            f"{r['name'].removeprefix('density/')} {r['value']:.2g} per m2 ({between(r)}, 95 %)"
            for r in beds)
    if summary["level"] == 0:
        return (": take rates from published values or judgement in the scenario, and let `pva "
                "sensitivity` say which of them to measure first")
    return ""


def survival_cells(row: dict) -> list:
    """Cells of one yearly survival."""
    return [row["name"].removeprefix("survival/"), share(row["apparent"]),
            share(row["corrected"]), share(row["se"]), _interval(row), _years(row), row["n"]]


def _years(row):
    """SD between years; an estimated 0 with the upper end of its interval."""
    from pva.report.estimate_rows import years_top

    if row["year_sd"] != 0:
        return share(row["year_sd"])
    top = years_top(row.get("note") or "")
    return "0" if top is None else f"0 (to {share(top)})"


def _event(row):
    return [row["name"], share(_value(row)), share(row["se"]), _interval(row), row["n"]]


def _value(row):
    return row["apparent"] if row["corrected"] is None else row["corrected"]


def share(value: float | None) -> str | None:
    """A rate to three decimals, because 0.02 decides plans."""
    return None if value is None else f"{value:.3f}"


def _interval(row, form="{:.3f}"):
    if row["low"] is None or row["high"] is None:
        return ""
    return f"{form.format(row['low'])} to {form.format(row['high'])}"


def _tell_heard(terminal, rows):
    read = [r for r in rows if r.get("heard_dead") is not None]
    if read:
        terminal.table(["", *(c[0].lower() + c[1:] for c in HEARD_COLUMNS)],
                      [heard_cells(r) for r in read], title=HEARD_TITLE)
        terminal.say(heard_words(corrected=any("lost tags" in r["corrected_for"] for r in read)))


def heard_cells(row: dict) -> list:
    """The three readings of heard-only tags for one rate, and the range they span."""
    three = (row["heard_dead"], row["heard_alive"], _value(row))
    known = [x for x in three if x is not None]
    return [row["name"], *(share(x) for x in three), f"{share(min(known))} to {share(max(known))}"]


def growth_lines(summary: dict) -> list[str]:
    """The growth curve in a sentence, one a species."""
    growth = summary["growth"]
    if not growth:
        return []
    if "asymptote_mm" in growth:
        return ["\n" + _growth(growth)]
    return ["\n" + "\n".join(f"{name}: {_growth(one)}" for name, one in growth.items())]


def _growth(growth):
    said = (f"Growth slows towards {growth['asymptote_mm']:.1f} mm at a rate of "
            f"{growth['rate']:.3f} a year; measurement error has SD "
            f"{growth['measurement_sd_mm']:.1f} mm")
    if growth.get("negative_increments"):
        said += (f"; {growth['negative_increments']} increments below zero are such error and stay "
                 "in")
    if growth.get("misread_lengths"):
        said += f"; {growth['misread_lengths']} lengths look misread and count for little"
    if growth.get("years_to_adult") is not None:
        low, high = growth.get("years_to_adult_low"), growth.get("years_to_adult_high")
        ends = (f" ({low:.1f} to {high:.1f}, 95 %)" if low is not None and high is not None else "")
        said += f"; adult after {growth['years_to_adult']:.1f} years of growth{ends}"
    return said + "."


def _tag_lines(summary):
    kept = summary["tag_retention"]
    if not kept or "tag" not in kept:
        return []
    lines = [f"A tag is kept through its first year with a chance of {share(kept['tag'])} (95 % "
             f"interval {_interval(kept)}; {kept['lost']} marks lost)."]
    models = kept.get("models") or []
    if len(models) > 1:
        lines.append("Two models of tag loss: " + "; ".join(
            f"{m['name']}{' (used)' if m['name'] == kept['model'] else ''}, AICc {m['aicc']:.1f}, "
            f"kept through the first year {share(m['first_year'])}, through the fifth "
            f"{share(m['fifth_year'])}" for m in models) + ".")
    return lines


def correction_lines(summary: dict) -> list[str]:
    """Staying and availability, where they were estimated."""
    lines = [f"An animal stays at its site through a year with a chance of {share(r['value'])} (95 "
             f"% interval {_interval(r)})." for r in summary.get("staying") or []
             if r["value"] is not None]
    return lines + [f"Availability at a visit {share(r['value'])} (95 % interval {_interval(r)}): "
                    f"{r['note']}." for r in summary.get("availability") or []
                    if r["value"] is not None]


def tell_crude(terminal: Terminal, summary: dict) -> None:
    """Checks beside the estimates: visit by visit, known fates, bounds from batch marks."""
    crude = summary.get("visit_by_visit")
    if crude:
        terminal.table(["visit", "survival to the next", "SE", "years", "detection", "alive",
                        "joining"],
                       [[f"{r['site']}, {r['visit']}", share(r["survival"]),
                         share(r["survival_se"]), _number(r["years"], "{:.2f}"),
                         share(r["detection"]), _number(r["alive"]), _number(r["joining"])]
                        for r in crude["rows"]], title=f"A cross-check, {crude['label']}")
    terminal.table(["known fates", "years", "at risk", "died", "survival", "SE", "95 % interval"],
                   [[r["group"], f"{r['years']:.2f}", r["at_risk"], r["died"],
                     share(r["survival"]), share(r["se"]), _interval(r)]
                    for r in summary.get("known_fate") or []])
    terminal.table(["batch mark", "search", "years", "released", "met alive", "shells",
                    "survived at least", "at most", "at least, if evenly spread"],
                   [[f"{r['mark']}, {r['site']}", r["visit"], f"{r['years']:.2f}", r["released"],
                     r["found"], r["shells"], share(r["low"]), share(r["high"]),
                     share(r["low_even"])] for r in summary.get("batch_bounds") or []
                   if r["found"] or r["shells"]])


def _number(value: float | None, form: str = "{:.0f}") -> str | None:
    return None if value is None else form.format(value)


def _of_batches(rows: list[dict]) -> list[str]:
    """Yearly bounds of all batch marks in one line; what they rest on stands in their table."""
    if not rows:
        return []
    return ["Batch marks bound survival and give no point, because animals that lost the mark, "
            "left or were missed cannot be told from dead ones; a year: " + "; ".join(
                f"{r['what'].removeprefix(MARKED)} {share(r['low'])} to {share(r['high'])}"
                for r in rows) + "."]


def not_told(summary: dict) -> list[str]:
    """What could not be estimated, why, and what it would take."""
    marked = [r for r in summary["refused"] if r["what"].startswith(MARKED)]
    lines = _of_batches(marked)
    for row in summary["refused"]:
        if row in marked:
            continue
        low, high = row.get("low"), row.get("high")
        between = f" ({share(low)} to {share(high)})" if None not in (low, high) else ""
        parts = [f"Not told: {row['what']}: {row['why']}{between}", row["needed"]]
        lines.append(" ".join(p.rstrip(".") + "." for p in parts if p))
    none = [r for r in latest(summary["density"]) if not r["value"] and r["high"] is not None]
    if none:
        lines.append("None found is not none there: the digging still allows " + "; ".join(
            f"{r['high']:.2g} per m2 of {r['name'].removeprefix('density/')}" for r in none) + ".")
    fit = summary["fit"]
    if fit and fit.get("overdispersion") is not None:
        lines.append(f"Fit of the model: overdispersion {fit['overdispersion']:.2f}; a misfit this "
                     f"large has a chance of {chance_words(fit['p_value'])} if the model holds.")
    return lines

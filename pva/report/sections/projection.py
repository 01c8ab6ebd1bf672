"""Projection, chance against number, risk, and scenarios compared."""

from __future__ import annotations

from dataclasses import replace

from pva.decide.options import orders_of
from pva.report.blocks import Folded, Note, Reader, Section, Text, table
from pva.report.figures.projection import fan_figure
from pva.report.figures.risk import risk_figure
from pva.report.figures.stocking import stock_figure
from pva.report.material import Material
from pva.report.sections.answer import simulated
from pva.report.sections.commands import scenario_file
from pva.report.sections.goals import goal_words, planned, unit_words, whole_river
from pva.report.words import (
    count,
    count_range,
    exact,
    known,
    percent,
    whole,
)
from pva.results.measures import WORDS
from pva.results.wording import listed

NO_RUN = "No scenario has been run, so there is nothing to show here."


def projection(material: Material) -> Section:
    """Fan, releases, wild-born share."""
    name, title, short = "projection", "What may happen", "Projection"
    run = material.main
    if run is None:
        return Section(name, title, (Text(NO_RUN),), short)
    resolved = run.scenario.resolved
    blocks = [Text(resolved.description)] if resolved.description else []
    goal = _goal_for_fan(run)
    if goal is None:
        blocks.append(fan_figure("projection-fan", run.data, released=planned(resolved)))
    else:
        words = _capital(WORDS[goal.measure])
        blocks.append(fan_figure("projection-fan", run.data, measure=_fan_measure(run.data, goal),
                                 words=words if _fan_measure(run.data, goal) == goal.measure
                                 else "Adults", target=_target(goal),
                                 released=planned(resolved)))
    blocks.append(_end_table(run))
    if goal is not None and _fan_measure(run.data, goal) != goal.measure:
        blocks.append(Note("Read the goal against the right line",
                           f"The goal counts {WORDS[goal.measure]}; the fan shows all adults, "
                           "stocked ones among them. Compare the goal with the dashed line of "
                           "wild-born adults, and take the chance from the verdicts, which judge "
                           "every run by what the goal says."))
    return Section(name, title, tuple(blocks), short)


def _capital(text):
    return text[:1].upper() + text[1:]


def _goal_for_fan(run):
    """First goal on a number of adults of the whole river."""
    resolved = run.scenario.resolved
    return next((g for g in resolved.goals if g.measure in ("adults", "wild_adults")
                 and not g.at_most and whole_river(g, resolved)), None)


def _fan_measure(data, goal):
    return goal.measure if f"{goal.measure}_quantile" in data else "adults"


def _target(goal):
    return goal.value, goal.years[0], goal.years[1], f"goal: {goal_words(goal, where=False)}"


def _end_table(run):
    data, rows = run.data, []
    years = [int(y) for y in data.year.values]
    picks = sorted({years[0], *(y for y in years if y % 10 == 0), years[-1]})
    for year in picks:
        at = data.sel(year=year)
        fan = at["adults_quantile"]
        rows.append((str(year), count(float(fan.sel(quantile=0.5))),
                     count_range(float(fan.sel(quantile=0.1)), float(fan.sel(quantile=0.9))),
                     count(float(at["wild_adults_mean"])), count(float(at["recruits_mean"])),
                     _ratio(float(at["replacement_ratio_mean"]))))
    return table("The projection in numbers, whole river",
                 ("Year", "Adults, middle run", "80 of 100 runs", "Wild-born adults, mean",
                  "Recruits, mean", "Replacement ratio, mean"), rows, numbers=range(1, 6),
                 note="Replacement ratio: wild-born animals reaching adulthood per adult death. "
                      "Below 1 the population lives on its past.")


def _ratio(value):
    return f"{value:.2f}" if known(value) else count(None)


def number(material: Material) -> Section:
    """Chance against the number stocked, with the reader's control."""
    name, title, short = "number", "How many to stock", "Number to stock"
    answer = material.answer
    if answer is None:
        return Section(name, title, (Text(_no_number(material)),), short)
    unit = unit_words(material.scenario.resolved, answer["releases"])
    figure, place = stock_figure("chance-against-number", answer, unit=unit)
    data = {"number": answer["curve"]["number"], "chance": answer["curve"]["chance"],
            "low": answer["curve"]["low"], "high": answer["curve"]["high"],
            "wanted": answer["chance_wanted"], "unit": unit, "place": place,
            "most": answer["most"]}
    data["targets"] = _targets(material)
    if answer["number"] is not None and known(answer["low"]):
        data["answer"] = f"About {count(answer['number'])} {unit} (simulation alone: " \
                         f"{simulated(answer)})."
    blocks = [figure, Reader("chance-against-number", data), _wanted_table(answer, unit)]
    lines = orders_of(answer)
    if lines:
        blocks += _orders(lines, material.scenario.resolved)
    return Section(name, title, tuple(blocks), short)


def _no_number(material):
    """Why there is no number to stock."""
    resolved = material.scenario.resolved if material.scenario else None
    if resolved is not None and not planned(resolved):
        return "The scenario releases nothing, so there is no number to search for."
    if resolved is not None and not resolved.goals:
        return "The scenario sets no goal, so no number can be judged enough."
    return ("The search for the number to stock has not been run "
            f"(pva stock {scenario_file(material)}).")


def _targets(material):
    """Curves for other targets of the first goal, with their words."""
    found = material.targets
    if found is None:
        return []
    goal = next(g for g in material.scenario.resolved.goals if g.name == found["goal"])
    return [{"words": goal_words(replace(goal, value=c["value"])),
             "written": c["value"] == found["written"], "number": found["numbers"],
             "chance": c["chance"], "low": c["low"], "high": c["high"]} for c in found["curves"]]


def needed(numbers, chances, wanted):
    """Smallest number whose interpolated chance is enough; None where none is."""
    last = None
    for number, chance in zip(numbers, chances, strict=True):
        if chance >= wanted:
            if last is None or chance == last[1]:
                return number
            share = (wanted - last[1]) / (chance - last[1])
            return last[0] + share * (number - last[0])
        last = number, chance
    return None


def _wanted_table(answer, unit):
    curve = answer["curve"]
    rows = []
    for wanted in (0.5, 0.6, 0.7, 0.8, 0.9, 0.95):
        at = [needed(curve["number"], curve[k], wanted) for k in ("chance", "high", "low")]
        none = f"not with up to {count(answer['most'])}"
        low = whole(at[1])
        high = whole(at[2]) if at[2] is not None else f"more than {count(answer['most'])}"
        spread = low if low == high else f"{low} to {high}"
        rows.append((percent(wanted), whole(at[0]) if at[0] is not None else none,
                     spread if at[1] is not None else none))
        if answer["number"] is not None and abs(wanted - answer["chance_wanted"]) < 1e-9:
            rows[-1] = (percent(wanted), count(answer["number"]), simulated(answer))
    return table(f"Number for other chances ({unit})",
                 ("Chance wanted", "Number", "Range from the simulation's interval"), rows,
                 numbers=(1, 2), note="Read off by straight lines between the numbers that were "
                 "simulated; numbers far from the answer rest on fewer runs. To search for one: "
                 "pva stock with --chance.")


def _orders(lines, resolved):
    rows = [(str(o["order_year"]), str(o["release_year"]), o["site"], o["release"],
             _what(o), o["source"], exact(o["number"]),
             exact(o["mothers"]) if o["mothers"] else "not stated")
            for o in lines]
    late = [o for o in lines if o["order_year"] < resolved.first]
    blocks = [Folded("Order sheet by year", (table(
        "What to order and when", ("Order in", "Release in", "Site", "Release", "Animals",
                                   "Source", "Number", "Mothers"), rows, numbers=(6, 7)),))]
    if late:
        blocks.append(Note("Orders that should be placed already",
                           f"{len(late)} of {len(rows)} lines must be ordered before "
                           f"{resolved.first}, the first year of the plan. If they were not, the "
                           "first releases fall later and the answer changes."))
    return blocks


def _what(order):
    return f"{order['stage']}, year {order['age']} of the stage" if order["age"] > 1 else \
        order["stage"]


def risk(material: Material) -> Section:
    """Chances of decline and extinction."""
    name, title, short = "risk", "Risk of losing it", "Risk"
    run = material.main
    if run is None:
        return Section(name, title, (Text(NO_RUN),), short)
    summary = run.summary
    quasi = summary["quasi_extinction"]
    text = f"Falling below the threshold counts from {quasi['from']} on."
    few = summary["adults"]["q50"][0] < quasi["threshold"]
    if few and run.scenario.resolved.releases:
        text = "A reintroduction starts with few adults. " + text
    if quasi["chance"][-1] == 0:
        text += f" In none of {exact(run.replicates)} runs did it happen by {summary['years'][-1]}"
        text += "." if quasi["high"][-1] == 0 else (
            f"; that still allows a chance below {percent(quasi['high'][-1])}.")
    elif known(quasi["draw_low"][-1]) and quasi["draw_low"][-1] < quasi["draw_high"][-1]:
        text += (" From one possible set of rates to another the chance of falling below "
                 f"{quasi['threshold']:g} adults by {summary['years'][-1]} runs from "
                 f"{percent(quasi['draw_low'][-1])} to {percent(quasi['draw_high'][-1])} "
                 "(95 of 100 sets): that is what we do not know, and no bad luck of years.")
    blocks = [Text(text), risk_figure("risk-by-year", summary)]
    if known(summary["least_adults"]):
        blocks.append(Text(f"The lowest number of adults from {quasi['from']} on is "
                           f"{count(summary['least_adults'])} on average over the runs."))
    blocks += [Text(t) for t in (*red_list_words(summary["red_list_e"]),
                                 *_kept_diversity(summary))]
    return Section(name, title, tuple(blocks), short)


def red_list_words(found: dict) -> list[str]:
    """What the run says of criterion E; nothing where the horizon judges no rule."""
    judged = [r for r in found["rules"] if r["chance"] is not None]
    if not judged:
        return []
    each = "; ".join(f"{r['category']} (at least {percent(r['threshold'])} within "
                     f"{r['within_years']} years): {'met' if r['met'] else 'not met'}"
                     for r in judged)
    short = [r["category"] for r in found["rules"] if r["chance"] is None]
    left = f"; the horizon is too short to judge {listed(short)}" if short else ""
    return [f"Red List criterion E, read from the chance of extinction, with years counted from "
            f"{found['years_from']}: {each}{left}. This is no listing; that is for the assessors."]


def _kept_diversity(summary):
    values = summary["measures"].get("heterozygosity") or [None]
    if not known(values[-1]):
        return []
    return [f"Of the heterozygosity of the source {percent(values[-1])} is kept by "
            f"{summary['years'][-1]}, on average over the runs, as far as founders and the number "
            "of adults decide it."]

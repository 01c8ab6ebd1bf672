"""The answer: one sentence with its doubt, one picture, one table, and what would change it."""

from __future__ import annotations

import math

from pva.report.blocks import Facts, Points, Section, Text, table
from pva.report.figures.projection import fan_figure
from pva.report.figures.stocking import stock_figure
from pva.report.material import Material
from pva.report.sections.goals import goal_words, planned, unit_words
from pva.report.words import (
    count,
    exact,
    known,
    percent,
    percent_range,
    rate,
    sentence,
    signed,
    tenths,
    whole,
)
from pva.results.wording import (
    BIND_WORDS,
    LIFT_WORDS,
    animals_up,
    chance_between,
    rate_prose,
    rough,
    survey_goal_words,
    years_words,
)

NOT_IN_IT = "Nothing of what is not known about the rates is in these numbers."
MOST_CHANGES = 6
MOST_FLIPS = 2
LIMITS = {
    "hosts": "more fish, or fish that can get there, would raise the chance most",
    "space": "the habitat fills before the goal is reached",
    "survival": "too many animals die, however many are put in",
    "bad years": "they undo what stocking adds",
    "number stocked": "more animals than that might be enough",
}


def section(material: Material) -> Section:
    """First part of the page."""
    blocks: list = [Text(answer_sentence(material), kind="answer")]
    doubt = doubt_sentence(material)
    if doubt:
        blocks.append(Text(doubt))
    if material.answer is not None:
        blocks.append(_facts(material))
    blocks += _picture(material)
    if material.main is not None:
        blocks.append(_verdicts(material))
        blocks += _surveys(material.main.summary["survey_goals"])
    blocks += _matters(material)
    changes = changes_of(material)
    if changes:
        if len(changes) > MOST_CHANGES:  # the answer stays on one page
            left = len(changes) - MOST_CHANGES
            changes = [*changes[:MOST_CHANGES], f"And {left} more; see Scenarios compared."]
        blocks += [Text("", lead="What would change the answer."), Points(tuple(changes))]
    return Section("answer", "The answer", tuple(blocks), "Answer")


def answer_sentence(material: Material) -> str:
    """The answer in one sentence, with its chance also "in 10"."""
    answer = material.answer
    if answer is not None:
        return _stock_sentence(answer, material.scenario.resolved)
    if material.main is not None:
        return _run_sentence(material)
    if material.estimates or material.records:
        return ("This page shows what the field records say; no scenario has been run yet, so "
                "there is no answer to how many animals to stock.")
    return "Nothing has been run yet, so there is no answer."


def _stock_sentence(answer, resolved):
    unit = unit_words(resolved, answer["releases"])
    years = years_words(answer["release_years"])
    if answer["number"] == 0:
        return (f"No stocking is needed: with none released, the chance of meeting every goal is "
                f"{_chance(answer['chance_at_number'], _size(answer))}.")
    if answer["number"] is not None:
        return (f"About {count(answer['number'])} {unit}, released {years} "
                f"({count(answer['total_animals'])} in all), give a chance of "
                f"{tenths(answer['chance_at_number'])} of meeting every goal.")
    best = (f"the best chance found is {_chance(answer['best_chance'], _size(answer))}, with "
            f"{count(answer['best_number'])} {unit}")
    if answer["best_chance"] == 0:
        best = f"not one run met every goal ({percent(0.0, _size(answer))})"
    if answer["reachable"] is None:
        return (f"Cannot tell yet whether any number is enough for a chance of "
                f"{percent(answer['chance_wanted'])}: {best}; more replicates would tell.")
    return (f"Not reachable: no number up to {count(answer['most'])} {unit} gives the wanted "
            f"chance of {percent(answer['chance_wanted'])}; {best}.")


def _chance(value, total):
    """A chance "in 10" and in percent; one that no run or every run showed, as its limit alone."""
    said = percent(value, total)
    return said if value in (0, 1) else f"{tenths(value)} ({said})"


def _run_sentence(material):
    summary = material.main.summary
    joint, years = summary["all_goals"], summary["years"]
    if joint["chance"] is not None:
        which = "the goal" if len(summary["goals"]) == 1 else "every goal"
        chance = _chance(joint["chance"], material.main.independent)
        return (f"With the plan as written the chance of meeting {which} is {chance};"
                f" against the wanted {percent(material.scenario.resolved.chance_wanted)} the "
                f"verdict is: {joint['verdict']}.")
    adults = summary["adults"]
    middle = count(adults["q50"][-1])
    return (f"By {years[-1]} the middle run has {middle} adult{'' if middle == '1' else 's'}, and "
            f"90 of 100 runs lie between {count(adults['q05'][-1])} and "
            f"{count(adults['q95'][-1])}; the scenario sets no goal to judge them by.")


def doubt_sentence(material: Material) -> str:
    """What the number would be if chance or knowledge had fallen out otherwise."""
    answer = material.answer
    if answer is None and material.main is not None:
        return NOT_IN_IT if material.main.summary["all_goals"]["chance"] is not None and not known(
            material.main.summary["all_goals"]["draw_low"]) else ""
    if answer is None or answer["number"] in (None, 0):
        return ""
    parts = []
    if known(answer["low"]):
        parts.append("The simulation alone places the number at "
                     f"{simulated(answer)} a year (95 % interval).")
        if known(answer["high"]) and math.ceil(answer["high"]) > answer["number"]:
            parts.append(f"The number is the best single estimate; {animals_up(answer['high'])}, "
                         "the upper end, is the safe choice.")
    if not known(answer["draw_low"]):
        parts.append(NOT_IN_IT)
    else:
        high = (f"to {rough(answer['draw_high'])}" if known(answer["draw_high"])
                else f"to more than {count(answer['most'])}")
        parts.append("What we do not know about the rates matters more: from one possible set of "
                     "rates to another, the number that would be enough runs from "
                     f"roughly {rough(answer['draw_low']) if answer['draw_low'] else 'none'} "
                     f"{high} (95 of 100 sets).")
    if answer["band"] and answer["band"][1] < answer["most"]:
        parts.append("More is not always better here: of the numbers tried, those from "
                     f"{count(answer['band'][0])} to {count(answer['band'][1])} are enough.")
    return " ".join(parts)


def simulated(answer) -> str:
    """Interval of the number from the simulation alone, its upper end rounded up."""
    if not known(answer["high"]):
        return f"{count(answer['low'])} to more than {count(answer['most'])}"
    low, high = count(answer["low"]), animals_up(answer["high"])
    return low if low == high else f"{low} to {high}"


def _facts(material):
    answer, resolved = material.answer, material.scenario.resolved
    unit = unit_words(resolved, answer["releases"])
    pairs = []
    if answer["number"] is not None:
        pairs.append((count(answer["number"]), f"{unit}, {years_words(answer['release_years'])}"))
        pairs.append((percent(answer["chance_at_number"], _size(answer)),
                      "chance of meeting every goal, "
                      f"{tenths(answer['chance_at_number'])}"))
        pairs.append((count(answer["total_animals"]), "animals planned in all"))
        if answer["cost"]:
            pairs.append((count(answer["cost"]), "cost of the animals, money of the scenario"))
        mothers = sum(line["mothers"] or 0 for line in answer["order_sheet"])
        if mothers:  # whole mothers of every line, as they are ordered: more than a share of them
            pairs.append((exact(mothers), "mothers needed at the hatchery, all orders together"))
    else:
        best = "best chance found, with " + f"{count(answer['best_number'])} {unit}"
        if answer["best_chance"] == 0:
            best = "chance of meeting every goal, whatever the number"
        pairs.append((percent(answer["best_chance"], _size(answer)), best))
        pairs.append((percent(answer["chance_wanted"]), "chance wanted"))
    return Facts(tuple(pairs))


def _picture(material):
    answer = material.answer
    if answer is not None:
        unit = unit_words(material.scenario.resolved, answer["releases"])
        return [stock_figure("answer-number", answer, unit=unit, brief=True)[0]]
    if material.main is not None:
        return [fan_figure("answer-fan", material.main.data,
                           released=planned(material.scenario.resolved), size=(7.2, 4.4))]
    return []


def _verdicts(material):
    run = material.main
    summary, resolved = run.summary, run.scenario.resolved
    words = {g.name: goal_words(g) for g in resolved.goals}
    rows = [(_goal_named(g["name"], words.get(g["name"], "")),
             chance_between(g["chance"], g["low"], g["high"]), percent_range(g["low"], g["high"]),
             g["verdict"]) for g in summary["goals"]]
    joint = summary["all_goals"]
    if len(rows) > 1:
        rows.append(("Every goal in the same run",
                     chance_between(joint["chance"], joint["low"], joint["high"]),
                     percent_range(joint["low"], joint["high"]), joint["verdict"]))
    quasi, gone = summary["quasi_extinction"], summary["extinction"]
    last = summary["years"][-1]
    for risk, name in ((quasi, f"Risk: below {quasi['threshold']:g} adults by {last}"),
                       (gone, f"Risk: no animal left by {last}")):
        chance, low, high = (risk[k][-1] for k in ("chance", "low", "high"))
        rows.append((name, chance_between(chance, low, high), percent_range(low, high), ""))
    return table(f"The plan as written: {plan_words(resolved)}; wanted: "
                 f"{percent(resolved.chance_wanted)}",
                 ("Goal or risk", "Chance", "95 % interval", "Verdict"), rows, numbers=(1, 2))


def _surveys(goals):
    """What the surveys have shown so far; runs do not change it."""
    if not goals:
        return []
    return [Text("", lead="What the surveys show so far."),
            Points(tuple(survey_goal_words(g) for g in goals))]


def _goal_named(name, words):
    """Name and meaning of a goal; the meaning alone where it says the name already."""
    return words if all(w in words for w in name.split()) else f"{name}: {words}".rstrip(": ")


def plan_words(resolved) -> str:
    """What the scenario releases, in a few words."""
    numbers = {y: n for y, n in planned(resolved).items() if n > 0}
    if not numbers:
        return "nothing is released"
    least, most = min(numbers.values()), max(numbers.values())
    size = count(most) if least == most else f"{count(least)} to {count(most)}"
    return f"{size} {unit_words(resolved)}, {years_words(numbers)}"


def _matters(material):
    clear = [r for r in material.leading if r["clear"]]
    if clear:
        return [_followed(clear[0], bool(material.scenario.resolved.goals))]
    heavy = [r for r in material.weights if r["weight"]]
    if not heavy:
        strong = [r for r in material.weights if r["elasticity"]]
        if not strong:
            return []
        top = strong[0]
        return [Text(f"Long-run growth moves most with {rate_prose(top['name'])}; nothing is said "
                     "about how well it is known, so the doubt shown on this page is too small.",
                     lead="What matters most.")]
    top = heavy[0]
    text = (f"It is {rate_prose(top['name'])}: what we do not know about it moves the long-run "
            f"growth rate by about {percent(top['weight'])} a year either way, more than any other "
            "number.")
    return [Text(f"{text} {_standing(top)}", lead="The assumption that matters most.")]


def _followed(top, goals):
    outcome = "the chance of meeting every goal" if goals else "the number of adults"
    way = "rises" if top["pull"] > 0 else "falls"
    return Text(f"It is {rate_prose(top['name'])}: of all that is not known exactly, {outcome} "
                f"follows it most, and {way} with it (rank correlation {signed(top['pull'])}). "
                f"{_standing(top)}", lead="The assumption that matters most.")


def _standing(row):
    return {
        "measured": "It was measured in the field; see the estimates below.",
        "published": "It is taken from published studies of other places; it was not measured "
                     "here.",
        "calibrated": "It is solved from a target and cannot be measured.",
    }.get(row["source_kind"], "It rests on judgement; nobody has measured it here.")


def changes_of(material: Material) -> list[str]:
    """What other scenarios and lifted limits do to the answer, one sentence each."""
    found = []
    answer = material.answer
    if answer is not None and answer["limit"]:
        found.append(sentence(f"{BIND_WORDS[answer['limit']]}: {LIMITS[answer['limit']]}"))
    if answer is not None:
        for row in answer["limits_lifted"]:
            found.append(sentence(f"{LIFT_WORDS[row['limit']]} the best chance becomes "
                                  f"{percent(row['best_chance'], looks(answer))}"))
    if answer is not None:
        found += _duty_words(answer) + _options_words(answer)
    found += _flip_words(material)
    told = set()
    for other in material.stock:
        if other.scenario.digest != material.scenario.digest:
            told.add(other.title)
            found.append(_other_number(other, answer))
    for row in _joint_differences(material.comparison):
        if row["scenario"] not in told:
            size = material.comparison["independent_runs"]
            first, other = (percent(row[k], size) for k in ("first", "other"))
            moves = f"stays {other}" if first == other else f"becomes {other} instead of {first}"
            found.append(f"{row['scenario']}: with the plan as written the chance {moves}"
                         + ("." if row["settled"] else " (not settled by these runs)."))
    return found


def _duty_words(answer):
    """When the duty can end; nothing where no number was found."""
    duty = answer.get("duty")
    if not duty:
        return []
    start = f"With {animals_up(duty['number'])} a year"
    wanted = percent(answer["chance_wanted"])
    last = duty["last_year"][-1]
    if duty["ends"] in (None, last):
        return [f"{start} the duty cannot end before {last}: stopping earlier leaves less than "
                f"{wanted}."]
    if duty["ends"] < answer["release_years"][0]:
        return [f"{start} no release is needed for {wanted}."]
    sure = duty["ends_surely"]
    beyond = ("; simulation error leaves it open whether any year is late enough" if sure is None
              else "" if sure == duty["ends"] else f"; beyond simulation error {sure}")
    return [f"{start} the last release needed for {wanted} is that of {duty['ends']}{beyond}."]


def _flip_words(material):
    """Where the verdict on the plan as written flips within what is known; at most two rates."""
    sensed = material.sensitivity
    if not sensed or sensed["verdict"] is None:
        return []
    open_ = [r for r in sensed["rates"] if r["ruled_out"] is False][:MOST_FLIPS]
    if not open_:
        return []
    said = " or ".join(f"{rate_prose(r['name'])} were {rate(r['flip'])} instead of "
                       f"{rate(r['value'])}" for r in open_)
    reached = sensed["chance"]["chance"] >= sensed["chance_wanted"]
    way = "no longer reach" if reached else "reach"
    return [f"The plan as written would {way} {percent(sensed['chance_wanted'])} if {said}: "
            "within what is known, one rate at a time, from "
            f"{whole(sensed['draws'] * sensed['replicates'])} runs."]


def _options_words(answer):
    """Every option alone, and the cheapest plan."""
    found = []
    for one in answer.get("options", ()):
        if one["number"] is None:
            found.append(f"{one['name']} alone: no number is enough (best chance "
                         f"{percent(one['best_chance'], _size(answer))}).")
        else:
            cost = f", cost {count(one['cost'])}" if one["cost"] is not None else ""
            found.append(f"{one['name']} alone: about {count(one['number'])} a year{cost}.")
    plan = answer.get("cheapest")
    if plan:
        parts = " and ".join(f"{exact(p['number'])} a year ({p['option']})" for p in plan["parts"])
        found.append(f"Cheapest plan found: {parts}, cost {count(plan['cost'])}; tried: "
                     f"{plan['tried']}.")
    return found


def _other_number(other, answer):
    number, main = other.answer["number"], answer["number"] if answer else None
    if number == 0:
        return f"{other.title}: no stocking is needed."
    if number is not None:
        against = "" if not main else f" instead of {count(main)}" if count(number) != \
            count(main) else " as well"
        return f"{other.title}: about {count(number)} a year{against}."
    if other.answer["reachable"] is None:
        return f"{other.title}: cannot tell yet whether any number is enough."
    limit = other.answer["limit"]
    binds = f"; {BIND_WORDS[limit]}" if limit else ""
    best = percent(other.answer["best_chance"], _size(other.answer))
    return f"{other.title}: no number is enough (best chance {best}){binds}."


def looks(answer) -> int:
    """Independent runs behind a chance with a limit lifted: a quarter of the replicates."""
    return max(answer["draws"], answer["independent_runs"] // 4)


def _size(answer):
    """Independent runs of a full look."""
    return answer["independent_runs"]


def _joint_differences(comparison):
    if not comparison:
        return []
    rows = []
    for one in comparison["against_first"]:
        for row in one["differences"]:
            if row["outcome"] == "all goals":
                rows.append({"scenario": one["scenario"], **row})
    return rows

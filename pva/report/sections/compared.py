"""Scenarios compared: one line each, and what changes in the same luck."""

from __future__ import annotations

from pva.report.blocks import Folded, Note, Section, Text, table
from pva.report.figures.bars import scenarios_figure
from pva.report.material import Material
from pva.report.words import count, percent, signed

JOINT, ADULTS = "all goals", "adults in the last year"
NO_CHANGE = "the same in every run"
BINDS = {"hosts": "host fish"}


def compared(material: Material) -> Section:
    """Scenarios against the main one."""
    name, title, short = "scenarios", "Scenarios compared", "Scenarios"
    found = material.comparison
    if not found and len(material.stock) < 2:
        return Section(name, title, (Text("No other scenario was compared with the main one."),),
                       short)
    blocks = []
    if found:
        blocks += [Text("The same luck falls on every scenario, so that a difference is that of "
                        "the plan and not of the dice."), *_figure(material), _overview(found),
                   Folded("Each goal and risk, scenario by scenario",
                          tuple(_one(other, found) for other in found["against_first"]))]
        blocks += [Note("Mind", w + ".") for w in found["warnings"]]
    if len(material.stock) > 1:
        blocks.append(_numbers(material))
    return Section(name, title, tuple(blocks), short)


def _of(other, outcome):
    return next((d for d in other["differences"] if d["outcome"] == outcome), None)


def _figure(material):
    """Chances side by side; nothing where the scenarios have no goal in common."""
    found = material.comparison
    pairs = [(o["scenario"], d) for o in found["against_first"] if (d := _of(o, JOINT))]
    if not pairs:
        return []
    first = pairs[0][1]["first"]
    rows = [(found["scenarios"][0], first, first, first)]
    rows += [(title, d["other"], *_ends(first, d)) for title, d in pairs]
    wanted = material.scenario.resolved.chance_wanted if material.scenario else None
    return [scenarios_figure("scenarios-compared", rows, wanted=wanted,
                             replicates=found["independent_runs"])]


def _ends(first, d):
    """Interval of the difference, laid at the main scenario's chance."""
    return (min(max(first + d[k], 0.0), 1.0) for k in ("low", "high"))


def _overview(found):
    size = found["independent_runs"]
    rows = []
    for i, other in enumerate(found["against_first"]):
        joint, adults = _of(other, JOINT), _of(other, ADULTS)
        if i == 0:
            rows.append((f"{found['scenarios'][0]} (the main one)",
                         percent(joint["first"], size) if joint else "no goal", "",
                         count(adults["first"]) if adults else "", ""))
        rows.append((other["scenario"],
                     percent(joint["other"], size) if joint else "no goal in common",
                     change_words(joint) if joint else "",
                     count(adults["other"]) if adults else "",
                     change_words(adults) if adults else ""))
    return table("Every scenario as written, beside the main one",
                 ("Scenario", "Chance of every goal", "Change, 95 % interval",
                  "Adults in the last year", "Change, 95 % interval"), rows, numbers=(1, 2, 3, 4))


def _one(other, found):
    size = found["independent_runs"]
    rows = [(d["outcome"], *_pair(d, size), change_words(d), settled_words(d))
            for d in other["differences"]]
    return table(other["scenario"], ("Outcome", "Main scenario", "Here", "Change, 95 % interval",
                                     "Told from chance"), rows, numbers=(1, 2, 3))


def _pair(d, size):
    say = count if d["outcome"] == ADULTS else lambda value: percent(value, size)
    return say(d["first"]), say(d["other"])


def change_words(d) -> str:
    """A difference with its interval, in animals or in points of percent."""
    if d["difference"] == 0 and d["settled"]:
        return NO_CHANGE
    if d["outcome"] == ADULTS:
        return (f"{_more(d['difference'])} ({_more(d['low'])} to {_more(d['high'])})")
    points = [signed(100 * d[k]) if d[k] else "0" for k in ("difference", "low", "high")]
    return f"{points[0]} points ({points[1]} to {points[2]})"


def _more(value):
    if value == 0:
        return "0"
    return ("\N{MINUS SIGN}" if value < 0 else "+") + count(abs(value))


def settled_words(d) -> str:
    """Whether the runs tell a difference from chance, and what it would take."""
    if d["settled"]:
        return "no difference" if d["difference"] == 0 else "yes"
    if d["more_runs"] is None:
        return "no"
    return f"no; about {count(d['more_runs'])} times the {d.get('more_of') or 'replicates'} would"


def _numbers(material):
    rows = [(one.title, *_number(one.answer), percent(one.answer["chance_wanted"]))
            for one in material.stock]
    return table("Number to stock by scenario", ("Scenario", "Number a year", "Best chance",
                                                 "What binds", "Chance wanted"), rows,
                 numbers=(1, 2, 4))


def _number(answer):
    """Number, best chance, and what holds it down: said even where nothing does."""
    if answer["number"] == 0:
        number = "none needed"
    elif answer["number"] is not None:
        number = count(answer["number"])
    else:
        number = "cannot tell yet" if answer["reachable"] is None else "not reachable"
    binds = BINDS.get(answer["limit"], answer["limit"]) if answer["limit"] else (
        "nothing: reached" if answer["number"] is not None else "not found")
    return number, percent(answer["best_chance"], answer["independent_runs"]), binds

"""Survey effort in words and tables, made from its summaries."""

from __future__ import annotations

from pva.results.wording import animals, animals_up, chance_words

COUNT_WORDS = {"adults": "adults", "animals": "animals of any age",
               "wild_adults": "wild-born adults", "recruits": "recruits"}
DIGGING = ("Digging harms: it lifts and can crush animals, above all small ones, and loosens the "
           "bed. Dig no more than the question needs, and put every animal back at once, where "
           "and as it lay.")
HANDLING = ("Handling harms: mark and search no more than the question needs, keep animals wet, "
            "and put every one back at once, where and as it lay.")
SAFETY = ("Nobody works in water alone; look at flow, depth and weather first. Handling protected "
          "mussels needs permits; clean and dry gear between waters. Local codes and licensed "
          "practice decide.")


def cautions(summary: dict) -> list[str]:
    """What more sampling does, with every advice to sample."""
    first = HANDLING if summary["question"] == "survival" else DIGGING
    return ["", first, SAFETY]


def _effort(effort: dict, *, of: str = "That is") -> str:
    """What a number of quadrats digs and costs."""
    parts = [f"{animals(effort['dug_m2'])} m2 of bed dug"]
    if effort["hours"] is not None:
        parts.append(f"{animals(effort['hours'])} crew hours")
    parts.append("cost not told (--cost)" if effort["cost"] is None
                 else f"a cost of {animals(effort['cost'])}")
    return f"{of} {', '.join(parts)}."


def _scatter(quadrats: dict) -> str:
    if quadrats["clumping"] is None:
        return "animals scattered evenly; clumped beds need more (--clumping)"
    return f"clumping k = {quadrats['clumping']:g}"


def _all_found(quadrats: dict) -> str:
    share = quadrats["found"]
    return "if all are found" if share == 1 else f"if {chance_words(share)} are found"


def finding_words(summary: dict) -> list[str]:
    """Quadrats that show at least one recruit."""
    q, effort = summary["quadrats"], summary["effort"]
    lines = [f"{effort['quadrats']:,} quadrats of {q['area_m2']:g} m2 find at least one with a "
             f"chance of {chance_words(summary['chance'])}, where {summary['density']:g} per m2 "
             f"live, {_all_found(q)}.", _effort(effort), f"Assumed: {_scatter(q)}."]
    given = summary["given"]
    if given:
        lines.append(
            f"With {given['quadrats']:,} quadrats the chance is "
            f"{chance_words(given['chance'])}; if they find none, up to {given['limit']:.2g} per "
            f"m2 may still live there ({chance_words(summary['chance'])} limit).")
    lines.append("None found is a limit, never \"no recruitment\". A find counts only if the "
                 "animal cannot be a stocked one that lost its mark.")
    return lines


def finding_table(summary: dict) -> tuple[list[str], list[list[str]]]:
    """Quadrats by density (down) and chance (across)."""
    chances = sorted({r["chance"] for r in summary["table"]})
    cells = {(r["density"], r["chance"]): r["quadrats"] for r in summary["table"]}
    rows = [[f"{d:g}", *(f"{cells[d, c]:,}" for c in chances)]
            for d in sorted({r["density"] for r in summary["table"]})]
    return ["per m2", *(chance_words(c) for c in chances)], rows


def precision_words(summary: dict) -> list[str]:
    """Quadrats for a precision, and what it rests on."""
    q, effort = summary["quadrats"], summary["effort"]
    lines = [f"{effort['quadrats']:,} quadrats of {q['area_m2']:g} m2 give a standard error of "
             f"{chance_words(summary['precision'])} of the density, where {summary['density']:g} "
             f"per m2 live ({summary['mean']:.2g} found in a quadrat).",
             _effort(effort), f"Rests on: {summary['by']}."]
    lines.append(f"For comparison: even scatter {animals(summary['even_scatter'])}, published "
                 f"variance law {animals(summary['variance_law'])}, its short rule "
                 f"{animals(summary['rule_of_thumb'])} (Downing & Downing 1992).")
    if summary["rule_of_thumb"] < 0.99 * summary["even_scatter"]:
        lines.append("At so few animals a quadrat the short rule asks for fewer than even scatter "
                     "needs: do not use it here.")
    if summary["given"]:
        lines.append(f"With {summary['given']['quadrats']:,} quadrats the standard error is "
                     f"{chance_words(min(summary['given']['precision'], 9.99))} of the density.")
    if q["found"] < 1:
        lines.append("The doubt of the share found is not in these numbers; no number of quadrats "
                     "removes it.")
    return lines


def precision_table(summary: dict) -> tuple[list[str], list[list[str]]]:
    """Quadrats by precision."""
    return (["standard error over density", "quadrats"],
            [[chance_words(r["precision"]), f"{r['quadrats']:,}"] for r in summary["table"]])


def change_words(summary: dict) -> list[str]:
    """Quadrats in each survey that see a change."""
    q, effort = summary["quadrats"], summary["effort"]
    lines = [f"{effort['quadrats']:,} quadrats of {q['area_m2']:g} m2 in each of two surveys find "
             f"a change from {summary['before']:g} to {summary['after']:g} per m2 with a chance "
             f"of {chance_words(summary['power'])}, at a false-alarm rate of "
             f"{chance_words(summary['alarm'])} (two-sided).",
             _effort(effort, of="Each survey:"), f"Spread of the counts: {summary['by']}. The "
             "share found is taken to be the same in both surveys: a better crew looks like "
             "growth."]
    given = summary["given"]
    if given:
        fall = given["smallest_fall"]
        smallest = ("no fall is found that surely" if fall is None else
                    f"the smallest fall found that surely is {chance_words(fall)}")
        lines.append(f"With {given['quadrats']:,} quadrats in each the chance is "
                     f"{chance_words(given['power'])}; {smallest}.")
    return lines


def survival_words(summary: dict) -> list[str]:
    """Precision of survival that a plan reaches."""
    plan = summary["plan"]
    lines = [f"{plan['tags']:,} animals in {_times(plan['releases'], 'release')} and "
             f"{plan['visits']} visits give yearly survival ({plan['survival']:g}) a standard "
             f"error of {summary['se']:.3f}: 95 % interval about {summary['low']:.3f} to "
             f"{summary['high']:.3f}."]
    if summary["precision"] is not None:
        lines.append(_needed(summary))
    if summary["se_years"]:
        lines.append(f"Of it {summary['se_years']:.3f} comes from so few years, whatever is "
                     f"marked, and {summary['se_animals']:.3f} from so few animals.")
    lines.append(f"Expected while they are followed: {animals(summary['deaths'])} deaths and "
                 f"{animals(summary['sightings'])} sightings; standard error of detection "
                 f"{summary['se_detection']:.3f}.")
    if summary["few_deaths"]:
        lines.append("So few deaths make every standard error a rough guide.")
    lines.append("Assumed: survival constant, detection constant, and animals alike. If survival "
                 f"of each interval is wanted: {_each(summary)}.")
    return [*lines, _plan_cost(plan)]


def _plan_cost(plan):
    missing = [what for what, key in (("tags", "cost_tag"), ("visits", "cost_visit"))
               if plan[key] is None]
    if len(missing) == 2:
        return "Cost not told (--cost-tag, --cost-visit)."
    left_out = f", {missing[0]} not counted" if missing else ""
    return f"Cost: {animals(plan['cost'])}{left_out}."


def _needed(summary):
    wanted, visits = summary["precision"], summary["plan"]["visits"]
    if summary["animals_needed"] is None:
        return (f"No number of tags gives {wanted:g} with {visits} visits: the years alone leave "
                f"{summary['se_years']:.3f}. More years are needed.")
    return (f"For a standard error of {wanted:g}: {animals_up(summary['animals_needed'])} animals "
            "in each release.")


def _each(summary):
    known = [s for s in summary["se_each_interval"] if s is not None]
    if not known:
        return "cannot be told"
    return f"standard errors of {min(known):.3f} to {max(known):.3f}"


def _times(number, what):
    return f"{number} {what}" + ("" if number == 1 else "s")


def survival_table(summary: dict) -> tuple[list[str], list[list[str]]]:
    """The same plan with other numbers of visits."""
    wanted, rows = summary["precision"], []
    header = ["visits", "standard error"]
    if wanted is not None:
        header += [f"animals a release for {wanted:g}", "cost"]
    for row in summary["table"]:
        cells = [str(row["visits"]), f"{row['se']:.3f}"]
        if wanted is not None:
            needed, cost = row["animals_needed"], row["cost"]
            cells += ["no number" if needed is None else animals_up(needed),
                      "" if cost is None else animals(cost)]
        rows.append(cells)
    return header, rows


def verdict_words(summary: dict) -> list[str]:
    """The first year in which a survey can tell."""
    effort, counted = summary["effort"], COUNT_WORDS[summary["counted"]]
    success, failure = summary["runs"]
    survey = (f"one survey of {effort['quadrats']:,} quadrats that counts {counted}")
    if not summary["years"]:
        return [f"Cannot tell yet from when on {survey} shows success: {success:,} runs succeed "
                f"and {failure:,} fail; at least 20 of each are needed.",
                "More replicates give more of the rarer outcome."]
    wanted = chance_words(summary["wanted"])
    if summary["year"] is None:
        best = max(summary["years"], key=lambda r: r["right"])
        answer = (f"In no year does {survey} tell success from failure with a chance of {wanted}; "
                  f"the best is {best['year']} ({chance_words(best['right'])}).")
    else:
        row = next(r for r in summary["years"] if r["year"] == summary["year"])
        answer = (f"{summary['year']} is the first year in which {survey} tells success from "
                  f"failure: with {row['at_least']} or more found it says success, and is right "
                  f"with a chance of {chance_words(row['right_if_success'])} if the run succeeds "
                  f"and {chance_words(row['right_if_failure'])} if it fails.")
    said = "all goals are met" if summary["outcome"] == "all goals" else \
        "adults never fall below the threshold"
    lines = [answer, f"Success: {said} in the same run ({chance_words(summary['success'])} of the "
             "runs). Right: the lesser of the two chances, by a limit chosen on one half of the "
             "runs and tried on the other.", _effort(effort, of="Each survey:")]
    if summary["year"] is not None:
        sure = summary["year_beyond_doubt"]
        lines.append("These runs cannot tell it from a later year; more replicates would."
                     if sure is None else f"Beyond the simulation's doubt: {sure}.")
    full = summary["year_everything_counted"]
    lines.append("Even if every animal were counted, no year would tell: more quadrats do not "
                 "help." if full is None else
                 f"If every animal were counted: {full}. No number of quadrats can be earlier.")
    return lines


def verdict_table(summary: dict) -> tuple[list[str], list[list[str]]]:
    """Year by year; long runs are thinned."""
    rows = summary["years"]
    step = max(1, len(rows) // 12)
    keep = {r["year"] for r in rows[::step]} | {summary["year"]}
    return (["year", "success if at least", "per m2", "right if success", "right if failure",
             "all counted"],
            [[str(r["year"]), f"{r['at_least']:,}", f"{r['density']:.2g}",
              chance_words(r["right_if_success"]), chance_words(r["right_if_failure"]),
              chance_words(r["everything_counted"])] for r in rows if r["year"] in keep])

"""Limits and cautions, glossary, where a reviewer finds what, and the record of the run."""

from __future__ import annotations

import json

from pva.report.blocks import Points, Section, Terms, Text, table
from pva.report.material import Material
from pva.report.sections.answer import answer_sentence
from pva.report.sections.goals import goal_words
from pva.report.words import exact, percent, sentence

CAUTIONS = (
    "Handling, collecting, moving and releasing protected mussels and their host fish needs "
    "permits; get them before anything is planned in detail.",
    "Taking animals from a donor bed can harm it. Judge the bed by the lower limit of its "
    "abundance; taking none is a valid answer.",
    "Animals, water, nets and boots carry disease and invasive species from one water to another. "
    "Quarantine, inspect and disinfect as the responsible authority demands.",
    "The genetics of the source matter: few mothers or a foreign stock can harm the population "
    "that is to be helped.",
    "Work in and on the water is dangerous: never alone, with a plan for cold, flow, depth and "
    "rescue.",
    "Places of rare mussels are kept secret. This page prints no coordinates; think before passing "
    "on site names.",
    "The answer holds only as far as the model and its assumptions hold. It is no approval and no "
    "legal advice; local codes and licensed practice decide.",
)

LIMITS = (
    "The model averages over animals of one stage at one site; it knows no single animals, no beds "
    "within a site and no food.",
    "Good and bad years of the past are taken as a guide to those to come; a changing climate or "
    "river is in it only if the scenario says so.",
    "An interval of the simulation shrinks with more runs; what we do not know about the rates "
    "does not, and what nobody thought of is in neither.",
    "A chance is a degree of belief about many possible futures of this model; only one future "
    "will happen.",
)

FIGURES = ("Where this page was made, the folder figures beside it holds every figure as SVG (to "
           "scale), PNG (to paste) and CSV (its numbers), and a list of them, list.csv.")

GLOSSARY = (
    ("AICc", "A score of a fitted model: lower is a better balance of fit and simplicity, small "
     "samples allowed for."),
    ("Apparent survival", "Survival with every lost tag counted as a death; corrected survival "
     "takes tag loss out again."),
    ("Asymptote", "The length that growth slows towards."),
    ("Bad year", "A year of drought, flood, spill or die-off that comes by chance or in a fixed "
     "year and lowers survival, recruitment or hosts."),
    ("Calibrated", "Solved so that a stated result holds, because the number itself cannot be "
     "measured. The result it is solved for is no check of the model."),
    ("Census", "The yearly moment at which the model counts."),
    ("Chance wanted", "The agreed chance of meeting every goal in the same run."),
    ("Detection", "Chance that an animal that is there, marked and alive is met at a visit."),
    ("Elasticity", "By how many percent the growth rate changes when one rate is 1 % higher."),
    ("Extinction", "No animal left at some census from the stated year on."),
    ("Glochidium", "Larva of a mussel; it must attach to a host fish to become a juvenile."),
    ("Host fish", "Fish on which glochidia turn into juveniles; each mussel has its own few."),
    ("Logit", "The logarithm of a chance over its complement; on this scale a chance can move "
     "either way and stays between 0 and 1."),
    ("Overdispersion", "How much more the records scatter than if animals behaved independently; "
     "1 is no more."),
    ("Parameter draw", "One possible set of rates, drawn from what we do not know about them."),
    ("Quasi-extinction", "Adults below the stated threshold at some census from the stated year "
     "on: as good as gone."),
    ("Rank correlation", "How closely one number follows another in order of size: +1 always up "
     "together, 0 not at all, \N{MINUS SIGN}1 always the other way."),
    ("Recruit", "A young animal alive at the first census after its birth."),
    ("Release survival", "Chance of living through the first months after release; always apart "
     "from later survival."),
    ("Replacement ratio", "Wild-born animals reaching adulthood per adult death."),
    ("Replicate", "One simulated future for one parameter draw."),
    ("SD", "Standard deviation, a measure of spread."),
    ("Verdict", "Met: even the lower end of the interval is at least the chance wanted. Not met: "
     "even the upper end is below. Cannot tell yet: the interval holds it."),
    ("Wild-born", "Born in the river, whoever the parents were; stocked animals are counted "
     "apart."),
)

PROTOCOL = ("Question", "Model", "Data and parameters", "Scenarios", "Sensitivity", "Results",
            "Limits")
WHERE = {"Question": ("answer", "projection"), "Model": ("model", "assumptions"),
         "Data and parameters": ("data", "estimates", "parameters"),
         "Scenarios": ("scenarios", "map"), "Sensitivity": ("depends", "flips", "map"),
         "Results": ("projection", "number", "risk", "donor", "check"),
         "Limits": ("assumptions", "cautions")}


def cautions(material: Material) -> Section:
    """Limits of the model and cautions of the work."""
    return Section("cautions", "Limits and cautions", (
        Text("", lead="Before anything is done."), Points(CAUTIONS),
        Text("", lead="What the model cannot say."), Points(LIMITS)), "Cautions")


def glossary(material: Material) -> Section:
    """Words of the page."""
    return Section("glossary", "Words", (Terms(GLOSSARY),), "Words")


def reviewer(material: Material, titles: dict[str, str]) -> Section:
    """Order of the published protocol for documenting viability analyses.

    Parameters
    ----------
    titles : dict of str to str
        Numbered titles of the parts of this page, by name.
    """
    said = _in_short(material)
    rows = [(part, said.get(part, ""), "; ".join(titles[n] for n in WHERE[part] if n in titles))
            for part in PROTOCOL]
    return Section("reviewer", "For reviewers: the parts of the protocol", (
        Text("In the order of the protocol of Pe'er and others (2013, Conservation Biology "
             "27:644\N{EN DASH}656) for documenting population viability analyses."),
        table("The protocol's parts on this page", ("Part", "In short", "Stands in"), rows)),
        "For reviewers")


def _in_short(material: Material) -> dict[str, str]:
    """Each part of the protocol in a sentence, as far as the page holds it."""
    scenario = material.scenario
    if scenario is None:
        return {}
    resolved, rows = scenario.resolved, scenario.parameters()
    kinds = {k: sum(r["source_kind"] == k for r in rows) for k in ("measured", "published")}
    goals = "; ".join(goal_words(g) for g in resolved.goals) or "no goal is set"
    others = [c["scenario"] for c in (material.comparison or {}).get("against_first", ())] or [
        r.title for r in material.runs[1:]]
    said = {
        "Question": f"{resolved.description or resolved.title} Goals: {goals}. Chance wanted: "
                    f"{percent(resolved.chance_wanted)}.",
        "Model": f"{len(resolved.stages)} stages at {len(resolved.sites)} "
                 f"site{'s' * (len(resolved.sites) > 1)}, census {resolved.census}, yearly steps "
                 f"{resolved.first} to {resolved.last}.",
        "Data and parameters": f"{len(rows)} numbers, {kinds['measured']} of them measured and "
                               f"{kinds['published']} published.",
        "Scenarios": sentence("; ".join(others) or "the main one alone"),
        "Sensitivity": "One rate at a time, mechanisms off, all rates at once."
        if material.sensitivity else "Effects of rates on growth; what outcomes follow over draws.",
        "Results": answer_sentence(material),
        "Limits": f"{len(scenario.assumptions())} numbered assumptions; limits of the model."}
    return said


def record(material: Material) -> Section:
    """Everything needed to make the page again."""
    rows = []
    if material.main is not None:
        a = material.main.data.attrs
        rows.append(("random numbers", str(a["random_numbers"])))
        versions = json.loads(a["versions"])
        rows.append(("versions", ", ".join(f"{k} {v}" for k, v in versions.items())))
        rows += [(f"input file {name}", digest) for name, digest in
                 json.loads(a["input_digests"]).items()]
    if material.answer is not None:
        rows.append(("seed of the search for the number", str(material.answer["seed"])))
    blocks = [_runs(material), table("Program and inputs", ("What", "Value"), rows)] if rows else [
        Text("Nothing was run for this page.")]
    if material.commands:
        blocks = [Text("This command makes the page again, number for number:" if
                       len(material.commands) == 1 else
                       "These commands make the page again, number for number:"),
                  *(Text(c, kind="command") for c in material.commands), *blocks]
    blocks.append(Text(FIGURES))
    return Section("record", "Record of the run", tuple(blocks), "Record")


def _runs(material):
    rows = []
    for run in material.runs:
        a = run.data.attrs
        size = f"{exact(a['draws'])} \N{MULTIPLICATION SIGN} {exact(a['replicates'])}"
        rows.append((a["title"], a["scenario_file"] or "made from data", str(a["seed"]), size,
                     str(a["date"])[:10], a["digest"]))
    return table("Runs", ("Scenario", "File", "Seed", "Draws \N{MULTIPLICATION SIGN} replicates",
                          "Run on", "Digest of the resolved scenario"), rows, numbers=(2,),
                 widths=(25, 18, 11, 13, 12, 21))

"""What the answer rests on: what it depends on, parameters with sources, numbered assumptions."""

from __future__ import annotations

from pva.report.blocks import Heading, Note, Points, Section, Text, table
from pva.report.estimate_rows import years_unclear
from pva.report.figures.bars import dependence_figure, elasticity_figure, shares_figure
from pva.report.figures.life import calendar_figure, life_figure
from pva.report.material import Material
from pva.report.words import exact, known, rate, rate_range, sentence, squared
from pva.results.wording import YEARS_ALIKE, listed, rate_words

KINDS = {"measured": "measured", "published": "published", "calibrated": "calibrated",
         "assumed": "assumed", "default": "default", "given": "no source named"}
STATUS = {"read": "seen in the text", "derived": "worked out from the text",
          "memory": "recalled, not seen in a text"}
NO_SCENARIO = "There is no scenario behind this page."


def depends(material: Material) -> Section:
    """Shares of variance and effects of rates."""
    name, title, short = "depends", "What it depends on", "Depends on"
    if material.scenario is None:
        return Section(name, title, (Text(NO_SCENARIO),), short)
    blocks = []
    if material.main is not None:
        shares = material.main.summary["variance_shares"]
        if any(s["unknown"] is not None for s in shares):
            blocks.append(shares_figure("where-the-spread-comes-from", shares))
    if material.leading:
        followed = [{**r, "name": rate_words(r["name"])} for r in material.leading[:12]]
        words = "the chance of every goal" if material.scenario.resolved.goals else "adults"
        blocks.append(dependence_figure("what-outcomes-follow", followed, words=words))
    rows = [{**r, "name": rate_words(r["name"])} for r in material.weights]
    if rows:
        blocks += [elasticity_figure("effects-of-rates", rows), *_long_run(material)]
        unsaid = [r["name"] for r in rows if r["weight"] is None]
        if unsaid:
            blocks.append(Note("Doubt that is not stated", "Nothing is said about how well these "
                               f"are known, so they count as exact: {'; '.join(unsaid)}."))
    return Section(name, title, tuple(blocks) or (Text(NO_SCENARIO),), short)


def _long_run(material):
    analysis = material.companion.analysis
    parts = []
    if known(analysis.growth_rate):
        parts.append("With unlimited space, average years and no bad years the fastest site would "
                     f"multiply by {analysis.growth_rate:.3f} a year in the long run")
    if known(analysis.generation_time_years):
        parts.append(f"a generation takes about {analysis.generation_time_years:.0f} years")
    text = "; ".join(parts) + "." if parts else ""
    if material.main is not None:
        log = material.main.summary["stochastic_growth_rate"]["log"]
        if known(log):
            text += (" With good, average and bad years mixed as assumed, the growth of its "
                     f"logarithm is {log:+.3f} a year.".replace("-", "\N{MINUS SIGN}"))
    return [Text(text)] if text else []


def model(material: Material) -> Section:
    """The scenario drawn: life cycle and model year."""
    name, title, short = "model", "How the model sees it", "Model"
    if material.scenario is None:
        return Section(name, title, (Text(NO_SCENARIO),), short)
    resolved = material.scenario.resolved
    drawn = (life_figure("life-cycle", resolved), calendar_figure("model-year", resolved))
    return Section(name, title, tuple(f for f in drawn if f is not None), short)


def parameters(material: Material) -> Section:
    """Every rate with its doubt, years and source."""
    name, title, short = "parameters", "Every number and its source", "Parameters"
    if material.scenario is None:
        return Section(name, title, (Text(NO_SCENARIO),), short)
    rows = material.scenario.parameters()
    counts = {k: sum(r["source_kind"] == k for r in rows) for k in KINDS}
    told = listed([f"{n} {KINDS[k]}" for k, n in counts.items() if n])
    blocks = [Text(f"{exact(len(rows))} numbers go into the model: {told}. A number is only as "
                   "good as where it comes from; those nobody measured or published well carry a "
                   "mark (\N{BLACK DIAMOND}).")]
    by_kind: dict[str, list] = {}
    for row in rows:
        by_kind.setdefault(row["name"].split("/")[0], []).append(row)
    unclear = years_unclear(material.estimates)
    blocks += [_parameter_table(kind, part, unclear) for kind, part in by_kind.items()]
    if any(_years_unclear(row, unclear) for row in rows):
        blocks.append(Note("An SD between years of 0", YEARS_ALIKE))
    return Section(name, title, tuple(blocks), short)


def _years_unclear(row, unclear):
    """What to print for an SD between years that was estimated as 0 and is used so."""
    taken = row["source_kind"] == "measured" and not row["years_sd"]
    return unclear.get(row["name"], "") if taken else ""


def _years(row, unclear):
    return rate(row["years_sd"]) if row["years_sd"] else (
        _years_unclear(row, unclear) or "none stated")


def _parameter_table(kind, rows, unclear):
    heads = ("Number", "Best value", "What we do not know", "SD between years", "Source",
             "Where from")
    cells = [(("\N{BLACK DIAMOND} " if r["low_confidence"] else "") + _name(r["name"]),
              _value(r), _doubt(r), _years(r, unclear),
              KINDS.get(r["source_kind"], r["source_kind"]), _where_from(r)) for r in rows]
    return table(f"{kind[0].upper()}{kind[1:]}", heads, cells, numbers=(1,),
                 widths=(21, 11, 18, 13, 12, 25))


def _name(key):
    """Words of a rate without its kind, which the caption says."""
    return rate_words(key).partition(": ")[2] or rate_words(key)


def _value(row):
    if row["value"] is None:
        return "solved"
    if row["by_year"]:
        return "; ".join(f"{rate(v)} from {y}" for y, v in sorted(row["by_year"].items()))
    return rate(row["value"])


def _doubt(row):
    if known(row["low"]):
        return rate_range(row["low"], row["high"])
    if row["se"]:
        return f"standard error {rate(row['se'])}"
    return row["doubt"] or "none stated"


def _where_from(row):
    parts = [row["source"], STATUS.get(row["status"], row["status"]),
             row["note"] if row["note"] not in (row["source_kind"], "no source named") else ""]
    return squared("; ".join(p for p in parts if p))


def assumptions(material: Material) -> Section:
    """Numbered sentences."""
    name, title, short = "assumptions", "What is assumed", "Assumptions"
    if material.scenario is None:
        return Section(name, title, (Text(NO_SCENARIO),), short)
    blocks = [Text("Each may be wrong; where it is known which way that pushes the answer, the "
                   "sentence says so."),
              Points(tuple(squared(a) for a in material.scenario.assumptions()), numbered=True)]
    said = set((material.estimates or {}).get("notes") or ())  # printed with the estimates
    warnings = [sentence(w) for w in material.scenario.warnings if w not in said]
    if warnings:
        blocks += [Heading("Warnings of the scenario"), Points(tuple(warnings))]
    return Section(name, title, tuple(blocks), short)

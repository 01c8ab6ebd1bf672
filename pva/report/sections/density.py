"""What the digging and the fish samples say: density, recruits, abundance, host fish."""

from __future__ import annotations

from pva.report.blocks import Folded, Heading, Note, Text, table
from pva.report.estimate_rows import rows_of
from pva.report.figures.estimates import dots_figure
from pva.report.figures.quadrats import quadrats_figure
from pva.report.sections.rate_tables import dots, rate_table, two
from pva.report.words import count, exact, interval, known, rate

SQUARED = "\N{SUPERSCRIPT TWO}"


def density_part(summary, records=None):
    """Density with its blanks, latest survey first."""
    rows = rows_of(summary, "density")
    if not rows:
        return []
    unit = "animals per m\N{SUPERSCRIPT TWO}"
    blocks = [Heading("Density")]
    whole = [r for r in rows if not r["stage"]] or rows
    parts = [r for r in rows if r["stage"]] if len(whole) < len(rows) else []
    last = {r["place"]: r for r in sorted(whole, key=lambda r: str(r["survey"]))}
    if any(known(r["value"]) for r in rows):
        blocks.append(dots_figure("density", dots(last.values()),
                                  title="Density at the latest survey",
                                  words="estimate",
                                  chance=False, unit=unit,
                                  caption="Animals per square metre with 95 % intervals, blank "
                                          "quadrats counted. Where none was found the line ends "
                                          "at what the digging still allows."))
    drawn = None if records is None else quadrats_figure("quadrats", records, summary)
    blocks += [drawn] if drawn is not None else []
    blocks.append(rate_table(f"Density, {unit}", whole, what="Estimate", say=rate,
                              behind="Units dug"))
    if parts:
        blocks.append(Folded("Density by stage", (rate_table(
            f"Density by stage, {unit}", parts, what="Estimate", say=rate, behind="Units dug"),)))
    return blocks


def recruits_part(summary):
    """Young animals sorted by how sure it is that they are wild-born."""
    rows = rows_of(summary, "recruits")
    if not rows:
        return []
    blocks = [Heading("Recruits"),
              Text("Unmarked is not wild-born: worn marks and shed tags imitate recruits, so young "
                   "animals are sorted into definite, probable and cannot tell.")]
    given = summary["recruits"]
    given = given if isinstance(given, list) else [given]
    kinds = [k for k in ("definite", "probable", "cannot_tell") if any(k in g for g in given)]
    if kinds:
        cells = [[r["name"], *(exact(g.get(k)) for k in kinds), rate(r["value"], 2),
                  interval(r["low"], r["high"], two)] for r, g in zip(rows, given, strict=True)]
        heads = ("Where", *(k.replace("_", " ") for k in kinds), _per(given), "95 % interval")
        blocks.append(table("Recruits found", heads, cells, numbers=range(1, len(heads))))
    else:
        blocks.append(rate_table("Recruits", rows, what="Estimate", say=rate, behind="Found"))
    none = [(r["name"], g["density_high"]) for r, g in zip(rows, given, strict=True)
            if known(g.get("density_high"))]
    if none:
        blocks.append(Note("Not found is not absent", "; ".join(
            f"{name}: the digging still allows {rate(high, 2)} per m\N{SUPERSCRIPT TWO} (95 %)"
            for name, high in none) + "."))
    return blocks


def _per(rows):
    return "Young per adult" if any("per_adult" in r for r in rows) else \
        "Per m\N{SUPERSCRIPT TWO}"


def abundance_part(summary):
    """Animals by site and stage."""
    rows = rows_of(summary, "abundance")
    if not rows:
        return []
    cells = [(r["name"].replace("/", ", "), count(r["value"]),
              interval(r["low"], r["high"], count)) for r in rows]
    return [Heading("Abundance"), table("Animals by site and stage",
                                        ("What", "Estimate", "95 % interval"), cells,
                                        numbers=(1, 2))]


def hosts_part(summary):
    """Host fish of the latest year, and what they carried."""
    last = {r["place"]: r for r in rows_of(summary, "hosts")}
    loads = rows_of(summary, "glochidia_per_host")
    blocks = [Heading("Host fish")] if last or loads else []
    for caption, rows in ((f"Fish per 100 m{SQUARED}, latest year", list(last.values())),
                          ("Glochidia per fish", loads)):
        if rows:
            blocks.append(table(caption, ("Host and site", "Estimate", "95 % interval"),
                                [(r["name"].replace("/", ", "), two(r["value"]),
                                  interval(r["low"], r["high"], two)) for r in rows],
                                numbers=(1, 2)))
    return blocks

"""What the data are: where every row went, and what was seen."""

from __future__ import annotations

import re

from pva.report.blocks import Heading, Note, Points, Section, Text, table
from pva.report.figures.encounters import encounters_figure
from pva.report.figures.river import river_figure
from pva.report.material import Material
from pva.report.words import coarse, exact, listed


def section(material: Material) -> Section:
    """Second part of the page."""
    title, short = "What the data are", "Data"
    if material.records is None:
        return Section("data", title, (Text(
            "There are no field records behind this page. Every rate is published, assumed or "
            "calibrated; the table of parameters says which."),), short)
    account = material.records.account
    blocks = [_sentence(account), _files(account)]
    if len(account.reasons):
        blocks.append(_reasons(account))
    blocks += [Heading("What was seen"), _seen(material.records), *_pictures(material)]
    notes = [str(n) for n in material.records.notes]
    if notes:
        blocks += [Heading("Notes of the reading"), Points(tuple(coarse(n) for n in notes))]
    blocks.append(Note("A heard tag is not a live mussel",
                       "Readers hear tags on dead shells. Animals seen alive, tags only heard and "
                       "shells found are three kinds of observation and stay apart."))
    return Section("data", title, tuple(blocks), short)


def _pictures(material):
    """Where the sites lie, and every marked animal at every visit."""
    sites = river_figure("river", material.study.spec.sites) if material.study is not None and \
        getattr(material.study.spec, "sites", None) else None
    return [f for f in (sites, encounters_figure("encounters", material.records)) if f is not None]


def _sentence(account):
    sums = account.totals
    whole = sums["used"] + sums["flagged"] + sums["set_aside"]
    adds = "and these add up" if whole == sums["in"] else "and these DO NOT ADD UP"
    return Text(f"Of {exact(sums['in'])} rows read, {exact(sums['used'])} were used as they stand, "
                f"{exact(sums['flagged'])} were used with a flag and {exact(sums['set_aside'])} "
                f"were set aside, {adds}. Rows set aside are kept whole, with the reason, in "
                "estimates/set_aside.csv; they can be corrected and read again.")


def _files(account):
    rows = [(f"{t['file']}", t["is"], exact(t["in"]), exact(t["used"]), exact(t["flagged"]),
             exact(t["set_aside"])) for t in account.tables.to_dict("records")]
    sums = account.totals
    rows.append(("All files", "", *(exact(sums[k]) for k in ("in", "used", "flagged",
                                                             "set_aside"))))
    return table("Rows by file", ("File", "Holds", "Rows in", "Used", "Flagged", "Set aside"),
                 rows, numbers=(2, 3, 4, 5))


def _reasons(account):
    rows = [(_shown(r), r["effect"], exact(r["rows"]), r["code"])
            for r in account.reasons.to_dict("records")]
    return table("Why rows were flagged or set aside",
                 ("Reason, with one row as example", "What happened", "Rows", "Code"), rows,
                 numbers=(2,))


def _shown(reason):
    """The sentence of a reason; positions are left out, however they were written."""
    sentence = reason["sentence"].replace("`", "")
    if not reason["code"].startswith("position"):
        return sentence
    sentence = re.sub(r"(The position) .*? (cannot be read|lies )", r"\1 \2", sentence)
    return coarse(re.sub(r"(Latitude and longitude) \(.*?\)", r"\1", sentence))


def _seen(records):
    rows = []
    if len(records.releases):
        animals = int(records.releases["number"].fillna(1).sum())
        rows.append(("Animals released or marked", exact(animals),
                     _by(records.releases, "source", "number")))
    if len(records.encounters):
        rows.append(("Encounters", exact(len(records.encounters)),
                     _by(records.encounters, "status")))
    if len(records.visits):
        rows.append(("Visits", exact(len(records.visits)), _by(records.visits, "method")))
    if len(records.units):
        rows.append(("Quadrats dug", exact(len(records.units)), _blank(records)))
    if len(records.animals):
        rows.append(("Mussels found in quadrats", exact(len(records.animals)), ""))
    if len(records.hosts):
        rows.append(("Host fish samples", exact(len(records.hosts)), _by(records.hosts, "host")))
    return table("Clean records", ("What", "Number", "Of these"), rows, numbers=(1,))


def _by(frame, column, weight=None):
    sizes = 1 if weight is None else frame[weight].fillna(1)
    counts = frame.assign(_size=sizes).groupby(column)["_size"].sum()
    counts = counts.sort_values(ascending=False)
    return listed([f"{exact(n)} {name}" for name, n in counts.items()][:6]) if len(counts) else ""


def _blank(records):
    found = set(zip(records.animals["survey"].astype(str), records.animals["unit"].astype(str),
                    strict=True))
    units = zip(records.units["survey"].astype(str), records.units["unit"].astype(str),
                strict=True)
    blank = sum(u not in found for u in units)
    return f"{exact(blank)} of them without a mussel; blanks count in every density"

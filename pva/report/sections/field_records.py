"""What the data are: where every row went, and what was seen."""

from __future__ import annotations

import re

import pandas as pd

from pva.field.records import SHELL
from pva.report.blocks import Heading, Note, Points, Section, Text, table
from pva.report.figures.encounters import encounters_figure
from pva.report.figures.river import river_figure
from pva.report.material import Material
from pva.report.words import coarse, exact
from pva.results.wording import listed


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
        rows.append(_quadrats(records.units, _blank(records)))
    if len(records.animals):
        rows.append(("Mussels found in quadrats", *_found(records.animals)))
    if len(records.hosts):
        rows.append(("Host fish samples", exact(len(records.hosts)), _by(records.hosts, "host")))
    return table("Clean records", ("What", "Number", "Of these"), rows, numbers=(1,))


def _by(frame, column, weight=None):
    sizes = 1 if weight is None else frame[weight].fillna(1)
    counts = frame.assign(_size=sizes).groupby(column)["_size"].sum()
    counts = counts.sort_values(ascending=False)
    return listed([f"{exact(n)} {name}" for name, n in counts.items()][:6]) if len(counts) else ""


def _quadrats(units, blank):
    """Only units that were dug are called so; the surface shows a part of the mussels."""
    surface = int(units["excavated"].eq(False).sum())
    if not surface:
        return "Quadrats dug", exact(len(units)), f"{blank}; blanks count in every density"
    return ("Quadrats searched", exact(len(units)),
            f"{exact(len(units) - surface)} dug and {exact(surface)} looked at on the surface "
            f"alone; {blank}; the blanks of those dug count in every density")


def _found(animals):
    """Every animal of a row, shells named apart."""
    number = animals.get("number", pd.Series(1, index=animals.index)).fillna(1)
    shells = int(number[animals["status"].eq(SHELL)].sum())
    return exact(int(number.sum())), f"{exact(shells)} of them shells" if shells else ""


def _blank(records):
    key = ["survey", "site", "unit"]
    found = set(map(tuple, records.animals[key].astype(str).to_numpy()))
    blank = sum(tuple(u) not in found for u in records.units[key].astype(str).to_numpy())
    return f"{exact(blank)} of them without a mussel"

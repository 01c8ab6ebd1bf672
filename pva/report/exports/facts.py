"""What stands beside every export: where the numbers come from and how far they hold."""

from __future__ import annotations

import json
from collections.abc import Sequence
from importlib.metadata import version

from pva.report.exports.sheets import Sheet, sheet
from pva.report.material import Material
from pva.report.sections.closing import CAUTIONS

README = "readme"


def readme_sheet(material: Material, sheets: Sequence[Sheet] = (), *, title: str = "") -> Sheet:
    """Seed, digests, versions, sources, cautions and a list of the tables, two columns.

    Parameters
    ----------
    title : str
        Name of the study, where it may leave.
    """
    rows = [("study", title)] if title else []
    rows += [("written by", f"pva {version('pva')}")]
    rows += [("table", f"{one.name}: {one.title}") for one in sheets]
    rows += _runs(material) + [(f"warning: {s.resolved.title}", w) for s in _scenarios(material)
                               for w in s.warnings]
    rows += [("source", words) for words in sources_of(material)]
    rows += [("caution", words) for words in CAUTIONS]
    rows += [("empty cell", "does not apply, or is not known"),
             ("apostrophe before = + - @", "keeps a spreadsheet from running text as a formula")]
    return sheet(README, "Where the numbers come from and how far they hold", ("what", "value"),
                 rows)


def _scenarios(material):
    return {r.scenario.digest: r.scenario for r in material.runs}.values()


def _runs(material):
    rows = []
    for run in material.runs:
        a = run.data.attrs
        rows += [(f"run: {run.title}", f"seed {a['seed']}; {a['draws']} draws of "
                  f"{a['replicates']} replicates; made {str(a['date'])[:10]}"),
                 (f"digest of the resolved scenario: {run.title}", str(a["digest"])),
                 (f"random numbers: {run.title}", str(a["random_numbers"])),
                 (f"versions: {run.title}", ", ".join(
                     f"{k} {v}" for k, v in json.loads(a["versions"]).items()))]
        rows += [(f"digest of input file {name}: {run.title}", digest)
                 for name, digest in json.loads(a["input_digests"]).items()]
    rows += [(f"number to stock: {s.title}", f"seed {s.answer['seed']}; {s.answer['draws']} draws "
              f"of {s.answer['replicates']} replicates; digest {s.answer['digest']}")
             for s in material.stock]
    return rows


def sources_of(material: Material) -> list[str]:
    """Every source named by the numbers of the scenarios, each once."""
    found = [f"{row['source_kind']}: {row['source']}" for s in _scenarios(material)
             for row in s.parameters() if row["source"]]
    return list(dict.fromkeys(found))

"""Answers of commands of their own: where the answer flips, the map of a grid, the donor
bed, the check against data.

They cost run time, so the page shows them where they are at hand and says which command makes them
where they are not.
"""

from __future__ import annotations

import re

from pva.decide.explore import dimensions, explore_summary
from pva.decide.grid import key_words
from pva.report.blocks import Folded, Note, Points, Section, Text, table
from pva.report.data_words import answer_of_data_check, data_words
from pva.report.donor_words import answer_of_donor, judged_table, safe_words, ways_table
from pva.report.explore_words import answer_of_explore, enough_words
from pva.report.figures.donor import donor_figure
from pva.report.figures.flips import flips_figure
from pva.report.figures.grid_map import grid_figure
from pva.report.figures.observed import observed_figure
from pva.report.material import Material
from pva.report.sections.commands import file_of, scenario_file, study_folder
from pva.report.sensing_words import (
    answer_of_sensitivity,
    confidence_words,
    goal_tables,
    information_words,
    share_table,
    switch_table,
)
from pva.report.words import exact, sentence, squared

DONOR_CAUTION = ("Collecting from a wild bed needs permits; disease and invasive species travel "
                 "with animals and water; taking the same sizes or places every year changes the "
                 "bed. Local codes and licensed biologists decide, not this number.")


def flips(material: Material) -> Section:
    """One rate at a time, mechanisms off, the goal moved, and the worth of knowing a rate."""
    name, title, short = "flips", "Where the answer flips", "Flips"
    found = material.sensitivity
    if found is None:
        return Section(name, title, _without(material, "sensitivity", "Which single number, if it "
                                             "were otherwise, would change the answer",
                                             f"pva sensitivity {scenario_file(material)}"), short)
    blocks = [Text(answer_of_sensitivity(found))]
    if found["rates"]:
        blocks.append(flips_figure("one-rate-at-a-time", found))
    if found["switches"]:
        blocks.append(_table("Mechanisms switched off in turn, in the same luck",
                             *switch_table(found)))
    if found["variance_shares"]:
        blocks.append(_table("All uncertain rates moved at once: shares of the chance's variance",
                             *share_table(found)))
    blocks += [Text(t.replace("; --worth sets it", ""))
               for t in information_words(found["information"])]
    moved = [_table(caption, header, rows) for header, rows, caption in goal_tables(found)]
    if moved:
        blocks.append(Folded("The goals at other values and years", tuple(moved)))
        blocks.append(Points(tuple(confidence_words(found))))
    blocks.append(_looked(material, found, "pva sensitivity"))
    return Section(name, title, tuple(blocks), short)


def host_map(material: Material) -> Section:
    """Map of a grid: where host fish limit and where mussels do."""
    name, title, short = "map", "Map of what-ifs", "Map"
    if material.grid is None:
        return Section(name, title, _without(
            material, "explore", "Where the young are limited by host fish and where by mussels "
            "stocked" if _first_host(material) else "How the chance changes over a grid of "
            "what-ifs", _explore_command(material)), short)
    summary = explore_summary(material.grid)
    words = {n: squared(key_words(material.grid[n].attrs["long_name"]))
             for n in dimensions(material.grid)}
    blocks = [Text(squared(answer_of_explore(summary))),
              grid_figure("map-of-what-ifs", material.grid, words=words)]
    enough = enough_words(summary)
    if enough:
        blocks += [Text("", lead=squared(enough[0])),
                   Points(tuple(squared(t.strip()) for t in enough[1:]))]
    hosts = any(".hosts." in v["key"] for v in summary["varied"])
    if hosts:
        blocks.append(Text("Where the lines of equal chance run along the axis of the fish, more "
                           "fish change nothing and the number of mussels decides; where they run "
                           "along the axis of the animals stocked, more mussels change nothing and "
                           "the fish decide."))
    blocks.append(Text(f"Every point: {_runs(summary)}, all in the same luck."))
    return Section(name, title, tuple(blocks), short)


def donor(material: Material) -> Section:
    """What the donor bed can give."""
    name, title, short = "donor", "What the donor bed can give", "Donor"
    if material.donor is None:
        return Section(name, title, _without(material, "donor", "How many animals a wild bed can "
                                             "give", f"pva donor {_donor_file(material)}"), short)
    found = material.donor
    blocks = [Text(answer_of_donor(found)), *(Text(t) for t in safe_words(found)),
              donor_figure("donor-risk", found),
              _table("The bed judged from its lower limit and from its best value",
                     *judged_table(found)),
              _table("Other ways of taking, judged from the lower limit", *ways_table(found)),
              _looked(material, found, "pva donor"),
              Note("Before anything is taken", DONOR_CAUTION)]
    return Section(name, title, tuple(blocks), short)


def check(material: Material) -> Section:
    """The past projected, and what the crews saw laid over it."""
    name, title, short = "check", "Checked against the data", "Check"
    found = material.data_check
    if found is None:
        return Section(name, title, _without(
            material, "check-data", "Whether a projection of the past gives what the crews saw",
            f"pva check-data {study_folder(material.study)} PAST_SCENARIO"), short)
    blocks = [Text(answer_of_data_check(found)), observed_figure("seen-against-predicted", found),
              *(Text(sentence(t)) for t in data_words(found)),
              Text(f"The past was projected with {_runs(found)}.")]
    return Section(name, title, tuple(blocks), short)


def _runs(found):
    return (f"{exact(found['draws'])} draws \N{MULTIPLICATION SIGN} "
            f"{exact(found['replicates'])} replicates")


def _looked(material, found, command):
    """How many runs stand behind an answer, and what makes a finer one where they are few."""
    main = material.scenario.resolved.runs if material.scenario else None
    runs = found["draws"] * found["replicates"]
    finer = f" {command} makes a finer one." if main is not None and \
        runs < main.draws * main.replicates else ""
    quick = "A quick look" if finer else "Every look"
    return Text(f"{quick}: {_runs(found)} behind every chance.{finer}")


def _donor_file(material):
    """The scenario that takes animals from a site, as far as one is known."""
    resolved = material.scenario.resolved if material.scenario else None
    if resolved is not None and (resolved.collections
                                 or any(r.from_site for r in resolved.releases)):
        return scenario_file(material)
    donor_file = material.study and material.study.place("scenarios/donor.yaml")
    return file_of(material.study, donor_file) if donor_file and donor_file.is_file() else (
        "SCENARIO")


def _first_host(material):
    """A host fish that lives at every site, or None."""
    sites = material.scenario.resolved.sites if material.scenario else ()
    names = [h.host for h in sites[0].hosts] if sites else []
    return next((n for n in names if all(n in [h.host for h in s.hosts] for s in sites)), None)


def _explore_command(material):
    host, resolved = _first_host(material), material.scenario and material.scenario.resolved
    vary = ["number=0,200,400"] if resolved and resolved.releases else []
    vary += [f'"sites.*.hosts.{host}.per_100m2=2,5,10"'] if host else []
    return " --vary ".join([f"pva explore {scenario_file(material)}", *(vary or ["KEY=VALUES"])])


def _without(material, kind, question, command):
    """What the page lacks and the command that makes it; an answer out of date is said so."""
    text = material.left_out.get(kind) or (
        f"{question} was not asked for this page. This command answers it, and the page then "
        "shows it:")
    return Text(text), Text(command, kind="command")


def _table(caption, header, rows):
    """A terminal table as one of the page: headings begin large, none is empty."""
    kept = [i for i in range(len(header)) if header[i] or any(row[i] for row in rows)]
    heads = [(header[i] or "Remark") for i in kept]
    heads = [h[:1].upper() + h[1:] for h in heads]
    heads[0] = heads[0].split(":")[0]
    return table(caption, heads, [[_signs(row[i]) for i in kept] for row in rows],
                 numbers=[k for k, i in enumerate(kept)
                          if k and any(re.match(r"[+-]?\d|below|above", str(r[i])) for r in rows)])


def _signs(cell):
    """Plus-minus and minus as a printer sets them."""
    text = str(cell).replace("+-", "\N{PLUS-MINUS SIGN}")
    return re.sub(r"(?<![\w.])-(?=\d)", "\N{MINUS SIGN}", text)

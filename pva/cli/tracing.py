"""`pva show --trace`: one number followed back, in words, as JSON and as a list of rows."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

from pva.cli.terminal import Terminal

MOST_ROWS_SAID = 5


def tell_trace(terminal: Terminal, question, name: str, calibrated: list[dict],
               stem: str) -> None:
    """Follow a rate back, say it, and write its rows where asked.

    Parameters
    ----------
    terminal : Terminal
    question : Scenario
    name : str
        The rate.
    calibrated : list of dict
        Solved values of the scenario.
    stem : str
        Name of the scenario's file without its ending.
    """
    from pva.results.summary import plain
    from pva.scenario.trace import trace

    found = trace(question, name, calibrated=calibrated)
    lines = list(chain_lines(found))
    terminal.answer(lines[0])
    for line in lines[1:]:
        terminal.say(line)
    document = plain({"scenario": question.resolved.title, "digest": question.digest,
                      **found.summary()})
    if terminal.out is not None:
        _write(terminal, found, document, terminal.out / f"{stem}.trace")
    elif found.tables:
        terminal.say("--out DIR writes every row's file and number.")
    terminal.finish(document)


def chain_lines(found, indent: str = "") -> Iterator[str]:
    """The chain in sentences, one step a line."""
    yield f"{indent}{found.name}: {_value(found)}"
    step = f"{indent}  <- "
    written = found.written
    if written is None:
        words = f": {found.source['words']}" if found.source["words"] else ""
        yield f"{step}written nowhere; a default of the package{words}"
    else:
        where = f"{Path(written['file']).name}, line {written['line']}, " if written["file"] else ""
        text = f": {written['text']}" if written["text"] and len(written["text"]) < 300 else ""
        yield f"{step}{where}`{written['key']}`{text}"
    if found.estimate is not None or found.published is not None:
        yield from _of_a_replacement(found, step)
    if found.estimate is not None:
        yield from _of_estimate(found, step)
    elif found.published is not None:
        yield from _of_published(found, step)
    elif found.calibrated or found.source["kind"] == "calibrated":
        for row in found.calibrated:
            yield f"{step}{row['site']}: {row['value']:.4g}, {row['target']}"
        if found.follows is not None:
            yield from chain_lines(found.follows, indent + "     ")
    elif written is not None:
        yield f"{step}{_judgement(found.source)}"
    if found.missing:
        yield f"{step}{found.missing}"


def _of_a_replacement(found, step: str) -> Iterator[str]:
    """A value written beside a reference: it is not the one that the reference gives."""
    if found.source["kind"] == "given" and found.source["words"]:
        yield f"{step}{found.source['words']}"


def _value(found) -> str:
    value = found.value
    if value["value"] is None:
        return "solved for, not given"
    parts = [f"{value['value']:.4g}"]
    parts += [f"what is not known: {value['doubt']}"] if value["doubt"] else ["no doubt stated"]
    parts += [f"SD between years {value['years_sd']:.3g}"] if value["years_sd"] else []
    parts += [f"changes by year ({len(value['by_year'])} values)"] if value["by_year"] else []
    return "; ".join(parts)


def _judgement(source: dict) -> str:
    kinds = {"given": "given without a source", "assumed": "assumed", "measured": "measured",
             "published": "published", "default": "default of the package"}
    words = f": {source['words']}" if source["words"] else ""
    return f"{kinds.get(source['kind'], source['kind'])}{words}"


def _of_estimate(found, step: str) -> Iterator[str]:
    told = found.estimate
    number = "not in the file" if told.get("value", "") == "" else (
        "a range" if told["value"] is None else f"{told['value']:.4g}")
    ends = told.get("interval")
    about = f", 95 % interval {ends[0]:.4g} to {ends[1]:.4g}" if ends else ""
    about += f", n = {told['n']}" if told.get("n") is not None else ""
    yield f"{step}estimate `{told['key']}` of {Path(told['file']).name}: {number}{about}"
    if told.get("note"):
        yield f"{step}{told['note']}"
    for note in told["by_hand"]:
        yield f"{step}{note}"
    if told.get("source"):
        yield f"{step}{told['source']}"
    if told["model"]:
        yield f"{step}model: {told['model']}"
    for table in found.tables:
        yield f"{step}{_rows(table)}"


def _rows(table) -> str:
    """One table: how many rows stand behind the number, and which come first."""
    first = ", ".join(str(r) for r in table.rows[:MOST_ROWS_SAID])
    more = f" and {len(table.rows) - MOST_ROWS_SAID:,} more" if len(
        table.rows) > MOST_ROWS_SAID else ""
    flagged = f", {table.flagged:,} of them flagged" if table.flagged else ""
    return (f"{table.file} ({table.kind}): {table.used + table.flagged:,} of "
            f"{table.table_rows:,} rows{flagged}; {table.set_aside:,} of the table set aside; "
            f"rows {first}{more}")


def _of_published(found, step: str) -> Iterator[str]:
    entry = found.published
    unit = "" if entry["unit"] == "none" else f" {entry['unit']}"
    yield (f"{step}catalogue of published values, `{entry['key']}`: {entry['figure']}{unit}; "
           f"{entry['status']}, confidence {entry['confidence']}")
    about = "; ".join(p for p in (entry["species"], entry["water"], entry["n"] and
                                  f"n: {entry['n']}", entry["method"]) if p)
    if about:
        yield f"{step}{about}"
    yield f"{step}{entry['citation']}"
    for reference in entry["references"]:
        yield f"{step}{reference}"


def _write(terminal: Terminal, found, document: dict, stem: Path) -> None:
    from pva.files import csv_text, write_text_atomic
    from pva.results.store import write_json

    rows = [[t.file, t.kind, row, "yes" if row in set(t.flagged_rows) else ""]
            for t in found.tables for row in t.rows]
    terminal.wrote(write_json(stem.with_name(stem.name + ".json"), document))
    if rows:
        terminal.wrote(write_text_atomic(stem.with_name(stem.name + ".csv"), csv_text(
            ["file", "is", "row", "flagged"], rows)))

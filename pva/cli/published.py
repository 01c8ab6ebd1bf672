"""`pva show --published`: the catalogue of published life-history values."""

from __future__ import annotations

from pva.cli.terminal import Terminal

LOW = "not as a default"


def tell_published(terminal: Terminal) -> None:
    """List every entry with its value, status and source, and what nobody has published."""
    from pva.lifehistory.catalogue import entries, not_found

    found = entries()
    terminal.answer(f"{len(found)} published values and ranges; a scenario takes one by "
                    "{published: KEY}. Values of other species and rivers: say in the plan why "
                    "they hold here.")
    terminal.table(["key", "value", "range", "unit", "status", "use", "source"],
                   [_row(entry) for entry in found])
    missing = not_found()
    terminal.say("\nLooked for and not found: calibrate these, or write a value of your own as "
                 "assumed.")
    terminal.table(["key", "remark"], [[key, text] for key, text in missing.items()])
    terminal.finish({"published": [_plain(entry) for entry in found], "not_found": missing})


def _row(entry) -> list:
    low, high = entry.interval or (None, None)
    span = "" if entry.interval is None else f"{low:g} to {high:g}"
    value = "" if entry.value is None else f"{entry.value:g}"
    usable = LOW if entry.confidence == "low" or not entry.is_published else entry.confidence
    return [entry.key, value, span, entry.unit, entry.status, usable, entry.citation]


def _plain(entry) -> dict:
    from pva.results.summary import plain

    return plain({k: v for k, v in vars(entry).items()})

"""`pva show --published`: the catalogue of published life-history values."""

from __future__ import annotations

from textwrap import fill

from pva.cli.terminal import Terminal

WIDTH = 100
_INDENT = " " * 6


def tell_published(terminal: Terminal) -> None:
    """List every entry with its value, status and source, and what nobody has published."""
    from pva.lifehistory.catalogue import entries, not_found

    found = entries()
    missing = not_found()
    terminal.answer(f"{len(found)} published values and ranges; a scenario takes one by "
                    "{published: KEY}. Values of other species and rivers: say in the plan why "
                    "they hold here.")
    usable = [e for e in found if e.may_stand]
    nobody = [e for e in found if not e.is_published]
    rest = [e for e in found if not e.may_stand and e.is_published]
    _list(terminal, "Ranges a scenario may take by key: judgements over several published values",
          [e for e in usable if e.is_range])
    _list(terminal, "Single published figures a scenario may take by key",
          [e for e in usable if not e.is_range])
    _list(terminal, "NOT PUBLISHED for mussels in the wild, refused by key: calibrate these, or "
          "write a value of your own as assumed. The range is a judgement", nobody)
    _list(terminal, "For reading only, refused by key: of low confidence, recalled only, a bound, "
          "or not a rate per year", rest)
    terminal.table(["key", "remark"], [[key, text] for key, text in missing.items()],
                   title="Looked for and not found")
    terminal.finish({"published": [_plain(entry) for entry in found], "not_found": missing})


def _list(terminal: Terminal, title: str, listed: list) -> None:
    """An entry at a time: key, value, unit; how sure and by whom; where it comes from."""
    terminal.say(f"\n{title}.")
    for entry in listed:
        unit = "" if entry.unit == "none" else f" {entry.unit}"
        terminal.say(f"  {entry.key}: {entry.figure}{unit}")
        about = f"{entry.status}, confidence {entry.confidence}; {entry.citation}"
        more = "; ".join(part for part in (entry.origin, entry.notes) if part)
        for line in (about, more):
            if line:
                terminal.say(fill(line, WIDTH, initial_indent=_INDENT, subsequent_indent=_INDENT))


def _plain(entry) -> dict:
    from pva.results.summary import plain

    return plain({k: v for k, v in vars(entry).items()})

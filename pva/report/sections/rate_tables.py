"""Rates of the estimates as tables and dots, as several parts of the page print them."""

from __future__ import annotations

from dataclasses import replace

from pva.report.blocks import Folded, Points, table
from pva.report.estimate_rows import years_top
from pva.report.figures.estimates import Dot
from pva.report.words import exact, interval, rate, sentence, share

MOST_NOTE = 300  # letters of notes beneath a table; longer ones are folded away


def dots(rows, *, other=None):
    return [Dot(r["name"], r["value"], r["low"], r["high"], r[other] if other else None)
            for r in rows]


def rate_table(caption, rows, *, what, note="", say=share, behind="Animals"):
    """Rows with doubt; columns that nobody filled are left out."""
    columns = [("apparent", "Apparent", say), ("value", what, say), ("se", "SE", say),
               ("interval", "95 % interval", None), ("years", "SD between years", None),
               ("n", behind, exact)]
    full = [{**r, "interval": interval(r["low"], r["high"], say),
             "years": years_cell(r, say)} for r in rows]
    used = [c for c in columns if c[0] in ("value", "interval")
            or any(r[c[0]] not in (None, "") for r in full)]
    cells = [[r["name"], *(r[k] if tell is None else tell(r[k]) for k, _, tell in used)]
             for r in full]
    said = " ".join(p for p in (note, _notes(rows)) if p)
    return table(caption, ("What", *(w for _, w, _ in used)), cells,
                 numbers=range(1, len(used) + 1), note=said)


def years_cell(row: dict, say=share) -> str:
    """SD between years; an estimated 0 with what the intervals cannot tell."""
    if row["year_sd"] is None:
        return ""
    if row["year_sd"] > 0:
        return say(row["year_sd"])
    top = years_top(row["note"])
    return f"0 (to {say(top)})" if top is not None else "0"


def _notes(rows):
    """Notes of rows, each once with the rows it belongs to; heard-only tags have a table."""
    by_note: dict[str, list[str]] = {}
    for row in rows:
        for part in row["note"].split("; "):
            if part and "only heard" not in part:
                by_note.setdefault(part, []).append(row["name"])
    return " ".join(sentence(note if len(names) == len(rows) else f"{'; '.join(names)}: {note}")
                    for note, names in by_note.items())


def notes_apart(shown):
    """A table whose notes are long, with the notes folded beneath it."""
    if len(shown.note) < MOST_NOTE:
        return [shown]
    notes = Points(tuple(p if p.endswith(".") else p + "." for p in shown.note.split(". ") if p))
    return [replace(shown, note=""), Folded("Notes on these rates", (notes,))]


def two(value) -> str:
    """Two significant figures."""
    return rate(value, 2)

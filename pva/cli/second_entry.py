"""`pva check STUDY --against OTHER`: what two persons typed differently, for the field sheets."""

from __future__ import annotations

from pathlib import Path

from pva.cli.terminal import Terminal

MOST_LISTED = 200
NOT_SHOWN = "(a position, not shown)"


def compare_with(terminal: Terminal, study: Path, other: Path) -> bool:
    """Compare, say and write; True when anything differs."""
    from pva.field import read_study
    from pva.field.second_entry import compare_entries
    from pva.field.secrecy import without_places

    found = compare_entries(read_study(study), other)
    for one, second in found.compared:
        terminal.say(f"{one} compared with {second}")
    cells = found.cells.to_dict("records")
    missing = [row | {"cells": without_places(row["cells"])}
               for row in found.missing.to_dict("records")]
    _list(terminal, [_said(cell) for cell in cells])
    _list(terminal, [f"{row['file']}, row {row['row']}: not in {row['missing_in']} "
                     f"({row['cells']})" for row in missing])
    for note in found.notes:
        terminal.say(f"Note: {note}")
    if terminal.out is not None:
        _write(terminal, found)
    terminal.answer(_verdict(found))
    terminal.finish({
        "compared": [list(pair) for pair in found.compared],
        "cells": [_plain(cell) for cell in cells], "missing": missing, "notes": found.notes,
        "differ": found.differ})
    return found.differ


def _said(cell: dict) -> str:
    plain = _plain(cell)
    return (f"{cell['file']}, row {cell['row']}, column {cell['column']}: "
            f"{plain['value'] or 'nothing'} here, {plain['other_value'] or 'nothing'} in "
            f"{cell['other_file']}, row {cell['other_row']}")


def _plain(cell: dict) -> dict:
    """A cell without its position; terminals are read over shoulders and output is passed on."""
    from pva.field.secrecy import without_places

    shown = {k: v for k, v in cell.items() if k != "secret"}
    told = {k: NOT_SHOWN if cell["secret"] else without_places(cell[k])
            for k in ("value", "other_value")}
    return shown | told


def _list(terminal: Terminal, lines: list[str]) -> None:
    for line in lines[:MOST_LISTED]:
        terminal.say(line)
    if len(lines) > MOST_LISTED:
        terminal.say(f"{len(lines) - MOST_LISTED:,} more; --out DIR writes all")


def _write(terminal: Terminal, found) -> None:
    from pva.files import frame_text, write_text_atomic

    cells = found.cells.drop(columns="secret")
    terminal.wrote(
        write_text_atomic(terminal.out / "differences.csv", frame_text(cells)),
        write_text_atomic(terminal.out / "missing_rows.csv", frame_text(found.missing)))


def _verdict(found) -> str:
    tables = len(found.compared)
    if not found.differ:
        return f"The two entries agree in {tables} table" + ("." if tables == 1 else "s.")
    parts = [f"{count:,} {words[count != 1]}" for count, words in (
        (len(found.cells), ("cell differs", "cells differ")),
        (len(found.missing), ("row stands in one of the two only",
                              "rows stand in one of the two only")),
        (len(found.notes), ("table or column has no counterpart",
                            "tables or columns have no counterpart"))) if count]
    return f"{'; '.join(parts)}. Look them up on the field sheets. Nothing was changed."

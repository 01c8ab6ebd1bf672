"""Writes docs/mistakes.md from docs/mistakes.yaml, whose every message a test provokes."""

from __future__ import annotations

from pathlib import Path

from ruamel.yaml import YAML

DOCS = Path(__file__).resolve().parent
VERDICT = " file; nothing was changed."  # the last line of `pva check`, the same every time

_HEAD = """\
# The commonest mistakes

What people mistype most, and what the program says to it. Each message tells what was found and
where, why it matters where that is not plain, what was done, and what to do. Nothing was ever run
or overwritten when one of these appears. Rows that cannot be used are *set aside* and rows that
deserve a look are *flagged*; both stay in the account. A test makes every mistake and compares
every message.

All of it happens to a small invented study in a folder `river`: tables in `river/field`, a plan
in `river/scenarios/plan.yaml`. Type `pva check river` after every change: most of this list is
found by it.
"""


def written() -> dict:
    """The mistakes as they stand in the file: the study, and a list of mistakes."""
    with (DOCS / "mistakes.yaml").open(encoding="utf-8") as file:
        return YAML(typ="safe").load(file)


def mistakes() -> str:
    """The page."""
    parts = [_HEAD]
    for number, one in enumerate(written()["mistakes"], 1):
        said = [line for line in one["says"].splitlines() if not line.endswith(VERDICT)]
        quoted = "\n>\n".join(f"> {line.strip()}" for line in said)
        parts.append(f"## {number}. {one['title']}\n\n{one['slip']}\n\n"
                     f"`{one['command']}` says:\n\n{quoted}\n")
    parts.append("\nMessages about rows are listed with their codes in the [study reference]"
                 "(study-reference.md#why-a-row-is-set-aside-or-flagged).\n")
    return "\n".join(parts)

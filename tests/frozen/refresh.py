"""Write the kept answers again, or say where they differ.

    python -m tests.frozen.refresh            # after a change of numbers that is meant
    python -m tests.frozen.refresh --check    # only say what differs

A change goes into docs/changelog.md with its reason.
"""

from __future__ import annotations

import json
import sys

from pva.files import write_text_atomic
from tests.frozen.frozen_answers import KEPT, answer, differences, head, kept, names


def answers(threads: int = 1) -> dict:
    """Answers of every shipped scenario, and what they belong to."""
    return {"made with": head(), "answers": {n: answer(n, threads=threads) for n in names()}}


def as_text(document: dict) -> str:
    """JSON with a line for every part of an answer, so that a difference can be read."""
    lines = ["{", f'"made with": {json.dumps(document["made with"])},', '"answers": {']
    blocks = []
    for name, parts in document["answers"].items():
        rows = ",\n".join(f"  {json.dumps(k)}: {json.dumps(v)}" for k, v in parts.items())
        blocks.append(f" {json.dumps(name)}: {{\n{rows}\n }}")
    return "\n".join([*lines, ",\n".join(blocks), "}}"]) + "\n"


def main(arguments: list[str]) -> int:
    """Refresh, or check; 1 where something differs."""
    threads = 2 if "--two-threads" in arguments else 1
    now = answers(threads)
    found = differences(kept(), now) if KEPT.exists() else ["there is no kept file"]
    print("\n".join(found) or "nothing differs")
    if "--check" in arguments:
        return int(bool(found))
    write_text_atomic(KEPT, as_text(now))
    return 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))

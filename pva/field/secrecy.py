"""Positions that stand in remarks or in a wrong column: never repeated in words that travel.

Sentences about rows are read aloud, printed and passed on, and places may be secret. The row itself
is kept whole in set_aside.csv and flagged.csv, which stay with the study.
"""

from __future__ import annotations

import re

NOT_REPEATED = "(a position, not repeated)"
# degrees with four decimals or more, two numbers with three side by side, degrees with minutes;
# lengths and areas have fewer decimals, and a tag behind its prefix has more
_ALONE = r"(?<![\w.])[-+\u2212]?\d{1,3}[.,]\d{4,9}(?!\d|\.\d|[eE][+-]?\d)"
_HALF = r"[-+\u2212]?\d{1,3}\.\d{3,9}(?!\d)(?:\s?\u00b0)?(?:\s?[NSEW]\b)?"
_PAIR = rf"(?<![\w.]){_HALF}[\s,;/]{{1,4}}{_HALF}"
_TURNED = (r"\d{1,3}\s*[\u00b0\u00ba]\s*\d{1,2}(?:[.,]\d+)?\s*['\u2032\u2019]?"
           r"(?:\s*\d{1,2}(?:[.,]\d+)?\s*[\"\u2033\u201d]?)?\s*[NSEW]?")
_PLACE = re.compile(f"{_PAIR}|{_TURNED}|{_ALONE}")


def without_places(text: str) -> str:
    """Text with everything that looks like a position replaced."""
    return _PLACE.sub(NOT_REPEATED, text)

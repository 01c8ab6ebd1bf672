"""Tags as text: one canonical name for one animal, however the tag was written down.

An ISO 11784 code is 64 bits; the animal is told by a 10-bit country or maker code (three decimal
digits) and a 38-bit national number (twelve decimal digits). Readers print it as 15 decimal digits,
as hexadecimal with a dot after the prefix, or as raw hexadecimal.

References
----------
ISO 11784 (code structure) and ISO 11785 (technical concept), radio frequency identification of
animals; prefix 999 marks transponders for tests. Common practice, from memory.
"""

from __future__ import annotations

import re
from collections.abc import Iterable
from dataclasses import dataclass
from functools import lru_cache

DIGITS = 15
MOST_NATIONAL = 2**38 - 1
TEST_PREFIX = 999
LEAST_OF_ROUNDED = 9  # digits that tell one batch of tags from another, and more

ISO, LEGACY, PLAIN, TEST = "iso", "legacy", "plain", "test"
ROUNDED, IMPOSSIBLE, MALFORMED = "tag-rounded", "tag-impossible", "tag-malformed"

_SCIENTIFIC = re.compile(r"\d+[.,]\d+[eE][+]?\d{1,2}|\d+[eE][+]\d{1,2}")
_HYPHENS = re.compile(r"\d+(-\d+)+")
_GROUPS = re.compile(r"\d{3}([.,])\d{3}(?:\1\d{3}){3}")  # a spreadsheet's thousands
_DECIMAL = re.compile(r"(\d{3})[. ,]?(\d{12})")
_SHORT_DECIMAL = re.compile(r"\d{3}[.,]\d{1,11}")
_DOTTED_HEX = re.compile(r"([0-9A-F]{3})[. ]([0-9A-F]{10})")
_NEARLY_HEX = re.compile(r"[0-9A-F]{3}[.][0-9A-F]{6,}")
_HEXADECIMAL = re.compile(r"[0-9A-F]+")
_HEX_DIGITS = "0123456789ABCDEF"


@dataclass(frozen=True)
class Tag:
    """What one written tag says.

    Parameters
    ----------
    name : str
        Canonical name: 15 decimal digits for an ISO code, else upper-case text without spaces.
    kind : {'iso', 'test', 'legacy', 'plain'}
        `legacy` is a ten-digit hexadecimal code of readers older than the standard.
    fault : str
        Reason code when the text cannot be a tag; then `name` is the text as written.
    """

    name: str
    kind: str = PLAIN
    fault: str = ""


@lru_cache(maxsize=100_000)
def read_tag(text: str) -> Tag:
    """Read one tag in any of its forms.

    Parameters
    ----------
    text : str
        Tag as written; must not be blank.

    Returns
    -------
    Tag
        With `fault` set when the text cannot be a tag (never an exception: field tables hold
        anything).

    Examples
    --------
    >>> read_tag("3E7.1CBE991A14").name, read_tag("999.123456789012").name
    ('999123456789012', '999123456789012')
    """
    if len(text) == DIGITS and text.isdecimal() and text.isascii():
        return _from_decimal(text, text[:3], text[3:])
    written = text.strip().strip("'\u00a0").strip().upper()
    if _SCIENTIFIC.fullmatch(written):
        return Tag(text, fault=ROUNDED)
    written = re.sub(r"(\d{15})[.,]0", r"\1", written)
    joined = written.replace(" ", "").replace("\u00a0", "")
    digits = re.sub(r"\D", "", joined)
    if len(digits) == DIGITS and (_HYPHENS.fullmatch(joined) or _GROUPS.fullmatch(joined)):
        joined = digits
    decimal = _DECIMAL.fullmatch(joined)
    if decimal:
        return _from_decimal(text, *decimal.groups())
    if _SHORT_DECIMAL.fullmatch(joined):
        return Tag(text, fault=ROUNDED if len(joined) > 9 else MALFORMED)
    if any(c in "ABCDEF" for c in joined):
        dotted = _DOTTED_HEX.fullmatch(written) or _DOTTED_HEX.fullmatch(joined)
        if dotted:
            return _from_numbers(text, int(dotted[1], 16), int(dotted[2], 16))
        if re.fullmatch(r"[0-9A-F]+", joined):
            return _from_raw_hex(text, joined)
    return _plain(text, joined)


def _from_decimal(text: str, prefix: str, national: str) -> Tag:
    if national.endswith("000000"):
        return Tag(text, fault=ROUNDED)
    return _from_numbers(text, int(prefix), int(national))


def _from_numbers(text: str, prefix: int, national: int) -> Tag:
    if national > MOST_NATIONAL or not 0 < prefix <= TEST_PREFIX:
        return Tag(text, fault=IMPOSSIBLE)
    return Tag(f"{prefix:03d}{national:012d}", TEST if prefix == TEST_PREFIX else ISO)


def _from_raw_hex(text: str, digits: str) -> Tag:
    """Hexadecimal without a dot: prefix and number side by side, or the bits of the code itself."""
    if len(digits) == 13:
        return _from_numbers(text, int(digits[:3], 16), int(digits[3:], 16))
    if len(digits) in (12, 16):
        code = int(digits, 16) & (2**48 - 1)
        return _from_numbers(text, code >> 38, code & MOST_NATIONAL)
    if len(digits) == 10:
        return Tag(digits, LEGACY)
    return Tag(text, fault=MALFORMED) if len(digits) > 10 else Tag(digits)


def _plain(text: str, joined: str) -> Tag:
    if joined.isdigit() and len(joined) > 10 or _NEARLY_HEX.fullmatch(joined):
        return Tag(text, fault=MALFORMED)
    if len(joined) > 40 or not any(c.isalnum() for c in joined):
        return Tag(text, fault=MALFORMED)
    if len(joined) >= 12 and sum(c.isdigit() for c in joined) >= 9:
        return Tag(text, fault=MALFORMED)  # a long number with a slip, such as O for 0
    return Tag(joined, LEGACY if joined.isdigit() and len(joined) == 10 else PLAIN)


def one_slip_away(text: str, known: Iterable[str]) -> list[str]:
    """Known tags that differ from `text` by one slip of the pen.

    A slip is one character changed, left out or put in, or two neighbours swapped, in the form
    written down (decimal, hexadecimal or plain).

    Parameters
    ----------
    text : str
        Tag as written.
    known : set of str
        Canonical names of the released tags.

    Returns
    -------
    list of str
        Canonical names in order.
    """
    known = known if isinstance(known, set | dict | frozenset) else set(known)
    written = re.sub(r"[^0-9A-Z]", "", text.upper())
    if len(written) > 20:
        return []
    letters = _HEX_DIGITS if re.fullmatch(r"[0-9A-F]{12,17}", written) else \
        _HEX_DIGITS + "GHIJKLMNOPQRSTUVWXYZ"
    if written.isdigit() and len(written) >= 14:
        letters = "0123456789"
    itself = read_tag(written).name if written else ""
    found = {_canonical(candidate) for candidate in _slips(written, letters)}
    return sorted(name for name in found if name in known and name != itself)


def refused_like(tag: str, refused: str) -> bool:
    """Whether a sound tag may be what a refused text was meant to be: one slip, or rounded."""
    digits = re.sub(r"[^0-9A-Z]", "", refused.upper())
    if read_tag(refused).fault == ROUNDED:
        kept = re.sub(r"E\d+$", "", digits).rstrip("0")
        return len(kept) >= LEAST_OF_ROUNDED and tag.startswith(kept)
    return tag in _slips(digits, "0123456789")


def _canonical(written: str) -> str:
    """Canonical name of letters and digits side by side; quick, for thousands of candidates."""
    if len(written) not in (12, 13, 16) or written.isdigit() or not _HEXADECIMAL.fullmatch(written):
        return written
    if len(written) == 13:
        return f"{int(written[:3], 16):03d}{int(written[3:], 16):012d}"
    code = int(written, 16) & (2**48 - 1)
    return f"{code >> 38:03d}{code & MOST_NATIONAL:012d}"


def _slips(word: str, letters: str) -> set[str]:
    halves = [(word[:i], word[i:]) for i in range(len(word) + 1)]
    swapped = {a + b[1] + b[0] + b[2:] for a, b in halves if len(b) > 1}
    dropped = {a + b[1:] for a, b in halves if b}
    changed = {a + c + b[1:] for a, b in halves if b for c in letters}
    inserted = {a + c + b for a, b in halves for c in letters}
    return (swapped | dropped | changed | inserted) - {word, ""}

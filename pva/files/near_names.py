"""The name that was probably meant: one way of finding it, and of saying so, for every file."""

from __future__ import annotations

from collections.abc import Iterable
from difflib import get_close_matches

ALIKE = 0.6  # share of letters in common
ALIKE_FILES = 0.85  # names of files share their endings, so more must be alike


def near_name(word: object, known: Iterable[object], *, alike: float = ALIKE) -> str | None:
    """The known name most like a word, small and capital letters being the same; None if none is.

    `alike` is the share of letters, 0 to 1, that must be in common.

    Examples
    --------
    >>> near_name("Surival", ["survival", "growth"])
    'survival'
    """
    names: dict[str, str] = {}
    for name in known:
        names.setdefault(str(name).casefold(), str(name))
    close = get_close_matches(str(word).casefold(), names, 1, alike)
    return names[close[0]] if close else None


def did_you_mean(word: object, known: Iterable[object], otherwise: str) -> str:
    """Advice for a name that does not exist: the nearest one, else the words given."""
    near = near_name(word, known)
    return f"Did you mean `{near}`?" if near is not None else otherwise


def the_nearest_is(word: object, known: Iterable[object]) -> str:
    """Words to be put behind a name that does not exist, or nothing."""
    near = near_name(word, known)
    return f"; the nearest is `{near}`" if near is not None else ""

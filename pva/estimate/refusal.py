"""A number that the records do not give."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True)
class Refusal:
    """A number that the records do not give, why, and what it would take.

    Parameters
    ----------
    what, why, needed : str
    """

    what: str
    why: str
    needed: str = ""

"""What can go wrong, and how it is said: what, where, why it matters, what was done, what to do."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass


@dataclass(frozen=True)
class Problem:
    """One thing that is wrong, in words for the person who can put it right.

    Parameters
    ----------
    what : str
        What was found, with the value as written.
    todo : str
        What the reader should do now.
    why : str
        Why it matters for the answer; may be empty where it is obvious.
    done : str
        What the program did with it ("nothing was run", "the row was set aside").
    file, line, column : str, int, int or None
        Where it stands; lines and columns count from 1.
    code : str
        Stable reason code in lower-case words joined by hyphens.
    """

    what: str
    todo: str
    why: str = ""
    done: str = ""
    file: str | None = None
    line: int | None = None
    column: int | None = None
    code: str = ""

    @property
    def where(self) -> str:
        """File, line and column as text, empty when unknown."""
        parts = [self.file or ""]
        if self.line is not None:
            parts.append(f"line {self.line}")
        if self.column is not None:
            parts.append(f"column {self.column}")
        return ", ".join(p for p in parts if p)

    def __str__(self) -> str:
        where = f"{self.where}: " if self.where else ""
        done = self.done[:1].upper() + self.done[1:]
        sentences = [s for s in (self.what, self.why, done, self.todo) if s]
        return where + " ".join(s if s.endswith((".", "?", "!")) else s + "." for s in sentences)


class PvaError(Exception):
    """Base of every error that a user may see; carries all problems of one pass.

    Parameters
    ----------
    problems : Problem or iterable of Problem
        All problems found, in the order of their place.
    """

    def __init__(self, problems: Problem | Iterable[Problem]):
        self.problems = [problems] if isinstance(problems, Problem) else list(problems)
        super().__init__("\n".join(str(p) for p in self.problems))


class FormError(PvaError):
    """The file is not written as it must be (syntax, unknown keys, wrong types)."""


class MeaningError(PvaError):
    """The file is well written but cannot be meant so (names, ranges, contradictions)."""


class DataError(PvaError):
    """Field tables cannot be read or used."""


class CannotCompute(PvaError):  # noqa: N818 - the trade's own words
    """The question is clear, but the numbers do not allow an answer."""

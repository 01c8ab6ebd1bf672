"""What a section of the page is made of: plain pieces that the template knows how to print.

All texts are plain text; the template escapes them. Only `Figure.svg` is markup, made by
`pva.report.figures` and nowhere else.
"""

from __future__ import annotations

from dataclasses import dataclass, field


@dataclass(frozen=True)
class Text:
    """A paragraph; `lead` are its first words, set strong."""

    text: str
    lead: str = ""
    kind: str = "text"


@dataclass(frozen=True)
class Points:
    """A list of sentences, numbered or not."""

    items: tuple[str, ...]
    numbered: bool = False
    kind: str = "points"


@dataclass(frozen=True)
class Note:
    """Something a reader must not miss, beside the text it belongs to."""

    title: str
    text: str
    kind: str = "note"


@dataclass(frozen=True)
class Facts:
    """The few numbers that matter, each with what it counts."""

    pairs: tuple[tuple[str, str], ...]
    kind: str = "facts"


@dataclass(frozen=True)
class Heading:
    """A heading inside a section."""

    text: str
    kind: str = "heading"


@dataclass(frozen=True)
class Table:
    """A table with a caption; the first column heads its row.

    Parameters
    ----------
    caption : str
    columns : tuple of str
        Headings.
    rows : tuple of tuple of str
        Cells as printed.
    numbers : frozenset of int
        Columns set as numbers (to the right).
    note : str
        Printed beneath.
    widths : tuple of int
        Width of each column in percent; empty = as the cells need.
    """

    caption: str
    columns: tuple[str, ...]
    rows: tuple[tuple[str, ...], ...]
    numbers: frozenset[int] = frozenset()
    note: str = ""
    widths: tuple[int, ...] = ()
    kind: str = "table"


@dataclass(frozen=True)
class Figure:
    """A picture with its text alternative and the numbers behind it.

    Parameters
    ----------
    name : str
        Short word, unique on the page; prefix of every id inside the picture.
    caption : str
        What it shows and how to read it.
    alternative : str
        What a reader learns from it, with the numbers.
    svg : str
        The picture.
    data : Table
        Its numbers.
    values : dict or None
        What is said where the pointer is: ``place`` of the axes, ``at`` along them, ``said``.
    """

    name: str
    caption: str
    alternative: str
    svg: str
    data: Table
    values: dict | None = None
    kind: str = "figure"


@dataclass(frozen=True)
class Folded:
    """Pieces that open on request."""

    summary: str
    blocks: tuple
    kind: str = "folded"


@dataclass(frozen=True)
class Terms:
    """Words and what they mean here."""

    pairs: tuple[tuple[str, str], ...]
    kind: str = "terms"


@dataclass(frozen=True)
class Reader:
    """The control with which a reader moves chance wanted and target and reads the number off.

    Parameters
    ----------
    name : str
        Name of the figure it belongs to.
    data : dict
        Curve, wanted chance, unit in words, where the axes lie in the picture, and curves for
        other targets.
    """

    name: str
    data: dict
    kind: str = "reader"


@dataclass(frozen=True)
class Section:
    """A part of the page: `name` is its anchor, `short` its title in the list of contents."""

    name: str
    title: str
    blocks: tuple = ()
    short: str = ""
    number: int = field(default=0)


def table(caption: str, columns, rows, *, numbers=(), note: str = "", widths=()) -> Table:
    """A table from any sequences; cells are turned into text."""
    cells = tuple(tuple("" if c is None else str(c) for c in row) for row in rows)
    return Table(caption, tuple(columns), cells, frozenset(numbers), note, tuple(widths))

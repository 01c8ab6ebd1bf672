"""Cells of a table before anybody knows which row is the header."""

from __future__ import annotations

from dataclasses import dataclass, field


@dataclass
class Grid:
    """Rows of text cells with nothing said yet about which one is the header."""

    rows: list[list[str]]
    sheet: str | None = None
    delimiter: str | None = None
    base_1904: bool = False
    notes: list[str] = field(default_factory=list)
    without_result: list[str] = field(default_factory=list)  # cells, such as C7

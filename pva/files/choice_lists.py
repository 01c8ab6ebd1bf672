"""Drop-down lists of a workbook: words to choose from, kept on a hidden sheet."""

from __future__ import annotations

from typing import Any

from pva.files.sheet_text import harmless

LISTS = "lists"


class ChoiceLists:
    """Words to choose from, each list once, in columns of a sheet of their own."""

    def __init__(self):
        self._columns: list[tuple[str, tuple[str, ...]]] = []

    def rule(self, name: str, choices: tuple[str, ...], *, strict: bool) -> Any:
        """A rule that offers the choices; a strict one refuses other words."""
        from openpyxl.worksheet.datavalidation import DataValidation

        rule = DataValidation("list", formula1=self._place(name, choices), allow_blank=True)
        rule.errorStyle = "stop" if strict else "warning"
        return rule

    def write(self, book: Any) -> None:
        """Write the hidden sheet."""
        page = book.create_sheet(LISTS)
        for number, (name, words) in enumerate(self._columns, 1):
            page.cell(1, number, name)
            for row, word in enumerate(words, 2):
                page.cell(row, number, harmless(word))
        page.sheet_state = "hidden"

    def _place(self, name: str, choices: tuple[str, ...]) -> str:
        from openpyxl.utils import get_column_letter

        if (name, choices) not in self._columns:
            self._columns.append((name, choices))
        letter = get_column_letter(self._columns.index((name, choices)) + 1)
        return f"{LISTS}!${letter}$2:${letter}${len(choices) + 1}"

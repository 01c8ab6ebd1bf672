"""The spreadsheet form, written: sheets in the order of the life cycle, with drop-down lists."""

from __future__ import annotations

import os
from pathlib import Path
from typing import Any

from pva.files import harmless, write_with
from pva.files.choice_lists import ChoiceLists
from pva.scenario.scenario import Scenario
from pva.scenario.spec import every_key
from pva.scenario.twin import twin_of
from pva.scenario.workbook_layout import (
    HOSTS,
    OTHER,
    RATE_CELLS,
    RELEASES,
    SHEETS,
    SITES,
    STAGES,
    SWITCH,
    TEXT,
    Cell,
    KeySheet,
    PlaceSheet,
    RowSheet,
)
from pva.scenario.workbook_parts import Parts, as_written, label_of

ABOUT_ROW, UNIT_ROW, HEADING_ROW, ROWS_READY = 1, 2, 3, 200
KEY_HEADINGS = ("key", "value", "unit", "meaning")
GUIDE, FRONT = "read me", (
    "A scenario as a form. Sheets stand in the order of the animal's life; fill them in from left "
    "to right, one row a stage, site, release or goal.",
    "A rate is one row: best value per year; low and high, the ends of the 95 % interval, say what "
    "nobody knows (or se in their place); year_sd says how ordinary years differ; source_kind and "
    "source say where the number comes from. In place of a value, `estimate` takes it from the "
    "estimates file and `published` from the catalogue (pva show --published).",
    "Blank cells are keys that are not written: the default holds. Several names or years in a "
    "cell are parted by semicolons; one name alone that is meant as a list ends with one.",
    "Rows may be added and taken away. Headings and the keys in the first column stay as they are. "
    "What has no sheet of its own stands under `other keys`.",
    "Back to a scenario: pva form THIS-FILE.xlsx. Problems are told with their sheet and cell.",
    "Measure first (common practice): survival in the year of release and survival of adults. "
    "pva sensitivity says it for your own plan.",
    "The model is conditional on what is written here. It is no permit, no approval and no legal "
    "advice; local codes and licensed practice decide.",
)


def write_form(path: str | os.PathLike, scenario: Scenario) -> Path:
    """Write a scenario as a spreadsheet form.

    Parameters
    ----------
    path : path
        An ``.xlsx`` file.
    scenario : Scenario
        `extends` is followed: the form stands alone.

    Returns
    -------
    Path
    """
    import openpyxl

    path = Path(path)
    data = form_document(scenario, path.parent)
    rows, lists, names = Parts(data).rows, ChoiceLists(), _own_names(data)
    meanings = {key.path: key.meaning for key in every_key()}
    book = openpyxl.Workbook()
    _guide(book.active)
    for sheet in (*SHEETS, OTHER):
        page = book.create_sheet(sheet.name)
        _Page(page, sheet, lists, names, meanings).fill(rows[sheet.name])
    lists.write(book)
    return write_with(path, book.save)


def form_document(scenario: Scenario, folder: Path) -> dict[str, Any]:
    """The written document that a form holds: `estimates` as seen from a folder.

    Where the scenario extends another file, the values at which its calibrations are solved are
    written out, for the other file is no longer there to tell them.
    """
    data = as_written(scenario.written)
    if data.get("estimates"):
        data["estimates"] = Path(os.path.relpath(data["estimates"], folder)).as_posix()
    if scenario.resolved.base is not None and scenario.extends:
        data["calibration_base"] = twin_of(scenario.resolved)["calibration_base"]
    return data


def _own_names(data: dict) -> dict[str, tuple[str, ...]]:
    """The scenario's own names, for the lists to choose from."""
    def named(rows: Any) -> tuple[str, ...]:
        return tuple(label_of(r, i) for i, r in enumerate(rows or ()))

    matrix, recruitment = data.get("matrix") or {}, data.get("recruitment") or {}
    stages = named(data.get("stages")) or tuple(map(str, matrix.get("stages", ())))
    return {STAGES: stages, SITES: named(data.get("sites")),
            RELEASES: named(data.get("releases")), HOSTS: named(recruitment.get("hosts"))}


def headings_of(sheet: KeySheet | RowSheet | PlaceSheet) -> list[Cell]:
    """The columns of a sheet, in order."""
    if isinstance(sheet, KeySheet):
        return [Cell(name, (), TEXT) for name in KEY_HEADINGS]
    if isinstance(sheet, RowSheet):
        return list(sheet.cells)
    return [*sheet.labels, *sheet.cells, *(RATE_CELLS if sheet.rate else ())]


class _Page:
    """One sheet being filled."""

    def __init__(self, page: Any, sheet: Any, lists: ChoiceLists, names: dict, meanings: dict):
        self.page, self.sheet, self.lists = page, sheet, lists
        self.names, self.meanings = names, meanings
        self.columns = headings_of(sheet)

    def fill(self, rows: list[dict[str, Any]]) -> None:
        from openpyxl.styles import Alignment, Font
        from openpyxl.worksheet.properties import PageSetupProperties

        self._top()
        keyed = isinstance(self.sheet, KeySheet)
        for number, row in enumerate(rows, HEADING_ROW + 1):
            if keyed:
                row = row | {"meaning": self.meanings.get(row["key"], "")}
            for column, cell in enumerate(self.columns, 1):
                value = row.get(cell.heading)
                if value is None or value == "":
                    continue
                value = _all_digits(value)
                place = self.page.cell(number, column, harmless(value))
                if isinstance(value, str):
                    place.data_type, place.number_format = "s", "@"
                place.alignment = Alignment(wrap_text=True, vertical="top")
                if keyed and cell.heading in ("key", "unit", "meaning"):
                    place.font = Font(italic=cell.heading != "key", size=9)
        self._choices(keyed)
        self.page.freeze_panes = self.page.cell(HEADING_ROW + 1, 2)
        self.page.page_setup.orientation = "landscape"
        self.page.page_setup.fitToWidth, self.page.page_setup.fitToHeight = 1, 0
        self.page.sheet_properties.pageSetUpPr = PageSetupProperties(fitToPage=True)
        self.page.print_title_rows = f"1:{HEADING_ROW}"

    def _top(self) -> None:
        from openpyxl.comments import Comment
        from openpyxl.styles import Alignment, Border, Font, Side
        from openpyxl.utils import get_column_letter

        self.page.cell(ABOUT_ROW, 1, self.sheet.about).font = Font(bold=True)
        for column, cell in enumerate(self.columns, 1):
            unit = self.page.cell(UNIT_ROW, column, cell.unit or None)
            unit.font, unit.alignment = Font(italic=True, size=8), Alignment(
                wrap_text=True, vertical="bottom")
            head = self.page.cell(HEADING_ROW, column, cell.heading)
            head.font, head.border = Font(bold=True), Border(bottom=Side("medium"))
            meaning = self._meaning(cell)
            if meaning:
                head.comment = Comment(meaning, "pva")
                head.comment.width, head.comment.height = 320, 110
            self.page.column_dimensions[get_column_letter(column)].width = _width(cell)
        self.page.row_dimensions[UNIT_ROW].height = 36

    def _meaning(self, cell: Cell) -> str:
        """Words of the reference about a column."""
        if isinstance(self.sheet, KeySheet) or not cell.path:
            return cell.unit
        if isinstance(self.sheet, RowSheet):
            return self.meanings.get(f"{'.'.join(self.sheet.path)}[].{'.'.join(cell.path)}", "")
        return self.meanings.get(f"RATE.{cell.path[0]}", "")

    def _choices(self, keyed: bool) -> None:
        """Words to choose from, in every row that may be filled in."""
        from openpyxl.utils import get_column_letter

        if keyed:
            for number, cell in enumerate(self.sheet.cells, HEADING_ROW + 1):
                self._offer(cell, f"B{number}")
            return
        for column, cell in enumerate(self.columns, 1):
            letter = get_column_letter(column)
            self._offer(cell, f"{letter}{HEADING_ROW + 1}:{letter}{HEADING_ROW + ROWS_READY}")

    def _offer(self, cell: Cell, cells: str) -> None:
        own = cell.choices[:1] and cell.choices[0] in self.names
        choices = self.names[cell.choices[0]] if own else cell.choices
        if cell.kind == SWITCH:
            choices = ("on", "off")
        if choices:
            rule = self.lists.rule(cell.heading, choices, strict=False)
            rule.showErrorMessage = not own
            self.page.add_data_validation(rule)
            rule.add(cells)


def _all_digits(value: Any) -> Any:
    """Numbers of 17 digits as text: the file would keep 16 of them."""
    return repr(value) if isinstance(value, float) and float(f"{value:.16g}") != value else value


def _width(cell: Cell) -> float:
    wide = {"meaning": 70, "source": 40, "key": 34, "value": 14, "name": 24, "by_year": 18,
            "published": 26, "estimate": 26, "where": 26, "unit": 22}
    return wide.get(cell.heading, max(len(cell.heading) + 2, 11))


def _guide(page: Any) -> None:
    from openpyxl.styles import Alignment

    page.title = GUIDE
    page.column_dimensions["A"].width = 100
    for number, line in enumerate(FRONT, 1):
        page.cell(number, 1, line).alignment = Alignment(wrap_text=True, vertical="top")

"""The spreadsheet form: the same meaning there and back, and problems with their sheet and cell."""

from __future__ import annotations

import json
import re
from pathlib import Path

import openpyxl
import pytest
from click.testing import CliRunner

from pva.cli import main
from pva.errors import DataError, FormError, MeaningError
from pva.scenario.scenario import Scenario, read_scenario
from pva.scenario.workbook_cells import NOTHING, from_cell, to_cell
from pva.scenario.workbook_layout import LIST, NUMBER, OTHER, SHEETS, SWITCH, TABLE, WHOLE
from pva.scenario.workbook_read import open_form, read_form
from pva.scenario.workbook_sheets import WITHOUT
from pva.scenario.workbook_write import HEADING_ROW, write_form
from pva.scenario.workbook_yaml import scenario_text

TOP = Path(__file__).resolve().parents[2]
SCENARIOS = TOP / "scenarios"
SHIPPED = sorted(f for f in SCENARIOS.rglob("*.yaml")
                 if f.name != "study.yaml" and not {"made_by", "hesperwell"} & set(f.parts))


def there_and_back(scenario, folder):
    """A scenario written as a form, read, written as YAML in another folder, and read again."""
    form = write_form(folder / "forms" / "form.xlsx", scenario)
    back = read_form(form)
    (folder / "back").mkdir(exist_ok=True)
    (folder / "back" / "plan.yaml").write_text(scenario_text(back, folder / "back"),
                                               encoding="utf-8")
    return back, read_scenario(folder / "back" / "plan.yaml")


DIFFERENT = ("no-field-data", "teasel", "three-stage-branching", "river", "host-returns",
             "host-immune", "sites-carried", "sites-moving", "sizes-stop-rule", "sources-mixed",
             "mates-lacking", "plan")  # the others hold nothing that these do not


@pytest.mark.parametrize("path", [pytest.param(
    p, id=p.relative_to(SCENARIOS).as_posix(),
    marks=[] if p.stem in DIFFERENT else pytest.mark.slow) for p in SHIPPED])
def test_every_shipped_scenario_means_the_same_after_the_form(path, tmp_path):
    scenario = read_scenario(path)
    back, again = there_and_back(scenario, tmp_path)
    assert back.digest == scenario.digest == again.digest


@pytest.mark.parametrize("name", ["base", "donor", *(pytest.param(n, marks=pytest.mark.slow)
                         for n in ("passage-blocked", "passage-late", "survival-lower",
                                   "no-stocking", "past"))])
def test_the_demos_scenarios_with_their_estimates(name, tmp_path):
    import shutil

    shutil.copytree(SCENARIOS / "hesperwell" / "scenarios", tmp_path / "scenarios")
    (tmp_path / "estimates").mkdir()
    shutil.copy(TOP / "tests/demo/true_estimates.yaml", tmp_path / "estimates/estimates.yaml")
    scenario = read_scenario(tmp_path / "scenarios" / f"{name}.yaml")
    back, again = there_and_back(scenario, tmp_path)
    assert back.digest == scenario.digest == again.digest
    assert again.written["estimates"].endswith("estimates/estimates.yaml")


@pytest.mark.parametrize("name", ["everything", "hosts", "matrix", "matrix-sites"])
def test_every_key_of_the_test_files(folder, name, tmp_path):
    scenario = read_scenario(folder / f"{name}.yaml")
    back, again = there_and_back(scenario, tmp_path)
    assert back.digest == scenario.digest == again.digest


def test_what_is_changed_in_the_form_is_changed_in_the_scenario(tmp_path):
    path = river(tmp_path)
    change(path, ("survival", "C7", 0.92))
    assert read_form(path).resolved.sites[0].survival["adult"].value == 0.92
    assert read_form(path).digest != read_scenario(SCENARIOS / "questions/river.yaml").digest


# filling in


def river(folder):
    """The form of a small river."""
    return write_form(folder / "river.xlsx", read_scenario(SCENARIOS / "questions/river.yaml"))


@pytest.fixture(scope="module")
def book(tmp_path_factory):
    """The same, opened and not to be changed."""
    return openpyxl.load_workbook(river(tmp_path_factory.mktemp("form")))


def change(path, *changes):
    """Type into some cells: sheet, cell, value."""
    book = openpyxl.load_workbook(path)
    for sheet, cell, value in changes:
        book[sheet][cell] = value
    book.save(path)


def test_sheets_stand_in_the_order_of_the_life_cycle(book):
    assert book.sheetnames == ["read me", *(s.name for s in SHEETS), OTHER.name, "lists"]
    names = [s.name for s in SHEETS]
    order = ["question", "stages", "survival", "growth", "young", "hosts", "years", "bad years",
             "sites", "releases", "goals", "judging"]
    assert sorted(order, key=names.index) == order


def test_each_sheet_prints_one_page_wide_with_its_headings(book):
    for sheet in SHEETS:
        page = book[sheet.name]
        assert page.page_setup.orientation == "landscape" and page.page_setup.fitToWidth == 1
        assert page.sheet_properties.pageSetUpPr.fitToPage
        assert page.print_title_rows == f"$1:${HEADING_ROW}"


def test_each_rate_has_its_interval_its_years_and_its_source(book):
    page = book["survival"]
    heads = [cell.value for cell in page[HEADING_ROW]]
    assert heads == ["stage", "site", "value", "low", "high", "se", "law", "year_sd", "by_year",
                     "source_kind", "source", "estimate", "published"]
    assert [c.value for c in page[HEADING_ROW + 1]][:11] == [
        "age 1", None, 0.6, 0.5, 0.69, None, None, 0.08, None, "assumed",
        "invented; nobody has published it"]
    assert "95 % interval" in page.cell(2, 4).value
    assert page.cell(HEADING_ROW, 8).comment.text == (
        "SD between years on the natural scale, process variance only.")


def test_words_can_be_chosen(book):
    def offered(sheet, cell):
        for rule in book[sheet].data_validations.dataValidation:
            if cell in rule.sqref:
                cells = book["lists"][rule.formula1.split("!")[1].replace("$", "")]
                return [row[0].value for row in cells]
        return None

    assert offered("question", "B10") == ["before breeding", "after breeding"]
    assert offered("survival", "A50") == ["age 1", "juvenile", "subadult", "adult"]
    assert offered("survival", "B50") == ["Alder Riffle", "Mill Run"]
    assert offered("survival", "J5") == ["measured", "published", "calibrated", "assumed",
                                         "default", "given"]
    assert offered("goals", "B9")[:2] == ["adults", "animals"]
    assert offered("first year", "A4") == ["to Alder", "to Mill"]
    assert offered("years", "B9") == ["on", "off"]


def test_a_new_site_with_its_own_survival_and_fish_is_filled_in(tmp_path):
    path = river(tmp_path)
    book = openpyxl.load_workbook(path)
    for column, value in enumerate(("Third Pool", 500, 12, 2, None, None, "releases"), 1):
        book["sites"].cell(6, column).value = value
    for sheet, cells in (("survival", ("adult", "Third Pool", 0.9, 0.85, 0.95)),
                         ("fish", ("Third Pool", "main host", None, None, None, 7))):
        row = 4
        while book[sheet].cell(row, 1).value:
            row += 1
        for column, value in enumerate(cells, 1):
            book[sheet].cell(row, column).value = value
    book.save(path)
    site = read_form(path).resolved.sites[2]
    assert (site.name, site.area_m2, site.survival["adult"].interval) == (
        "Third Pool", 500.0, (0.85, 0.95))
    assert site.hosts[0].density.value == 7


RISKY = ["=1+1", "'=quoted", "+cmd", "-5 is not", "@here", "''", "=HYPERLINK(\"x\")"]


@pytest.mark.parametrize("text", [*RISKY[:2], *(pytest.param(r, marks=pytest.mark.slow)
                                                for r in RISKY[2:])])
def test_text_that_looks_like_a_formula_is_none_and_comes_back(tmp_path, plan, text):
    plan |= {"description": text, "title": f"{text} title"}
    scenario = Scenario.from_dict(plan)
    path = write_form(tmp_path / "form.xlsx", scenario)
    page = openpyxl.load_workbook(path)["question"]
    assert {cell.data_type for row in page for cell in row} <= {"s", "n"}
    shown = page["B6"].value
    assert not re.match(r"[=+\-@]", shown)
    assert read_form(path).resolved.description == text
    assert read_form(path).digest == scenario.digest


# problems


SPOILT = [
    ("survival", "C4", "high", "sheet `survival`, cell C4: `value` is `high`, where a number is "
     "needed. Correct the cell."),
    ("survival", "E4", None, "sheet `survival`, cell D4: `low` is one end of an interval, and the "
     "other is blank. Write low and high, or none."),
    ("survival", "B8", "Mil Run", "sheet `survival`, cell B8: there is no site called `Mil Run`. "
     "Did you mean `Mill Run`?"),
    ("survival", "A8", None, "sheet `survival`, cell A8: the row names site `Mill Run`, which is "
     "no place of this sheet. Name `stage` or `site` and `stage`, with the words of the lists."),
    ("survival", "J4", None, "sheet `survival`, cell K4: the source has no kind. Choose one under "
     "`source_kind`."),
    ("survival", "A5", "age 1", "sheet `survival`, cell A5: the same is written a second time; "
     "first sheet `survival`, cell A4. Keep one of the two."),
    ("survival", "D3", "lowest", "sheet `survival`, column D, row 3: the sheet has no heading "
     "`lowest`. The 5 filled cells below it (D4 to D8) were not read. Did you mean `low`? Write it "
     "so, or take the column away."),
    ("survival", "T4", "a note", "sheet `survival`, cell T4: `a note` stands under no heading of "
     "the form. Move it under one, or take it away."),
    ("question", "A4", "titel", "sheet `question`, cell A4: the sheet has no key `titel`. Did you "
     "mean `title`?"),
    ("question", "A4", None, "sheet `question`, cell A4: the row has a value and no key. Write the "
     "key, or take the value away."),
    ("question", "B8", "soon", "sheet `question`, cell B8: `years.first` is `soon`, where a whole "
     "number is needed. Correct the cell."),
    ("stages", "E7", "perhaps", "sheet `stages`, cell E7: `breeds` is `perhaps`, where `on` or "
     "`off` is needed. Correct the cell."),
    ("releases", "F4", "many", "sheet `releases`, cell F4: `number` is `many`, where a number, or "
     "entries such as `2027: 100; 2028: 50` is needed. Correct the cell."),
    ("first year", "A4", "to Adler", "sheet `first year`, cell A4: there is no release called `to "
     "Adler`. Did you mean `to Alder`?"),
    ("goals", "G5", None, "sheet `goals`, cell F5: `first_year` is one end of two, and the other "
     "is blank. Write both, or none."),
]


def refused(path):
    with pytest.raises((FormError, MeaningError)) as error:
        read_form(path)
    return [str(p).replace(f"{path}, ", "") for p in error.value.problems]


@pytest.mark.parametrize("part", range(3))
def test_problems_of_the_form_name_sheet_and_cell(tmp_path, part):
    path = river(tmp_path)
    spoilt = SPOILT[part::3]
    assert len({(sheet, cell) for sheet, cell, *_ in spoilt}) == len(spoilt)
    change(path, *((sheet, cell, value) for sheet, cell, value, _ in spoilt))
    told = refused(path)
    for *_, said in spoilt:
        assert said in told, "\n".join(told)


STRAY = [  # what would get lost, or be read as another thing, without a word
    ("survival", "C5", "=0.5+0.2", "sheet `survival`, cell C5: the cell holds a formula without a "
     "result. Open the form in a spreadsheet program and save it, or write the value itself."),
    ("survival", "D2", 0.5, "sheet `survival`, cell D2: `0.5` stands above the headings, where "
     "nothing is read. Move it below them, or take it away."),
    ("judging", "C14", 100, "sheet `judging`, cell C14: `100` stands under `unit`, where nothing "
     "is read. Move it under `value`, or take it away."),
    ("judging", "D13", 100, "sheet `judging`, cell D13: `100` stands under `meaning`, where "
     "nothing is read. Move it under `value`, or take it away."),
    ("judging", "C6", "each site", "sheet `judging`, cell C6: `each site` stands under `unit`, "
     "where nothing is read. Move it under `value`, or take it away."),
    ("releases", "F4", "2027: 100; 2027: 50", "sheet `releases`, cell F4: `number` is `2027: 100; "
     "2027: 50`, where each key once is needed. Correct the cell."),
    ("survival", "C4", "85 %", "sheet `survival`, cell C4: `value` is `85 %`, where a number is "
     "needed. Write it as a share: 0.85."),
    ("survival", "D4", "0,80", "sheet `survival`, cell D4: `low` is `0,80`, where a number is "
     "needed. Write a point for decimals: 0.80."),
    ("sites", "B4", "1 400", "sheet `sites`, cell B4: `area_m2` is `1 400`, where a number is "
     "needed. Write it without separators: 1400."),
    ("bad years", "C4", "2030, 2040", "sheet `bad years`, cell C4: `years` is `2030, 2040`, where "
     "a list parted by semicolons, such as `2030; 2040` is needed. Correct the cell."),
    ("survival", "J6", "Assumed", "sheet `survival`, cell J6: `source_kind` cannot be `Assumed`. "
     "Did you mean `assumed`?"),
]


NOTES = "notes may stand on the sheet `read me`."
WRITE = f"Write the heading that is meant, or take the column away; {NOTES}"
FULL = f"No heading of the form is missing: take the column away; {NOTES}"
AWAY = "Write it so, or take the column away."


def unread(column, head, below, cells):
    """How a column with a heading that the form does not have is told."""
    return (f"column {column}, row 3: the sheet has no heading `{head}`. The {below} filled cells "
            f"below it ({cells}) were not read.")


COLUMNS = [  # a column that cannot be read is one problem, and what it would hold is not missed
    ([("survival", "H3", "year sd")],
     [f"{unread('H', 'year sd', 5, 'H4 to H8')} Did you mean `year_sd`? {AWAY}"]),
    ([("survival", "C3", "my numbers"), ("survival", "D3", "lowest")],
     [f"{unread('C', 'my numbers', 5, 'C4 to C8')} Missing from the sheet: `value`, `low`. {WRITE}",
      f"{unread('D', 'lowest', 5, 'D4 to D8')} Did you mean `low`? {AWAY}"]),
    ([("survival", "E3", "lower")],
     [f"{unread('E', 'lower', 5, 'E4 to E8')} The nearest, `low`, stands in column D. Missing from "
      f"the sheet: `high`. {WRITE}"]),
    ([("survival", "A3", "Stages")],
     [f"{unread('A', 'Stages', 5, 'A4 to A8')} Did you mean `stage`? {AWAY}"]),
    ([("survival", "J3", "kind")],
     [f"{unread('J', 'kind', 5, 'J4 to J8')} Missing from the sheet: `source_kind`. {WRITE}"]),
    ([("survival", "C3", None)],
     ["column C, row 3: the column has no heading. The 5 filled cells below it (C4 to C8) were not "
      f"read. Missing from the sheet: `value`. {WRITE}"]),
    ([("survival", "P3", "crew"), ("survival", "P6", "A. B."), ("survival", "R4", 1),
      ("survival", "R9", 2), ("survival", "S3", "seen")],
     ["column P, row 3: the sheet has no heading `crew`. The filled cell below it (P6) was not "
      f"read. {FULL}",
      "column R, row 3: the column has no heading. The 2 filled cells below it (R4 to R9) were not "
      f"read. Move its cells under a heading, or take them away; {NOTES}",
      "column S, row 3: the sheet has no heading `seen`. No cell below it is filled. The nearest, "
      f"`se`, stands in column F. {FULL}"]),
    ([("survival", "P3", "value"), ("survival", "P4", 0.3)],
     ["column P, row 3: the heading `value` stands here a second time; first in column C. The "
      "filled cell below it (P4) was not read. Keep one of the two columns."]),
    ([("sites", "A3", "names")],
     [f"{unread('A', 'names', 2, 'A4 to A5')} Did you mean `name`? {AWAY}"]),
    ([("question", "A3", "keys")],
     [f"{unread('A', 'keys', 8, 'A4 to A11')} Did you mean `key`? {AWAY}"]),
    ([("goals", "G3", "ends")],
     ["column G, row 3: the sheet has no heading `ends`. The filled cell below it (G5) was not "
      f"read. Missing from the sheet: `last_year`. {WRITE}"]),
]


@pytest.mark.parametrize("changes, told", COLUMNS)
def test_a_column_that_cannot_be_read_is_told_once(tmp_path, changes, told):
    path = river(tmp_path)
    change(path, *changes)
    assert refused(path) == [f"sheet `{changes[0][0]}`, {said}" for said in told]


def test_other_problems_of_the_sheet_are_told_beside_its_columns(tmp_path):
    path = river(tmp_path)
    change(path, *(("survival", cell, value) for cell, value in (
        ("H3", "year sd"), ("C4", "high"), ("E5", None))))
    assert [said.split(":")[0] for said in refused(path)] == [
        "sheet `survival`, column H, row 3", "sheet `survival`, cell C4",
        "sheet `survival`, cell D5"]


@pytest.mark.parametrize("sheet, column, gone", [
    ("survival", 1, "stage"), ("survival", 5, "high"), ("survival", 10, "source_kind"),
    ("judging", 1, "key"), ("goals", 7, "last_year")])
def test_a_column_that_was_taken_away_and_is_needed_is_told_once(tmp_path, sheet, column, gone):
    path = river(tmp_path)
    book = openpyxl.load_workbook(path)
    book[sheet].delete_cols(column)
    book.save(path)
    assert refused(path) == [f"sheet `{sheet}`: the sheet has lost its column `{gone}`, without "
                             "which its rows cannot be read. Write the column in again."]


def test_a_column_that_no_row_needs_may_be_taken_away(tmp_path):
    path = river(tmp_path)
    book = openpyxl.load_workbook(path)
    book["survival"].delete_cols(6, 2)  # se, law
    book["judging"].delete_cols(3, 2)  # unit, meaning
    book.save(path)
    assert read_form(path).digest == read_scenario(SCENARIOS / "questions/river.yaml").digest


def test_a_sheet_without_any_heading_is_told_once(tmp_path):
    path = river(tmp_path)
    change(path, *(("sites", f"{letter}3", None) for letter in "ABCDEFG"))
    assert refused(path) == [
        "sheet `sites`: the sheet has lost its headings: name, area_m2, river_km, capacity_per_m2, "
        "role, start_estimate, start_from. Nothing on it was read. Write them in again."]


def test_nothing_that_was_typed_gets_lost_without_a_word(tmp_path):
    path = river(tmp_path)
    change(path, *((sheet, cell, value) for sheet, cell, value, _ in STRAY))
    told = refused(path)
    assert sorted(told) == sorted(said for *_, said in STRAY)


def test_a_sheet_that_is_no_part_of_the_form_is_told(tmp_path):
    path = river(tmp_path)
    book = openpyxl.load_workbook(path)
    book["goals"].title = "Goals 2"
    book.create_sheet("weather")
    book.save(path)
    assert refused(path) == [
        f"{path}: the form has no sheet `Goals 2`. Nothing on it was read. Call it `goals`, which "
        "is missing, if that is meant, or take it away.",
        f"{path}: the form has no sheet `weather`. Nothing on it was read. Take it away; notes may "
        "stand on the sheet `read me`."]


def with_sheets(path, *, renamed=(), away=(), new=()):
    """Rename sheets, take some away and add some."""
    book = openpyxl.load_workbook(path)
    for old, name in dict(renamed).items():
        book[old].title = name
    for name in away:
        del book[name]
    for name in new:
        book.create_sheet(name)
    book.save(path)
    return path


def test_a_renamed_sheet_is_known_by_what_it_says_on_top(tmp_path):
    path = with_sheets(river(tmp_path), renamed={"goals": "start 2050", "sites": "reaches"})
    assert refused(path) == [  # and nothing about rows that name sites
        f"{path}: the form has no sheet `reaches`. Nothing on it was read. Call it `sites`, which "
        "is missing, if that is meant, or take it away.",
        f"{path}: the form has no sheet `start 2050`. Nothing on it was read. Call it `goals`, "
        "which is missing, if that is meant, or take it away."]


def test_a_sheet_that_nobody_can_tell_names_those_that_are_missing(tmp_path):
    path = with_sheets(river(tmp_path), away=["goals", "space"], new=["weather", "survival (2)"])
    assert refused(path) == [
        f"{path}: the form has no sheet `{name}`. Nothing on it was read. Missing from the form: "
        "`space`, `goals`. Call it so if that is meant, or take it away."
        for name in ("weather", "survival (2)")]
    path = with_sheets(river(tmp_path), new=["survival (2)"])
    assert refused(path) == [
        f"{path}: the form has no sheet `survival (2)`. Nothing on it was read. The nearest, "
        "`survival`, is there: take this one away."]


def test_a_missing_sheet_whose_rows_are_named_elsewhere_is_told_once(tmp_path):
    path = with_sheets(river(tmp_path), away=["releases"])  # two rows of `first year` name them
    assert refused(path) == [
        "sheet `first year`, cell A4: `to Alder` is named here, and the form has no sheet "
        "`releases` to tell what it is. Take that sheet from a new form (`pva form SCENARIO`), or "
        "take away all rows that name what stood there."]


def test_no_form_that_was_written_lacks_a_sheet(tmp_path):
    assert list(WITHOUT) == [sheet.name for sheet in (*SHEETS, OTHER)]
    for name in ("killer-whale", "no-field-data", "questions/river"):
        form = write_form(tmp_path / "form.xlsx", read_scenario(SCENARIOS / f"{name}.yaml"))
        assert open_form(form).absent == ()


def test_a_missing_sheet_is_no_loss_where_its_keys_stand_elsewhere(tmp_path):
    path = with_sheets(river(tmp_path), away=["goals"])
    assert open_form(path).absent == ("goals",)
    row = '[{"name": "many", "measure": "adults", "at_least": 500, "in": 2050}]'
    change(path, ("other keys", "A4", "goals"), ("other keys", "B4", row))
    assert open_form(path).absent == ()
    assert [goal.name for goal in read_form(path).resolved.goals] == ["many"]
    other = with_sheets(river(tmp_path), away=["other keys"])
    assert open_form(other).absent == ("other keys",)


FOLLOWS = {  # what `WITHOUT` says of a sheet, as the scenario shows it
    "goals": lambda s: not s.goals,
    "first year": lambda s: not any(row.first_year_survival for row in s.releases),
    "fish": lambda s: not any(host.density.value for site in s.sites for host in site.hosts),
    "years": lambda s: s.year_effects == type(s.year_effects)(),
}


@pytest.mark.parametrize("name", FOLLOWS)
def test_what_is_said_to_follow_from_a_missing_sheet_follows(tmp_path, name):
    source = read_scenario(SCENARIOS / "questions" / "host-returns.yaml")
    path = with_sheets(write_form(tmp_path / "f.xlsx", source), away=[name])
    assert not FOLLOWS[name](source.resolved) and FOLLOWS[name](read_form(path).resolved)


def test_problems_of_meaning_name_sheet_and_cell_too(tmp_path):
    path = river(tmp_path)
    change(path, ("survival", "C7", 0.5), ("releases", "C4", "egg"))  # 0.5: below its interval
    assert refused(path) == [
        "sheet `releases`, cell C4: `releases.to Alder.stage` names the stage `egg`, which does "
        "not exist. Known here: `age 1`, `juvenile`, `subadult`, `adult`.",
        "sheet `survival`, cell A7: `survival.adult`: the value 0.5 lies outside its interval "
        "[0.91, 0.945]. The value is used when `unknown` is off and must be one the interval "
        "allows. Correct one of the two."]


def test_a_missing_key_and_a_wrong_choice(tmp_path):
    path = river(tmp_path)
    change(path, ("question", "B10", "in spring"))
    assert refused(path) == ["sheet `question`, cell B10: `census` cannot be `in spring`. Write "
                             "one of `before breeding`, `after breeding`."]
    change(path, ("question", "B10", None))
    assert any("census" in said for said in refused(path))


def test_all_problems_come_together(tmp_path):
    path = river(tmp_path)
    change(path, *(("survival", cell, "x") for cell in ("C4", "C5", "C6")))
    assert len(refused(path)) == 3


def test_another_workbook_is_no_form(tmp_path):
    book = openpyxl.Workbook()
    book.save(tmp_path / "other.xlsx")
    with pytest.raises(DataError, match="this workbook is no form of a scenario. Make one with"):
        read_form(tmp_path / "other.xlsx")


def test_field_sheets_are_no_form_and_that_is_all_that_is_said(tmp_path):
    from pva.field.sheets_workbook import write_workbook

    path = write_workbook(tmp_path / "field-sheets.xlsx")  # two of its sheets have names of ours
    with pytest.raises(DataError) as error:
        read_form(path)
    assert [str(p) for p in error.value.problems] == [
        f"{path}: this workbook is no form of a scenario. Make one with `pva form SCENARIO`. "
        "Tables of the field are named under `tables` of study.yaml."]


def test_sheets_and_rows_may_be_moved_and_lines_added_above(tmp_path):
    path = river(tmp_path)
    book = openpyxl.load_workbook(path)
    book["survival"].insert_rows(1, 2)
    book.move_sheet("goals", -5)
    del book["read me"]
    book.save(path)
    assert read_form(path).digest == read_scenario(SCENARIOS / "questions/river.yaml").digest


# cells


@pytest.mark.parametrize("value, kind, shown", [
    ("1e-5", NUMBER, 1e-5), (600, NUMBER, 600), (True, NUMBER, NOTHING), ("x", NUMBER, NOTHING),
    (2030, WHOLE, 2030), (True, SWITCH, "on"), ("no", SWITCH, "off"), (3, SWITCH, NOTHING),
    (["a", "b"], LIST, "a; b"), (["a"], LIST, "a;"), ("river", LIST, "river"), (2, LIST, 2),
    ([], LIST, NOTHING), (["a;b"], LIST, NOTHING), ("7", LIST, NOTHING),
    ({2026: 80, 2030: 0.5}, TABLE, "2026: 80; 2030: 0.5"), (80, TABLE, 80), ({}, TABLE, NOTHING),
    ({"a:b": 1}, TABLE, NOTHING), ({"adult": "x"}, TABLE, NOTHING),
])
def test_values_and_cells(value, kind, shown):
    assert to_cell(value, kind) == shown or to_cell(value, kind) is shown
    if shown is not NOTHING:
        back = from_cell(str(shown), kind)
        assert back == (float(value) if kind == NUMBER else
                        {True: True, "no": False}.get(value, value) if kind == SWITCH else value)


# the command


def call(*words):
    return CliRunner().invoke(main, ["form", *map(str, words)])


def test_the_command_there_and_back(tmp_path):
    source = SCENARIOS / "questions" / "host-returns.yaml"
    said = call(source, "--to", tmp_path / "f.xlsx", "--json")
    document = json.loads(said.stdout)
    assert document["digest"] == read_scenario(source).digest
    said = call(tmp_path / "f.xlsx")
    made = tmp_path / "f.yaml"
    assert said.stdout == f"Scenario: {made}. Next: pva check {made}\n"
    assert read_scenario(tmp_path / "f.yaml").digest == document["digest"]
    again = call(tmp_path / "f.xlsx")
    assert again.exit_code == 1 and again.stderr == (
        f"{tmp_path / 'f.yaml'}: there is such a file already. Nothing was written. Name another "
        "one with --to, or say --replace.\n")
    assert call(tmp_path / "f.xlsx", "--replace").exit_code == 0


def test_the_command_says_what_follows_from_sheets_that_are_not_there(tmp_path):
    path = with_sheets(river(tmp_path), away=["goals", "collections"])
    said = call(path)
    made = path.with_suffix(".yaml")
    assert said.exit_code == 0 and said.stderr.splitlines()[:3] == [
        "The form has no sheet `collections`, so no animals are taken from a site.",
        "The form has no sheet `goals`, so the scenario has no goals: no chance of success is "
        "reported, and no number to stock can be found.",
        "If that is not meant, take the sheet from a new form (`pva form SCENARIO`)."]
    assert made.read_text("utf-8").startswith(
        "# From the form river.xlsx.\n# Sheets that the form did not have: collections, goals.\n")
    told = json.loads(call(path, "--replace", "--json").stdout)
    assert told["absent_sheets"] == ["collections", "goals"]
    whole = call(river(tmp_path), "--replace")
    assert "has no sheet" not in whole.stderr
    assert made.read_text("utf-8").startswith("# From the form river.xlsx.\ntitle:")


def test_missing_sheets_are_told_before_what_is_refused_without_them(tmp_path):
    said = call(with_sheets(river(tmp_path), away=["survival"]))
    assert said.exit_code == 1 and said.stderr.startswith(
        "The form has no sheet `survival`, so no survival by stage is written.\n")
    assert not (tmp_path / "river.yaml").exists()


def test_what_to_type_next_is_typed_as_told_and_stays_beside_the_form(tmp_path):
    import shlex

    folder = tmp_path / "Bach Süd 2"
    folder.mkdir()
    said = call(SCENARIOS / "questions" / "river.yaml", "--to", folder / "f.xlsx").stdout
    typed = shlex.split(said.split("then: pva form ")[1])
    assert typed == [str(folder / "f.xlsx"), "--to", str(folder / "river-new.yaml")]
    said = call(*typed).stdout
    assert shlex.split(said.split("Next: pva check ")[1]) == [str(folder / "river-new.yaml")]


def test_a_start_for_all_that_no_site_takes_is_told(tmp_path):
    path = river(tmp_path)  # both sites start with no animals of their own
    said = "the start written at top level is used nowhere: every site has its own"
    assert said not in read_form(path).warnings
    change(path, ("start", "A4", "adult"), ("start", "C4", 20))
    assert said in read_form(path).warnings


def test_a_form_is_no_text_and_the_command_for_it_is_named(tmp_path):
    path = river(tmp_path)
    with pytest.raises(FormError) as error:
        read_scenario(path)
    assert str(error.value.problems[0]) == (
        f"{path}: this is a workbook or another packed file, not a text file. Name the YAML file. "
        "A spreadsheet form becomes a scenario with `pva form FILE.xlsx`; tables are named under "
        "`tables` of study.yaml.")


def test_a_wrong_ending_is_refused(tmp_path):
    said = call(SCENARIOS / "teasel.yaml", "--to", tmp_path / "f.csv")
    assert said.exit_code == 1 and said.stderr == (
        f"{tmp_path / 'f.csv'}: a form ends in .xlsx. Name another file with --to.\n")

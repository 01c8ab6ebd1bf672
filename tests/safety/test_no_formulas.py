"""Every workbook and every CSV file made of a study whose names and remarks would run."""

from __future__ import annotations

import csv
from pathlib import Path

import openpyxl
import pytest
from click.testing import CliRunner

from pva.cli import main
from tests.cli.conftest import SMALL
from tests.field.conftest import TABLES, write_study
from tests.test_sheet_text import would_run

SITE, SIGN = "=BAD(1)", "@SUM(1+1)*cmd|' /C calc'!A0"


@pytest.fixture(scope="module")
def made(tmp_path_factory):
    folder = tmp_path_factory.mktemp("formulas") / "study"
    tables = {name: text.replace("Quillstone Riffle", SITE) for name, text in TABLES.items()}
    tables["encounters.csv"] += (f'{SITE},2021-08-18,982000987654312,,alive,45,,,"{SIGN}"\n'
                                 f'{SITE},2021-08-18,{SIGN},,alive,-44,,,\n')
    write_study(folder, tables, title=SIGN, sites=[{"name": SITE}, {"name": "Tallow Bend"}],
                report={"main": "scenarios/plan.yaml"})
    (folder / "scenarios").mkdir()
    plan = folder / "scenarios" / "plan.yaml"
    plan.write_text(SMALL.replace("Small invented plan", f'"{SIGN}"').replace(
        "{name: adults in 2036", f'{{name: "{SITE}"').replace("{name: young", f'{{name: "{SITE}"')
        .replace("expert range", f'"{SIGN}"').replace("draws: 8, replicates: 10",
                                                      "draws: 2, replicates: 3"), encoding="utf-8")
    out = folder / "out"
    for arguments in (["estimate", folder], ["run", plan], ["stock", plan],
                      ["credit", plan, "--baseline", plan, "--rate", 0],
                      ["export", folder, "--as", "csv", "--as", "xlsx", "--as", "darwin-core",
                       "--site-names", "--title", SIGN],
                      ["explore", plan, "--vary", "number=0,40"],
                      ["sheets", folder, "--out", out], ["form", plan, "--out", out]):
        if arguments[0] in main.commands:
            done = CliRunner().invoke(main, [str(a) for a in arguments])
            assert done.exit_code == 0, f"{arguments}: {done.output}"
    return folder


def files(folder: Path, ending: str) -> list[Path]:
    return [f for f in folder.rglob(f"*{ending}") if f.parent != folder]


def test_no_csv_file_holds_a_cell_that_would_run(made):
    found = files(made, ".csv")
    assert len(found) > 15
    risky = 0
    for file in found:
        with file.open(encoding="utf-8", newline="") as handle:
            cells = [cell for row in csv.reader(handle) for cell in row]
        assert not [c for c in cells if would_run(c)], file
        risky += sum(c[:2] in ("'=", "'@") for c in cells)
    assert risky > 20  # the names did come through


def test_no_workbook_holds_a_formula(made):
    found = files(made, ".xlsx")
    assert len(found) >= 1
    for file in found:
        for page in openpyxl.load_workbook(file):
            for row in page.iter_rows():
                for cell in row:
                    assert cell.data_type != "f", (file, page.title, cell.coordinate)
                    assert not would_run(str(cell.value or "")), (file, cell.coordinate)

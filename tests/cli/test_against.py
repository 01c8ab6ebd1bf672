"""`pva check STUDY --against OTHER`."""

import json
import shutil

from pva.files import shipped

NAME = "encounters_2021_2022.csv"


def test_two_entries_that_agree_and_two_that_differ(call, tmp_path):
    study = shipped("scenarios/hesperwell")
    other = tmp_path / "typed by R"
    other.mkdir()
    shutil.copy(study / "field" / NAME, other / NAME)
    agreed = call("check", study, "--against", other / NAME)
    assert agreed.exit_code == 0
    assert agreed.stdout.splitlines()[-1] == "The two entries agree in 1 table."
    text = (other / NAME).read_text(encoding="utf-8")
    row = text.splitlines()[4]
    cells = row.split(",")
    head = text.splitlines()[0].split(",")
    cells[head.index("Shell length")] = "19.9"
    cells[head.index("Lat")] = "0.1234"
    (other / NAME).write_text(text.replace(row, ",".join(cells), 1), encoding="utf-8")
    before = (study / "field" / NAME).read_bytes()
    differed = call("check", study, "--against", other / NAME, "--out", tmp_path / "out")
    assert differed.exit_code == 1
    lines = differed.stdout.splitlines()
    assert f"field/{NAME}, row 5, column Shell length: " in lines[1] and "19.9 in" in lines[1]
    assert "0.1234" not in differed.stdout and "(a position, not shown) here" in lines[2]
    assert lines[-1] == ("2 cells differ. Look them up on the field sheets. Nothing was changed.")
    assert "0.1234" in (tmp_path / "out" / "differences.csv").read_text(encoding="utf-8")
    assert (study / "field" / NAME).read_bytes() == before
    document = json.loads(call("check", study, "--against", other / NAME, "--json").stdout)
    assert document["differ"] and len(document["cells"]) == 2
    assert "0.1234" not in json.dumps(document)


def test_only_one_study_can_be_compared(call, tmp_path):
    study = shipped("scenarios/hesperwell")
    assert call("check", study, study, "--against", study).exit_code == 2
    assert call("check", study, "--against", tmp_path / "none").exit_code == 2

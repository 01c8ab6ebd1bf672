"""How staying at the site may be stated in study.yaml, and what cannot be meant."""

import re
from pathlib import Path

import pytest

from pva.errors import MeaningError
from pva.field import read_study

PAGE = Path(__file__).parents[2] / "docs" / "estimation.md"

STUDY = """title: Hesperwell (invented)
sites: [{name: Quillstone}]
survival: {%s}
"""
HERE = "study.yaml, line 3, column 12: "
CASES = {
    "staying: {se: 0.01}": [
        "the chance of staying needs either a value with its source or `outside_searched`. Write "
        "one of the two."],
    "staying: {value: 0.9}": [
        "the chance of staying has no source. Write where the number comes from (`source`)."],
    "staying: {outside_searched: 0.5}": [
        "`outside_searched` is stated, but no site has the role `outside`. Give the reaches around "
        "the sites that role."],
    "staying: {value: 0.9, source: telemetry}, shells: {found: anywhere}": [
        "the chance of staying is told by shells found anywhere, and is stated besides. Leave out "
        "`staying`, or write `shells: {found: at the site}`."],
}


@pytest.mark.parametrize("written", CASES)
def test_what_cannot_be_meant_is_told_with_its_line(tmp_path, written):
    (tmp_path / "study.yaml").write_text(STUDY % written, encoding="utf-8")
    with pytest.raises(MeaningError) as raised:
        read_study(tmp_path)
    said = [str(p).replace(str(tmp_path / "study.yaml"), "study.yaml")
            for p in raised.value.problems]
    assert said == [HERE + text for text in CASES[written]]


def test_the_three_ways_of_the_page_can_be_read(tmp_path):
    blocks = re.findall(r"```yaml\n(.*?)```", PAGE.read_text(encoding="utf-8"), re.S)
    blocks = [b for b in blocks if "staying:" in b or "shells:" in b]
    assert len(blocks) == 3
    for block in blocks:
        (tmp_path / "study.yaml").write_text("title: invented\n" + block, encoding="utf-8")
        assert read_study(tmp_path).spec.survival

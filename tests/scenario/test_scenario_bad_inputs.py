"""One broken file a rule, with the whole message that the reader gets."""

from __future__ import annotations

from pathlib import Path

import pytest

from pva.errors import PvaError
from pva.scenario import size
from pva.scenario.scenario import read_scenario

BROKEN = Path(__file__).parents[1] / "bad_inputs" / "scenarios"


@pytest.fixture(autouse=True)
def a_machine_of_16_gb(monkeypatch):
    monkeypatch.setattr(size, "memory_of_machine", lambda: 16e9)


@pytest.mark.parametrize("path", sorted(BROKEN.glob("*.yaml")), ids=lambda p: p.stem)
def test_message_of_broken_file(path):
    with pytest.raises(PvaError) as caught:
        read_scenario(path)
    said = f"{type(caught.value).__name__}\n{caught.value}\n".replace(f"{path.parent}/", "")
    assert said == path.with_suffix(".txt").read_text(encoding="utf-8")


@pytest.mark.parametrize("path", sorted(BROKEN.glob("*.yaml")), ids=lambda p: p.stem)
def test_every_problem_says_where_and_what_to_do(path):
    with pytest.raises(PvaError) as caught:
        read_scenario(path)
    for problem in caught.value.problems:
        assert Path(problem.file).name == path.name
        assert problem.code and problem.todo
        assert "{" not in problem.what or "}" in problem.what


def test_problems_of_one_pass_come_together_in_the_order_of_the_file():
    with pytest.raises(PvaError) as caught:
        read_scenario(BROKEN / "unknown-stage.yaml")
    lines = [p.line for p in caught.value.problems]
    assert len(lines) == 4 and lines == sorted(lines)

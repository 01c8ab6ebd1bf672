"""Every rule about scenarios, models and studies has a broken file, with its whole message."""

from __future__ import annotations

import ast
import re
import sys
from collections.abc import Iterator
from pathlib import Path

import pytest

from pva.errors import Problem, PvaError
from pva.field import read_study
from pva.model.assemble import assemble
from pva.scenario import size
from pva.scenario.scenario import Scenario, read_scenario

TOP = Path(__file__).parents[2]
BROKEN = TOP / "tests" / "bad_inputs"
MODELS = sorted((BROKEN / "models").glob("*.yaml"))
STUDIES = sorted((BROKEN / "studies").glob("*.yaml"))
CODE = re.compile("[a-z]+(-[a-z]+)+")
SAYS = ("problem", "refuse", "add", "place", "not_correlation")  # calls whose last words are codes
ELSEWHERE = {  # rules that no scenario or study.yaml by itself can break, and who breaks them
    "scenario/changes.py: unknown-row": "tests/scenario/test_scenario_extends.py",
    "scenario/deliveries.py: deliveries-columns": "tests/decide/test_options.py",
    "scenario/deliveries.py: deliveries-row": "tests/decide/test_options.py",
    "scenario/length_classes.py: length-mesh": "tests/model/test_length_classes.py",
    "scenario/form.py: too-deep": "tests/faults/test_every_rule.py",
    "scenario/load.py: too-deep": "tests/faults/test_every_rule.py",
    "files/yaml_kinds.py: another-kind": "tests/cli/test_new.py",
    "files/yaml_reading.py: not-a-text": "tests/scenario/test_spreadsheet_form.py",
    "field/reuse.py: tag-used-again-by-none": "tests/field/test_refused_tables.py",
    "scenario/size.py: run-too-large": "tests/faults/test_too_large.py",
}
TABLES = {  # modules with rules about tables: tests/field/test_refused_tables.py breaks them
    "account", "cells", "columns", "corrections", "encounters", "opening", "second_entry",
}
OTHER_FILES = {  # modules with rules about other files than scenarios, and who breaks those rules
    "trace": "tests/scenario/test_trace.py",
    **dict.fromkeys(("workbook_document", "workbook_headings", "workbook_read", "workbook_write"),
                    "tests/scenario/test_spreadsheet_form.py"),
}


def words(error: PvaError, folder: Path) -> str:
    return f"{type(error).__name__}\n{error}\n".replace(f"{folder}/", "")


@pytest.fixture(autouse=True)
def a_machine_of_16_gb(monkeypatch):
    monkeypatch.setattr(size, "memory_of_machine", lambda: 16e9)


def read_and_assemble(path: Path) -> PvaError:
    question = read_scenario(path)
    with pytest.raises(PvaError) as caught:
        assemble(question.resolved, seed=1)
    return caught.value


def read_broken_study(path: Path) -> PvaError:
    with pytest.raises(PvaError) as caught:
        read_study(path)
    return caught.value


@pytest.mark.parametrize("path", MODELS, ids=lambda p: p.stem)
def test_message_of_a_model_that_cannot_be(path):
    said = words(read_and_assemble(path), path.parent)
    assert said == path.with_suffix(".txt").read_text("utf-8")


@pytest.mark.parametrize("path", STUDIES, ids=lambda p: p.stem)
def test_message_of_a_broken_study(path):
    said = words(read_broken_study(path), path.parent)
    assert said == path.with_suffix(".txt").read_text("utf-8")


@pytest.mark.parametrize("path", STUDIES, ids=lambda p: p.stem)
def test_every_problem_of_a_study_says_where_and_what_to_do(path):
    for problem in read_broken_study(path).problems:
        assert Path(problem.file).name == path.name and problem.code and problem.todo


def rules_written(folder: str, leave_out=()) -> set[str]:
    """Reason codes in the code of a layer, as ``module: code``."""
    found = set()
    for module in sorted((TOP / "pva" / folder).glob("*.py")):
        if module.stem in leave_out:
            continue
        for code in codes_of(ast.parse(module.read_text("utf-8"))):
            found.add(f"{folder}/{module.name}: {code}")
    return found


def codes_of(tree: ast.AST) -> Iterator[str]:
    for call in ast.walk(tree):
        if not isinstance(call, ast.Call):
            continue
        given = [k.value for k in call.keywords if k.arg == "code"]
        if any(word in ast.unparse(call.func).lower() for word in SAYS):
            given += call.args[-2:]
        for value in given:
            for part in ast.walk(value):
                if isinstance(part, ast.Constant) and CODE.fullmatch(str(part.value)):
                    yield part.value


@pytest.fixture
def rules_broken(monkeypatch) -> set[str]:
    """Every rule that the broken files break, with all modules that it came through."""
    found, made = set(), Problem.__init__

    def noted(self, *args, **words):
        made(self, *args, **words)
        frame = sys._getframe(1)
        while frame is not None:
            folder, _, module = frame.f_code.co_filename.rpartition("/")
            found.add(f"{Path(folder).name}/{module}: {self.code}")
            frame = frame.f_back

    monkeypatch.setattr(Problem, "__init__", noted)
    for path in sorted((BROKEN / "scenarios").glob("*.yaml")):
        with pytest.raises(PvaError):
            read_scenario(path)
    for path in MODELS:
        read_and_assemble(path)
    for path in STUDIES:
        read_broken_study(path)
    return found


def test_every_rule_has_its_broken_file(rules_broken):
    written = (rules_written("scenario", OTHER_FILES) | rules_written("model")
               | rules_written("lifehistory") | rules_written("field", TABLES)
               | {r for r in rules_written("files") if r.startswith("files/yaml_")})
    assert len(written) > 150  # the search for codes finds them
    assert sorted(written - rules_broken - set(ELSEWHERE)) == []


def test_tests_named_for_the_other_rules_exist():
    for rule, place in (ELSEWHERE | OTHER_FILES).items():
        assert (TOP / place).is_file(), rule


def test_a_rule_without_a_broken_file_is_found():
    tree = ast.parse('problems.add(path, "no such rule", "Do.", code="rule-never-broken")')
    assert list(codes_of(tree)) == ["rule-never-broken"]


def test_a_scenario_of_plain_data_may_be_nested_too_deeply_as_well():
    deep: dict = {}
    inner = deep
    for _ in range(5000):
        inner["title"] = {}
        inner = inner["title"]
    with pytest.raises(PvaError) as caught:
        Scenario.from_dict(deep)
    assert str(caught.value) == (
        "the scenario is nested too deeply. Write it with fewer levels.")

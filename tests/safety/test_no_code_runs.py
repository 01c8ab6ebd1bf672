"""Nothing that a study holds is ever run: type marks of YAML, templates in names."""

from __future__ import annotations

import ast
import json
import re
from pathlib import Path

import pytest
from click.testing import CliRunner
from docx import Document

from pva.cli import main
from pva.errors import FormError
from pva.field import read_study
from pva.files import read_yaml
from pva.report.exports.document import write_one_page
from pva.report.exports.table_files import sheets_of, write_csv_tables
from pva.report.material import gather
from pva.report.page import render_report
from pva.results.run import run
from pva.scenario.scenario import read_scenario
from tests.cli.conftest import SMALL, write_small

PACKAGE = Path(__file__).parents[2] / "pva"
TEMPLATE = "{{ 7*191 }}{% include 'style.css' %}${7*191}{{ ''.__class__.__mro__ }}"
MARKS = [
    "!!python/object/apply:os.system ['touch {file}']",
    "!!python/object/new:os.system ['touch {file}']",
    "!!python/name:os.system",
    "!!python/module:os",
    "!!python/object:collections.OrderedDict {{}}",
    "!!python/tuple [1, 2]",
    "!python/object/apply:os.system ['touch {file}']",
    "!<tag:yaml.org,2002:python/object/apply:os.system> ['touch {file}']",
    "!include /etc/hostname",
    "!!binary aGVsbG8=",
]


@pytest.mark.parametrize("mark", MARKS)
@pytest.mark.parametrize("read", [read_yaml, read_scenario, read_study])
def test_type_marks_are_refused_and_nothing_is_run(mark, read, tmp_path):
    made = tmp_path / "made"
    path = tmp_path / "study.yaml"
    path.write_text(f"title: x\nstart: {mark.format(file=made)}\n", encoding="utf-8")
    with pytest.raises(FormError) as refused:
        read(path)
    assert not made.exists()
    assert [p.line for p in refused.value.problems][0] == 2
    assert {"yaml-type-mark"} <= {p.code for p in refused.value.problems}


@pytest.mark.parametrize("mark", MARKS)
def test_commands_refuse_them_too(mark, tmp_path):
    made = tmp_path / "made"
    path = write_small(tmp_path / "s" / "scenarios" / "a.yaml",
                       title=mark.format(file=made))
    for command in ("check", "run", "show", "stock"):
        done = CliRunner().invoke(main, [command, str(path)])
        assert done.exit_code == 1 and "Traceback" not in done.output
    assert not made.exists()


def test_templates_in_names_stay_text(tmp_path):
    text = SMALL.replace("draws: 8, replicates: 10", "draws: 2, replicates: 3").replace(
        "title: Small invented plan", f"title: {json.dumps(TEMPLATE)}").replace(
        "name: adults in 2036", f"name: {json.dumps(TEMPLATE)}").replace(
        "assumed: expert range", f"assumed: {json.dumps(TEMPLATE)}").replace(
        "none: kept simple", f"none: {json.dumps(TEMPLATE)}").replace(
        "name: young", f"name: {json.dumps(TEMPLATE)}")
    plan = write_small(tmp_path / "s" / "scenarios" / "plan.yaml")
    plan.write_text(text, encoding="utf-8")
    question = read_scenario(plan)
    material = gather(runs=[(question, run(question, threads=1))])
    page = render_report(material)
    assert "{{ 7*191 }}{% include" in page
    assert "1337" not in re.sub(r"[0-9a-f]{40,}|[\d.]{6,}", "", page)
    assert "<class" not in page and "&lt;class" not in page
    style = (PACKAGE / "report" / "templates" / "style.css").read_text(encoding="utf-8")
    line = max(style.splitlines(), key=len)
    assert page.count(line) == 1  # the include would have brought the style sheet once more
    sheets = write_csv_tables(tmp_path, sheets_of(material, title=TEMPLATE))
    assert f"study,{TEMPLATE}" in sheets[0].read_text(encoding="utf-8")
    document = Document(write_one_page(tmp_path / "a.docx", material, title=TEMPLATE))
    assert document.paragraphs[0].text == TEMPLATE


def test_the_package_holds_nothing_that_runs_text():
    """No eval, exec, pickle or shell; templates come from the package; YAML is read safely."""
    forbidden = {"eval", "exec", "compile", "__import__", "from_string"}
    packed = {"pickle", "cPickle", "marshal", "shelve", "dill", "cloudpickle", "joblib",
              "subprocess", "code", "runpy"}
    found = []
    for path in PACKAGE.rglob("*.py"):
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
            if isinstance(node, ast.Call):
                name = getattr(node.func, "id", getattr(node.func, "attr", ""))
                of = getattr(getattr(node.func, "value", None), "id", "")
                safe = name == "compile" and of == "re"
                if name in forbidden and not safe:
                    found.append((path.name, name))
                found += [(path.name, k.arg) for k in node.keywords if k.arg == "allow_pickle"
                          and getattr(k.value, "value", None) is not False]
                found += [(path.name, "shell") for k in node.keywords if k.arg == "shell"
                          and getattr(k.value, "value", None) is True]  # and no mussel shell
                found += [(path.name, "YAML reads unsafely") for k in node.keywords
                          if name == "YAML" and k.arg == "typ" and k.value.value != "safe"]
            elif isinstance(node, (ast.Import, ast.ImportFrom)):
                names = [node.module or ""] if isinstance(node, ast.ImportFrom) else [
                    a.name for a in node.names]
                found += [(path.name, n) for n in names if n.partition(".")[0] in packed]
    # it starts a command of the package itself, with a list of arguments and no shell
    assert [f for f in found if f != ("second_process.py", "subprocess")] == []

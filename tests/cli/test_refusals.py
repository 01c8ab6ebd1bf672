"""Bad input, wrong usage, Ctrl-C and faults of our own: words and exit codes, never a traceback."""

import io
import json
import subprocess
import sys
import zipfile

import pytest

from tests.cli.conftest import SMALL, write_small

HEAVY = ("numpy", "numba", "pandas", "scipy", "xarray", "pydantic", "matplotlib", "rich")


def loaded_by(*arguments, modules=HEAVY):
    """Modules of `modules` that a command loads, in a process of its own."""
    code = (f"import sys; from pva.cli import main\n"
            f"try: main({list(map(str, arguments))!r})\n"
            f"except SystemExit as end: assert end.code == 0, end.code\n"
            f"print(*[m for m in {modules!r} if m in sys.modules], file=sys.stderr)")
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    return done.stderr.split()


def test_help_loads_nothing_heavy():
    assert loaded_by("--help") == []


def test_check_of_a_scenario_compiles_nothing(small):
    assert loaded_by("check", small, modules=("numba", "xarray", "matplotlib")) == []


def test_a_run_loads_no_more_than_it_needs(small):
    """Each of these costs more to load than the run itself."""
    heavy = ("scipy.stats", "matplotlib", "openpyxl", "SALib")
    assert not set(heavy) & set(loaded_by("run", small, modules=heavy))


def test_help_lists_the_commands_in_the_order_of_the_work(call):
    result = call("--help")
    assert result.exit_code == 0
    listed = result.stdout.partition("Commands:\n")[2]
    names = [line.split()[0] for line in listed.splitlines() if line.startswith("  ")]
    assert [n for n in names if n.isidentifier() or "-" in n][:15] == [
        "demo", "new", "check", "estimate", "show", "matrix", "run", "stock", "compare",
        "sensitivity", "explore", "donor", "monitor", "check-data", "what-changed"]


@pytest.mark.parametrize("command", ["run", "stock", "show", "matrix", "check"])
def test_a_missing_file(call, command, tmp_path):
    path = tmp_path / "nowhere.yaml"
    result = call(command, path)
    assert result.exit_code == 1
    said = result.stdout if command == "check" else result.stderr
    assert said.splitlines()[0] == (
        f"{path}: there is no such file. Check the name and the folder.")
    assert "Traceback" not in result.output


@pytest.mark.parametrize("command", ["estimate", "report"])
def test_a_missing_study(call, command, tmp_path):
    result = call(command, tmp_path)
    assert result.exit_code == 1
    assert result.stderr == (f"{tmp_path / 'study.yaml'}: there is no such file. Check the name "
                             "and the folder.\n")


def test_every_problem_is_printed_whole(call, tmp_path):
    path = tmp_path / "bad.yaml"
    path.write_text(SMALL.replace("census: before breeding", "censos: before breeding").replace(
        "value: 0.9,", "value: nine,"), encoding="utf-8")
    result = call("run", path, "--json")
    assert result.exit_code == 1 and "Traceback" not in result.stderr
    problems = json.loads(result.stdout)["problems"]
    assert len(problems) == len(result.stderr.splitlines()) == 2
    assert [p["line"] for p in problems] == [3, 9]
    assert all(p["file"] == str(path) and p["todo"] for p in problems)


def test_broken_yaml(call, tmp_path):
    path = tmp_path / "bad.yaml"
    path.write_text("title: [never closed\nyears: 3\n", encoding="utf-8")
    for command in ("run", "check", "compare"):
        result = call(command, path, *([path] if command == "compare" else []))
        assert result.exit_code == 1
        assert f"{path}, line " in result.output and "not valid YAML" in result.output
        assert "Traceback" not in result.output


def test_a_question_that_cannot_be_computed(call, small):
    text = small.read_text(encoding="utf-8")
    head, _, rest = text.partition("goals:\n")
    small.write_text(head + rest.partition("\n")[2], encoding="utf-8")
    result = call("stock", small)
    assert (result.exit_code, result.stdout) == (1, "")
    assert result.stderr == (
        "The scenario has no goals, so no number of animals can be enough or too few. Nothing was "
        "run. Write at least one goal (goals: - {name, measure, at_least, in}).\n")


@pytest.mark.parametrize("arguments, said", [
    (["run"], "Missing argument 'SCENARIO'."),
    (["run", "x.yaml", "--fast"], "No such option"),
    (["run", "x.yaml", "--threads", "0"], "0 is not in the range x>=1"),
    (["run", "x.yaml", "--seed", "-1"], "-1 is not in the range"),
    (["stock", "x.yaml", "--chance", "80"], "80.0 is not in the range 0<x<1"),
    (["compare", "x.yaml"], "Name at least two scenarios: the first is compared with the rest."),
    (["fly"], "No such command 'fly'"),
])
def test_wrong_usage(call, arguments, said):
    result = call(*arguments)
    assert result.exit_code == 2
    assert said in result.stderr and result.stdout == ""


def test_ctrl_c_before_anything_is_finished(call, small, monkeypatch):
    monkeypatch.setattr("pva.results.run.run", interrupted)
    result = call("run", small)
    assert result.exit_code == 130
    assert result.stderr.splitlines()[-1] == (
        "Stopped before anything was finished. Files written earlier are unchanged.")


def test_ctrl_c_keeps_what_is_finished(call, small, monkeypatch):
    monkeypatch.setattr("pva.cli.runs.tell_run", interrupted)
    result = call("run", small)
    folder = small.parents[1] / "results"
    assert result.exit_code == 130
    assert result.stderr.splitlines()[-1] == (
        f"Stopped. Finished and kept: {folder / 'small.nc'}, {folder / 'small.summary.json'}.")
    assert (folder / "small.nc").is_file()


def test_ctrl_c_while_something_is_half_written(call, small, monkeypatch):
    """What is open then may fail to close; that is no fault of ours, and no news."""
    def half_written(*arguments, **more):
        with zipfile.ZipFile(io.BytesIO(), "w") as packed:
            writing = packed.open("part", "w")
            writing.write(b"1")
            raise KeyboardInterrupt

    monkeypatch.setattr("pva.results.run.run", half_written)
    result = call("run", small)
    assert result.exit_code == 130
    assert result.stderr.splitlines()[-1] == (
        "Stopped before anything was finished. Files written earlier are unchanged.")


def interrupted(*arguments, **more):
    raise KeyboardInterrupt


def broken(*arguments, **more):
    raise ZeroDivisionError("by\nnought")


def test_a_fault_of_our_own_is_one_sentence(call, small, monkeypatch):
    from importlib.metadata import version

    monkeypatch.setattr("pva.scenario.scenario.read_scenario", broken)
    result = call("show", small)
    assert (result.exit_code, result.stdout) == (1, "")
    assert result.stderr == (
        "This should not have happened (ZeroDivisionError: by nought); please report it with the "
        f"version (pva {version('pva')}) and the command (pva show {small}), and set "
        "PVA_TRACEBACK=1 to see where it arose.\n")
    shown = call("show", small, env={"PVA_TRACEBACK": "1"})
    assert shown.exit_code == 1 and "Traceback (most recent call last)" in shown.stderr


def test_check_lists_problems_of_all_files_and_changes_nothing(call, small):
    folder = small.parent
    good = small.read_bytes()
    (folder / "bad.yaml").write_text(SMALL.replace("before breeding", "at noon"), "utf-8")
    (folder / "worse.yaml").write_text(SMALL.replace("title:", "tittle:"), "utf-8")
    result = call("check", folder, "--json")
    assert result.exit_code == 1
    document = json.loads(result.stdout)
    kinds = {e["path"].rpartition("/")[2]: len(e["problems"]) for e in document["checked"]}
    assert kinds["small.yaml"] == 0 and kinds["bad.yaml"] > 0 and kinds["worse.yaml"] > 0
    assert document["problems"] == kinds["bad.yaml"] + kinds["worse.yaml"]
    assert small.read_bytes() == good
    assert call("check", small).stdout.splitlines()[-1] == "No problem in 1 file."


def test_check_of_a_study_gives_the_row_account_and_waits_for_estimates(call, tmp_path):
    from pva.cli.demo_files import copy_demo

    copy_demo(tmp_path / "demo")
    result = call("check", tmp_path / "demo", "--json")
    document = json.loads(result.stdout)
    assert result.exit_code == 0 and document["problems"] == 0
    study = document["checked"][0]
    assert study["kind"] == "study" and len(document["checked"]) == 8
    rows = study["rows"]
    assert rows["in"] == rows["used"] + rows["flagged"] + rows["set_aside"]
    assert len(study["set_aside"]) == rows["set_aside"] > 0
    assert all(e["warnings"] == ["read in form only; the rest is checked after `pva estimate`"]
               for e in document["checked"][1:])
    named = call("check", tmp_path / "demo" / "scenarios" / "base.yaml")
    assert named.exit_code == 1 and "Run `pva estimate` on the study first" in named.stdout


def test_a_folder_that_cannot_be_written_to(call, small, tmp_path):
    blocker = tmp_path / "file"
    blocker.write_text("", encoding="utf-8")
    result = call("run", small, "--out", blocker / "below")
    assert result.exit_code == 1
    assert "Write elsewhere with --out." in result.stderr and "Traceback" not in result.stderr


def test_the_small_scenario_can_be_written_without_a_key(tmp_path):
    path = write_small(tmp_path / "s" / "scenarios" / "x.yaml", solve=None)
    assert "solve" not in path.read_text(encoding="utf-8")

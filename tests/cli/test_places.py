"""Where answers go, and whether compiled code is kept."""

import os

import pva
from pva.cli import first_run, places


def test_results_lie_in_the_study_or_beside_the_scenario(tmp_path, monkeypatch):
    (tmp_path / "study" / "scenarios").mkdir(parents=True)
    (tmp_path / "study" / "study.yaml").write_text("", encoding="utf-8")
    inside = tmp_path / "study" / "scenarios" / "base.yaml"
    assert places.results_folder(inside, None) == tmp_path / "study" / "results"
    assert places.results_folder(tmp_path / "lone.yaml", None) == tmp_path / "results"
    assert places.results_folder(inside, tmp_path / "out") == tmp_path / "out"
    monkeypatch.chdir(tmp_path / "study")
    relative = places.results_folder(places.Path("scenarios/base.yaml"), None)
    assert str(relative) == "results"


def test_nothing_is_written_into_what_travels_with_the_package(tmp_path, monkeypatch):
    monkeypatch.setattr(places, "_PACKAGE", tmp_path / "lib" / "pva")
    shipped = tmp_path / "lib" / "pva" / "shipped" / "scenarios"
    (shipped / "hesperwell").mkdir(parents=True)
    (shipped / "hesperwell" / "study.yaml").write_text("", encoding="utf-8")
    alone = tmp_path / "lib" / "scenarios"
    for scenario in (shipped / "loggerhead.yaml", alone / "loggerhead.yaml",
                     shipped / "hesperwell" / "scenarios" / "base.yaml"):
        assert places.results_folder(scenario, None) == places.Path("results")
    assert places.estimates_folder(shipped / "hesperwell", None) == places.Path("estimates")
    assert places.estimates_folder(tmp_path, None) == tmp_path / "estimates"


def test_compiled_code_older_than_its_source_does_not_count(tmp_path, monkeypatch):
    package = tmp_path / "pva"
    kept = package / "engine" / "__pycache__"
    kept.mkdir(parents=True)
    source = package / "engine" / "kernel.py"
    source.write_text("", encoding="utf-8")
    monkeypatch.setattr(first_run, "_PACKAGE", package)
    monkeypatch.setattr(first_run, "_user_cache", lambda: tmp_path / "cache")
    monkeypatch.delenv("NUMBA_CACHE_DIR", raising=False)
    assert not first_run.compiled("engine")
    version = f"py{os.sys.version_info.major}{os.sys.version_info.minor}"
    index = kept / f"kernel.simulate_block-1.{version}.nbi"
    index.write_text("", encoding="utf-8")
    os.utime(source, (1000, 1000))
    assert first_run.compiled("engine")
    os.utime(index, (500, 500))
    assert not first_run.compiled("engine")
    chosen = tmp_path / "chosen" / "engine_0123"
    chosen.mkdir(parents=True)
    monkeypatch.setenv("NUMBA_CACHE_DIR", str(tmp_path / "chosen"))
    assert not first_run.compiled("engine")
    (chosen / index.name).write_text("", encoding="utf-8")
    assert first_run.compiled("engine")


def test_the_check_of_the_cache_knows_the_engine_as_it_is():
    from pathlib import Path

    for part, (module, function) in first_run._LAST_COMPILED.items():
        source = Path(pva.__file__).parent / part / f"{module}.py"
        assert f"def {function}" in source.read_text(encoding="utf-8")


def test_without_a_place_to_keep_code_the_engine_still_loads(monkeypatch):
    monkeypatch.delenv("NUMBA_CACHE_DIR", raising=False)
    monkeypatch.setattr(first_run, "_writable", lambda folder: False)
    first_run._find_a_place("engine")
    chosen = os.environ["NUMBA_CACHE_DIR"]
    monkeypatch.setenv("NUMBA_CACHE_DIR", chosen)  # so that it is taken back afterwards
    assert os.path.isdir(chosen)


def test_long_lists_of_files_and_warnings_are_cut(capsys):
    from pathlib import Path

    from pva.cli.terminal import Terminal, listed

    few = [Path("a/1.csv"), Path("b/2.csv"), Path("a/1.csv")]
    assert [Path(x) for x in listed(few)] == few[:2]
    many = [Path(f"a/{i}.csv") for i in range(8)] + [Path("b/2.csv")]
    assert listed(many) == ["a/0.csv and 7 more beside it", "b/2.csv"]
    Terminal("pva").warnings([f"w{i}" for i in range(8)])
    assert capsys.readouterr().err.splitlines()[-2:] == [
        "Warning: w5", "Warning: and 2 more; --json lists all."]

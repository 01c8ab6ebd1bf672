"""The demo study is copied whole, and never over anything that a person has changed."""

import json

import pytest

from pva.cli import demo_files
from pva.cli.demo_files import MANIFEST, copy_demo, digests, remember
from pva.errors import FormError
from pva.files import shipped


def refused(folder):
    with pytest.raises(FormError) as caught:
        copy_demo(folder)
    return str(caught.value)


@pytest.fixture
def copied(tmp_path):
    folder = tmp_path / "hesperwell"
    copy_demo(folder)
    return folder


def test_a_fresh_copy_is_the_shipped_study(copied):
    assert digests(copied) == digests(shipped("scenarios/hesperwell"))
    assert [f.name for f in copied.parent.iterdir()] == ["hesperwell"], "nothing is left beside it"


def test_an_untouched_copy_and_an_empty_folder_are_taken(copied, tmp_path):
    (copied / "results").mkdir()
    (copied / "results" / "base.nc").write_bytes(b"mine")
    (copied / "notes.txt").write_text("mine", encoding="utf-8")
    copy_demo(copied)
    assert (copied / "notes.txt").read_text(encoding="utf-8") == "mine"
    (tmp_path / "empty").mkdir()
    copy_demo(tmp_path / "empty")
    assert (tmp_path / "empty" / "study.yaml").is_file()


def test_a_changed_study_is_refused_and_left_as_it_is(copied):
    changed = copied / "scenarios" / "base.yaml"
    changed.write_text("title: mine\n", encoding="utf-8")
    (copied / "field" / "hosts.csv").unlink()
    assert refused(copied) == (
        f"{copied}: the folder is no untouched demo study: field/hosts.csv is missing; "
        "scenarios/base.yaml was changed. Nothing was overwritten. Name another folder (pva demo "
        "DIR), or move this one away.")
    assert changed.read_text(encoding="utf-8") == "title: mine\n"
    assert not (copied / "field" / "hosts.csv").exists()


def test_estimates_changed_by_hand_are_refused(copied):
    estimates = copied / "estimates" / "estimates.yaml"
    estimates.parent.mkdir()
    estimates.write_text("as written by the demo", encoding="utf-8")
    remember(copied)
    copy_demo(copied)
    estimates.write_text("as I know better", encoding="utf-8")
    assert "estimates/estimates.yaml was changed" in refused(copied)


def test_a_folder_with_something_else_is_refused(tmp_path):
    (tmp_path / "thesis.txt").write_text("mine", encoding="utf-8")
    assert refused(tmp_path) == (
        f"{tmp_path}: the folder is no untouched demo study: it holds other files and no demo "
        "study. Nothing was overwritten. Name another folder (pva demo DIR), or move this one "
        "away.")
    assert [f.name for f in tmp_path.iterdir()] == ["thesis.txt"]


def test_without_its_list_an_untouched_copy_is_still_known(copied):
    (copied / MANIFEST).write_text("{broken", encoding="utf-8")
    copy_demo(copied)
    (copied / MANIFEST).unlink()
    (copied / "study.yaml").write_text("title: mine\n", encoding="utf-8")
    assert "study.yaml was changed" in refused(copied)


def test_an_untouched_copy_of_an_older_package_is_brought_up_to_date(copied):
    old = copied / "README.md"
    old.write_text("of an older version", encoding="utf-8")
    listed = json.loads((copied / MANIFEST).read_text(encoding="utf-8"))
    from pva.files import digest
    listed["files"]["README.md"] = digest(old)
    del listed["files"]["field/hosts.csv"]
    (copied / MANIFEST).write_text(json.dumps(listed), encoding="utf-8")
    (copied / "field" / "hosts.csv").unlink()
    copy_demo(copied)
    assert digests(copied) == digests(shipped("scenarios/hesperwell"))


def test_a_file_of_ones_own_in_the_way_of_a_new_one_is_refused(copied):
    listed = json.loads((copied / MANIFEST).read_text(encoding="utf-8"))
    del listed["files"]["field/hosts.csv"]
    (copied / MANIFEST).write_text(json.dumps(listed), encoding="utf-8")
    (copied / "field" / "hosts.csv").write_text("my own", encoding="utf-8")
    assert "field/hosts.csv was changed" in refused(copied)


def test_an_interrupted_copy_leaves_nothing(tmp_path, monkeypatch):
    def stop(source, target):
        raise KeyboardInterrupt
    monkeypatch.setattr(demo_files, "_copy_one", stop)
    with pytest.raises(KeyboardInterrupt):
        copy_demo(tmp_path / "demo")
    assert list(tmp_path.iterdir()) == []


def test_the_command_refuses_with_words(call, copied):
    (copied / "study.yaml").write_text("title: mine\n", encoding="utf-8")
    result = call("demo", copied)
    assert result.exit_code == 1
    assert "study.yaml was changed. Nothing was overwritten." in result.stderr
    assert result.stdout == (
        "Everything in this study is invented: the river, the dam, the sites, the animals and "
        "every record.\n")

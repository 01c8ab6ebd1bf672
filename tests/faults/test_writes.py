"""Files are written whole or not at all: the code audited, full and locked disks, two at once."""

from __future__ import annotations

import ast
import errno
import multiprocessing
import os
import subprocess
import sys
from contextlib import nullcontext
from pathlib import Path

import pytest

from pva.errors import PvaError
from pva.files import as_written, together, write_bytes_atomic, write_text_atomic, writing
from pva.files.unfinished import MARK, tidy, unfinished_name

resource = pytest.importorskip("resource", reason="limits and forks are of Unix")
TOP = Path(__file__).parents[2]
WRITES = {"write_text", "write_bytes", "to_netcdf", "savefig", "copyfile", "copytree", "copy2",
          "to_excel", "to_json", "to_pickle", "savez", "replace", "rename", "move", "touch",
          "to_csv", "save", "dump", "tofile"}
ALLOWED = {  # calls of these names that nobody can meet half done, and why
    "pva/cli/export_material.py: twin.write_text": "inside a temporary folder of its own",
    "pva/engine/kernel.py: move": "moves animals",
    "pva/files/unfinished.py: os.replace": "puts in place what a killed command had ready",
}


def writes_of(source: str) -> list[str]:
    """Calls that write a file by themselves: to a path, not to a stream in memory."""
    found = []
    for call in ast.walk(ast.parse(source)):
        if not isinstance(call, ast.Call):
            continue
        name = ast.unparse(call.func)
        last = name.rpartition(".")[2]
        if last == "open" and name not in ("webbrowser.open", "archive.open", "self._open"):
            mode = [a for a in call.args[0 if "." in name and name != "os.open" else 1:]
                    if isinstance(a, ast.Constant)]
            mode += [k.value for k in call.keywords if k.arg == "mode"]
            if any(set(str(m.value)) & set("wax+") for m in mode if isinstance(m, ast.Constant)):
                found.append(name)
        elif last in WRITES and not _harmless(name, last, call):
            found.append(name)
    return found


def _harmless(name: str, last: str, call: ast.Call) -> bool:
    """Texts and tables have methods of the same names; streams in memory are no files."""
    if last in ("replace", "rename"):  # of a text, a dataclass or a table
        of = call.func.value if isinstance(call.func, ast.Attribute) else None
        return name not in ("os.replace", "os.rename") and (
            len(call.args) != 1 or bool(call.keywords)
            or isinstance(of, ast.Call | ast.Subscript))
    if last in ("to_netcdf", "to_csv", "to_json"):  # without a path they return their content
        return not call.args
    if last in ("dump", "save", "savefig", "savez"):
        into = call.args[1:2] if last == "dump" else call.args[:1]
        return bool(into) and ast.unparse(into[0]) in (
            "text", "stream", "out", "file", "buffer", "beside", "str(beside)")
    return False


def test_nothing_writes_past_the_writer():
    direct = []
    for module in sorted((TOP / "pva").rglob("*.py")):
        name = module.relative_to(TOP).as_posix()
        if name == "pva/files/writing.py":
            continue
        direct += [f"{name}: {call}" for call in writes_of(module.read_text("utf-8"))]
    assert sorted(set(direct) - set(ALLOWED)) == []


@pytest.mark.parametrize("source", [
    "path.write_text('x')", "open(path, 'w')", "path.open('ab')", "data.to_netcdf(path)",
    "os.replace(a, b)", "path.replace(other)", "shutil.copyfile(a, b)", "sheet.savefig(path)",
    "table.to_csv(path, index=False)", "json.dump(document, handle)", "open(path, mode='x')",
])
def test_the_audit_finds_direct_writes(source):
    assert writes_of(source)


@pytest.mark.parametrize("source", [
    "'a'.replace('b', 'c')", "replace(rate, value=1)", "open(path)", "path.open('rb')",
    "data.to_netcdf(engine='x')", "table.to_csv(index=False)", "yaml.dump(document, text)",
])
def test_the_audit_lets_reading_and_texts_pass(source):
    assert not writes_of(source)


# --- one file -------------------------------------------------------------------------------------


def said(caught, folder) -> str:
    return str(caught.value).replace(f"{folder}/", "")


@pytest.mark.parametrize("number, words", [
    (errno.ENOSPC, "the disk is full. The file was left as it was. Free some space, or write "
     "elsewhere with --out."),
    (errno.EDQUOT, "the disk is full. The file was left as it was. Free some space, or write "
     "elsewhere with --out."),
    (errno.EROFS, "the folder is write-protected. The file was left as it was. Write elsewhere "
     "with --out."),
    (errno.EACCES, "the file is open in another program or write-protected. The file was left as "
     "it was. Close it there."),
    (errno.EFBIG, "the file would grow beyond what a command may write here. The file was left as "
     "it was. Ask for a larger limit, or write elsewhere with --out."),
])
@pytest.mark.parametrize("at", ["write", "put in place"])
def test_what_the_system_refuses_is_said(tmp_path, monkeypatch, number, words, at):
    path = tmp_path / "a.txt"
    write_text_atomic(path, "before")

    def fails(*_):
        raise OSError(number, os.strerror(number))

    if at == "write":
        monkeypatch.setattr(Path, "write_bytes", fails)
    else:
        monkeypatch.setattr(writing.os, "replace", fails)
    with pytest.raises(PvaError) as caught:
        write_text_atomic(path, "after")
    assert said(caught, tmp_path) == f"a.txt: {words}"
    monkeypatch.undo()
    assert path.read_text() == "before" and [p.name for p in tmp_path.iterdir()] == ["a.txt"]


def limited(folder: Path) -> None:
    resource.setrlimit(resource.RLIMIT_FSIZE, (100_000, 100_000))
    write_bytes_atomic(folder / "small.bin", b"x" * 50_000)
    try:
        write_bytes_atomic(folder / "large.bin", b"x" * 200_000)
    except PvaError as error:
        write_text_atomic(folder / "said.txt", str(error).replace(f"{folder}/", ""))


def test_a_real_limit_on_file_sizes(tmp_path):
    write_bytes_atomic(tmp_path / "large.bin", b"before")
    process = multiprocessing.get_context("fork").Process(target=limited, args=(tmp_path,))
    process.start()
    process.join()
    assert (tmp_path / "said.txt").read_text() == (
        "large.bin: the file would grow beyond what a command may write here. The file was left as "
        "it was. Ask for a larger limit, or write elsewhere with --out.")
    assert (tmp_path / "large.bin").read_bytes() == b"before"
    assert sorted(p.name for p in tmp_path.iterdir()) == ["large.bin", "said.txt", "small.bin"]


@pytest.fixture
def small_disk(tmp_path):
    """A disk of one megabyte; needs the right to mount one."""
    folder = tmp_path / "disk"
    folder.mkdir()
    command = ["mount", "-t", "tmpfs", "-o", "size=1m", "tmpfs", str(folder)]
    try:
        made = subprocess.run(command, capture_output=True, check=False).returncode == 0
    except OSError:
        made = False
    if not made:
        pytest.skip("no right to mount a small disk here")
    yield folder
    subprocess.run(["umount", str(folder)], check=True)


def test_a_disk_that_is_really_full(small_disk):
    write_text_atomic(small_disk / "a.txt", "before")
    with pytest.raises(PvaError) as caught:
        write_bytes_atomic(small_disk / "a.txt", b"x" * 3_000_000)
    assert said(caught, small_disk) == (
        "a.txt: the disk is full. The file was left as it was. Free some space, or write elsewhere "
        "with --out.")
    assert (small_disk / "a.txt").read_text() == "before"
    assert [p.name for p in small_disk.iterdir()] == ["a.txt"]


def test_a_disk_that_is_really_read_only(small_disk):
    write_text_atomic(small_disk / "a.txt", "before")
    subprocess.run(["mount", "-o", "remount,ro", str(small_disk)], check=True)
    for name in ("a.txt", "new.txt"):
        with pytest.raises(PvaError) as caught:
            write_text_atomic(small_disk / name, "after")
        assert said(caught, small_disk) == (
            f"{name}: the folder is write-protected. The file was left as it was. Write elsewhere "
            "with --out.")
    assert (small_disk / "a.txt").read_text() == "before"


# --- files of one answer --------------------------------------------------------------------------


def test_files_written_together_appear_together(tmp_path):
    a, b = tmp_path / "a.txt", tmp_path / "in" / "b.txt"
    write_text_atomic(a, "old")
    with together():
        write_text_atomic(a, "new")
        write_text_atomic(b, "new")
        assert a.read_text() == "old" and not b.exists()
        assert as_written(a).read_text() == "new" and as_written(tmp_path / "c") == tmp_path / "c"
        with together():
            write_text_atomic(b, "newer")
    assert a.read_text() == "new" and b.read_text() == "newer"
    assert not list(tmp_path.rglob(f"{MARK}*"))


@pytest.mark.parametrize("error", [ValueError, KeyboardInterrupt, PvaError])
def test_files_written_together_are_left_together(tmp_path, error):
    write_text_atomic(tmp_path / "a.txt", "old")
    with pytest.raises(error), together():
        write_text_atomic(tmp_path / "a.txt", "new")
        write_text_atomic(tmp_path / "b.txt", "new")
        raise error([]) if error is PvaError else error
    assert [p.name for p in tmp_path.iterdir()] == ["a.txt"]
    assert (tmp_path / "a.txt").read_text() == "old"


def test_unfinished_files_of_the_dead_are_taken_away_and_never_read(tmp_path):
    mine = unfinished_name(tmp_path / "mine.yaml")
    gone = subprocess.run([sys.executable, "-c", "import os; print(os.getpid())"],
                          capture_output=True, text=True, check=True).stdout.strip()
    dead = Path(str(unfinished_name(tmp_path / "dead.yaml")).replace(f"-{os.getpid()}-",
                                                                      f"-{gone}-"))
    away = tmp_path / f"{MARK}00000000-1-000000000000-away.yaml.tmp"
    others = tmp_path / f"{MARK}notes.yaml"
    for path in (mine, dead, away, others):
        path.write_text("half")
    folder = dead.with_name(dead.name.replace("dead", "folder"))
    folder.mkdir()
    assert tidy(tmp_path) == 2
    assert mine.exists() and away.exists() and others.exists()
    assert not dead.exists() and not folder.exists()
    assert list(tmp_path.glob("*.yaml")) == [others]  # what commands look for
    os.utime(away, (0, 0))
    write_text_atomic(tmp_path / "next.txt", "x")
    assert not away.exists()


def write_set(folder: Path, word: str) -> None:
    with together():
        for name in ("a", "b", "c"):
            write_text_atomic(folder / name, word)


def first(folder: Path, begun, ended, lock: bool) -> None:
    """Puts one file in place, lets the other begin, goes on when that has ended."""
    put = os.replace

    def stops_once(*names):
        put(*names)
        if Path(names[1]).name == "a":
            begun.set()
            ended.wait(0.5 if lock else 60)

    writing.os.replace = stops_once
    if not lock:
        writing.only_one = nullcontext
    write_set(folder, "first")


def second(folder: Path, begun, ended, lock: bool) -> None:
    if not lock:
        writing.only_one = nullcontext
    begun.wait()
    write_set(folder, "second")
    ended.set()


def left_by_two(folder: Path, *, lock: bool) -> list[str]:
    context = multiprocessing.get_context("fork")
    begun, ended = context.Event(), context.Event()
    running = [context.Process(target=one, args=(folder, begun, ended, lock))
               for one in (first, second)]
    for process in running:
        process.start()
    for process in running:
        process.join()
    assert sorted(p.name for p in folder.iterdir()) == ["a", "b", "c"]
    return [(folder / name).read_text() for name in "abc"]


def test_commands_that_write_the_same_files_at_once_do_not_mix_them(tmp_path):
    assert left_by_two(tmp_path, lock=True) == ["second"] * 3


def test_without_the_lock_they_would(tmp_path):
    assert left_by_two(tmp_path, lock=False) == ["second", "first", "first"]

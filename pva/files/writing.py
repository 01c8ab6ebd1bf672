"""Files written whole or not at all, their digests, and data that travels with the package."""

from __future__ import annotations

import errno
import hashlib
import json
import os
import shutil
from collections.abc import Callable, Iterator
from contextlib import ExitStack, contextmanager
from contextvars import ContextVar
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from pva.errors import Problem, PvaError
from pva.files.locking import only_one
from pva.files.unfinished import plan_name, tidy, unfinished_name


@dataclass
class _Waiting:
    """Files written in full that wait to be put in place, by the path each shall have."""

    files: dict[Path, Path] = field(default_factory=dict)


_WAITING: ContextVar[_Waiting | None] = ContextVar("files that wait", default=None)


@contextmanager
def together() -> Iterator[None]:
    """Files written inside are put in place at the end, one right after the other, or none.

    So a command that is stopped or killed before leaves all files of an answer as they were, and
    two commands that write the same files never mix them: one waits while the other puts its own
    in place.

    Raises
    ------
    PvaError
        As `write_with`.
    """
    if _WAITING.get() is not None:
        yield
        return
    waiting = _Waiting()
    token = _WAITING.set(waiting)
    try:
        yield
        _put_in_place(waiting.files)
    finally:
        _WAITING.reset(token)
        for beside in waiting.files.values():
            _remove(beside)


def as_written(path: Path) -> Path:
    """Where the newest content of a file stands: inside `together` not yet under its own name."""
    waiting = _WAITING.get()
    return path if waiting is None else waiting.files.get(path, path)


def write_with(path: str | os.PathLike, writer: Callable[[Path], Any]) -> Path:
    """Let `writer` fill a temporary file beside `path`, then put it in place in one step.

    Parameters
    ----------
    path : path
        File to write; its folder is made if it is missing. The old file stays whole until the new
        one is complete.
    writer : callable
        Called with the path of the temporary file.

    Returns
    -------
    pathlib.Path
        `path`.

    Raises
    ------
    PvaError
        The folder is read-only, the disk is full, or the file is open in another program.
    """
    path, waiting = Path(path), _WAITING.get()
    beside, done = unfinished_name(path), False
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
        tidy(path.parent)
        writer(beside)
        with beside.open("rb+") as handle:
            os.fsync(handle.fileno())
        done = True
    except OSError as error:
        raise PvaError(_write_problem(path, error)) from None
    finally:
        if not done:
            _remove(beside)
    if waiting is None:
        try:
            _put_in_place({path: beside})
        finally:
            _remove(beside)
    else:
        _remove(waiting.files.get(path))
        waiting.files[path] = beside
    return path


@contextmanager
def whole_folder(folder: Path) -> Iterator[Path]:
    """An unfinished folder to be filled, put in place in one step at the end, or not at all.

    Parameters
    ----------
    folder : Path
        Missing or empty.

    Yields
    ------
    Path
        The folder to fill, beside the one meant.

    Raises
    ------
    PvaError
        It cannot be made there.
    """
    beside = unfinished_name(folder)
    try:
        try:
            folder.parent.mkdir(parents=True, exist_ok=True)
            tidy(folder.parent)
            beside.mkdir()
        except OSError as error:
            raise PvaError(Problem(f"the folder cannot be made: {error.strerror}",
                                   "Name another folder.", file=str(folder),
                                   code="cannot-write")) from None
        yield beside
        try:
            if os.name == "nt" and folder.is_dir():
                folder.rmdir()
            os.replace(beside, folder)
        except OSError as error:
            raise PvaError(_write_problem(folder, error)) from None
    finally:
        shutil.rmtree(beside, ignore_errors=True)


def _put_in_place(files: dict[Path, Path]) -> None:
    folders = sorted({path.parent for path in files})
    with ExitStack() as held:
        for folder in folders:
            held.enter_context(only_one(folder))
        plans = _write_plans(folders, files) if len(files) > 1 else []
        try:
            for path, beside in files.items():
                try:
                    os.replace(beside, path)
                except OSError as error:
                    raise PvaError(_write_problem(path, error)) from None
        finally:
            for plan in plans:
                _remove(plan)
    for folder in folders:
        _sync_folder(folder)


def _write_plans(folders: list[Path], files: dict[Path, Path]) -> list[Path]:
    """Say in every folder what is about to be put in place, so that it can be gone on with."""
    content = json.dumps([[str(beside.absolute()), str(path.absolute())]
                          for path, beside in files.items()]).encode()
    plans = []
    for folder in folders:
        plan, ready = plan_name(folder), unfinished_name(folder / "plan")
        try:
            with ready.open("wb") as handle:
                handle.write(content)
                handle.flush()
                os.fsync(handle.fileno())
            os.replace(ready, plan)
        except OSError as error:
            for one in (ready, *plans):
                _remove(one)
            raise PvaError(_write_problem(folder, error)) from None
        plans.append(plan)
    return plans


def _remove(beside: Path | None) -> None:
    if beside is None:
        return
    try:
        beside.unlink(missing_ok=True)
    except OSError:  # its folder is gone or read-only: the next command takes it away
        return


def write_bytes_atomic(path: str | os.PathLike, content: bytes) -> Path:
    """Write bytes so that a reader sees the old file or the whole new one, never a part."""
    return write_with(path, lambda beside: beside.write_bytes(content))


def write_text_atomic(path: str | os.PathLike, text: str) -> Path:
    """Write UTF-8 text (line ends as given) so that a reader never sees a part of it."""
    return write_bytes_atomic(path, text.encode("utf-8"))


def _sync_folder(folder: Path) -> None:
    if os.name == "nt":
        return
    try:
        handle = os.open(folder, os.O_RDONLY)
    except OSError:  # a folder that may be written but not listed
        return
    try:
        os.fsync(handle)
    except OSError:  # some network drives cannot
        pass
    finally:
        os.close(handle)


def _write_problem(path: Path, error: OSError) -> Problem:
    if error.errno in (errno.ENOSPC, errno.EDQUOT):
        what, todo = "the disk is full", "Free some space, or write elsewhere with --out."
    elif error.errno == errno.EFBIG:
        what, todo = "the file would grow beyond what a command may write here", \
            "Ask for a larger limit, or write elsewhere with --out."
    elif error.errno == errno.EROFS:
        what, todo = "the folder is write-protected", "Write elsewhere with --out."
    elif error.errno in (errno.EACCES, errno.EPERM):
        if path.exists() and os.access(path.parent, os.W_OK):
            what, todo = "the file is open in another program or write-protected", "Close it there."
        else:
            what, todo = "the folder is write-protected", "Write elsewhere with --out."
    elif error.errno in (errno.EEXIST, errno.ENOTDIR, errno.EISDIR):
        what, todo = "a file and a folder of the same name are in each other's way", \
            "Write elsewhere with --out."
    else:
        what, todo = f"the file cannot be written: {error.strerror}", "Write elsewhere with --out."
    return Problem(what, todo, done="The file was left as it was.", file=str(path),
                   code="cannot-write")


def digest(path: str | os.PathLike) -> str:
    """SHA-256 of a file as hexadecimal text."""
    with open(path, "rb") as handle:
        return hashlib.file_digest(handle, "sha256").hexdigest()


def shipped(name: str) -> Path:
    """Place of data that travels with the package, such as ``scenarios/hesperwell``.

    In an installed package it lies inside the package; in a checkout, at the top.

    Raises
    ------
    PvaError
        Nothing of that name was shipped.
    """
    package = Path(__file__).resolve().parents[1]
    if ".." not in Path(name).parts:
        for top in (package / "shipped", package.parent):
            if (top / name).exists():
                return top / name
    raise PvaError(Problem(f"the package carries no data called {name}",
                           "Install the package again.", code="not-shipped"))

"""Files written whole or not at all, their digests, and data that travels with the package."""

from __future__ import annotations

import errno
import hashlib
import os
import secrets
from collections.abc import Callable
from pathlib import Path
from typing import Any

from pva.errors import Problem, PvaError


def write_with(path: str | os.PathLike, writer: Callable[[Path], Any]) -> Path:
    """Let `writer` fill a temporary file beside `path`, then put it in place in one step.

    Parameters
    ----------
    path : path
        File to write; its folder is made if it is missing. The old file stays whole until the new
        one is complete.
    writer : callable
        Called with the path of the temporary file, which has the same ending as `path`.

    Returns
    -------
    pathlib.Path
        `path`.

    Raises
    ------
    PvaError
        The folder is read-only, the disk is full, or the file is open in another program.
    """
    path = Path(path)
    beside = path.with_name(f".{path.stem}.{secrets.token_hex(6)}{path.suffix}")
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
        writer(beside)
        with beside.open("rb+") as handle:
            os.fsync(handle.fileno())
        os.replace(beside, path)
        _sync_folder(path.parent)
    except OSError as error:
        raise PvaError(_write_problem(path, error)) from None
    finally:
        beside.unlink(missing_ok=True) if beside.parent.is_dir() else None
    return path


def write_bytes_atomic(path: str | os.PathLike, content: bytes) -> Path:
    """Write bytes so that a reader sees the old file or the whole new one, never a part."""
    return write_with(path, lambda beside: beside.write_bytes(content))


def write_text_atomic(path: str | os.PathLike, text: str) -> Path:
    """Write UTF-8 text (line ends as given) so that a reader never sees a part of it."""
    return write_bytes_atomic(path, text.encode("utf-8"))


def _sync_folder(folder: Path) -> None:
    if os.name == "nt":
        return
    handle = os.open(folder, os.O_RDONLY)
    try:
        os.fsync(handle)
    finally:
        os.close(handle)


def _write_problem(path: Path, error: OSError) -> Problem:
    if error.errno in (errno.ENOSPC, errno.EDQUOT):
        what, todo = "the disk is full", "Free some space, or write elsewhere with --out."
    elif error.errno in (errno.EACCES, errno.EPERM, errno.EROFS):
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

"""One writer at a time: while files of one answer are put in place, others wait."""

from __future__ import annotations

import hashlib
import os
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path


@contextmanager
def only_one(folder: Path) -> Iterator[None]:
    """Hold a folder for a moment; another process that asks for it waits.

    Where the system knows no locks (some network drives), nothing is held. The system lets go of
    what a killed process held.
    """
    handle = None
    try:
        handle = _held(folder)
        yield
    finally:
        if handle is not None:
            os.close(handle)


def _held(folder: Path) -> int | None:
    try:
        if os.name == "nt":
            return _held_by_a_file(folder)
        import fcntl

        handle = os.open(folder, os.O_RDONLY)
    except (OSError, ImportError):
        return None
    try:
        fcntl.flock(handle, fcntl.LOCK_EX)
    except OSError:
        pass
    return handle


def _held_by_a_file(folder: Path) -> int:
    import msvcrt

    name = hashlib.sha256(str(folder.resolve()).encode()).hexdigest()[:16]
    handle = os.open(Path(tempfile.gettempdir()) / f"pva-{name}.lock", os.O_RDWR | os.O_CREAT)
    msvcrt.locking(handle, msvcrt.LK_LOCK, 1)  # waits about ten seconds, then gives up
    return handle

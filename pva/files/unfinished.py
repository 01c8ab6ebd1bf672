"""Names of files that are being written, and the removal of those whose writer is gone.

A command that is killed leaves its unfinished files behind. Their names tell who was writing, so
the next command that writes into the folder takes them away; nothing ever reads them.
"""

from __future__ import annotations

import hashlib
import json
import os
import platform
import re
import secrets
import shutil
import time
from pathlib import Path

MARK, PLAN = ".unfinished-", "in-place.json"
_NAME = re.compile(re.escape(MARK) + r"([0-9a-f]{8})-(\d+)-[0-9a-f]{12}-")
_ABANDONED = 86_400.0  # s after which a file of another machine is nobody's
_LONGEST = 120  # characters of the name, so that no system finds the whole too long


def unfinished_name(path: Path) -> Path:
    """A name beside a file, under which it is written before it takes its place."""
    return path.with_name(f"{MARK}{_machine()}-{os.getpid()}-{secrets.token_hex(6)}-"
                          f"{path.name[:_LONGEST]}.tmp")


def plan_name(folder: Path) -> Path:
    """A name for the list of files that are about to be put in place."""
    return unfinished_name(folder / PLAN)


def tidy(folder: Path) -> int:
    """Remove unfinished files and folders whose writer is gone; returns how many.

    If it was killed while it put the files of one answer in place, the rest follows first: all of
    them were complete. Those of a process that still runs are left, and those of another machine
    for a day.
    """
    removed = 0
    left = sorted(folder.glob(f"{MARK}*"))
    for plan in left:
        found = _NAME.match(plan.name)
        if found and plan.name.endswith(f"-{PLAN}.tmp") and _gone(plan, found[1], int(found[2])):
            _go_on(plan)
    for path in left:
        found = _NAME.match(path.name)
        if found is None or not _gone(path, found[1], int(found[2])):
            continue
        try:
            shutil.rmtree(path) if path.is_dir() else path.unlink()
        except OSError:
            continue
        removed += 1
    return removed


def _go_on(plan: Path) -> None:
    """Put in place what a killed writer had ready; done twice, it does no harm."""
    try:
        files = json.loads(plan.read_text(encoding="utf-8"))
        for beside, path in files:
            if Path(beside).exists():
                os.replace(beside, path)
    except (OSError, ValueError, TypeError):
        return


def _gone(path: Path, machine: str, process: int) -> bool:
    if process == os.getpid() and machine == _machine():
        return False
    if machine == _machine() and os.name != "nt":
        return not _runs(process)
    try:
        return time.time() - path.stat().st_mtime > _ABANDONED
    except OSError:
        return False


def _runs(process: int) -> bool:
    try:
        os.kill(process, 0)
    except ProcessLookupError:
        return False
    except (OSError, OverflowError):
        return True
    return True


def _machine() -> str:
    return hashlib.sha256(platform.node().encode()).hexdigest()[:8]

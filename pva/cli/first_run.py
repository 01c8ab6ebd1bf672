"""Says before the first run that the engine must be compiled, and sees to a place to keep it."""

from __future__ import annotations

import atexit
import os
import shutil
import sys
import tempfile
from pathlib import Path

import pva
from pva.cli.terminal import Terminal

_PACKAGE = Path(pva.__file__).resolve().parent
SECONDS = {"engine": 9, "estimate": 4}
_LAST_COMPILED = {"engine": ("kernel", "simulate_block"), "estimate": ("likelihood", "")}


def announce(terminal: Terminal, part: str = "engine") -> None:
    """Announce the compilation of a part of the package (``engine``, ``estimate``) if it is due."""
    _find_a_place(part)
    if not compiled(part):
        words = {"engine": "the engine", "estimate": "the likelihoods"}[part]
        terminal.note(f"First run: compiling {words}, about {SECONDS[part]} s; later runs start at "
                     "once.")


def compiled(part: str) -> bool:
    """Whether compiled code of a part is kept and no older than its source."""
    module, function = _LAST_COMPILED[part]
    source = _PACKAGE / part / f"{module}.py"
    if not source.is_file():
        return True
    version = f"py{sys.version_info.major}{sys.version_info.minor}"
    pattern = f"{module}.{function}*.{version}.nbi"
    kept = [f for place in _places(part) for f in place.glob(pattern)]
    return any(f.stat().st_mtime >= source.stat().st_mtime for f in kept)


def _places(part: str) -> list[Path]:
    chosen = os.environ.get("NUMBA_CACHE_DIR")
    if chosen:
        return [*Path(chosen).glob(f"{part}_*")]
    return [_PACKAGE / part / "__pycache__", *_user_cache().glob(f"{part}_*")]


def _user_cache() -> Path:
    if sys.platform == "win32":
        return Path(os.environ.get("LOCALAPPDATA", Path.home())) / "numba" / "Cache"
    if sys.platform == "darwin":
        return Path.home() / "Library" / "Caches" / "numba"
    return Path(os.environ.get("XDG_CACHE_HOME") or Path.home() / ".cache") / "numba"


def _find_a_place(part: str) -> None:
    """Where nothing can be kept, keep it for this run only; else loading the engine would fail."""
    if os.environ.get("NUMBA_CACHE_DIR"):
        return
    beside = _PACKAGE / part / "__pycache__"
    if not _writable(beside) and not _writable(_user_cache()):
        folder = tempfile.mkdtemp(prefix="pva-code-")
        atexit.register(shutil.rmtree, folder, ignore_errors=True)
        os.environ["NUMBA_CACHE_DIR"] = folder


def _writable(folder: Path) -> bool:
    try:
        folder.mkdir(parents=True, exist_ok=True)
        tempfile.TemporaryFile(dir=folder).close()
    except OSError:
        return False
    return True

"""Compiled functions are cached by the state of all their sources, so that no test runs stale code.

The cache that comes with the compiler looks only at the file of the function itself; a change in a
file it calls would go unnoticed.
"""

from __future__ import annotations

import hashlib
import os
import tempfile
from pathlib import Path

_ROOT = Path(__file__).resolve().parents[1] / "pva"
_SOURCES = [*sorted((_ROOT / "engine").glob("*.py")), *sorted((_ROOT / "estimate").glob("*.py")),
            _ROOT / "model" / "record.py", _ROOT / "compiled.py",
            _ROOT / "compiler.py"]


def _state() -> str:
    digest = hashlib.sha256()
    for source in _SOURCES:
        digest.update(source.read_bytes())
    return digest.hexdigest()[:16]


os.environ.setdefault("NUMBA_CACHE_DIR",
                      str(Path(tempfile.gettempdir()) / f"pva-compiled-{_state()}"))

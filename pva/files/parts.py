"""Finished parts of long computations, kept in a folder so that work goes on where it stopped.

A part is a file named by the digest of what was computed. It holds plain values and arrays and a
checksum; a file that was cut short or changed counts as not there.
"""

from __future__ import annotations

import hashlib
import io
import json
import os
import zlib
from pathlib import Path
from typing import Any

import numpy as np

from pva.files.unfinished import tidy
from pva.files.writing import write_bytes_atomic

MOST_BYTES = 1_000_000_000
_LEAVE = 0.9  # of the bound, when old parts have to go
_HEAD = b"pva part 1\n"
_ENDING = ".part"


class KeptParts:
    """Parts of a folder.

    Parameters
    ----------
    folder : Path
        Made when the first part is kept.
    most_bytes : int
        Bound on all parts together; those longest unused go first.
    """

    def __init__(self, folder: Path, *, most_bytes: int = MOST_BYTES):
        self.folder, self._most = Path(folder), most_bytes
        self.damaged = 0
        tidy(self.folder)
        self._bytes = sum(size for _, size, _ in self._files())

    def read(self, name: str) -> Any:
        """The value kept under a name; None if there is none or it is damaged."""
        path = self._path(name)
        try:
            content = path.read_bytes()
            os.utime(path)
        except OSError:
            return None
        try:
            return unpacked(name, content)
        except ValueError:
            self.damaged += 1
            self._remove(path, len(content))
            return None

    def write(self, name: str, value: Any) -> None:
        """Keep a value, whole or not at all.

        Raises
        ------
        PvaError
            If the folder cannot be written.
        """
        content = packed(name, value)
        if self._bytes + len(content) > self._most:
            self._make_room(len(content))
        write_bytes_atomic(self._path(name), content)
        self._bytes += len(content)

    def clear(self) -> int:
        """Remove every part, and say how many there were."""
        found = self._files()
        for path, size, _ in found:
            self._remove(path, size)
        return len(found)

    def __len__(self) -> int:
        return len(self._files())

    def _path(self, name):
        return self.folder / f"{name}{_ENDING}"

    def _files(self):
        """Path, bytes and time of last use of every part, longest unused first."""
        found = []
        for path in self.folder.glob(f"*{_ENDING}"):
            try:
                state = path.stat()
            except OSError:  # another command has just removed it
                continue
            found.append((path, state.st_size, state.st_mtime))
        return sorted(found, key=lambda f: (f[2], f[0].name))

    def _make_room(self, wanted):
        self._bytes = sum(size for _, size, _ in self._files())
        for path, size, _ in self._files():
            if self._bytes + wanted <= _LEAVE * self._most:
                break
            self._remove(path, size)

    def _remove(self, path, size):
        try:
            path.unlink(missing_ok=True)
        except OSError:
            return
        self._bytes -= size


def packed(name: str, value: Any) -> bytes:
    """A named value as bytes with a checksum over both.

    Parameters
    ----------
    value : any
        None, numbers, text, arrays, and lists and mappings (with text keys) of them.
    """
    arrays: list[np.ndarray] = []
    plain = json.dumps(_without_arrays(value, arrays))
    file = io.BytesIO()
    np.savez(file, plain=np.array(plain), **{f"a{i}": a for i, a in enumerate(arrays)})
    body = zlib.compress(file.getvalue(), level=1)
    return _HEAD + _checksum(name, body) + b"\n" + body


def unpacked(name: str, content: bytes) -> Any:
    """The value of `packed`.

    Raises
    ------
    ValueError
        If the bytes are not those that were written under this name.
    """
    start = len(_HEAD) + 65
    body = content[start:]
    if content[:start] != _HEAD + _checksum(name, body) + b"\n":
        raise ValueError("not the part that was written")
    with np.load(io.BytesIO(zlib.decompress(body)), allow_pickle=False) as found:
        return _with_arrays(json.loads(str(found["plain"])), found)


def _checksum(name, body):
    return hashlib.sha256(name.encode() + b"\n" + body).hexdigest().encode()


def _without_arrays(value, arrays):
    if isinstance(value, np.ndarray):
        arrays.append(value)
        return {"array": len(arrays) - 1}
    if isinstance(value, dict):
        return {"mapping": {str(k): _without_arrays(v, arrays) for k, v in value.items()}}
    if isinstance(value, list | tuple):
        return [_without_arrays(v, arrays) for v in value]
    return value.item() if isinstance(value, np.generic) else value


def _with_arrays(value, arrays):
    if isinstance(value, list):
        return [_with_arrays(v, arrays) for v in value]
    if not isinstance(value, dict):
        return value
    if "array" in value:
        return arrays[f"a{value['array']}"]
    return {k: _with_arrays(v, arrays) for k, v in value["mapping"].items()}

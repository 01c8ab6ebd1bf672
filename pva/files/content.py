"""A name for any plain content: the same content has the same name, on every machine."""

from __future__ import annotations

import hashlib
from collections.abc import Iterator, Mapping
from dataclasses import fields, is_dataclass
from typing import Any

import numpy as np


def content_digest(thing: Any) -> str:
    """SHA-256 over kinds, names and values, down to the last bit.

    Parameters
    ----------
    thing : any
        Numbers, text, None, arrays, dataclasses, and lists, tuples and mappings of them. The order
        of a mapping counts.

    Returns
    -------
    str
        64 hexadecimal digits.

    Raises
    ------
    TypeError
        If something else is inside, of which nobody knows whether two of it are the same.
    """
    total = hashlib.sha256()
    for part in _parts(thing):
        total.update(len(part).to_bytes(8, "little"))
        total.update(part)
    return total.hexdigest()


def _parts(thing: Any) -> Iterator[bytes]:
    if thing is None or isinstance(thing, bool | int | str):
        yield f"{type(thing).__name__} {thing}".encode("utf-8", "surrogatepass")
    elif isinstance(thing, float):
        yield b"float " + float.hex(float(thing)).encode()
    elif isinstance(thing, np.ndarray | np.generic):
        array = np.asarray(thing)
        if array.dtype.hasobject:
            raise TypeError("an array of objects has no content of its own")
        yield f"array {array.dtype.str} {array.shape}".encode()
        yield np.ascontiguousarray(array).tobytes()
    elif is_dataclass(thing) and not isinstance(thing, type):
        yield from _named(type(thing).__name__,
                          ((f.name, getattr(thing, f.name)) for f in fields(thing)))
    elif isinstance(thing, Mapping):
        yield from _named(f"mapping {len(thing)}", thing.items())
    elif isinstance(thing, list | tuple):
        yield f"{len(thing)} in a row".encode()
        for one in thing:
            yield from _parts(one)
    else:
        raise TypeError(f"a {type(thing).__name__} has no content that can be named")


def _named(kind, items):
    yield kind.encode()
    for name, value in items:
        yield from _parts(name)
        yield from _parts(value)

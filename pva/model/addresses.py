"""Names of random streams as 64-bit addresses: the same words always give the same number."""

from __future__ import annotations

from hashlib import blake2b

import numpy as np


def address(*words) -> int:
    """64-bit address of a stream named by words (stream, site, class, origin ...).

    Returns
    -------
    int
        In 0 .. 2**64 - 1.
    """
    text = "\x1f".join(str(w) for w in words)
    return int.from_bytes(blake2b(text.encode("utf-8"), digest_size=8).digest(), "little")


def address_array(stream: str, *names) -> np.ndarray:
    """Addresses of a stream over the product of lists of names.

    Parameters
    ----------
    stream : str
        Name of the stream.
    *names : sequences of str
        One list per dimension.

    Returns
    -------
    ndarray of uint64, one dimension per list
    """
    shape = tuple(len(n) for n in names)
    result = np.empty(shape, dtype=np.uint64)
    for index in np.ndindex(*shape):
        words = (names[axis][position] for axis, position in enumerate(index))
        result[index] = address(stream, *words)
    return result

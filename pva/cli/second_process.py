"""A command of the package in a process of its own, while this one goes on with other work."""

from __future__ import annotations

import subprocess
import sys
from collections.abc import Iterator, Sequence
from contextlib import contextmanager

_MAIN = "from pva.cli import main; main()"


@contextmanager
def meanwhile(arguments: Sequence[str] | None) -> Iterator[subprocess.Popen | None]:
    """Run `pva ARGUMENTS` beside the block; it is ended with the block.

    Whoever needs its answer waits for it and reads what it wrote; where it wrote nothing the work
    is done here, and then says what is wrong.

    Parameters
    ----------
    arguments : sequence of str or None
        None = nothing runs.
    """
    running = None
    if arguments is not None:
        try:
            running = subprocess.Popen([sys.executable, "-c", _MAIN, *arguments],
                                       stdin=subprocess.DEVNULL, stdout=subprocess.DEVNULL,
                                       stderr=subprocess.DEVNULL)
        except OSError:
            running = None
    try:
        yield running
    finally:
        if running is not None and running.poll() is None:
            running.kill()
            running.wait()

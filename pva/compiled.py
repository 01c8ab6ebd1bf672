"""How functions of the engine and of the likelihoods are compiled, and where they are kept.

Two kinds of functions. A part is only called from other compiled code: it needs no entry from
Python. An entry is what Python, and nothing else, calls; it is kept on disk with all its parts. In
the engine they are marked `inner` and `entry`; in the likelihoods `part` and `kept`, which have the
compiler's usual ways: errors by zero, arrays made and counted.

The compiler's own way would optimise each function together with all it calls, and again together
with each caller, and turn every one into machine code. Here parts are only written down; the entry
takes each of them in once, and then the whole is optimised and made machine code, once. That, and
what else `pva/compiler.py` spares, makes a first compilation take a third of the time. It needs
inner classes of the compiler; a version with which that was not tried compiles as it always did, to
the same numbers.

No function of the engine holds the interpreter's lock or counts the users of an array (`_nrt`).
Divisions follow the processor (no error by zero), or no loop with a division could use wide
instructions. Sums and products stay in the order written, so every machine gives the same numbers;
where two steps are one (`fma`) the code says so. A function that is kept does not notice a change
of another file: see DEVELOPERS.md.
"""

from __future__ import annotations

from contextlib import suppress
from functools import partial

from numba import njit
from numba.core.dispatcher import Dispatcher

try:
    from pva.compiler import ENTRY, PART, keep
except ImportError:  # another version of the compiler
    ENTRY, PART, keep = {}, {}, Dispatcher.enable_caching

_HOW = {"nogil": True, "error_model": "numpy", "_nrt": False}


def kept(**how):
    """Compile a function that Python calls; kept on disk where any folder can be written."""
    how = ENTRY | {"no_cfunc_wrapper": True} | how

    def compiled(function):
        made = njit(**how)(function)
        with suppress(RuntimeError):  # neither beside the package nor in the user's own folder
            keep(made)
        return made
    return compiled


part = partial(njit, **PART, no_cpython_wrapper=True, no_cfunc_wrapper=True)
inner = partial(part, **_HOW)
entry = partial(kept, **_HOW)

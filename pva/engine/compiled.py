"""How engine functions are compiled.

Inner functions are only called from other compiled code, so they need no entry from Python; leaving
it out saves much of a first compilation. What Python calls is kept on disk with all it calls. No
function holds the interpreter's lock or counts the users of an array (`_nrt`). Divisions follow
the processor (no error by zero), or no loop with a division could use wide instructions. Sums and
products stay in the order written, so every machine gives the same numbers; where two steps are one
(`fma`) the code says so. A cached function does not notice a change of another file: see
DEVELOPERS.md.
"""

from __future__ import annotations

from functools import partial

from numba import njit

_HOW = {"nogil": True, "error_model": "numpy", "_nrt": False}
inner = partial(njit, **_HOW, no_cpython_wrapper=True, no_cfunc_wrapper=True)


def entry():
    """Compile a function that Python calls; kept on disk where any folder can be written."""
    def compiled(function):
        try:
            return njit(cache=True, **_HOW)(function)
        except RuntimeError:  # neither beside the package nor in the user's own folder
            return njit(**_HOW)(function)
    return compiled

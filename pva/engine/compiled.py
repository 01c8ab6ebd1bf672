"""How engine functions are compiled.

Inner functions are only called from other compiled code, so they need no entry from Python; leaving
it out saves much of a first compilation. All are cached on disk and run without the interpreter's
lock. A cached function does not notice a change of another file: see DEVELOPERS.md.
"""

from __future__ import annotations

from functools import partial

from numba import njit

entry = partial(njit, cache=True, nogil=True)
inner = partial(njit, cache=True, nogil=True, no_cpython_wrapper=True, no_cfunc_wrapper=True)

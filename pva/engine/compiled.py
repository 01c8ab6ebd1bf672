"""How engine functions are compiled.

Inner functions are only called from other compiled code, so they need no entry from Python; leaving
it out saves much of a first compilation. All run without the interpreter's lock. Divisions follow
the processor (no error by zero), or no loop with a division could use wide instructions. Sums and
products stay in the order written, so every machine gives the same numbers; where two steps are one
(`fma`) the code says so. A cached function does not notice a change of another file: see
DEVELOPERS.md.
"""

from __future__ import annotations

from functools import partial

from numba import njit

entry = partial(njit, cache=True, nogil=True, error_model="numpy", _nrt=False)
inner = partial(njit, nogil=True, error_model="numpy", no_cpython_wrapper=True,
                no_cfunc_wrapper=True, _nrt=False)

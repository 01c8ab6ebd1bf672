"""How functions of the engine and of the likelihoods are compiled, and where they are kept.

Two kinds of functions. A part is only called from other compiled code: it needs no entry from
Python. An entry is what Python calls; it is kept on disk with all its parts. In the engine they are
marked `inner` and `entry`; in the likelihoods `part` and `kept`, which have the compiler's usual
ways: errors by zero, arrays made and counted.

The compiler's own way would optimise each function together with all it calls, and again together
with each caller, and turn every one into machine code. Here parts are only written down; the entry
takes each of them in once, and then the whole is optimised and made machine code, once. That halves
a first compilation. It needs inner classes of the compiler; a version with which that was not
tried compiles as it always did, to the same numbers.

No function of the engine holds the interpreter's lock or counts the users of an array (`_nrt`).
Divisions follow the processor (no error by zero), or no loop with a division could use wide
instructions. Sums and products stay in the order written, so every machine gives the same numbers;
where two steps are one (`fma`) the code says so. A function that is kept does not notice a change
of another file: see DEVELOPERS.md.
"""

from __future__ import annotations

import gc
from contextlib import contextmanager
from functools import partial

from numba import njit, version_info

_HOW = {"nogil": True, "error_model": "numpy", "_nrt": False}


_TRIED = (0, 60), (0, 68)  # first and last version of the compiler whose inner classes were tried


try:
    if not _TRIED[0] <= version_info[:2] <= _TRIED[1]:
        raise ImportError("a version whose inner classes were never tried")
    from llvmlite.binding import Linkage
    from numba.core.codegen import JITCodeLibrary
    from numba.core.compiler import Compiler
except ImportError:  # pragma: no cover - another version of the compiler
    _PART, _ENTRY = {}, {}
else:
    class _Part(JITCodeLibrary):
        """Code of a part: neither optimised nor made machine code by itself."""

        @property
        def codegen(self):
            return _Unentered(self._codegen)

        def add_linking_library(self, library):
            self._linking_libraries.append(library)

        def get_pointer_to_function(self, name):
            return 0

        def finalize(self):
            """For a caller that is no entry of ours: with all parts that are called from here."""
            _take_in(self, self._linking_libraries)
            self._finalized = True

        def for_linking(self):
            for function in self._final_module.functions:
                if not function.is_declaration and function.linkage == Linkage.external:
                    function.linkage = Linkage.linkonce_odr
            return self._final_module

        def _get_module_for_linking(self):
            self._ensure_finalized()
            return self.for_linking()

    class _Unentered:
        """The code generator, for parts: they have no environment of Python objects."""

        def __init__(self, codegen):
            self._codegen = codegen

        def set_env(self, env_name, env):
            """Nothing to set: the part is not in memory."""

        def __getattr__(self, name):
            return getattr(self._codegen, name)

    class _Whole(JITCodeLibrary):
        """Code of an entry and of all its parts."""

        def add_linking_library(self, library):
            if not isinstance(library, _Part):
                super().add_linking_library(library)
            elif library not in self._linking_libraries:
                self._linking_libraries.append(library)

        def finalize(self):
            parts = [x for x in self._linking_libraries if isinstance(x, _Part)]
            self._linking_libraries = [x for x in self._linking_libraries if x not in parts]
            _take_in(self, parts)
            super().finalize()

    def _take_in(whole, libraries):
        """Link parts, and the parts that they call, into a module, each once."""
        seen, waiting = {whole}, list(libraries)
        while waiting:
            library = waiting.pop()
            if library in seen:
                continue
            seen.add(library)
            if isinstance(library, _Part):
                whole._final_module.link_in(library.for_linking(), preserve=True)
                waiting += library._linking_libraries
            else:
                whole._final_module.link_in(library._get_module_for_linking(), preserve=True)

    @contextmanager
    def _nothing_collected():
        """Compiling makes millions of objects that live to its end: looking for waste is vain."""
        was = gc.isenabled()
        gc.disable()
        try:
            yield
        finally:
            if was:
                gc.enable()

    def _into(kind):
        """A compiler whose code goes into a library of a kind."""
        class Into(Compiler):
            def __init__(self, typingctx, targetctx, library, *rest):
                library = kind(targetctx.codegen(), kind.__name__)
                library.enable_object_caching()
                super().__init__(typingctx, targetctx, library, *rest)

            def compile_extra(self, func):
                with _nothing_collected():
                    return super().compile_extra(func)
        return {"pipeline_class": Into}

    _PART, _ENTRY = _into(_Part), _into(_Whole)


def kept(**how):
    """Compile a function that Python calls; kept on disk where any folder can be written."""
    how = _ENTRY | {"no_cfunc_wrapper": True} | how

    def compiled(function):
        try:
            return njit(cache=True, **how)(function)
        except RuntimeError:  # neither beside the package nor in the user's own folder
            return njit(**how)(function)
    return compiled


part = partial(njit, **_PART, no_cpython_wrapper=True, no_cfunc_wrapper=True)
inner = partial(part, **_HOW)
entry = partial(kept, **_HOW)

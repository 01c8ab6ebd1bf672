"""Inner classes of the compiler, as the package uses them; what for: `pva/compiled.py`.

A version with which this was not tried is refused: `compiled.py` then does without.
"""

from __future__ import annotations

import gc
from contextlib import contextmanager

from llvmlite.binding import (
    Linkage,
    create_pass_builder,
    create_pipeline_tuning_options,
    parse_assembly,
)
from numba import types, version_info
from numba.core.caching import FunctionCache
from numba.core.codegen import JITCodeLibrary
from numba.core.compiler import Compiler
from numba.core.compiler_machinery import PassManager
from numba.core.cpu import CPUContext
from numba.core.runtime import rtsys
from numba.core.typing import Context
from numba.extending import models, register_model

_TRIED = (0, 61), (0, 68)  # first and last version of the compiler whose inner classes were tried
# steps for what our functions never hold: closures, comprehensions, `with`, functions written into
# others, sums of whole arrays made one loop, what differs by literal values
_NEEDLESS = {
    "WithLifting", "InlineClosureLikes", "RewriteSemanticConstants", "DeadBranchPrune",
    "RewriteDynamicRaises", "MakeFunctionToJitFunction", "InlineInlinables", "InlineOverloads",
    "FindLiterallyCalls", "LiteralUnroll", "LiteralPropagationSubPipelinePass", "NopythonRewrites",
    "DumpParforDiagnostics",
}  # fmt: skip

if not _TRIED[0] <= version_info[:2] <= _TRIED[1]:
    raise ImportError("a version of the compiler whose inner classes were never tried")


class _Part(JITCodeLibrary):
    """Code of a part: neither optimised nor made machine code by itself."""

    @property
    def codegen(self):
        return _Unentered(self._codegen)

    def add_linking_library(self, library):
        _refuse_entries(library)
        self._linking_libraries.append(library)

    def _optimize_functions(self, module):
        """Not before the whole is. Code that counts users of arrays stays slow, unless it is."""
        if self.counts:
            super()._optimize_functions(module)
        else:
            module.data_layout = self._codegen._data_layout

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
        _refuse_entries(library)
        if not isinstance(library, _Part):
            super().add_linking_library(library)
        elif library not in self._linking_libraries:
            self._linking_libraries.append(library)

    def _optimize_final_module(self):
        """Once, and without writing loops out several times: wide instructions are enough."""
        how = create_pipeline_tuning_options(speed_level=3)
        how.loop_vectorization, how.slp_vectorization, how.loop_unrolling = True, False, False
        builder = create_pass_builder(self._codegen._tm, how)
        passes = builder.getModulePassManager()
        passes.add_refprune_pass()
        passes.run(self._final_module, builder)

    def finalize(self):
        parts = [x for x in self._linking_libraries if isinstance(x, _Part)]
        self._linking_libraries = [x for x in self._linking_libraries if x not in parts]
        _take_in(self, parts)
        super().finalize()

    def serialize_using_object_code(self):
        """Machine code, and of the compiler's own language but the name by which Python calls it.

        The rest would be read anew in every process, and only to be taken into other code.
        """
        self._ensure_finalized()
        named = "\n".join(f'define i64 @"{f.name}"() {{ ret i64 0 }}'
                          for f in self._final_module.functions if f.name.startswith("_ZN7cpython"))
        names = parse_assembly(named).as_bitcode()
        return self.name, "object", (self._get_compiled_object(), names)


def _refuse_entries(library):
    if library.name == _Whole.__name__:  # of its own class no longer, if brought back from disk
        raise TypeError("an entry is called from Python alone; what both call is a part")


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


class _Function(types.Function):
    """A function of the compiler's library that remembers the types that calls of it gave."""

    def __init__(self, function, context):
        self._context, self._known = context, {}
        super().__init__(function.templates)

    @property
    def key(self):
        return *super().key, id(self._context)

    def get_call_type(self, context, args, kws):
        call = tuple(args), tuple(kws.items())
        if call not in self._known:
            self._known[call] = super().get_call_type(self._context, args, kws)
        return self._known[call]


register_model(_Function)(models.OpaqueModel)


class _Typing(Context):
    """What the compiler knows about types, with a memory.

    Without it more than ten rules that do not hold are tried at every access of an array.
    """

    def __init__(self, context):
        vars(self).update(vars(context))
        self._context, self._known = context, {}

    def refresh(self):
        self._context.refresh()

    def _lookup_global(self, value):
        found = super()._lookup_global(value)
        if type(found) is not types.Function:
            return found
        if found not in self._known:
            self._known[found] = _Function(found, self)
        return self._known[found]


class _Target(CPUContext):
    """What the compiler knows about code, with a memory of types."""

    def __init__(self, context, typing):
        vars(self).update(vars(context), typing_context=typing)

    def get_function(self, function, signature, _firstcall=True):
        # looked for, in vain, at every access of an array: no reason to read all libraries again
        return super().get_function(function, signature, _firstcall and function != "__array__")


_TYPING = {}  # by the flags of the compiler, which a call's types may depend on


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
            library.counts = self.state.flags.nrt
            flags = self.state.flags.summary()
            if flags not in _TYPING:
                _TYPING[flags] = _Typing(typingctx)
            self.state.typingctx = _TYPING[flags]
            self.state.targetctx = _Target(self.state.targetctx, _TYPING[flags])

        def define_pipelines(self):
            [usual] = super().define_pipelines()
            steps = PassManager(usual.pipeline_name)
            for step, words in usual.passes:
                if step.__name__ not in _NEEDLESS:
                    steps.add_pass(step, words)
            steps.finalize()
            return [steps]

        def compile_extra(self, func):
            with _nothing_collected():
                return super().compile_extra(func)
    return {"pipeline_class": Into}


class _Cache(FunctionCache):
    """Code kept on disk, brought back without all that only compiling needs."""

    def load_overload(self, sig, target_context):
        rtsys.initialize(target_context)
        with self._guard_against_spurious_io_errors():
            return self._load_overload(sig, target_context)


def keep(function):
    """Keep a compiled function on disk."""
    function._cache = _Cache(function.py_func)


PART, ENTRY = _into(_Part), _into(_Whole)

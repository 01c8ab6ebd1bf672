"""Records of arrays, handed to compiled code as one address.

A record of a hundred arrays would travel through every call of compiled code as some nine hundred
numbers: where each array lies, how long it is, how far apart its rows are. `held` writes these
numbers down once, in one row of memory; functions are given where that row begins and read what
they need. In compiled code a held record looks like the record itself (`work.chance`). Nothing in
such a row changes while compiled code runs, which each read says (`invariant.load`), so that reads
move out of loops.
"""

from __future__ import annotations

from functools import cache
from hashlib import sha256

import numpy as np
from llvmlite import ir
from numba import types
from numba.core import cgutils
from numba.core.typing.templates import AttributeTemplate
from numba.extending import (
    NativeValue,
    infer_getattr,
    lower_getattr_generic,
    models,
    register_model,
    unbox,
)
from numba.np.numpy_support import as_dtype, from_dtype

_WORD = 8  # bytes


class Held:
    """A record that compiled code can be given; it keeps the record's arrays in memory."""

    def __init__(self, record):
        arrays, words = [], []
        self._numba_type_ = _written(record, arrays, words)
        self._arrays = arrays
        self._words = np.array(words, dtype=np.uint64)
        self.address = self._words.ctypes.data


def _written(record, arrays, words):
    """Type of a record; its arrays and numbers are added to the lists."""
    fields = []
    for name, value in zip(record._fields, record, strict=True):
        if isinstance(value, np.ndarray):
            if not value.flags.c_contiguous:
                raise ValueError(f"{name}: rows of an array that is held lie end to end")
            arrays.append(value)
            words += [value.size, value.ctypes.data, *value.shape, *value.strides]
            fields.append((name, value.dtype.str, value.ndim))
        elif isinstance(value, tuple):
            fields.append((name, _written(value, arrays, words), 0))
        else:
            number = np.float64(value) if isinstance(value, float) else np.int64(value)
            words.append(int(number.view(np.uint64)))
            fields.append((name, number.dtype.str, 0))
    return _type_of(type(record).__name__, tuple(fields))


@cache
def _type_of(name, fields):
    places, end = {}, 0
    for field, kind, dimensions in fields:
        if isinstance(kind, HeldType):
            places[field] = (kind, end)
            end += kind.words
        elif dimensions:
            places[field] = (types.Array(from_dtype(np.dtype(kind)), dimensions, "C"), end)
            end += 2 + 2 * dimensions
        else:
            places[field] = (from_dtype(np.dtype(kind)), end)
            end += 1
    return HeldType(name, places, end)


class HeldType(types.Type):
    """Type of a held record: the type of each field and the word where it begins."""

    def __init__(self, record, places, words):
        self.places, self.words = places, words
        digest = sha256(repr([(f, str(t)) for f, (t, _) in places.items()]).encode()).hexdigest()
        super().__init__(name=f"{record}{digest[:12]}")


register_model(HeldType)(models.OpaqueModel)


@unbox(HeldType)
def _unbox(kind, held, c):
    address = c.pyapi.object_getattr_string(held, "address")
    pointer = c.pyapi.long_as_voidptr(address)
    c.pyapi.decref(address)
    return NativeValue(pointer)


@infer_getattr
class _Fields(AttributeTemplate):
    key = HeldType

    def generic_resolve(self, kind, field):
        return kind.places[field][0] if field in kind.places else None


@lower_getattr_generic(HeldType)
def _read(context, builder, kind, record, field):
    found, first = kind.places[field]
    if isinstance(found, HeldType):
        return builder.gep(record, [_word(first * _WORD)])
    if not isinstance(found, types.Array):
        return _load(builder, record, first, context.get_value_type(found))
    model = context.data_model_manager[found]
    array, at = ir.Constant(model.get_value_type(), None), model.get_field_position
    size, data, *rest = range(first, first + 2 + 2 * found.ndim)
    steps = [_load(builder, record, place, cgutils.intp_t) for place in rest[:-1]]
    steps.append(_word(as_dtype(found.dtype).itemsize))
    put = builder.insert_value  # one by one: far less to read for the compiler than in memory
    array = put(array, _load(builder, record, size, cgutils.intp_t), at("nitems"))
    array = put(array, steps[-1], at("itemsize"))
    array = put(array, _load(builder, record, data, array.type.elements[at("data")]), at("data"))
    for k, step in enumerate(steps):
        name = "shape" if k < found.ndim else "strides"
        array = put(array, step, (at(name), k % found.ndim))
    return array


def _word(number):
    return ir.Constant(cgutils.intp_t, number)


def _load(builder, record, place, kind):
    """A word of a record, which does not change as long as compiled code runs."""
    where = builder.bitcast(builder.gep(record, [_word(place * _WORD)]), kind.as_pointer())
    value = builder.load(where)
    value.set_metadata("invariant.load", builder.module.add_metadata([]))
    return value

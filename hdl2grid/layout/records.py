"""Records of arrays that compiled kernels take by their address.

numba hands a named tuple of arrays to a function field by field, seven words for each array; with records of sixty
arrays, most of the time of compiling goes into that, for every function and every call. A `Record` is handed over as
one pointer to a table that says where its arrays are; a kernel that asks for a field reads it there. Fields are arrays
in C's order, further records, or what is annotated as `int`, `float` or `bool`. A kernel may write into the arrays; it
cannot put another array in their place, nor change a number.

This is the only file that uses numba's internals. `tests/test_numba_contract.py` says what they must do.
"""

from __future__ import annotations

import struct
from dataclasses import fields
from functools import cached_property
from typing import Any

import numpy as np
import numpy.typing as npt
from llvmlite import ir
from numba.core import types
from numba.core.typing.templates import AttributeTemplate
from numba.extending import NativeValue, infer_getattr, lower_getattr_generic, models, register_model, unbox
from numba.np.arrayobj import make_array, populate_array
from numba.np.numpy_support import from_dtype

WORD = ir.IntType(64)
"""A word of the table."""
NUMBERS: dict[Any, types.Type] = {"int": types.int64, "float": types.float64, "bool": types.boolean}
"""Types of the fields that are numbers, by their annotation: a whole number in a field of floats is handed as a float,
so that a kernel is compiled once."""


class RecordType(types.Type):
    """numba's type of a record: its name, and for each field its type and its first word in the table."""

    def __init__(self, name: str, members: tuple[tuple[str, types.Type], ...]) -> None:
        self.members = members
        self.places: dict[str, tuple[types.Type, int]] = {}
        word = 0
        for field, kind in members:
            self.places[field] = kind, word
            word += 1 + (kind.ndim if isinstance(kind, types.Array) else 0)
        super().__init__(name=name)

    @property
    def key(self) -> tuple[str, tuple[tuple[str, types.Type], ...]]:
        return self.name, self.members


class Record:
    """Base of frozen dataclasses (`eq=False`) that kernels take by their address."""

    def __iter__(self) -> Any:
        return (getattr(self, field.name) for field in fields(self))  # type: ignore[arg-type]

    def __reduce__(self) -> tuple[type, tuple[Any, ...]]:
        """Without the table: in another process the arrays are somewhere else."""
        return type(self), tuple(self)

    @cached_property
    def _numba_type_(self) -> RecordType:
        name = type(self).__name__
        kinds = ((f.name, NUMBERS.get(f.type) or _kind(name, f.name, getattr(self, f.name))) for f in fields(self))  # type: ignore[arg-type]
        return RecordType(name, tuple(kinds))

    @cached_property
    def _table(self) -> npt.NDArray[np.int64]:
        words: list[int] = []
        for value, (_, kind) in zip(self, self._numba_type_.members, strict=True):
            if isinstance(kind, types.Array):
                words += [value.ctypes.data, *value.shape]
            elif kind is types.float64:
                words += struct.unpack("q", struct.pack("d", value))
            else:
                words.append(value.address if isinstance(kind, RecordType) else int(value))
        return np.array(words, np.int64)

    @cached_property
    def address(self) -> int:
        """Of the table: for each array the address of its data and its shape; a number; the address of a record."""
        return int(self._table.ctypes.data)


def _kind(record: str, name: str, value: Any) -> types.Type:
    if isinstance(value, Record):
        return value._numba_type_
    if not isinstance(value, np.ndarray):
        raise TypeError(f"{record}.{name} is no array, and not annotated as a number: a kernel cannot take it")
    if not (value.flags.c_contiguous and value.flags.writeable and value.flags.aligned):
        raise TypeError(f"{record}.{name} is an array that a kernel cannot take: it is not whole, or not to be written")
    return types.Array(from_dtype(value.dtype), value.ndim, "C")


@register_model(RecordType)
class _Model(models.OpaqueModel):
    pass


@unbox(RecordType)  # type: ignore[no-untyped-call, untyped-decorator]
def _unbox(_kind: RecordType, record: Any, c: Any) -> NativeValue:
    number = c.pyapi.object_getattr_string(record, "address")
    address = c.pyapi.long_as_longlong(number)
    c.pyapi.decref(number)
    pointer = c.builder.inttoptr(address, c.context.get_value_type(types.voidptr))
    return NativeValue(pointer, is_error=c.pyapi.c_api_error())  # type: ignore[no-untyped-call]


@infer_getattr
class _Fields(AttributeTemplate):
    key = RecordType

    def generic_resolve(self, kind: RecordType, field: str) -> types.Type | None:  # type: ignore[override]
        return kind.places[field][0] if field in kind.places else None


@lower_getattr_generic(RecordType)  # type: ignore[no-untyped-call, untyped-decorator]
def _field(context: Any, builder: Any, kind: RecordType, pointer: Any, field: str) -> Any:
    """Reads the field from the table, whose words never change (so the compiler may read each of them just once)."""
    member, place = kind.places[field]
    table = builder.bitcast(pointer, WORD.as_pointer())

    def word(number: int) -> Any:
        loaded = builder.load(builder.gep(table, [ir.Constant(WORD, place + number)]))
        loaded.set_metadata("invariant.load", builder.module.add_metadata([]))
        return loaded

    if isinstance(member, RecordType):
        return builder.inttoptr(word(0), pointer.type)
    if member is types.float64:
        return builder.bitcast(word(0), ir.DoubleType())
    if member is types.boolean:
        return builder.icmp_signed("!=", word(0), ir.Constant(WORD, 0))
    if not isinstance(member, types.Array):
        return word(0)
    array = make_array(member)(context, builder)  # type: ignore[no-untyped-call]
    itemsize = context.get_abi_sizeof(context.get_data_type(member.dtype))
    shape = [word(1 + axis) for axis in range(member.ndim)]
    strides = [ir.Constant(WORD, itemsize)]
    for extent in reversed(shape[1:]):
        strides.insert(0, builder.mul(strides[0], extent, flags=["nsw"]))
    data = builder.inttoptr(word(0), array.data.type)
    size = ir.Constant(WORD, itemsize)
    populate_array(array, data, shape, strides, size, meminfo=None)  # type: ignore[no-untyped-call]
    return array._getvalue()

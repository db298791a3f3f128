"""What `layout/records.py` uses of numba's internals, one test each: a new numba that breaks one fails here first.

Each failure names what has changed and the place in `records.py` that relies on it. If it cannot be mended there, hold
numba at the version before, in `pyproject.toml`.
"""

from __future__ import annotations

import os
import subprocess
import sys
from dataclasses import dataclass
from importlib.metadata import version
from typing import Any

import numpy as np
import pytest
from llvmlite import ir
from numba import njit, typeof
from numba.core import types
from numba.np.numpy_support import from_dtype

from hdl2grid.layout.records import Record, RecordType

HOW = f"numba {version('numba')}: {{}} Mend it in hdl2grid/layout/records.py, or hold numba at the version before."


@dataclass(frozen=True, eq=False)
class Numbers(Record):
    whole: int
    real: float
    flag: bool


@dataclass(frozen=True, eq=False)
class Arrays(Record):
    small: Any
    cube: Any
    numbers: Numbers


def make(whole: int = -3, real: float = 0.1, flag: bool = True) -> Arrays:
    return Arrays(
        small=np.arange(6, dtype=np.int16),
        cube=np.arange(24, dtype=np.float64).reshape(2, 3, 4),
        numbers=Numbers(whole=whole, real=real, flag=flag),
    )


@njit
def read_numbers(record: Any) -> Any:
    numbers = record.numbers
    return numbers.whole, numbers.real, numbers.flag


@njit
def read_arrays(record: Any) -> Any:
    return record.cube.shape, record.cube[1, 2, 3], record.cube[:, 1, 2].sum(), record.small[-1], record.small.itemsize


@njit
def hand_on(record: Any) -> Any:
    return read_arrays(record)


def test_an_object_with_a_numba_type_is_taken_by_that_type() -> None:
    kind = typeof(make())
    assert isinstance(kind, RecordType), HOW.format("`typeof` no longer asks an object for `_numba_type_`.")


def test_types_with_equal_keys_are_one_type() -> None:
    assert typeof(make()) == typeof(make()) and hash(typeof(make())) == hash(typeof(make()))
    read_numbers(make())
    read_numbers(make(whole=5, real=2))
    assert len(read_numbers.signatures) == 1, HOW.format("`Type.key` no longer decides whether types are equal.")


def test_numbers_are_handed_as_annotated() -> None:
    got = read_numbers(make(whole=-(2**62), real=0.1, flag=False))
    assert got == (-(2**62), 0.1, False), HOW.format(
        "int64, float64 or boolean has another value in a kernel (_field)."
    )
    assert [type(value) for value in got] == [int, float, bool]
    whole = read_numbers(make(real=7))
    assert whole[1] == 7.0 and isinstance(whole[1], float)


def test_arrays_are_handed_with_shape_and_strides() -> None:
    assert read_arrays(make()) == ((2, 3, 4), 23.0, 6.0 + 18.0, 5, 2), HOW.format(
        "`make_array` or `populate_array` fills the structure of an array in another way (_field)."
    )


def test_a_record_goes_from_kernel_to_kernel() -> None:
    assert hand_on(make()) == read_arrays(make()), HOW.format("The opaque model of a record is no pointer any more.")


def test_arrays_outlive_a_call_and_are_written_in_place() -> None:
    @njit
    def write(record: Any) -> None:
        record.small[:] = record.small[::-1].copy()
        record.cube[0, 0, 0] = record.numbers.real

    record = make()
    for _ in range(100):
        write(record)
    assert record.small.tolist() == [0, 1, 2, 3, 4, 5] and record.cube[0, 0, 0] == 0.1, HOW.format(
        "An array without `meminfo` is no longer borrowed."
    )


def test_a_field_that_is_not_there_is_a_typing_error() -> None:
    @njit
    def wrong(record: Any) -> Any:
        return record.nothing

    with pytest.raises(Exception, match="nothing"):
        wrong(make())


def test_types_of_elements() -> None:
    for dtype in (np.bool_, np.int8, np.int16, np.int32, np.int64, np.uint64, np.float64):
        kind = types.Array(from_dtype(np.dtype(dtype)), 2, "C")
        assert kind == typeof(np.zeros((1, 1), dtype)), HOW.format("`from_dtype` or `types.Array` has changed (_kind).")


def test_builder_makes_the_instructions_in_use() -> None:
    word = ir.IntType(64)
    function = ir.Function(ir.Module(), ir.FunctionType(ir.DoubleType(), [word.as_pointer()]), "read")
    builder = ir.IRBuilder(function.append_basic_block())
    loaded = builder.load(builder.gep(function.args[0], [ir.Constant(word, 1)]))
    loaded.set_metadata("invariant.load", builder.module.add_metadata([]))
    builder.ret(builder.bitcast(loaded, ir.DoubleType()))
    text = str(function)
    assert "invariant.load" in text and "bitcast i64" in text, HOW.format("llvmlite's builder writes something else.")


def test_kernels_that_take_records_are_cached_on_disk(tmp_path) -> None:
    """A program that reads its kernels from the cache does not compile them: this is what a second plan lives on."""

    module = tmp_path / "kernel_in_cache.py"
    module.write_text(
        "from __future__ import annotations\n"
        "from dataclasses import dataclass\n"
        "from typing import Any\n"
        "import numpy as np\n"
        "from numba import njit\n"
        "from hdl2grid.layout.records import Record\n"
        "@dataclass(frozen=True, eq=False)\n"
        "class Row(Record):\n"
        "    values: Any\n"
        "    share: float\n"
        "@njit(cache=True)\n"
        "def scaled(row):\n"
        "    return row.values.sum() * row.share\n"
        "print(scaled(Row(values=np.arange(4), share=0.5)), sum(scaled.stats.cache_hits.values()))\n",
        encoding="utf-8",
    )
    environment = {**os.environ, "NUMBA_CACHE_DIR": str(tmp_path / "cache")}
    told = [
        subprocess.run(
            [sys.executable, str(module)], env=environment, capture_output=True, text=True, check=True
        ).stdout
        for _ in range(2)
    ]
    assert [line.split() for line in told] == [["3.0", "0"], ["3.0", "1"]], HOW.format(
        "A kernel that takes a record is not cached (RecordType must be pickled and keyed by its name and members)."
    )

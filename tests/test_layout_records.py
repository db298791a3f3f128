"""Records that kernels take by their address: what they read and write is what the arrays hold."""

from __future__ import annotations

import pickle
from dataclasses import dataclass
from typing import Any

import numpy as np
import pytest
from numba import njit

from hdl2grid.layout.records import Record


@dataclass(frozen=True, eq=False)
class Inner(Record):
    flags: Any


@dataclass(frozen=True, eq=False)
class Outer(Record):
    numbers: Any
    table: Any
    count: int
    inner: Inner


def make() -> Outer:
    table = np.arange(24, dtype=np.int16).reshape(2, 3, 4)
    return Outer(np.arange(5.0), table, 7, Inner(np.zeros(3, np.bool_)))


@njit
def write(record: Any) -> Any:
    record.numbers[2] = record.table[1, 2, 3] + record.count
    record.table[0] = record.table[1]
    record.inner.flags[1] = True
    return record.numbers.shape[0], record.table.shape, record.table[:, 1].sum()


def test_kernels_read_and_write_the_arrays_themselves():
    record = make()
    assert write(record) == (5, (2, 3, 4), 2 * (16 + 17 + 18 + 19))
    assert record.numbers[2] == 30.0
    assert (record.table[0] == record.table[1]).all()
    assert list(record.inner.flags) == [False, True, False]


def test_a_copy_that_was_sent_to_another_process_has_its_own_table():
    first = make()
    write(first)
    second = pickle.loads(pickle.dumps(first))
    assert second.address != first.address
    second.table[1] = 0
    assert write(second)[2] == 0
    assert first.table[1, 2, 3] == 23


def test_an_array_that_is_not_whole_is_refused():
    with pytest.raises(TypeError, match=r"Inner\.flags"):
        write(Outer(np.zeros(5), np.zeros((2, 3, 4), np.int16), 0, Inner(np.zeros(6, np.bool_)[::2])))


def test_fields_come_in_their_order():
    record = make()
    fields = (record.numbers, record.table, record.count, record.inner)
    assert all(a is b for a, b in zip(record, fields, strict=True))

"""Exclusive-or sums of pseudoproducts (ESPP): terms, their algebra, and merging. Compiled kernels.

A *pseudoproduct* (F. Luccio, L. Pagli, "On a new Boolean function with applications", IEEE Trans. Computers 48, 1999)
is a product of affine forms: one stack. The points where it is 1 are a *flat*: there some affine functions are all 0.
Several functions at once are a list of terms (flat, mask): bit `t` of the mask says that the flat is part of function
`t`'s sum. Affine functions are free, so flats of at most one constraint vanish, and the constants of a flat of two
constraints do not matter. Two flats that are hyperplanes of a common flat add up to one.

A constraint is a word: bit `i` is variable `i`, bit 63 the constant. A flat's rows are reduced, each with its
highest variable as pivot, in descending order.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any, NamedTuple

import numpy as np
from numba import njit

from hdl2grid.synth.gf2 import Basis

MOST_VARIABLES = 63
"""A constraint is one word, and its last bit the constant."""
MOST_ROWS = 24
"""Constraints of a flat: there is room for so many. Guessed."""
SCRATCH = 10
"""Rows of room that the kernels work in. Each is used for what its name says, those that follow."""
RESIDUE, COMMON, REST_A, REST_B, FIRST, SECOND, CURRENT, MERGED, ONE, TWO = range(SCRATCH)
CONSTANT = 1 << 63
"""The bit of a constraint that is the constant 1."""
_CONSTANT = np.uint64(CONSTANT)
_LINEAR = np.uint64(CONSTANT - 1)  # all variables
_BIT = np.uint64(1)  # words, not numbers, for numba
_ZERO = np.uint64(0)  # likewise


def canonical(rows: Sequence[int]) -> tuple[int, ...]:
    """The constraints of a flat, reduced: equal flats have equal ones."""
    return Basis(rows, ignore=CONSTANT).sorted_rows()


class TermRows(NamedTuple):
    """Terms, of which the first few are in use: the constraints of each flat (a row of `MOST_ROWS` words), how many
    there are, and the mask of functions."""

    rows: Any
    sizes: Any
    masks: Any


@njit(cache=True, inline="always")
def _pivot(row: Any) -> Any:
    """The highest variable of a row, as a word of one bit."""
    v = row & _LINEAR
    v |= v >> np.uint64(1)
    v |= v >> np.uint64(2)
    v |= v >> np.uint64(4)
    v |= v >> np.uint64(8)
    v |= v >> np.uint64(16)
    v |= v >> np.uint64(32)
    return v ^ (v >> _BIT)


@njit(cache=True)
def insert(rows: Any, size: int, row: Any) -> int:
    """Adds a constraint to `rows[:size]`; the new size, or -1 where the flat becomes empty."""
    for i in range(size):
        if row & _pivot(rows[i]):
            row ^= rows[i]
    if row == _ZERO:
        return size
    if row == _CONSTANT:
        return -1
    pivot = _pivot(row)
    at = 0
    for i in range(size):
        if rows[i] & pivot:
            rows[i] ^= row
        if _pivot(rows[i]) > pivot:
            at = i + 1
    for i in range(size, at, -1):
        rows[i] = rows[i - 1]
    rows[at] = row
    return size + 1


@njit(cache=True)
def split(a: Any, ka: int, b: Any, kb: int, scratch: Any, most: int) -> Any:
    """Common constraints of two flats, and what each has beyond them; (-1, 0, 0) where that is more than `most`.
    They are left in the rows COMMON, REST_A and REST_B of `scratch`."""
    residue, common, rest_a, rest_b = scratch[RESIDUE], scratch[COMMON], scratch[REST_A], scratch[REST_B]
    count, p = 0, 0
    for j in range(kb):
        row = b[j]
        left = row
        for i in range(ka):
            if left & _pivot(a[i]):
                left ^= a[i]
        for i in range(count):
            low = residue[i] & (~residue[i] + _BIT)
            if left & low:
                left ^= residue[i]
                row ^= rest_b[i]
        if left == _ZERO:
            p = insert(common, p, row)
        else:
            if count == most:
                return -1, 0, 0
            residue[count] = left
            rest_b[count] = row
            count += 1
    if ka - p > most:
        return -1, 0, 0
    extra = 0
    for i in range(ka):
        row = a[i]
        for j in range(p):
            if row & _pivot(common[j]):
                row ^= common[j]
        for j in range(extra):
            low = residue[j] & (~residue[j] + _BIT)
            if row & low:
                row ^= residue[j]
        if row != _ZERO:
            residue[extra] = row
            rest_a[extra] = row
            extra += 1
    return p, extra, count


@njit(cache=True)
def make(common: Any, p: int, first: Any, second: Any, count: int, out: Any) -> int:
    """The flat of `common` and one or two further constraints."""
    for i in range(p):
        out[i] = common[i]
    if count == 0:
        return p
    size = insert(out, p, first)
    if count == 2 and size >= 0:
        size = insert(out, size, second)
    return size


@njit(cache=True)
def _tidy(rows: Any, size: int) -> int:
    """Up to affine functions: 0 where the flat is free, its constants dropped where it has two constraints."""
    if size <= 1:
        return 0
    if size == 2:
        rows[0] &= _LINEAR
        rows[1] &= _LINEAR
    return size


@njit(cache=True)
def merge(a: Any, ka: int, b: Any, kb: int, out: Any, scratch: Any) -> int:
    """The flat that is the exclusive sum of two others up to affine functions; -1 where there is none."""
    if ka - kb > 1 or kb - ka > 1:
        return -1
    common, rest_a, rest_b = scratch[COMMON], scratch[REST_A], scratch[REST_B]
    first, second = scratch[FIRST], scratch[SECOND]
    variants = 4 if ka != kb and (ka == 2 or kb == 2) else 1
    if variants == 1:
        first, second = a, b
    else:
        first[:ka] = a[:ka]
        second[:kb] = b[:kb]
    for v in range(variants):
        if v:
            flat = first if ka == 2 else second
            flat[0] = flat[0] & _LINEAR | (_CONSTANT if v & 1 else _ZERO)
            flat[1] = flat[1] & _LINEAR | (_CONSTANT if v & 2 else _ZERO)
        p, e, f = split(first, ka, second, kb, scratch, 1)
        if p < 0:
            continue
        if e == 1 and f == 1:
            return _tidy(out, make(common, p, rest_a[0] ^ rest_b[0] ^ _CONSTANT, _ZERO, 1, out))
        if e == 1 and f == 0:
            return _tidy(out, make(common, p, rest_a[0] ^ _CONSTANT, _ZERO, 1, out))
        if e == 0 and f == 1:
            return _tidy(out, make(common, p, rest_b[0] ^ _CONSTANT, _ZERO, 1, out))
        if e == 0 and f == 0:
            return 0
    return -1


@njit(cache=True)
def add(terms: TermRows, count: int, flat: Any, size: int, mask: Any, scratch: Any) -> int:
    """Adds a term, merging for as long as a term of the same mask is found; the new number of terms."""
    current, merged = scratch[CURRENT], scratch[MERGED]
    if size < 0:
        return count
    current[:size] = flat[:size]
    size = _tidy(current, size)
    while True:
        if size <= 0 or mask == _ZERO:
            return count
        found = False
        for i in range(count):
            if terms.sizes[i] == size and np.all(terms.rows[i, :size] == current[:size]):
                mask ^= terms.masks[i]
                count = drop(terms, count, i)
                found = True
                break
            if terms.masks[i] == mask:
                made = merge(terms.rows[i], terms.sizes[i], current, size, merged, scratch)
                if made >= 0:
                    count = drop(terms, count, i)
                    current[:made] = merged[:made]
                    size = made
                    found = True
                    break
        if not found:
            break
    terms.rows[count, :size] = current[:size]
    terms.sizes[count] = size
    terms.masks[count] = mask
    return count + 1


@njit(cache=True)
def drop(terms: TermRows, count: int, i: int) -> int:
    """Removes term `i`, whose place the last one takes; the new number of terms."""
    last = count - 1
    if i != last:
        terms.rows[i, :] = terms.rows[last, :]
        terms.sizes[i] = terms.sizes[last]
        terms.masks[i] = terms.masks[last]
    return last

"""Exclusive sums of flats: the compiled kernel.

A *flat* is where some affine functions are all 0; its indicator is a product of affine forms: one stack. Several
functions at once are a list of terms (flat, mask): bit `t` of the mask says that the flat is part of function
`t`'s exclusive sum. Affine functions are free, so flats of at most one constraint vanish, and the constants of a
flat of two constraints do not matter.

The rewriting (see `pseudoproduct_walk.py`) is that of exclusive-or sums of cubes (N. Song, M. Perkowski, "Minimization
of exclusive sum-of-products expressions", IEEE Trans. CAD 15, 1996; A. Mishchenko, M. Perkowski, Reed-Muller Workshop
2001) carried over from cubes to flats: two flats that are hyperplanes of a common flat add up to one, whatever they
are; `P(ab + cd) = P(a(b + d) + (a + c)d)` trades two for two. A random walk over such trades takes every chance
to merge.

A constraint is a word: bit `i` is variable `i`, bit 63 the constant. A flat's rows are reduced, each with its
highest variable as pivot, in descending order.
"""

from __future__ import annotations

from typing import Any, NamedTuple

import numpy as np
from numba import njit

MOST_VARIABLES = 63
"""A row is a word of 64 bits, one of them the constant's."""
MOST_ROWS = 24
"""Rows of a flat: twice the toggles of the highest stack (guessed)."""
SCRATCH = 10
"""Flats that `add` and a walk work in."""
CONSTANT = np.uint64(1 << 63)
"""The constant of a row."""
LINEAR = np.uint64((1 << 63) - 1)
"""A row without its constant."""
ONE, ZERO = np.uint64(1), np.uint64(0)
"""Words, for the kernels' arithmetic."""


@njit(cache=True, inline="always")
def _pivot(row: Any) -> Any:
    """The highest variable of a row, as a word of one bit."""
    v = row & LINEAR
    v |= v >> np.uint64(1)
    v |= v >> np.uint64(2)
    v |= v >> np.uint64(4)
    v |= v >> np.uint64(8)
    v |= v >> np.uint64(16)
    v |= v >> np.uint64(32)
    return v ^ (v >> ONE)


@njit(cache=True)
def insert(rows: Any, size: int, row: Any) -> int:
    """Adds a constraint to `rows[:size]`; the new size, or -1 where the flat becomes empty."""
    for i in range(size):
        if row & _pivot(rows[i]):
            row ^= rows[i]
    if row == ZERO:
        return size
    if row == CONSTANT:
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
    They are left in rows 1 (common), 2 and 3 (the rests) of `scratch`."""
    residue, common, rest_a, rest_b = scratch[0], scratch[1], scratch[2], scratch[3]
    count, p = 0, 0
    for j in range(kb):
        row = b[j]
        left = row
        for i in range(ka):
            if left & _pivot(a[i]):
                left ^= a[i]
        for i in range(count):
            low = residue[i] & (~residue[i] + ONE)
            if left & low:
                left ^= residue[i]
                row ^= rest_b[i]
        if left == ZERO:
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
            low = residue[j] & (~residue[j] + ONE)
            if row & low:
                row ^= residue[j]
        if row != ZERO:
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
        rows[0] &= LINEAR
        rows[1] &= LINEAR
    return size


@njit(cache=True)
def merge(a: Any, ka: int, b: Any, kb: int, out: Any, scratch: Any) -> int:
    """The flat that is the exclusive sum of two others up to affine functions; -1 where there is none."""
    if ka - kb > 1 or kb - ka > 1:
        return -1
    common, rest_a, rest_b, first, second = scratch[1], scratch[2], scratch[3], scratch[4], scratch[5]
    variants = 4 if ka != kb and (ka == 2 or kb == 2) else 1
    if variants == 1:
        first, second = a, b
    else:
        first[:ka] = a[:ka]
        second[:kb] = b[:kb]
    for v in range(variants):
        if v:
            flat = first if ka == 2 else second
            flat[0] = flat[0] & LINEAR | (CONSTANT if v & 1 else ZERO)
            flat[1] = flat[1] & LINEAR | (CONSTANT if v & 2 else ZERO)
        p, e, f = split(first, ka, second, kb, scratch, 1)
        if p < 0:
            continue
        if e == 1 and f == 1:
            return _tidy(out, make(common, p, rest_a[0] ^ rest_b[0] ^ CONSTANT, ZERO, 1, out))
        if e == 1 and f == 0:
            return _tidy(out, make(common, p, rest_a[0] ^ CONSTANT, ZERO, 1, out))
        if e == 0 and f == 1:
            return _tidy(out, make(common, p, rest_b[0] ^ CONSTANT, ZERO, 1, out))
        if e == 0 and f == 0:
            return 0
    return -1


class Terms(NamedTuple):
    """Room for terms: each one's rows (of which the first `sizes[i]` are its flat's) and its mask of functions."""

    rows: Any
    sizes: Any
    masks: Any


@njit(cache=True)
def add(terms: Terms, count: int, flat: Any, size: int, mask: Any, scratch: Any) -> int:
    """Adds a term, merging for as long as a term of the same mask is found; the new number of terms."""
    rows, sizes, masks = terms
    current, merged = scratch[6], scratch[7]
    size = _copy_tidy(flat, size, current)
    while True:
        if size <= 0 or mask == ZERO:
            return count
        found = False
        for i in range(count):
            if sizes[i] == size and _same(rows[i], current, size):
                mask ^= masks[i]
                count = drop(terms, count, i)
                found = True
                break
            if masks[i] == mask:
                made = merge(rows[i], sizes[i], current, size, merged, scratch)
                if made >= 0:
                    count = drop(terms, count, i)
                    current[:made] = merged[:made]
                    size = made
                    found = True
                    break
        if not found:
            break
    rows[count, :size] = current[:size]
    sizes[count] = size
    masks[count] = mask
    return count + 1


@njit(cache=True)
def _copy_tidy(flat: Any, size: int, out: Any) -> int:
    if size < 0:
        return 0
    out[:size] = flat[:size]
    return _tidy(out, size)


@njit(cache=True)
def _same(a: Any, b: Any, size: int) -> bool:
    return bool(np.all(a[:size] == b[:size]))


@njit(cache=True)
def drop(terms: Terms, count: int, i: int) -> int:
    """Takes a term out; the last one comes to its place."""
    rows, sizes, masks = terms
    last = count - 1
    if i != last:
        rows[i, :] = rows[last, :]
        sizes[i] = sizes[last]
        masks[i] = masks[last]
    return last

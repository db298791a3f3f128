"""Exclusive sums of flats: the compiled kernel.

A *flat* is where some affine functions are all 0; its indicator is a product of affine forms: one stack. Several
functions at once are a list of terms (flat, mask): bit `t` of the mask says that the flat is part of function
`t`'s exclusive sum. Affine functions are free, so flats of at most one constraint vanish, and the constants of a
flat of two constraints do not matter.

The rewriting is that of exclusive-or sums of cubes (N. Song, M. Perkowski, "Minimization of exclusive
sum-of-products expressions", IEEE Trans. CAD 15, 1996; A. Mishchenko, M. Perkowski, Reed-Muller Workshop 2001)
carried over from cubes to flats: two flats that are hyperplanes of a common flat add up to one, whatever they
are; `P(ab + cd) = P(a(b + d) + (a + c)d)` trades two for two. A random walk over such trades takes every chance
to merge.

A constraint is a word: bit `i` is variable `i`, bit 63 the constant. A flat's rows are reduced, each with its
highest variable as pivot, in descending order.
"""

from __future__ import annotations

from typing import Any

import numpy as np
from numba import njit

MOST_VARIABLES = 63
MOST_ROWS = 24
SCRATCH = 10
_CONSTANT = np.uint64(1 << 63)
_LINEAR = np.uint64((1 << 63) - 1)
_ONE = np.uint64(1)
_ZERO = np.uint64(0)


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
    return v ^ (v >> _ONE)


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
def _split(a: Any, ka: int, b: Any, kb: int, scratch: Any, most: int) -> Any:
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
            low = residue[i] & (~residue[i] + _ONE)
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
            low = residue[j] & (~residue[j] + _ONE)
            if row & low:
                row ^= residue[j]
        if row != _ZERO:
            residue[extra] = row
            rest_a[extra] = row
            extra += 1
    return p, extra, count


@njit(cache=True)
def _make(common: Any, p: int, first: Any, second: Any, count: int, out: Any) -> int:
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
def _merge(a: Any, ka: int, b: Any, kb: int, out: Any, scratch: Any) -> int:
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
            flat[0] = flat[0] & _LINEAR | (_CONSTANT if v & 1 else _ZERO)
            flat[1] = flat[1] & _LINEAR | (_CONSTANT if v & 2 else _ZERO)
        p, e, f = _split(first, ka, second, kb, scratch, 1)
        if p < 0:
            continue
        if e == 1 and f == 1:
            return _tidy(out, _make(common, p, rest_a[0] ^ rest_b[0] ^ _CONSTANT, _ZERO, 1, out))
        if e == 1 and f == 0:
            return _tidy(out, _make(common, p, rest_a[0] ^ _CONSTANT, _ZERO, 1, out))
        if e == 0 and f == 1:
            return _tidy(out, _make(common, p, rest_b[0] ^ _CONSTANT, _ZERO, 1, out))
        if e == 0 and f == 0:
            return 0
    return -1


@njit(cache=True)
def add(rows: Any, sizes: Any, masks: Any, count: int, flat: Any, size: int, mask: Any, scratch: Any) -> int:
    """Adds a term, merging for as long as a term of the same mask is found; the new number of terms."""
    current, merged = scratch[6], scratch[7]
    size = _copy_tidy(flat, size, current)
    while True:
        if size <= 0 or mask == _ZERO:
            return count
        found = False
        for i in range(count):
            if sizes[i] == size and _same(rows[i], current, size):
                mask ^= masks[i]
                count = _drop(rows, sizes, masks, count, i)
                found = True
                break
            if masks[i] == mask:
                made = _merge(rows[i], sizes[i], current, size, merged, scratch)
                if made >= 0:
                    count = _drop(rows, sizes, masks, count, i)
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
def _drop(rows: Any, sizes: Any, masks: Any, count: int, i: int) -> int:
    last = count - 1
    if i != last:
        rows[i, :] = rows[last, :]
        sizes[i] = sizes[last]
        masks[i] = masks[last]
    return last


@njit(cache=True, inline="always")
def _next(state: Any) -> Any:
    """xorshift64 (G. Marsaglia, Journal of Statistical Software 8, 2003)."""
    x = state[0]
    x ^= x << np.uint64(13)
    x ^= x >> np.uint64(7)
    x ^= x << np.uint64(17)
    state[0] = x
    return x


@njit(cache=True)
def _factors(rest: Any, turn: int) -> Any:
    """Two constraints of the same flat: `rest` in one of its six bases."""
    a, b = rest[0], rest[1]
    if turn == 0:
        return a, b
    if turn == 1:
        return b, a
    if turn == 2:
        return a, a ^ b
    if turn == 3:
        return a ^ b, a
    if turn == 4:
        return b, a ^ b
    return a ^ b, b


@njit(cache=True)
def _trade(p: int, e: int, f: int, common: Any, rest_a: Any, rest_b: Any, turn: Any, one: Any, two: Any) -> Any:
    """Two flats with the same exclusive sum as `common` with `rest_a` and with `rest_b`; their sizes, or (-2, 0)."""
    if e == 2 and f == 2:
        a, b = _factors(rest_a, int(turn % np.uint64(6)))
        c, d = _factors(rest_b, int(turn // np.uint64(6) % np.uint64(6)))
        return _make(common, p, a, b ^ d ^ _CONSTANT, 2, one), _make(common, p, a ^ c ^ _CONSTANT, d, 2, two)
    if e == 2 and f == 1:
        a, b = _factors(rest_a, int(turn % np.uint64(6)))
        d = rest_b[0]
        return _make(common, p, a, b ^ d ^ _CONSTANT, 2, one), _make(common, p, a ^ _CONSTANT, d, 2, two)
    if e == 1 and f == 2:
        a, b = _factors(rest_b, int(turn % np.uint64(6)))
        d = rest_a[0]
        return _make(common, p, a, b ^ d ^ _CONSTANT, 2, one), _make(common, p, a ^ _CONSTANT, d, 2, two)
    if e == 2 and f == 0:
        a, b = _factors(rest_a, int(turn % np.uint64(6)))
        return _make(common, p, a ^ _CONSTANT, _ZERO, 1, one), _make(common, p, a, b ^ _CONSTANT, 2, two)
    if e == 0 and f == 2:
        a, b = _factors(rest_b, int(turn % np.uint64(6)))
        return _make(common, p, a ^ _CONSTANT, _ZERO, 1, one), _make(common, p, a, b ^ _CONSTANT, 2, two)
    return -2, 0


@njit(cache=True)
def _width(flat: Any, size: int) -> int:
    """Variables that stand in a flat's rows beyond one a row."""
    wide = 0
    for i in range(size):
        row = flat[i] & _LINEAR
        while row & (row - _ONE):
            row &= row - _ONE
            wide += 1
    return wide


@njit(cache=True)
def _weight(sizes: Any, count: int) -> int:
    total = 0
    for i in range(count):
        total += sizes[i]
    return total


@njit(cache=True)
def _kept(
    rows: Any,
    sizes: Any,
    masks: Any,
    count: int,
    best_rows: Any,
    best_sizes: Any,
    best_masks: Any,
    best: int,
    best_weight: int,
) -> Any:
    """Notes the terms where they are the best so far; the best's number and weight."""
    if count > best:
        return best, best_weight
    weight = _weight(sizes, count)
    if count == best and weight >= best_weight:
        return best, best_weight
    best_rows[:count] = rows[:count]
    best_sizes[:count] = sizes[:count]
    best_masks[:count] = masks[:count]
    return count, weight


@njit(cache=True)
def is_never(rows: Any, size: int, codes: Any, width: int) -> bool:
    """Whether a flat holds in none of `codes`, the values that variables 0 to `width - 1` take. (A row whose highest
    variable is another one can always be met.)"""
    own = (_ONE << np.uint64(width)) - _ONE
    for code in codes:
        holds = True
        for i in range(size):
            row = rows[i] & _LINEAR
            if row & ~own == _ZERO:
                word = row & code
                odd = rows[i] >> np.uint64(63)
                while word:
                    word &= word - _ONE
                    odd ^= _ONE
                if odd:
                    holds = False
                    break
        if holds:
            return False
    return True


@njit(cache=True)
def _other_side(flat: Any, size: int, turn: Any, codes: Any, width: int, out: Any, other: Any) -> int:
    """The flat with one constraint fewer, where the difference holds in none of `codes`; -1 where it does hold."""
    k = int(turn % np.uint64(size))
    turn >>= np.uint64(8)
    made = 0
    for j in range(size):
        if j != k:
            row = flat[j] ^ (flat[k] if turn & _ONE else _ZERO)
            turn >>= _ONE
            made = insert(out, made, row)
    other[:made] = out[:made]
    rest = insert(other, made, flat[k] ^ _CONSTANT)
    if rest >= 0 and not is_never(other, rest, codes, width):
        return -1
    return made


@njit(cache=True)
def _narrowed(flat: Any, size: int, turn: Any, codes: Any, width: int, out: Any, other: Any) -> int:
    """The flat with one constraint more, on variables 0 to `width - 1`, that makes no difference in `codes`; -1 where
    it does."""
    row = turn >> np.uint64(8) & ((_ONE << np.uint64(width)) - _ONE)
    if turn & _ONE:
        row |= _CONSTANT
    other[:size] = flat[:size]
    rest = insert(other, size, row ^ _CONSTANT)
    if size + 1 >= MOST_ROWS or rest >= 0 and not is_never(other, rest, codes, width):
        return -1
    out[:size] = flat[:size]
    return insert(out, size, row)


@njit(cache=True)
def walk(
    rows: Any,
    sizes: Any,
    masks: Any,
    count: int,
    steps: int,
    stall: int,
    seed: int,
    narrow: bool,
    codes: Any,
    width: int,
) -> int:
    """Random trades with every merge taken; `steps` counts pairs looked at, `stall` how many of them may bring nothing
    better before it ends. Leaves the best terms found in the
    arrays (which must have room for a few more) and returns their number. `narrow` keeps factors short. `codes`,
    where there are any, are all the values that variables 0 to `width - 1` take: what differs elsewhere only is
    the same."""
    state = np.array([np.uint64(seed) * np.uint64(2654435761) + np.uint64(88172645463325252)], dtype=np.uint64)
    best_rows, best_sizes, best_masks, best = rows.copy(), sizes.copy(), masks.copy(), count
    best_weight = _weight(sizes, count)
    scratch = np.empty((SCRATCH, MOST_ROWS), dtype=np.uint64)
    common, rest_a, rest_b, one, two = scratch[1], scratch[2], scratch[3], scratch[8], scratch[9]
    last, last_best, last_weight = 0, best, best_weight
    for step in range(steps):
        if best != last_best or best_weight != last_weight:
            last, last_best, last_weight = step, best, best_weight
        if count < 2 or step - last > stall:
            break
        i = int(_next(state) >> np.uint64(11)) % count
        j = int(_next(state) >> np.uint64(11)) % count
        if len(codes) and _next(state) >> np.uint64(30) & np.uint64(7) == _ZERO:
            turn = _next(state) >> np.uint64(11)
            if turn & np.uint64(3):
                s1 = _other_side(rows[i], sizes[i], turn >> np.uint64(2), codes, width, one, two)
            else:
                s1 = _narrowed(rows[i], sizes[i], turn >> np.uint64(2), codes, width, one, two)
            if s1 >= 0:
                mi = masks[i]
                count = _drop(rows, sizes, masks, count, i)
                count = add(rows, sizes, masks, count, one, s1, mi, scratch)
                best, best_weight = _kept(
                    rows, sizes, masks, count, best_rows, best_sizes, best_masks, best, best_weight
                )
            continue
        if i == j or sizes[i] - sizes[j] > 2 or sizes[j] - sizes[i] > 2:
            continue
        if sizes[i] == 2:
            turn = _next(state) >> np.uint64(20)
            rows[i, 0] ^= _CONSTANT if turn & _ONE else _ZERO
            rows[i, 1] ^= _CONSTANT if turn & np.uint64(2) else _ZERO
        p, e, f = _split(rows[i], sizes[i], rows[j], sizes[j], scratch, 2)
        turn = _next(state) >> np.uint64(20)
        mi, mj = masks[i], masks[j]
        if sizes[i] == 2:
            rows[i, 0] &= _LINEAR
            rows[i, 1] &= _LINEAR
        if p < 0:
            continue
        if mi == mj:
            s1, s2 = _trade(p, e, f, common, rest_a, rest_b, turn, one, two)
            if s1 == -2:
                continue
            if s1 + s2 > sizes[i] + sizes[j] and turn >> np.uint64(8) & np.uint64(7):
                continue
            if narrow:
                wide = _width(one, s1) + _width(two, s2)
                if wide > _width(rows[i], sizes[i]) + _width(rows[j], sizes[j]):
                    continue
            m1, m2 = mi, mi
        elif e <= 1 and f <= 1:
            s1 = _merge(rows[i], sizes[i], rows[j], sizes[j], one, scratch)
            if s1 < 0 or s1 > MOST_ROWS:
                continue
            keep = i if turn & _ONE else j
            s2 = sizes[keep]
            two[:s2] = rows[keep, :s2]
            m1, m2 = masks[i + j - keep], mi ^ mj
        else:
            continue
        count = _drop(rows, sizes, masks, count, max(i, j))
        count = _drop(rows, sizes, masks, count, min(i, j))
        count = add(rows, sizes, masks, count, one, s1, m1, scratch)
        count = add(rows, sizes, masks, count, two, s2, m2, scratch)
        best, best_weight = _kept(rows, sizes, masks, count, best_rows, best_sizes, best_masks, best, best_weight)
    rows[:best] = best_rows[:best]
    sizes[:best] = best_sizes[:best]
    masks[:best] = best_masks[:best]
    return best

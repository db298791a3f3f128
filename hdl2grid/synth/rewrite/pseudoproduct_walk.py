"""A random walk over exclusive-or sums of pseudoproducts, towards fewer terms.

The rewriting is that of exclusive-or sums of cubes (N. Song, M. Perkowski, "Minimization of exclusive
sum-of-products expressions", IEEE Trans. CAD 15, 1996; A. Mishchenko, M. Perkowski, Reed-Muller Workshop 2001)
carried over from cubes to flats: `P(ab + cd) = P(a(b + d) + (a + c)d)` trades two for two. The walk takes such trades
at random, and every chance to merge that they open.
"""

from __future__ import annotations

from typing import Any, NamedTuple

import numpy as np
from numba import njit

from hdl2grid.synth.exact.word_vectors import ones_in
from hdl2grid.synth.rewrite.pseudoproducts import (
    COMMON,
    CONSTANT,
    MOST_ROWS,
    ONE,
    REST_A,
    REST_B,
    SCRATCH,
    TWO,
    TermRows,
    add,
    drop,
    insert,
    make,
    merge,
    split,
)

_CONSTANT = np.uint64(CONSTANT)
_LINEAR = np.uint64(CONSTANT - 1)  # all variables
_BIT = np.uint64(1)  # words, not numbers, for numba
_ZERO = np.uint64(0)  # likewise


class Codes(NamedTuple):
    """All the values that variables 0 to `width - 1` take together, where there are any: what differs elsewhere only is
    the same."""

    values: Any
    width: int


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
def _trade(p: int, e: int, f: int, scratch: Any, turn: Any) -> Any:
    """Two flats with the same exclusive sum as those that `split` has split into `p` common constraints and `e` and `f`
    beyond them. They are left in rows ONE and TWO of `scratch`; returns their sizes, or (-2, 0) where there are none.
    `turn` picks the factors."""
    common, rest_a, rest_b, one, two = scratch[COMMON], scratch[REST_A], scratch[REST_B], scratch[ONE], scratch[TWO]
    pick = int(turn % np.uint64(6))
    if e == 2 and f == 2:
        a, b = _factors(rest_a, pick)
        c, d = _factors(rest_b, int(turn // np.uint64(6) % np.uint64(6)))
        return make(common, p, a, b ^ d ^ _CONSTANT, 2, one), make(common, p, a ^ c ^ _CONSTANT, d, 2, two)
    if e + f == 3 and e > 0 and f > 0:
        a, b = _factors(rest_a if e == 2 else rest_b, pick)
        d = rest_b[0] if e == 2 else rest_a[0]
        return make(common, p, a, b ^ d ^ _CONSTANT, 2, one), make(common, p, a ^ _CONSTANT, d, 2, two)
    if e + f == 2 and e != f:
        a, b = _factors(rest_a if e == 2 else rest_b, pick)
        return make(common, p, a ^ _CONSTANT, _ZERO, 1, one), make(common, p, a, b ^ _CONSTANT, 2, two)
    return -2, 0


@njit(cache=True)
def _width(flat: Any, size: int) -> int:
    """Variables that stand in a flat's rows beyond one a row."""
    wide = 0
    for i in range(size):
        wide += ones_in(flat[i] & _LINEAR) - 1
    return wide


@njit(cache=True)
def _weight(sizes: Any, count: int) -> int:
    """Constraints of all terms together."""
    total = 0
    for i in range(count):
        total += sizes[i]
    return total


@njit(cache=True)
def _kept(terms: TermRows, count: int, best_terms: TermRows, best: int, best_weight: int) -> Any:
    """Notes the terms where they are the best so far; the best's number and weight."""
    if count > best:
        return best, best_weight
    weight = _weight(terms.sizes, count)
    if count == best and weight >= best_weight:
        return best, best_weight
    best_terms.rows[:count] = terms.rows[:count]
    best_terms.sizes[:count] = terms.sizes[:count]
    best_terms.masks[:count] = terms.masks[:count]
    return count, weight


@njit(cache=True)
def _is_never(rows: Any, size: int, codes: Codes) -> bool:
    """Whether a flat holds in none of `codes`. (A row whose highest variable is another one can always be met.)"""
    own = (_BIT << np.uint64(codes.width)) - _BIT
    for code in codes.values:
        holds = True
        for i in range(size):
            row = rows[i] & _LINEAR
            if row & ~own == _ZERO and ones_in(row & code | rows[i] & _CONSTANT) & 1:
                holds = False
                break
        if holds:
            return False
    return True


@njit(cache=True)
def _other_side(flat: Any, size: int, turn: Any, codes: Codes, out: Any, other: Any) -> int:
    """The flat with one constraint fewer, where the difference holds in none of `codes`; -1 where it does hold."""
    k = int(turn % np.uint64(size))
    turn >>= np.uint64(8)
    made = 0
    for j in range(size):
        if j != k:
            row = flat[j] ^ (flat[k] if turn & _BIT else _ZERO)
            turn >>= _BIT
            made = insert(out, made, row)
    other[:made] = out[:made]
    rest = insert(other, made, flat[k] ^ _CONSTANT)
    if rest >= 0 and not _is_never(other, rest, codes):
        return -1
    return made


@njit(cache=True)
def _narrowed(flat: Any, size: int, turn: Any, codes: Codes, out: Any, other: Any) -> int:
    """The flat with one constraint more, on the variables of `codes`, that makes no difference in `codes`; -1 where
    it does."""
    row = turn >> np.uint64(8) & ((_BIT << np.uint64(codes.width)) - _BIT)
    if turn & _BIT:
        row |= _CONSTANT
    other[:size] = flat[:size]
    rest = insert(other, size, row ^ _CONSTANT)
    if size + 1 >= MOST_ROWS or rest >= 0 and not _is_never(other, rest, codes):
        return -1
    out[:size] = flat[:size]
    return insert(out, size, row)


@njit(cache=True)
def walk(terms: TermRows, count: int, codes: Codes, steps: int, stall: int, seed: int, narrow: bool) -> int:
    """Random trades with every merge taken; `steps` counts pairs looked at, `stall` how many of them may bring nothing
    better before it ends. Leaves the best terms found in `terms` (which must have room for a few more) and returns
    their number. `narrow` keeps factors short."""
    state = np.array([np.uint64(seed) * np.uint64(2654435761) + np.uint64(88172645463325252)], dtype=np.uint64)
    rows, sizes, masks = terms
    best_terms, best = TermRows(rows.copy(), sizes.copy(), masks.copy()), count
    best_weight = _weight(sizes, count)
    scratch = np.empty((SCRATCH, MOST_ROWS), dtype=np.uint64)
    one, two = scratch[ONE], scratch[TWO]
    last, last_best, last_weight = 0, best, best_weight
    for step in range(steps):
        if best != last_best or best_weight != last_weight:
            last, last_best, last_weight = step, best, best_weight
        if count < 2 or step - last > stall:
            break
        i = int(_next(state) >> np.uint64(11)) % count
        j = int(_next(state) >> np.uint64(11)) % count
        if len(codes.values) and _next(state) >> np.uint64(30) & np.uint64(7) == _ZERO:
            turn = _next(state) >> np.uint64(11)
            if turn & np.uint64(3):
                s1 = _other_side(rows[i], sizes[i], turn >> np.uint64(2), codes, one, two)
            else:
                s1 = _narrowed(rows[i], sizes[i], turn >> np.uint64(2), codes, one, two)
            if s1 >= 0:
                mi = masks[i]
                count = drop(terms, count, i)
                count = add(terms, count, one, s1, mi, scratch)
                best, best_weight = _kept(terms, count, best_terms, best, best_weight)
            continue
        if i == j or sizes[i] - sizes[j] > 2 or sizes[j] - sizes[i] > 2:
            continue
        if sizes[i] == 2:
            turn = _next(state) >> np.uint64(20)
            rows[i, 0] ^= _CONSTANT if turn & _BIT else _ZERO
            rows[i, 1] ^= _CONSTANT if turn & np.uint64(2) else _ZERO
        p, e, f = split(rows[i], sizes[i], rows[j], sizes[j], scratch, 2)
        turn = _next(state) >> np.uint64(20)
        mi, mj = masks[i], masks[j]
        if sizes[i] == 2:
            rows[i, 0] &= _LINEAR
            rows[i, 1] &= _LINEAR
        if p < 0:
            continue
        if mi == mj:
            s1, s2 = _trade(p, e, f, scratch, turn)
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
            s1 = merge(rows[i], sizes[i], rows[j], sizes[j], one, scratch)
            if s1 < 0 or s1 > MOST_ROWS:
                continue
            keep = i if turn & _BIT else j
            s2 = sizes[keep]
            two[:s2] = rows[keep, :s2]
            m1, m2 = masks[i + j - keep], mi ^ mj
        else:
            continue
        count = drop(terms, count, max(i, j))
        count = drop(terms, count, min(i, j))
        count = add(terms, count, one, s1, m1, scratch)
        count = add(terms, count, two, s2, m2, scratch)
        best, best_weight = _kept(terms, count, best_terms, best, best_weight)
    rows[:best] = best_terms.rows[:best]
    sizes[:best] = best_terms.sizes[:best]
    masks[:best] = best_terms.masks[:best]
    return best

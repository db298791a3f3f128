"""A random walk over exclusive sums of flats: trades of two flats for two others, with every merge taken."""

from __future__ import annotations

from typing import Any, NamedTuple

import numpy as np
from numba import njit

from hdl2grid.synth.rewrite.pseudoproducts import (
    CONSTANT,
    LINEAR,
    MOST_ROWS,
    ONE,
    SCRATCH,
    ZERO,
    Terms,
    add,
    drop,
    insert,
    make,
    merge,
    split,
)


class Walk(NamedTuple):
    """How a walk goes.

    It looks at `steps` pairs, and ends early where `stall` of them brought nothing better. `narrow`: short factors.
    `codes`, where there are any, are all the values that variables 0 to `width - 1` take: what differs elsewhere only
    is the same.
    """

    steps: int
    stall: int
    seed: int
    narrow: bool
    codes: Any
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
def _trade(p: int, e: int, f: int, scratch: Any, turn: Any, one: Any, two: Any) -> Any:
    """Two flats with the same exclusive sum as the two that `split` took apart; their sizes, or (-2, 0)."""
    common, rest_a, rest_b = scratch[1], scratch[2], scratch[3]
    if e == 2 and f == 2:
        a, b = _factors(rest_a, int(turn % np.uint64(6)))
        c, d = _factors(rest_b, int(turn // np.uint64(6) % np.uint64(6)))
        return make(common, p, a, b ^ d ^ CONSTANT, 2, one), make(common, p, a ^ c ^ CONSTANT, d, 2, two)
    if e == 2 and f == 1:
        a, b = _factors(rest_a, int(turn % np.uint64(6)))
        d = rest_b[0]
        return make(common, p, a, b ^ d ^ CONSTANT, 2, one), make(common, p, a ^ CONSTANT, d, 2, two)
    if e == 1 and f == 2:
        a, b = _factors(rest_b, int(turn % np.uint64(6)))
        d = rest_a[0]
        return make(common, p, a, b ^ d ^ CONSTANT, 2, one), make(common, p, a ^ CONSTANT, d, 2, two)
    if e == 2 and f == 0:
        a, b = _factors(rest_a, int(turn % np.uint64(6)))
        return make(common, p, a ^ CONSTANT, ZERO, 1, one), make(common, p, a, b ^ CONSTANT, 2, two)
    if e == 0 and f == 2:
        a, b = _factors(rest_b, int(turn % np.uint64(6)))
        return make(common, p, a ^ CONSTANT, ZERO, 1, one), make(common, p, a, b ^ CONSTANT, 2, two)
    return -2, 0


@njit(cache=True)
def _width(flat: Any, size: int) -> int:
    """Variables that stand in a flat's rows beyond one a row."""
    wide = 0
    for i in range(size):
        row = flat[i] & LINEAR
        while row & (row - ONE):
            row &= row - ONE
            wide += 1
    return wide


@njit(cache=True)
def _weight(sizes: Any, count: int) -> int:
    total = 0
    for i in range(count):
        total += sizes[i]
    return total


@njit(cache=True)
def _copy(terms: Terms, count: int, out: Terms) -> None:
    out.rows[:count] = terms.rows[:count]
    out.sizes[:count] = terms.sizes[:count]
    out.masks[:count] = terms.masks[:count]


@njit(cache=True)
def _kept(terms: Terms, count: int, best_terms: Terms, best: int, best_weight: int) -> Any:
    """Notes the terms where they are the best so far; the best's number and weight."""
    if count > best:
        return best, best_weight
    weight = _weight(terms.sizes, count)
    if count == best and weight >= best_weight:
        return best, best_weight
    _copy(terms, count, best_terms)
    return count, weight


@njit(cache=True)
def is_never(rows: Any, size: int, codes: Any, width: int) -> bool:
    """Whether a flat holds in none of `codes`, the values that variables 0 to `width - 1` take. (A row whose highest
    variable is another one can always be met.)"""
    own = (ONE << np.uint64(width)) - ONE
    for code in codes:
        holds = True
        for i in range(size):
            row = rows[i] & LINEAR
            if row & ~own == ZERO:
                word = row & code
                odd = rows[i] >> np.uint64(63)
                while word:
                    word &= word - ONE
                    odd ^= ONE
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
            row = flat[j] ^ (flat[k] if turn & ONE else ZERO)
            turn >>= ONE
            made = insert(out, made, row)
    other[:made] = out[:made]
    rest = insert(other, made, flat[k] ^ CONSTANT)
    if rest >= 0 and not is_never(other, rest, codes, width):
        return -1
    return made


@njit(cache=True)
def _narrowed(flat: Any, size: int, turn: Any, codes: Any, width: int, out: Any, other: Any) -> int:
    """The flat with one constraint more, on variables 0 to `width - 1`, that makes no difference in `codes`; -1 where
    it does."""
    row = turn >> np.uint64(8) & ((ONE << np.uint64(width)) - ONE)
    if turn & ONE:
        row |= CONSTANT
    other[:size] = flat[:size]
    rest = insert(other, size, row ^ CONSTANT)
    if size + 1 >= MOST_ROWS or rest >= 0 and not is_never(other, rest, codes, width):
        return -1
    out[:size] = flat[:size]
    return insert(out, size, row)


@njit(cache=True)
def walk(terms: Terms, count: int, how: Walk) -> int:
    """Random trades with every merge taken. Leaves the best terms found in `terms`, which must have room for a few
    more, and returns their number."""
    rows, sizes, masks = terms
    steps, stall, seed, narrow, codes, width = how
    state = np.array([np.uint64(seed) * np.uint64(2654435761) + np.uint64(88172645463325252)], dtype=np.uint64)
    best_terms, best = Terms(rows.copy(), sizes.copy(), masks.copy()), count
    best_weight = _weight(sizes, count)
    scratch = np.empty((SCRATCH, MOST_ROWS), dtype=np.uint64)
    one, two = scratch[8], scratch[9]
    last, last_best, last_weight = 0, best, best_weight
    for step in range(steps):
        if best != last_best or best_weight != last_weight:
            last, last_best, last_weight = step, best, best_weight
        if count < 2 or step - last > stall:
            break
        i = int(_next(state) >> np.uint64(11)) % count
        j = int(_next(state) >> np.uint64(11)) % count
        if len(codes) and _next(state) >> np.uint64(30) & np.uint64(7) == ZERO:
            turn = _next(state) >> np.uint64(11)
            if turn & np.uint64(3):
                s1 = _other_side(rows[i], sizes[i], turn >> np.uint64(2), codes, width, one, two)
            else:
                s1 = _narrowed(rows[i], sizes[i], turn >> np.uint64(2), codes, width, one, two)
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
            rows[i, 0] ^= CONSTANT if turn & ONE else ZERO
            rows[i, 1] ^= CONSTANT if turn & np.uint64(2) else ZERO
        p, e, f = split(rows[i], sizes[i], rows[j], sizes[j], scratch, 2)
        turn = _next(state) >> np.uint64(20)
        mi, mj = masks[i], masks[j]
        if sizes[i] == 2:
            rows[i, 0] &= LINEAR
            rows[i, 1] &= LINEAR
        if p < 0:
            continue
        if mi == mj:
            s1, s2 = _trade(p, e, f, scratch, turn, one, two)
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
            keep = i if turn & ONE else j
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
    _copy(best_terms, best, terms)
    return best

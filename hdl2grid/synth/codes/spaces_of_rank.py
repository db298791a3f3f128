"""All spaces U above F, of a given rank over it, in which a code can lie: the exact part of the search for codes.

A code whose registers and steps span `W = F + U` has all its bits in `V(U)`: the functions b of states for which
"b" and "b after a tick" both lie in `F + U`. V(U) is linear algebra. As long as it does not tell all states apart
(or is too small), the code has a bit outside of it that tells a given pair of states apart; up to V(U) there are
finitely many such bits, each of which makes U one or two dimensions larger. So all U are found by going through
these bits, depth first.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import numpy as np
from numba import njit

from hdl2grid.synth.exact.word_vectors import lowest_one, reduced
from hdl2grid.synth.gf2 import Basis

_DEEP = 12
"""Highest rank that is looked at: each further bit raises it by one at least. Guessed."""
_MOST_FREE = 40
"""States that a bit is free in: 2^40 bits are more than any budget of work."""


def spaces_of_rank(now: Sequence[int], then: Sequence[int], rank: int, least: int, most: int, work: int) -> Any:
    """Spaces U of `rank` dimensions with V(U) telling all states apart and of at least `least` dimensions. All that a
    code may need that lies in none of fewer dimensions are among them.

    `now[s]` and `then[s]` are the vectors modulo F of the function that is 1 in state s, as it is and after a tick.
    Returns up to `most` spaces, one a row (their bases, 0 where there are fewer vectors), how many, and whether
    nothing was left out: `work` bounds the bits that are looked at. The same space may come more than once.
    """
    image = Basis(a | b << 64 for a, b in zip(now, then, strict=True))
    checks = _checks(image, max([*now, *then], default=0).bit_length())
    vectors = np.array(now, dtype=np.uint64), np.array(then, dtype=np.uint64)
    return _spaces(*vectors, checks, len(now) - len(image), rank, least, most, work)


def _checks(image: Basis, width: int) -> Any:
    """`[k][i]`: which of up to 64 parity checks of the image bit i stands in, of the first (k = 0) or second half."""
    places = [*range(width), *range(64, 64 + width)]
    free = [p for p in places if p not in image.rows][:64]
    checks = np.zeros((2, 64), dtype=np.uint64)
    for number, p in enumerate(free):
        for place in (p, *(pivot for pivot, row in image.rows.items() if row >> p & 1)):
            checks[place // 64, place % 64] |= np.uint64(1 << number)
    return checks


@njit(cache=True)
def _spaces(now: Any, then: Any, checks: Any, inner: int, rank: int, least: int, most: int, work: int) -> Any:
    """As `spaces_of_rank`. `inner`: the dimension of V(0)."""
    one = np.uint64(1)
    num = len(now)
    found = np.zeros((most, max(rank, 1)), dtype=np.uint64)
    count = 0
    basis = np.zeros((_DEEP + 1, max(rank, 1)), dtype=np.uint64)
    size = np.zeros(_DEEP + 1, dtype=np.int64)
    free = np.zeros((_DEEP + 1, num), dtype=np.int64)
    num_free = np.zeros(_DEEP + 1, dtype=np.int64)
    pair = np.zeros((_DEEP + 1, 2), dtype=np.int64)
    at = np.zeros(_DEEP + 1, dtype=np.int64)
    sums = np.zeros((_DEEP + 1, 3), dtype=np.uint64)
    room = np.zeros((3, num), dtype=np.uint64)
    syndromes = np.zeros(2 * max(rank, 1), dtype=np.uint64)
    kernel = np.zeros(num, dtype=np.uint64)
    depth = 0
    fresh = True
    while depth >= 0:
        if fresh:
            fresh = False
            dim = _kernel(now, then, basis[depth], size[depth], room, kernel)
            first, second = _alike(kernel, dim, num)
            if first < 0 and dim >= least and size[depth] == rank:
                if count == most:
                    return found, count, False
                found[count, : size[depth]] = basis[depth, : size[depth]]
                found[count, size[depth] :] = 0
                count += 1
                depth -= 1
                continue
            if size[depth] == rank:
                depth -= 1
                continue
            if depth == _DEEP:
                return found, count, False
            num_free[depth] = _free_places(kernel, dim, num, free[depth])
            pair[depth, 0], pair[depth, 1] = first, second
            at[depth] = 0
            sums[depth] = 0
            if num_free[depth] > _MOST_FREE or work >> num_free[depth] == 0:
                return found, count, False
        at[depth] += 1
        number = at[depth]
        if number >> num_free[depth]:
            depth -= 1
            continue
        work -= 1
        if work < 0:
            return found, count, False
        s = free[depth, lowest_one(number)]
        sums[depth, 0] ^= now[s]
        sums[depth, 1] ^= then[s]
        sums[depth, 2] ^= one << np.uint64(s)
        if pair[depth, 0] >= 0:
            bit = sums[depth, 2]
            if not (bit >> np.uint64(pair[depth, 0]) ^ bit >> np.uint64(pair[depth, 1])) & one:
                continue
        grown = _grown(basis[depth], size[depth], rank, sums[depth, 0], sums[depth, 1], basis[depth + 1])
        if grown > size[depth]:
            depth += 1
            size[depth] = grown
            fresh = True
            if grown == rank and least > inner and not _is_large(checks, basis[depth], grown, syndromes, least - inner):
                depth -= 1
                fresh = False
    return found, count, True


@njit(cache=True)
def _grown(basis: Any, size: int, rank: int, first: Any, second: Any, out: Any) -> int:
    """The basis with two more vectors, in echelon form; its size, or -1 where that is above `rank`."""
    out[:size] = basis[:size]
    for k in range(2):
        row = reduced(first if k == 0 else second, out, size)
        if row:
            if size == rank:
                return -1
            out[size] = row
            size += 1
    return size


@njit(cache=True)
def _is_large(checks: Any, basis: Any, size: int, room: Any, more: int) -> bool:
    """Whether V(U) may have at least `more` dimensions beyond V(0): as many as there are independent pairs of
    vectors of U in the image of the functions of states, which passes all checks."""
    rank = 0
    for i in range(size):
        for half in range(2):
            word, total = basis[i], np.uint64(0)
            place = 0
            while word:
                if word & np.uint64(1):
                    total ^= checks[half, place]
                word >>= np.uint64(1)
                place += 1
            total = reduced(total, room, rank)
            if total:
                room[rank] = total
                rank += 1
                if 2 * size - rank < more:
                    return False
    return True


@njit(cache=True)
def _kernel(now: Any, then: Any, basis: Any, size: int, room: Any, kernel: Any) -> int:
    """A basis of V(U) as masks of states; its dimension."""
    one = np.uint64(1)
    rank, dim = 0, 0
    for s in range(len(now)):
        a, b, tag = reduced(now[s], basis, size), reduced(then[s], basis, size), one << np.uint64(s)
        for k in range(rank):
            lead = room[0, k] & (~room[0, k] + one)
            if lead:
                if a & lead:
                    a ^= room[0, k]
                    b ^= room[1, k]
                    tag ^= room[2, k]
            elif b & room[1, k] & (~room[1, k] + one):
                b ^= room[1, k]
                tag ^= room[2, k]
        if a or b:
            room[0, rank], room[1, rank], room[2, rank] = a, b, tag
            rank += 1
        else:
            kernel[dim] = tag
            dim += 1
    return dim


@njit(cache=True)
def _alike(kernel: Any, dim: int, num: int) -> Any:
    """Two states that all functions of `kernel` give the same value, or (-1, -1)."""
    one = np.uint64(1)
    for t in range(1, num):
        for s in range(t):
            same = True
            for k in range(dim):
                if (kernel[k] >> np.uint64(s) ^ kernel[k] >> np.uint64(t)) & one:
                    same = False
                    break
            if same:
                return s, t
    return -1, -1


@njit(cache=True)
def _free_places(kernel: Any, dim: int, num: int, free: Any) -> int:
    """States such that each function has exactly one other, up to `kernel`, that is 1 in some of these only. The
    highest state of each vector of `kernel` stands in no earlier one, so the others will do."""
    taken = np.uint64(0)
    for k in range(dim):
        high = num - 1
        while not kernel[k] >> np.uint64(high) & np.uint64(1):
            high -= 1
        taken |= np.uint64(1) << np.uint64(high)
    count = 0
    for s in range(num):
        if not taken >> np.uint64(s) & np.uint64(1):
            free[count] = s
            count += 1
    return count

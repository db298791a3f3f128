"""Vectors of at most 64 bits as machine words: the compiled kernels of one-level synthesis."""

from __future__ import annotations

from typing import Any

import numpy as np
import numpy.typing as npt
from numba import njit

from hdl2grid.synth.gf2 import Basis

Words = npt.NDArray[np.uint64]


def words(vectors: Any) -> Words:
    return np.array(sorted(vectors), dtype=np.uint64)


def residues(vectors: Words, basis: Basis) -> Words:
    """`Basis.reduce` on an array."""
    out = vectors.copy()
    for pivot, row in basis.rows.items():
        out ^= (out >> np.uint64(pivot) & np.uint64(1)) * np.uint64(row)
    return out


def rank(core: Words, vectors: Words, enough: int = 64) -> int:
    """By how much `vectors` widen the span of `core`, at most `enough`."""
    rows = np.zeros(65, dtype=np.uint64)
    size = widen(rows, 0, core, 0, len(core), 64)
    return int(widen(rows, size, vectors, 0, len(vectors), size + enough) - size)


@njit(cache=True, inline="always")
def reduced(vector: Any, rows: Any, size: int) -> Any:
    """What echelon rows (see `widen`) leave of a vector."""
    for k in range(size):
        if vector & rows[k] & (~rows[k] + np.uint64(1)):
            vector ^= rows[k]
    return vector


@njit(cache=True, inline="always")
def reduced_with_tag(vector: Any, tag: Any, rows: Any, tags: Any, size: int) -> Any:
    """As `reduced`; and `tag` with the tags of the rows that were added. A tag tells what a row is the sum of."""
    for k in range(size):
        if vector & rows[k] & (~rows[k] + np.uint64(1)):
            vector ^= rows[k]
            tag ^= tags[k]
    return vector, tag


@njit(cache=True)
def widen(rows: Any, size: int, vectors: Any, start: int, end: int, full: int) -> int:
    """Adds vectors to echelon rows (each with a lowest one that no later row has); the new number of rows."""
    for i in range(start, end):
        if size >= full:
            break
        v = reduced(vectors[i], rows, size)
        if v:
            rows[size] = v
            size += 1
    return size


@njit(cache=True)
def group_ranks(core: Any, vectors: Any, starts: Any, enough: int) -> Any:
    """`rank` of each slice `vectors[starts[i] : starts[i + 1]]`."""
    rows = np.zeros(65, dtype=np.uint64)
    size = widen(rows, 0, core, 0, len(core), 64)
    ranks = np.zeros(len(starts) - 1, dtype=np.int64)
    for g in range(len(starts) - 1):
        ranks[g] = widen(rows, size, vectors, starts[g], starts[g + 1], min(64, size + enough)) - size
    return ranks


@njit(cache=True)
def spanning_pairs(
    core: Any, vectors: Any, values: Any, starts: Any, order: Any, missing: int, most: int, work: int
) -> Any:
    """Pairs of groups (positions in `values`, which ascend) that with the group of the sum of their values widen
    `core` by `missing`; at most `most` of them, found in at most `work` tries."""
    rows = np.zeros(65, dtype=np.uint64)
    size = widen(rows, 0, core, 0, len(core), 64)
    full = size + missing
    found = np.zeros((most, 2), dtype=np.int64)
    count = 0
    for i in range(len(order)):
        a = order[i]
        large = starts[a + 1] - starts[a]
        with_a = widen(rows, size, vectors, starts[a], starts[a + 1], full)
        for j in range(i + 1, len(order)):
            b = order[j]
            middle = starts[b + 1] - starts[b]
            if large + 2 * middle < missing:
                break
            work -= 1
            if work < 0 or count == most:
                return found[:count]
            got = widen(rows, with_a, vectors, starts[b], starts[b + 1], full)
            if got < full:
                third = np.searchsorted(values, values[a] ^ values[b])
                if third < len(values) and values[third] == values[a] ^ values[b]:
                    got = widen(rows, got, vectors, starts[third], starts[third + 1], full)
            if got == full:
                found[count, 0] = a
                found[count, 1] = b
                count += 1
    return found[:count]


@njit(cache=True)
def flats_within(rows: Any, planes: Any) -> Any:
    """The vectors spanned by `rows` that are products of `planes`, and how many planes hold each of them."""
    size = 1 << len(rows)
    found = np.zeros(1024, dtype=np.uint64)
    heights = np.zeros(1024, dtype=np.int64)
    count = 0
    vector = np.uint64(0)
    for i in range(1, size):
        vector ^= rows[lowest_one(i)]
        if not vector:
            continue
        product = ~np.uint64(0)
        height = 0
        for p in planes:
            if p & vector == vector:
                product &= p
                height += 1
        if product == vector:
            if count == len(found):
                found = np.concatenate((found, np.zeros(count, dtype=np.uint64)))
                heights = np.concatenate((heights, np.zeros(count, dtype=np.int64)))
            found[count] = vector
            heights[count] = height
            count += 1
    return found[:count], heights[:count]


@njit(cache=True, inline="always")
def ones_in(word: Any) -> Any:
    """How many bits of a 64-bit word are 1."""
    word = word - ((word >> np.uint64(1)) & np.uint64(0x5555555555555555))
    word = (word & np.uint64(0x3333333333333333)) + ((word >> np.uint64(2)) & np.uint64(0x3333333333333333))
    word = (word + (word >> np.uint64(4))) & np.uint64(0x0F0F0F0F0F0F0F0F)
    return np.int64((word * np.uint64(0x0101010101010101)) >> np.uint64(56))


@njit(cache=True, inline="always")
def lowest_one(number: int) -> Any:
    """The place of the lowest one of a number above 0. Vectors added in the order of the lowest ones of 1, 2, 3 .. give
    all sums, each once (a Gray code)."""
    return ones_in(np.uint64((number & -number) - 1))


@njit(cache=True)
def lightest_planes(planes: Any, prices: Any, rest: Any, budget: int) -> Any:
    """Positions of planes that leave nothing of `rest` (all that they leave out), of the lowest price found by depth
    first in at most `budget` tries; and that price, which is 1 << 30 where none were found."""
    num = len(planes)
    best, best_count, best_price = np.zeros(65, dtype=np.int64), 0, 1 << 30
    chosen, price = np.zeros(66, dtype=np.int64), np.zeros(66, dtype=np.int64)
    left = np.zeros(66, dtype=np.uint64)
    left[0] = rest
    depth, fresh = 0, True
    while depth >= 0:
        if fresh:
            fresh = False
            if price[depth] >= best_price or budget == 0:
                depth -= 1
                continue
            budget -= 1
            if left[depth] == 0:
                best_price, best_count = price[depth], depth
                best[:depth] = chosen[:depth]
                depth -= 1
                continue
            chosen[depth] = -1
        low = left[depth] & (~left[depth] + np.uint64(1))
        at = chosen[depth] + 1
        while at < num and planes[at] & low:
            at += 1
        if at == num or budget == 0:
            depth -= 1
            continue
        chosen[depth] = at
        left[depth + 1] = left[depth] & planes[at]
        price[depth + 1] = price[depth] + prices[at]
        depth += 1
        fresh = True
    return best[:best_count].copy(), best_price

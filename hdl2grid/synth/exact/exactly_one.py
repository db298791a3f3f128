"""Stacks that say 'exactly one' whose vector lies in a given space: all sets of affine functions are gone through."""

from __future__ import annotations

from collections.abc import Sequence
from functools import lru_cache
from math import comb
from typing import Any

import numpy as np
from numba import njit

from hdl2grid.synth.exact.word_vectors import Words, ones_in, residues
from hdl2grid.synth.gf2 import Basis

_MOST_SETS = 7_000_000
"""Sets of affine functions of one size that are gone through. Guessed."""
_MOST_FOUND = 4096
"""Stacks taken of one size. Guessed."""
_MOST_HITS = 1 << 17
"""Sets of one size that may lie in the space before the search ends. Guessed."""
_MOST_MISSING = 4
"""Dimensions that products may leave to exactly-ones. Measured: where more was missing, they never did, in dozens of
machines."""
SIZES = (4, 5, 6)
"""Heights that are looked at. Three toggles give what a product gives, up to affine functions."""


def add_exactly_ones(
    num_points: int, planes: Words, space: Basis, affine: Basis, products: Words
) -> dict[int, tuple[int, ...]]:
    """Exactly-one stacks in `space`, of as few toggles as are needed for `products` and them to span it modulo
    `affine`, by vector; as positions in `planes`. None at all where they do not span it, or too much is missing."""
    spanned = Basis(affine.reduce(int(v)) for v in products)
    missing = len(space) - len(affine) - len(spanned)
    if missing > _MOST_MISSING:
        return {}
    found: dict[int, tuple[int, ...]] = {}
    for size in SIZES:
        for vector, chosen in exactly_ones_within(num_points, planes, space, affine, size).items():
            found.setdefault(vector, chosen)
            missing -= spanned.add(affine.reduce(vector))
        if missing == 0:
            return found
    return {}


def exactly_ones_within(
    num_points: int, planes: Words, space: Basis, affine: Basis, size: int
) -> dict[int, tuple[int, ...]]:
    """For vectors of `space` outside `affine` that are 1 where exactly one of `size` of the `planes` is: the first
    such set found, as positions in `planes`. Fewer planes, the first, where the sets are too many."""
    number = len(planes)
    while comb(number, size) > _MOST_SETS:
        number -= 1
    order = np.argsort(planes[:number])
    ascending = tuple(planes[order].tolist())
    vectors, sets = _sets_within(num_points, ascending, space.sorted_rows(), size)
    kept = residues(vectors, affine) != 0
    vectors, placed = vectors[kept], np.sort(order[sets[kept]], axis=1)
    key = np.zeros(len(vectors), dtype=np.int64)
    for column in placed.T:
        key = key << 9 | column
    ranked = np.lexsort((key, vectors))
    is_first = np.append(True, vectors[ranked][1:] != vectors[ranked][:-1])[: len(ranked)]
    chosen = ranked[is_first]
    chosen = chosen[np.argsort(key[chosen])[:_MOST_FOUND]]
    return dict(zip(vectors[chosen].tolist(), map(tuple, placed[chosen].tolist()), strict=True))


@lru_cache(maxsize=64)
def _sets_within(num_points: int, planes: tuple[int, ...], space: tuple[int, ...], size: int) -> tuple[Any, Any]:
    """The vectors in the space with these rows that sets of planes give, and the sets: positions in `planes`. (Codes
    whose bits span the same have the same planes.)"""
    checks = np.array(_parity_checks(num_points, space), dtype=np.uint64)
    vectors, sets = _within(np.array(planes, dtype=np.uint64), checks, num_points, size, _MOST_HITS)
    return vectors, sets


def _parity_checks(num_points: int, rows: Sequence[int]) -> list[int]:
    """Masks of points whose parity is 0 for exactly the vectors spanned by `rows`."""
    basis = Basis(rows)
    pivots = set(basis.rows)
    checks = []
    for p in range(num_points):
        if p not in pivots:
            checks.append(1 << p | sum(1 << pivot for pivot, row in basis.rows.items() if row >> p & 1))
    return checks


@njit(cache=True)
def _within(planes: Any, checks: Any, num_points: int, size: int, most: int) -> Any:
    num = len(planes)
    blocks = (num_points + 7) // 8
    syndrome = _syndromes(checks, blocks)
    vectors = np.empty(most, dtype=np.uint64)
    sets = np.empty((most, size), dtype=np.int16)
    count = 0
    chosen = np.zeros(size, dtype=np.int64)
    one = np.zeros(size, dtype=np.uint64)
    more = np.zeros(size, dtype=np.uint64)
    depth = 0
    chosen[0] = -1
    while depth >= 0 and count < most:
        chosen[depth] += 1
        at = chosen[depth]
        if at > num - (size - depth):
            depth -= 1
            continue
        plane = planes[at]
        one[depth + 1] = one[depth] | plane
        more[depth + 1] = more[depth] | one[depth] & plane
        depth += 1
        if depth < size - 1:
            chosen[depth] = at
            continue
        ones, many = one[depth], more[depth]
        for last in range(at + 1, num):
            plane = planes[last]
            vector = (ones | plane) & ~(many | ones & plane)
            left, total = vector, np.uint64(0)
            for k in range(blocks):
                total ^= syndrome[k, left & np.uint64(255)]
                left >>= np.uint64(8)
            if total == 0 and vector != 0 and count < most:
                vectors[count] = vector
                sets[count, : size - 1] = chosen[: size - 1]
                sets[count, size - 1] = last
                count += 1
        depth -= 1
    return vectors[:count].copy(), sets[:count].copy()


@njit(cache=True)
def _syndromes(checks: Any, blocks: int) -> Any:
    """For each byte of a vector and each value of it the parities of all checks, as one word."""
    table = np.zeros((blocks, 256), dtype=np.uint64)
    for k in range(blocks):
        for value in range(256):
            for i in range(len(checks)):
                if ones_in(checks[i] >> np.uint64(8 * k) & np.uint64(value)) & 1:
                    table[k, value] |= np.uint64(1) << np.uint64(i)
    return table

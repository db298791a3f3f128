"""Whether the bound of a block can be met at all, at any depth: a proof that it cannot, by closure.

A block whose bound `dim W - dim A` is met has cells whose vectors lie in `W` altogether: they and `A` span it with
nothing to spare. In the order in which they feed one another, the inputs of each are sums of `A` and of the cells
before it. So let `A*` start as `A`, and as long as some vector of `W` outside of it is what one stack gives with
inputs from `A*`, let `A*` take it in. Each cell of such a block ends up in `A*`. Where `A*` stops short of `W`, no
block meets the bound.

What one stack gives: let H be the points on which every function of `A*` vanishes that vanishes on all of v.

- v is a product (and so, complemented, a sum) exactly where H has no point outside v;
- v is *exactly one* of some functions exactly where functions on H can be found that cut v into disjoint parts and
  cover each point of H outside v never or at least twice. (Outside of H a function that vanishes on v, taken twice,
  keeps every point away.) All ways to cut are gone through.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import numpy as np
from numba import njit

from hdl2grid.synth.exact.word_vectors import lowest_one, ones_in, reduced, reduced_with_tag, widen
from hdl2grid.synth.gf2 import Basis

_MOST_DIMENSION = 15
"""Of W: its 2^15 vectors are looked at for each that A* takes in. Guessed."""
_MOST_PARTS = 20_000
"""Parts tried in cutting one vector. Guessed."""
_MOST_FUNCTIONALS = 10
"""Dimension of the functions on H, all 2^10 of which may be parts. Guessed."""


def is_bound_excluded(num_points: int, affine: Sequence[int], wanted: Sequence[int]) -> bool:
    """True where it is proved that no cells of any depth meet the bound `dim W - dim A`.

    `affine` and `wanted` are vectors over `num_points` (at most 64) points, the constant not among them. False
    says nothing.
    """
    ones = (1 << num_points) - 1
    start = Basis([ones, *affine])
    space = Basis([*start.sorted_rows(), *wanted])
    if num_points > 64 or len(space) > _MOST_DIMENSION or len(space) == len(start):
        return False
    rows = np.array(space.sorted_rows(), dtype=np.uint64)
    return bool(closure(num_points, np.array(start.sorted_rows(), dtype=np.uint64), rows) < len(space))


@njit(cache=True)
def closure(num_points: int, affine: Any, space: Any) -> int:
    """The dimension of `A*`, which starts as the span of the rows `affine` and grows within that of `space`."""
    one = np.uint64(1)
    size, whole = len(affine), len(space)
    rows = np.zeros(whole, dtype=np.uint64)
    rows[:size] = affine
    echelon = np.zeros(whole, dtype=np.uint64)
    known = widen(echelon, 0, affine, 0, size, whole)
    points = np.zeros(num_points, dtype=np.uint64)
    grown = True
    while grown and size < whole:
        grown = False
        for p in range(num_points):
            points[p] = np.uint64(0)
            for i in range(size):
                points[p] |= (rows[i] >> np.uint64(p) & one) << np.uint64(i)
        vector = np.uint64(0)
        for number in range(1, 1 << whole):
            vector ^= space[lowest_one(number)]
            left = reduced(vector, echelon, known)
            if left and is_one_stack(num_points, points, vector):
                echelon[known] = left
                known += 1
                rows[size] = vector
                size += 1
                grown = True
                break
    return size


@njit(cache=True)
def is_one_stack(num_points: int, points: Any, vector: Any) -> bool:
    """Whether `vector` is a product or an exactly-one of functions that are linear in the `points`. True also where
    there are too many ways to go through."""
    one = np.uint64(1)
    base = np.zeros(64, dtype=np.uint64)
    tags = np.zeros(64, dtype=np.int64)
    place = np.zeros(num_points, dtype=np.int64)
    dim = 0
    for p in range(num_points):
        if vector >> np.uint64(p) & one:
            row, tag = reduced_with_tag(points[p], np.int64(0), base, tags, dim)
            if row:
                base[dim] = row
                tags[dim] = tag | np.int64(1) << dim
                place[p] = np.int64(1) << dim
                dim += 1
            else:
                place[p] = tag
    outside = np.uint64(0)
    for p in range(num_points):
        if not vector >> np.uint64(p) & one:
            row, tag = reduced_with_tag(points[p], np.int64(0), base, tags, dim)
            if not row:
                place[p] = tag
                outside |= one << np.uint64(p)
    if not outside:
        return True
    if dim > _MOST_FUNCTIONALS:
        return True
    count = (1 << dim) - 1
    inner = np.zeros(count, dtype=np.uint64)
    outer = np.zeros(count, dtype=np.uint64)
    for g in range(1, count + 1):
        for p in range(num_points):
            bit = one << np.uint64(p)
            if (vector | outside) & bit and ones_in(np.uint64(place[p] & g)) & 1:
                if vector & bit:
                    inner[g - 1] |= bit
                else:
                    outer[g - 1] |= bit
    return _cuts(vector, inner, outer, count)


@njit(cache=True)
def _cuts(vector: Any, inner: Any, outer: Any, count: int) -> bool:
    """Whether `vector` is cut by some of `inner` into disjoint parts, no bit standing in just one of their
    `outer`. True also after too many steps."""
    one = np.uint64(1)
    chosen = np.zeros(65, dtype=np.int64)
    covered = np.zeros(66, dtype=np.uint64)
    once = np.zeros(66, dtype=np.uint64)
    more = np.zeros(66, dtype=np.uint64)
    depth = 0
    work = 0
    chosen[0] = -1
    while depth >= 0:
        rest = vector & ~covered[depth]
        low = rest & (~rest + one)
        g = chosen[depth] + 1
        while g < count and (not inner[g] & low or inner[g] & covered[depth]):
            g += 1
        if g == count:
            depth -= 1
            continue
        work += 1
        if work > _MOST_PARTS:
            return True
        chosen[depth] = g
        now = covered[depth] | inner[g]
        twice = more[depth] | once[depth] & outer[g]
        single = (once[depth] | outer[g]) & ~twice
        if now == vector:
            if not single:
                return True
            continue
        depth += 1
        covered[depth], once[depth], more[depth], chosen[depth] = now, single, twice, -1
    return False

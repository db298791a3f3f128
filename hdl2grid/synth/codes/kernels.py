"""Compiled kernels of the search for state codes: ranks, annealing over codes, all subspaces, wiring."""

from __future__ import annotations

from typing import Any

import numpy as np
from numba import njit

from hdl2grid.base.rng import below, unit
from hdl2grid.synth.exact.vectors import widen

_HEAT = 0.14  # constant: by trial the best of cooled and constant heats on counters of 10 to 24 states


@njit(cache=True)
def rank_of(vectors: Any, count: int, rows: Any) -> int:
    """The rank of `vectors[:count]`; `rows` is room to work in."""
    return widen(rows, 0, vectors, 0, count, 64)


@njit(cache=True)
def _move(vectors: Any, change: Any, width: int, s: int, other: int, before: Any, after: Any) -> None:
    """Give state `s` another code, and `other` (-1: none) its old one; `change` tells the bits that differ."""
    for j in range(width):
        if change >> j & 1:
            vectors[2 * j] ^= before[s]
            vectors[2 * j + 1] ^= after[s]
            if other >= 0:
                vectors[2 * j] ^= before[other]
                vectors[2 * j + 1] ^= after[other]


@njit(cache=True)
def anneal_codes(before: Any, after: Any, width: int, codes: Any, steps: int, random: Any, most: int) -> Any:
    """Codes of least rank of {b, b after a tick} for the bits b, found from `codes` on by swaps and moves.

    `before[s]` and `after[s]` are what state s adds to a bit that is 1 in it. Returns the rank and up to `most`
    codes of it, one a row.
    """
    num = len(before)
    size = 1 << width
    owner = np.full(size, -1, dtype=np.int64)
    current = codes.copy()
    for s in range(num):
        owner[current[s]] = s
    vectors = np.zeros(2 * width, dtype=np.uint64)
    for s in range(num):
        for j in range(width):
            if current[s] >> j & 1:
                vectors[2 * j] ^= before[s]
                vectors[2 * j + 1] ^= after[s]
    rows = np.zeros(2 * width, dtype=np.uint64)
    cost = rank_of(vectors, 2 * width, rows)
    best = cost
    found = np.zeros((most, num), dtype=np.int64)
    found[0] = current
    count = 1
    for step in range(steps):
        heat = 0.6 * (1.0 - step / steps) + 0.12
        s = below(random, num)
        code = below(random, size)
        if code == current[s]:
            continue
        other = owner[code]
        change = code ^ current[s]
        _move(vectors, change, width, s, other, before, after)
        new = rank_of(vectors, 2 * width, rows)
        if new <= cost or unit(random) < np.exp((cost - new) / heat):
            owner[current[s]] = other
            if other >= 0:
                current[other] = current[s]
            current[s] = code
            owner[code] = s
            if new < best:
                best = new
                count = 0
            if new == best and new < cost and count < most:
                found[count] = current
                count += 1
            cost = new
        else:
            _move(vectors, change, width, s, other, before, after)
    return best, found[:count]


@njit(cache=True)
def subspaces(space: Any, num_states: int, width: int, most: int, work: int) -> Any:
    """Codes whose bits are a basis of a `width`-dimensional subspace of the span of `space` (masks of states)
    that tells all states apart: up to `most` of them, one a row; their number; whether all were looked at.

    Every subspace has one reduced echelon basis; these are gone through.
    """
    dim = len(space)
    found = np.zeros((most, num_states), dtype=np.int64)
    count = 0
    if width > dim:
        return found, count, True
    sums = np.zeros(1 << dim, dtype=np.uint64)
    for i in range(1, 1 << dim):
        low = 0
        while not i >> low & 1:
            low += 1
        sums[i] = sums[i & (i - 1)] ^ space[low]
    pivots = np.arange(width)
    seen = np.zeros(1 << width, dtype=np.int64)
    mark = 0
    rows = np.zeros(width, dtype=np.int64)
    codes = np.zeros(num_states, dtype=np.int64)
    while True:
        is_pivot = np.int64(0)
        for j in range(width):
            is_pivot |= np.int64(1) << pivots[j]
        free = 0
        for j in range(width):
            for column in range(pivots[j] + 1, dim):
                if not is_pivot >> column & 1:
                    free += 1
        if free > 40:
            return found, count, False
        for filling in range(np.int64(1) << free):
            work -= 1
            if work < 0:
                return found, count, False
            at = 0
            for j in range(width):
                row = np.int64(1) << pivots[j]
                for column in range(pivots[j] + 1, dim):
                    if not is_pivot >> column & 1:
                        if filling >> at & 1:
                            row |= np.int64(1) << column
                        at += 1
                rows[j] = row
            mark += 1
            good = True
            for s in range(num_states):
                code = 0
                for j in range(width):
                    if sums[rows[j]] >> np.uint64(s) & np.uint64(1):
                        code |= 1 << j
                if seen[code] == mark:
                    good = False
                    break
                seen[code] = mark
                codes[s] = code
            if good:
                if count < most:
                    found[count] = codes
                count += 1
        place = width - 1
        while place >= 0 and pivots[place] == dim - width + place:
            place -= 1
        if place < 0:
            return found, count, True
        pivots[place] += 1
        for j in range(place + 1, width):
            pivots[j] = pivots[j - 1] + 1


@njit(cache=True)
def anneal_functions(
    before: Any,
    after: Any,
    following: Any,
    preceding: Any,
    inside: Any,
    start: Any,
    steps: int,
    random: Any,
    most: int,
    penalty: float,
) -> Any:
    """As `anneal_codes`, but over the bits as functions of states (masks), which may tell too few states apart on
    the way: each state lost costs `penalty`.

    A bit is replaced by another one a tick later or earlier (`following`, `preceding`: states, -1 where there is
    none), or gets one of `inside` added, which are functions that are wanted in any case, or has one state
    flipped. Returns rank 1000 where no code was met.
    """
    num, width = len(before), len(start)
    one = np.uint64(1)
    functions = start.copy()
    vectors = np.zeros(2 * width, dtype=np.uint64)
    rows = np.zeros(2 * width, dtype=np.uint64)
    seen = np.zeros(1 << width, dtype=np.int64)
    codes = np.zeros(num, dtype=np.int64)
    found = np.zeros((most, num), dtype=np.int64)
    for j in range(width):
        vectors[2 * j] = _applied(functions[j], before)
        vectors[2 * j + 1] = _applied(functions[j], after)
    cost, best, count, mark = 1.0e9, 1000, 0, 0
    shifts = following[0] >= 0
    for _ in range(steps):
        j = below(random, width)
        function, now, then = functions[j], vectors[2 * j], vectors[2 * j + 1]
        kind = below(random, 4) if shifts else below(random, 2)
        if kind == 0:
            s = below(random, num)
            functions[j] ^= one << np.uint64(s)
            vectors[2 * j] ^= before[s]
            vectors[2 * j + 1] ^= after[s]
        else:
            if kind >= 2:
                source = functions[below(random, width)]
                moved = np.uint64(0)
                for s in range(num):
                    other = following[s] if kind == 2 else preceding[s]
                    if other >= 0 and source >> np.uint64(other) & one:
                        moved |= one << np.uint64(s)
                functions[j] = moved
            if kind == 1 or below(random, 2):
                functions[j] ^= inside[below(random, len(inside))]
            vectors[2 * j] = _applied(functions[j], before)
            vectors[2 * j + 1] = _applied(functions[j], after)
        rank = rank_of(vectors, 2 * width, rows)
        most_cost = cost - _HEAT * np.log(unit(random) + 1e-12)
        distinct = 0
        if rank <= most_cost:
            mark += 1
            for s in range(num):
                code: Any = 0
                for k in range(width):
                    code |= np.int64(functions[k] >> np.uint64(s) & one) << k
                codes[s] = code
                if seen[code] != mark:
                    seen[code] = mark
                    distinct += 1
        new = rank + penalty * (num - distinct)
        if new <= most_cost:
            if distinct == num:
                if rank < best:
                    best, count = rank, 0
                if rank == best and new != cost and count < most:
                    found[count] = codes
                    count += 1
            cost = new
        else:
            functions[j], vectors[2 * j], vectors[2 * j + 1] = function, now, then
    return best, found[:count]


@njit(cache=True)
def _applied(function: Any, rows: Any) -> Any:
    """The sum of the rows of the states in which `function` is 1."""
    total = np.uint64(0)
    s = 0
    while function:
        if function & np.uint64(1):
            total ^= rows[s]
        function >>= np.uint64(1)
        s += 1
    return total

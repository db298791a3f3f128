"""Compiled kernels of the search for codes of least rank: annealing over codes and over functions, all subspaces."""

from __future__ import annotations

from typing import Any, NamedTuple

import numpy as np
from numba import njit

from hdl2grid.base.annealing import Linear, accepts, heat_at, most_accepted
from hdl2grid.base.rng import below
from hdl2grid.synth.exact.word_vectors import lowest_one, widen

_CODES = Linear(hot=0.6, cold=0.12)
"""In ranks. Guessed."""
_FUNCTIONS = Linear(hot=0.0, cold=0.14)
"""In ranks. Measured: the best of cooled and constant heats on counters of 10 to 24 states."""
_NO_RANK = 1000
"""The rank that is told where there is no code: above that of any code."""
_MOST_FILLINGS = 40
"""Free places of an echelon form from which on its 2^40 fillings are not begun with: no budget of work allows them."""


class Tick(NamedTuple):
    """What each state adds to a bit that is 1 in it, now (`before`) and after a tick (`after`), modulo F. Where a tick
    goes from each state to one other, which one (`following`) and from which (`preceding`), -1 for none. `inside`:
    functions of states, as masks, that lie in F."""

    before: Any
    after: Any
    following: Any
    preceding: Any
    inside: Any


@njit(cache=True)
def rank_of(vectors: Any, count: int, rows: Any) -> int:
    """The rank of `vectors[:count]`; `rows` is room to work in."""
    return widen(rows, 0, vectors, 0, count, 64)


@njit(cache=True)
def _move(vectors: Any, change: Any, tick: Tick, s: int, other: int) -> None:
    """Give state `s` another code, and `other` (-1: none) its old one; `change` tells the bits that differ."""
    for j in range(len(vectors) // 2):
        if change >> j & 1:
            vectors[2 * j] ^= tick.before[s]
            vectors[2 * j + 1] ^= tick.after[s]
            if other >= 0:
                vectors[2 * j] ^= tick.before[other]
                vectors[2 * j + 1] ^= tick.after[other]


@njit(cache=True)
def anneal_codes(tick: Tick, width: int, codes: Any, steps: int, random: Any, most: int) -> Any:
    """Codes of least rank of {b, b after a tick} for the bits b, found from `codes` on by swaps and moves.

    Returns the rank and up to `most` codes of it, one a row.
    """
    num = len(tick.before)
    size = 1 << width
    owner = np.full(size, -1, dtype=np.int64)
    current = codes.copy()
    vectors = np.zeros(2 * width, dtype=np.uint64)
    for s in range(num):
        owner[current[s]] = s
        _move(vectors, current[s], tick, s, -1)
    rows = np.zeros(2 * width, dtype=np.uint64)
    cost = rank_of(vectors, 2 * width, rows)
    best = cost
    found = np.zeros((most, num), dtype=np.int64)
    found[0] = current
    count = 1
    for step in range(steps):
        heat = heat_at(_CODES, step, steps)
        s = below(random, num)
        code = below(random, size)
        if code == current[s]:
            continue
        other = owner[code]
        change = code ^ current[s]
        _move(vectors, change, tick, s, other)
        new = rank_of(vectors, 2 * width, rows)
        if accepts(random, new - cost, heat):
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
            _move(vectors, change, tick, s, other)
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
        sums[i] = sums[i & (i - 1)] ^ space[lowest_one(i)]
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
        if free > _MOST_FILLINGS:
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
def anneal_functions(tick: Tick, start: Any, penalty: float, steps: int, random: Any, most: int) -> Any:
    """As `anneal_codes`, but over the bits as functions of states (masks), which may tell too few states apart on
    the way: each state lost costs `penalty`, in ranks.

    A bit is replaced by another one a tick later or earlier, or gets one of the functions inside F added, or has one
    state flipped. Returns rank 1000 where no code was met.
    """
    num, width = len(tick.before), len(start)
    one = np.uint64(1)
    functions = start.copy()
    vectors = np.zeros(2 * width, dtype=np.uint64)
    rows = np.zeros(2 * width, dtype=np.uint64)
    seen = np.zeros(1 << width, dtype=np.int64)
    codes = np.zeros(num, dtype=np.int64)
    found = np.zeros((most, num), dtype=np.int64)
    for j in range(width):
        vectors[2 * j] = _applied(functions[j], tick.before)
        vectors[2 * j + 1] = _applied(functions[j], tick.after)
    cost, best, count, mark = 1.0e9, _NO_RANK, 0, 0
    shifts = tick.following[0] >= 0
    for step in range(steps):
        j = below(random, width)
        function, now, then = functions[j], vectors[2 * j], vectors[2 * j + 1]
        kind = below(random, 4) if shifts else below(random, 2)
        if kind == 0:
            s = below(random, num)
            functions[j] ^= one << np.uint64(s)
            vectors[2 * j] ^= tick.before[s]
            vectors[2 * j + 1] ^= tick.after[s]
        else:
            if kind >= 2:
                source = functions[below(random, width)]
                moved = np.uint64(0)
                for s in range(num):
                    other = tick.following[s] if kind == 2 else tick.preceding[s]
                    if other >= 0 and source >> np.uint64(other) & one:
                        moved |= one << np.uint64(s)
                functions[j] = moved
            if kind == 1 or below(random, 2):
                functions[j] ^= tick.inside[below(random, len(tick.inside))]
            vectors[2 * j] = _applied(functions[j], tick.before)
            vectors[2 * j + 1] = _applied(functions[j], tick.after)
        rank = rank_of(vectors, 2 * width, rows)
        most_cost = most_accepted(cost, heat_at(_FUNCTIONS, step, steps), random)
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

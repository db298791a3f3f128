"""Which registers of a code, and which cells, wire best: the bits of a code may be exchanged for sums of them.

The affine functions A of a code stay the same when its bits are replaced by other independent sums of them, and
with A stays the number of cells. So registers are chosen together with the cells, as a basis of the wanted space
W in which every target is a short sum: outputs, and for each register its own change.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any, NamedTuple

import numpy as np
from numba import njit

from hdl2grid.base.annealing import Linear, accepts, heat_at
from hdl2grid.base.rng import below, seeded
from hdl2grid.synth.codes.register_groups import REGISTER_TERMS, Behaviour
from hdl2grid.synth.exact.basis_choice import toggle_price
from hdl2grid.synth.exact.exactly_one import SIZES, add_exactly_ones
from hdl2grid.synth.exact.word_vectors import flats_within, ones_in, rank, reduced_with_tag, residues, words
from hdl2grid.synth.gf2 import Basis

_MOST_DIMENSION = 14
"""Of W: each of its 2^14 vectors is compared with every affine function. Guessed."""
_MOST_POINTS = 64
"""A vector is one machine word."""
_MOST_VARIABLES = 8
"""Code bits and context: 2^9 affine functions. Guessed."""
_MOST_PRODUCTS = 200
"""Products that annealing chooses from, those of fewest toggles. Guessed."""
_MOST_EXACTLY_ONES = 80
"""Exactly-ones that it chooses from, those of fewest toggles. Guessed."""
_COOLING = Linear(hot=3.0, cold=0.05)
"""In terms of sums. Guessed."""
_EXCESS = 14
"""What a term costs that a sink or toggle has too many, in terms: it takes a stack. Guessed."""
_LONG = 2
"""What each term beyond two of a wanted function costs more. Guessed."""
_NOT_A_PRODUCT = 1 << 20
"""The price of a cell that no affine functions multiply to: above that of any other."""
_MOST_HEIGHT = max(SIZES)


@dataclass(frozen=True)
class Wired:
    """`missing`: cells beyond the bound that products alone will need; `excess`: terms that sinks have too many,
    each of which will take about a stack; `price` of the wiring; the code by state. `known`: the cells were found."""

    missing: int
    excess: int
    price: int
    codes: tuple[int, ...]
    known: bool = True


class _Wanted(NamedTuple):
    """The functions that registers and sinks are made of, as coordinates in W. `fixed`: the constant and the context;
    `sums[i]`: the sum of the code bits in i, now, and `shifted[i]` after a tick; `targets` with the most terms
    (`limits`) that each takes."""

    fixed: Any
    sums: Any
    shifted: Any
    targets: Any
    limits: Any


class _Cells(NamedTuple):
    """Cells to choose from: coordinates in W, vectors, and for an exactly-one its affine functions (positions in
    `_Affine`, -1 from where there are none; for a product there are none)."""

    rows: Any
    vectors: Any
    sets: Any


class _Affine(NamedTuple):
    """Affine functions: vectors, which sum of code bits stands in each, and how many signals of the context. `ones` is
    the constant 1."""

    vectors: Any
    sums: Any
    terms: Any
    ones: Any


class _Room(NamedTuple):
    """`rows` of the basis in echelon form, and what each is the sum of (bit i: function i of the fixed ones, then the
    registers, then the cells); `terms[i]`: the registers that add up to the sum of code bits i."""

    rows: Any
    tags: Any
    terms: Any


def spread(codes: Any, bit: int, places: Sequence[int]) -> int:
    """Bit `bit` of the states' codes as a function of points; `places` is `here` or `after`."""
    digits = ["1" if int(codes[s]) >> bit & 1 else "0" for s in reversed(places)]
    return int("".join(digits), 2)


def wire(
    behaviour: Behaviour,
    codes: Any,
    width: int,
    steps: int,
    seed: int,
    fixed_code: bool = False,
    with_tests: bool = True,
) -> Wired | None:
    """The best wired basis found for a code (with `fixed_code`, its bits stay as they are); None where there are
    too many points or dimensions to tell. `with_tests`: exactly-ones are looked for where products will not do."""
    num_points = len(behaviour.here)
    if num_points > _MOST_POINTS or width + len(behaviour.context) > _MOST_VARIABLES:
        return None
    ones = (1 << num_points) - 1
    now = [spread(codes, j, behaviour.here) for j in range(width)]
    then = [spread(codes, j, behaviour.after) for j in range(width)]
    fixed = [ones, *behaviour.context]
    affine = Basis([*fixed, *now])
    space = Basis([*affine.sorted_rows(), *behaviour.wanted, *then])
    if len(space) > _MOST_DIMENSION or len(affine) < len(fixed) + width:
        return None
    sums = _sums(now)
    planes = _affine_functions(sums, behaviour.context, ones)
    flats, heights = flats_within(words(space.sorted_rows()), np.unique(planes.vectors))
    nonlinear = residues(flats, affine)
    order = np.lexsort((flats, heights))
    order = order[nonlinear[order] != 0]
    pool, sets = flats[order], np.full((len(order), _MOST_HEIGHT), -1, dtype=np.int64)
    num_products = len(pool)
    missing = len(space) - len(affine) - rank(words([]), nonlinear[order])
    if missing:
        tests = add_exactly_ones(num_points, planes.vectors, space, affine, pool) if with_tests else {}
        if not tests:
            return Wired(missing, 0, 0, tuple(int(c) for c in codes), False)
        pool, sets = _joined(pool, tests)
    start = _start(residues(pool, affine))
    last = min(num_products + _MOST_EXACTLY_ONES, len(pool))
    handy = [*range(min(_MOST_PRODUCTS, num_products)), *range(num_products, last)]
    kept = np.array(sorted({*handy, *start}), dtype=np.int64)
    place = {int(k): i for i, k in enumerate(kept)}
    pivots = sorted(space.rows)

    def coordinates(vectors: Any) -> Any:
        return np.array([sum((int(v) >> p & 1) << i for i, p in enumerate(pivots)) for v in vectors], dtype=np.uint64)

    price, excess, registers = _anneal(
        _Wanted(
            fixed=coordinates(fixed),
            sums=coordinates(sums),
            shifted=coordinates(_sums(then)),
            targets=coordinates(behaviour.wanted),
            limits=np.array(behaviour.limits, dtype=np.int64),
        ),
        _Cells(rows=coordinates(pool[kept]), vectors=pool[kept], sets=sets[kept]),
        planes,
        np.array([1 << j for j in range(width)], dtype=np.int64),
        np.array([place[c] for c in start], dtype=np.int64),
        0 if fixed_code else width,
        steps if start or not fixed_code else 0,
        seeded(seed, len(kept)),
    )
    new = [sum((int(c) & int(r)).bit_count() % 2 << j for j, r in enumerate(registers)) for c in codes]
    return Wired(0, int(excess), int(price), tuple(new))


def _affine_functions(sums: Sequence[int], context: Sequence[int], ones: int) -> _Affine:
    """All sums of code bits and context, with and without the constant, but the constants themselves."""
    found: list[tuple[int, int, int]] = []
    for mask, base in enumerate(_sums(context)):
        for index, vector in enumerate(sums):
            if mask or index:
                terms = mask.bit_count()
                found += [(base ^ vector, index, terms), (base ^ vector ^ ones, index, terms)]
    return _Affine(
        vectors=np.array([v for v, _, _ in found], dtype=np.uint64),
        sums=np.array([index for _, index, _ in found], dtype=np.int64),
        terms=np.array([terms for _, _, terms in found], dtype=np.int64),
        ones=np.uint64(ones),
    )


def _joined(products: Any, tests: dict[int, tuple[int, ...]]) -> tuple[Any, Any]:
    """Products and exactly-ones, those of few toggles first; and the functions of the latter."""
    listed = sorted(tests.items(), key=lambda item: (len(item[1]), item[0]))
    sets = np.full((len(products) + len(listed), _MOST_HEIGHT), -1, dtype=np.int64)
    for i, (_, chosen) in enumerate(listed):
        sets[len(products) + i, : len(chosen)] = chosen
    return np.concatenate((products, np.array([v for v, _ in listed], dtype=np.uint64))), sets


def _sums(columns: Sequence[int]) -> list[int]:
    """All sums of columns: number i is that of the columns in i."""
    sums = [0]
    for column in columns:
        sums += [s ^ column for s in sums]
    return sums


def _start(nonlinear: Any) -> list[int]:
    """The first cells that are independent."""
    basis = Basis()
    return [i for i in range(len(nonlinear)) if basis.add(int(nonlinear[i]))]


@njit(cache=True)
def _anneal(
    wanted: _Wanted,
    pool: _Cells,
    planes: _Affine,
    registers: Any,
    cells: Any,
    num_free: int,
    steps: int,
    random: Any,
) -> Any:
    """The price of the best basis, its terms too many and its registers: each step tries another sum of code bits for
    one of the last `num_free` registers, or another cell."""
    width, size = len(registers), len(cells)
    room = _Room(
        np.zeros(len(wanted.fixed) + width + size, dtype=np.uint64),
        np.zeros(len(wanted.fixed) + width + size, dtype=np.uint64),
        np.zeros(len(wanted.sums), dtype=np.int64),
    )
    regs, used = registers.copy(), cells.copy()
    cost, best_excess = _price(wanted, pool, planes, regs, used, room)
    best, best_cost = regs.copy(), cost
    for step in range(steps):
        heat = heat_at(_COOLING, step, steps)
        turn = width - num_free + below(random, num_free + size)
        if turn < width:
            old = regs[turn]
            regs[turn] = 1 + below(random, len(wanted.sums) - 1)
        else:
            old = used[turn - width]
            used[turn - width] = below(random, len(pool.rows))
        new, excess = _price(wanted, pool, planes, regs, used, room)
        if new >= 0 and accepts(random, new - cost, heat):
            cost = new
            if new < best_cost:
                best_cost, best_excess = new, excess
                best[:] = regs
        elif turn < width:
            regs[turn] = old
        else:
            used[turn - width] = old
    return best_cost, best_excess, best


@njit(cache=True)
def _price(wanted: _Wanted, pool: _Cells, planes: _Affine, registers: Any, cells: Any, room: _Room) -> Any:
    """The price of a basis, and the terms that sinks have too many; (-1, 0) if it is none."""
    width, num_fixed = len(registers), len(wanted.fixed)
    size = num_fixed + width + len(cells)
    rows, tags = room.rows, room.tags
    one = np.uint64(1)
    for i in range(size):
        if i < num_fixed:
            row = wanted.fixed[i]
        elif i < num_fixed + width:
            row = wanted.sums[registers[i - num_fixed]]
        else:
            row = pool.rows[cells[i - num_fixed - width]]
        row, tag = reduced_with_tag(row, one << np.uint64(i), rows, tags, i)
        if row == 0:
            return -1, 0
        rows[i] = row
        tags[i] = tag
    total, excess = 0, 0
    for target, limit in zip(wanted.targets, wanted.limits):  # noqa: B905 (numba)
        _, tag = reduced_with_tag(target, np.uint64(0), rows, tags, size)
        terms = ones_in(tag & ~one)
        excess += max(0, terms - limit)
        total += terms + _LONG * max(0, terms - 2)
    for j in range(width):
        _, tag = reduced_with_tag(wanted.shifted[registers[j]], np.uint64(0), rows, tags, size)
        terms = ones_in(tag & ~(one | one << np.uint64(num_fixed + j)))
        excess += max(0, terms - REGISTER_TERMS)
        total += terms
    for combination in range(1 << width):
        index, count = 0, 0
        for j in range(width):
            if combination >> j & 1:
                index ^= registers[j]
                count += 1
        room.terms[index] = count
    for cell in cells:
        if pool.sets[cell, 0] < 0:
            total += _product_price(pool.vectors[cell], planes, room.terms)
            continue
        for p in pool.sets[cell]:
            if p >= 0:
                total += toggle_price(room.terms[planes.sums[p]] + planes.terms[p], _EXCESS)
    return total + _EXCESS * excess, excess


@njit(cache=True)
def _product_price(vector: Any, planes: _Affine, terms: Any) -> int:
    """The price of the toggles of a product, its factors taken greedily."""
    rest = planes.ones & ~vector
    total = 0
    while rest:
        best, best_rest, best_price, best_gain = -1.0, rest, 0, 0
        for p in range(len(planes.vectors)):
            plane = planes.vectors[p]
            if plane & vector == vector:
                left = rest & plane
                gain = ones_in(rest) - ones_in(left)
                if gain > 0:
                    price = toggle_price(terms[planes.sums[p]] + planes.terms[p], _EXCESS)
                    if gain / price > best:
                        best, best_rest, best_price, best_gain = gain / price, left, price, gain
        if best_gain == 0:
            return _NOT_A_PRODUCT
        total += best_price
        rest = best_rest
    return total

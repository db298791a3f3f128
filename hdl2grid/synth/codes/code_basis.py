"""Which registers of a code, and which cells, wire best: the bits of a code may be exchanged for sums of them.

The affine functions A of a code stay the same when its bits are replaced by other independent sums of them, and
with A stays the number of cells. So registers are chosen together with the cells, as a basis of the wanted space
W in which every target is a short sum: outputs, and for each register its own change.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
from numba import njit

from hdl2grid.base.rng import below, seeded, unit
from hdl2grid.synth.codes.register_groups import REGISTER_TERMS, Behaviour
from hdl2grid.synth.exact.exactly_one import SIZES, add_exactly_ones
from hdl2grid.synth.exact.vectors import flats_within, ones_in, rank, residues, words
from hdl2grid.synth.gf2 import Basis, bits

_MOST_DIMENSION = 14
_MOST_POINTS = 64
_MOST_VARIABLES = 8
_POOL = 200
_MOST_TESTS = 80
_MOST_HEIGHT = max(SIZES)
_HEAT = 3.0
_EXCESS = 14
Tests = dict[int, tuple[int, ...]]
TOGGLE_TERMS = 3


@dataclass(frozen=True)
class Wired:
    """`missing`: cells beyond the bound that products alone will need; `excess`: terms that sinks have too many,
    each of which will take about a stack; `price` of the wiring; the code by state. `known`: the cells were found."""

    missing: int
    excess: int
    price: int
    codes: tuple[int, ...]
    known: bool = True


def spread(codes: Any, bit: int, places: tuple[int, ...]) -> int:
    """Bit `bit` of the states' codes as a function of points; `places` is `here` or `after`."""
    column = [int(c) >> bit & 1 for c in codes]
    return sum(column[s] << p for p, s in enumerate(places))


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
    wanted = behaviour.wanted
    space = Basis([*affine.sorted_rows(), *wanted, *then])
    if len(space) > _MOST_DIMENSION or len(affine) < len(fixed) + width:
        return None
    sums, shifted = _sums(now), _sums(then)
    planes: list[tuple[int, int, int]] = []
    for mask in range(1 << len(behaviour.context)):
        base = 0
        for i in bits(mask):
            base ^= behaviour.context[i]
        for index, vector in enumerate(sums):
            if mask or index:
                planes += [(base ^ vector, index, mask.bit_count()), (base ^ vector ^ ones, index, mask.bit_count())]
    plane_words = np.array([p[0] for p in planes], dtype=np.uint64)
    flats, heights = flats_within(words(space.sorted_rows()), np.unique(plane_words))
    nonlinear = residues(flats, affine)
    order = np.lexsort((flats, heights))
    order = order[nonlinear[order] != 0]
    pool, sets = flats[order], np.full((len(order), _MOST_HEIGHT), -1, dtype=np.int64)
    num_products = len(pool)
    missing = len(space) - len(affine) - rank(words([]), nonlinear[order])
    if missing:
        tests = add_exactly_ones(num_points, plane_words, space, affine, pool) if with_tests else {}
        if not tests:
            return Wired(missing, 0, 0, tuple(int(c) for c in codes), False)
        pool, sets = _joined(pool, tests)
    nonlinear = residues(pool, affine)
    pivots = sorted(space.rows)

    def coordinates(vector: int) -> int:
        return sum((vector >> p & 1) << i for i, p in enumerate(pivots))

    chosen = _start(pool, nonlinear)
    handy = [*range(min(_POOL, num_products)), *range(num_products, min(num_products + _MOST_TESTS, len(pool)))]
    kept = np.array(sorted({*handy, *chosen}), dtype=np.int64)
    place = {int(k): i for i, k in enumerate(kept)}
    pool, sets = pool[kept], sets[kept]
    price, excess, registers = _anneal(
        np.array([coordinates(v) for v in fixed], dtype=np.int64),
        np.array([coordinates(v) for v in sums], dtype=np.int64),
        np.array([coordinates(v) for v in shifted], dtype=np.int64),
        np.array([coordinates(int(v)) for v in pool], dtype=np.int64),
        pool,
        sets,
        plane_words,
        np.array([p[1] for p in planes], dtype=np.int64),
        np.array([p[2] for p in planes], dtype=np.int64),
        np.uint64(ones),
        np.array([coordinates(v) for v in wanted], dtype=np.int64),
        np.array(behaviour.limits, dtype=np.int64),
        np.array([1 << j for j in range(width)], dtype=np.int64),
        np.array([place[c] for c in chosen], dtype=np.int64),
        0 if fixed_code else width,
        steps if chosen or not fixed_code else 0,
        seeded(seed, len(pool)),
    )
    new = [sum((int(c) & int(r)).bit_count() % 2 << j for j, r in enumerate(registers)) for c in codes]
    return Wired(0, int(excess), int(price), tuple(new))


def _joined(products: Any, tests: Tests) -> tuple[Any, Any]:
    """Products and exactly-ones, those of few toggles first; and the functions of the latter."""
    listed = sorted(tests.items(), key=lambda item: (len(item[1]), item[0]))
    sets = np.full((len(products) + len(listed), _MOST_HEIGHT), -1, dtype=np.int64)
    for i, (_, chosen) in enumerate(listed):
        sets[len(products) + i, : len(chosen)] = chosen
    return np.concatenate((products, np.array([v for v, _ in listed], dtype=np.uint64))), sets


def _sums(columns: list[int]) -> list[int]:
    sums = [0]
    for column in columns:
        sums += [s ^ column for s in sums]
    return sums


def _start(pool: Any, nonlinear: Any) -> list[int]:
    basis = Basis()
    return [i for i in range(len(pool)) if basis.add(int(nonlinear[i]))]


@njit(cache=True)
def _anneal(
    fixed: Any,
    sums: Any,
    shifted: Any,
    pool: Any,
    pool_words: Any,
    sets: Any,
    planes: Any,
    plane_sum: Any,
    plane_weight: Any,
    ones: Any,
    wanted: Any,
    limits: Any,
    registers: Any,
    cells: Any,
    num_free: int,
    steps: int,
    random: Any,
) -> Any:
    width, size = len(registers), len(cells)
    room = np.zeros((2, len(fixed) + width + size), dtype=np.int64)
    weight = np.zeros(len(sums), dtype=np.int64)
    note = np.zeros(1, dtype=np.int64)
    regs, used = registers.copy(), cells.copy()
    cost = _price(
        fixed,
        sums,
        shifted,
        pool,
        pool_words,
        sets,
        planes,
        plane_sum,
        plane_weight,
        ones,
        wanted,
        limits,
        regs,
        used,
        room,
        weight,
        note,
    )
    best, best_cost, excess = regs.copy(), cost, note[0]
    for step in range(steps):
        heat = _HEAT * (1.0 - step / steps) + 0.05
        turn = width - num_free + below(random, num_free + size)
        if turn < width:
            old = regs[turn]
            regs[turn] = 1 + below(random, len(sums) - 1)
        else:
            old = used[turn - width]
            used[turn - width] = below(random, len(pool))
        new = _price(
            fixed,
            sums,
            shifted,
            pool,
            pool_words,
            sets,
            planes,
            plane_sum,
            plane_weight,
            ones,
            wanted,
            limits,
            regs,
            used,
            room,
            weight,
            note,
        )
        if new >= 0 and (new <= cost or unit(random) < np.exp((cost - new) / heat)):
            cost = new
            if new < best_cost:
                best_cost, excess = new, note[0]
                best[:] = regs
        elif turn < width:
            regs[turn] = old
        else:
            used[turn - width] = old
    return best_cost, excess, best


@njit(cache=True)
def _price(
    fixed: Any,
    sums: Any,
    shifted: Any,
    pool: Any,
    pool_words: Any,
    sets: Any,
    planes: Any,
    plane_sum: Any,
    plane_weight: Any,
    ones: Any,
    wanted: Any,
    limits: Any,
    registers: Any,
    cells: Any,
    room: Any,
    weight: Any,
    note: Any,
) -> int:
    """The price of a basis; -1 if it is none. `note` gets the terms that sinks have too many."""
    width, num_fixed = len(registers), len(fixed)
    size = num_fixed + width + len(cells)
    rows, tags = room[0], room[1]
    for i in range(size):
        if i < num_fixed:
            row = fixed[i]
        elif i < num_fixed + width:
            row = sums[registers[i - num_fixed]]
        else:
            row = pool[cells[i - num_fixed - width]]
        tag = np.int64(1) << i
        for k in range(i):
            if row & rows[k] & -rows[k]:
                row ^= rows[k]
                tag ^= tags[k]
        if row == 0:
            return -1
        rows[i] = row
        tags[i] = tag
    total, excess = 0, 0
    for target, limit in zip(wanted, limits):  # noqa: B905 (numba)
        terms = _terms(_tag(target, rows, tags, size) & ~1)
        excess += max(0, terms - limit)
        total += terms + 2 * max(0, terms - 2)
    for j in range(width):
        own = np.int64(1) << (num_fixed + j)
        terms = _terms(_tag(shifted[registers[j]], rows, tags, size) & ~1 & ~own)
        excess += max(0, terms - REGISTER_TERMS)
        total += terms
    for combination in range(1 << width):
        index, count = 0, 0
        for j in range(width):
            if combination >> j & 1:
                index ^= registers[j]
                count += 1
        weight[index] = count
    for cell in cells:
        if sets[cell, 0] < 0:
            total += _factors(pool_words[cell], planes, plane_sum, plane_weight, ones, weight)
            continue
        for p in sets[cell]:
            if p >= 0:
                terms = weight[plane_sum[p]] + plane_weight[p]
                total += 1 + terms + 4 * max(0, terms - 2) + _EXCESS * max(0, terms - TOGGLE_TERMS)
    note[0] = excess
    return total + _EXCESS * excess


@njit(cache=True)
def _tag(row: int, rows: Any, tags: Any, size: int) -> int:
    tag = 0
    for k in range(size):
        if row & rows[k] & -rows[k]:
            row ^= rows[k]
            tag ^= tags[k]
    return tag


@njit(cache=True)
def _terms(tag: Any) -> int:
    terms = 0
    while tag:
        tag &= tag - 1
        terms += 1
    return terms


@njit(cache=True)
def _factors(vector: Any, planes: Any, plane_sum: Any, plane_weight: Any, ones: Any, weight: Any) -> int:
    """The price of the toggles of a product, its factors taken greedily."""
    rest = ones & ~vector
    total = 0
    while rest:
        best, best_rest, best_price, best_gain = -1.0, rest, 0, 0
        for p in range(len(planes)):
            if planes[p] & vector == vector:
                left = rest & planes[p]
                gain = ones_in(rest) - ones_in(left)
                if gain > 0:
                    terms = weight[plane_sum[p]] + plane_weight[p]
                    price = 1 + terms + 4 * max(0, terms - 2) + _EXCESS * max(0, terms - TOGGLE_TERMS)
                    if gain / price > best:
                        best, best_rest, best_price, best_gain = gain / price, left, price, gain
        if best_gain == 0:
            return 1 << 20
        total += best_price
        rest = best_rest
    return total

"""Among many smallest sets of cells, the one that wires best: short sums at the sinks, light toggles."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from numba import njit

from hdl2grid.base.rng import below, seeded, unit
from hdl2grid.synth.exact.local_cells import Target
from hdl2grid.synth.gf2 import Basis, bits


@dataclass(frozen=True)
class Prices:
    """What wiring costs: a term at a sink 1, each term above a sink's limit `excess` more (it needs a stack)."""

    excess: int = 20

    @staticmethod
    def factor(mask: int) -> int:
        """The price of a toggle that bears the affine function `mask` (bit 0 the constant)."""
        terms = (mask >> 1).bit_count()
        return 1 + terms + 4 * max(0, terms - 2) + 20 * max(0, terms - 3)


@dataclass(frozen=True)
class Pool:
    """Candidates (vectors) of which a basis of `quotient` modulo `affine` is to be chosen, with their prices."""

    affine: Basis
    quotient: Basis
    vectors: Sequence[int]
    prices: Sequence[int]


def cheapest_basis(
    pool: Pool,
    targets: Sequence[Target],
    lightest: Mapping[int, int],
    prices: Prices,
    steps: int,
    seed: int,
) -> tuple[int, list[int]] | None:
    """The price and the members (positions in the pool) of the best basis that annealing finds.

    Deterministic for a seed. None if the pool does not span `quotient`.
    """
    affine_pivots, pivots = sorted(pool.affine.rows), sorted(pool.quotient.rows)

    def coordinates(vector: int) -> tuple[int, int]:
        a = sum((vector >> p & 1) << i for i, p in enumerate(affine_pivots))
        rest = pool.affine.reduce(vector)
        q = sum((rest >> p & 1) << i for i, p in enumerate(pivots))
        for i in bits(q):
            rest ^= pool.quotient.rows[pivots[i]]
        assert rest == 0
        return a, q

    start, grown = [], Basis()
    points = [coordinates(v) for v in pool.vectors]
    for i in sorted(range(len(points)), key=lambda i: (pool.prices[i], i)):
        if grown.add(points[i][1]):
            start.append(i)
    if len(start) < len(pivots):
        return None
    weights = np.full((len(targets), 1 << len(affine_pivots)), 1 << 20, dtype=np.int64)
    for vector, mask in lightest.items():
        a = coordinates(vector)[0]
        for t, target in enumerate(targets):
            weight = (mask >> 1).bit_count()
            if target.own is not None:
                weight -= mask >> (target.own + 1) & 1
            weights[t, a] = weight
    wanted = [coordinates(t.vector) for t in targets]
    price, members = _anneal(
        np.array([p[1] for p in points], dtype=np.uint64),
        np.array([p[0] for p in points], dtype=np.int64),
        np.array(pool.prices, dtype=np.int64),
        np.array(start, dtype=np.int64),
        np.array([w[1] for w in wanted], dtype=np.uint64),
        np.array([w[0] for w in wanted], dtype=np.int64),
        weights,
        np.array([t.limit for t in targets], dtype=np.int64),
        prices.excess,
        steps,
        seeded(seed, len(points)),
    )
    return int(price), sorted(int(m) for m in members)


@njit(cache=True)
def _anneal(
    points: Any,
    affine: Any,
    prices: Any,
    start: Any,
    wanted: Any,
    wanted_affine: Any,
    weights: Any,
    limits: Any,
    excess: int,
    steps: int,
    random: Any,
) -> Any:
    size = len(start)
    current = start.copy()
    rows = np.zeros(size, dtype=np.uint64)
    row_affine = np.zeros(size, dtype=np.int64)
    row_members = np.zeros(size, dtype=np.int64)
    price = _price(
        points, affine, prices, current, wanted, wanted_affine, weights, limits, excess, rows, row_affine, row_members
    )
    best, best_price = current.copy(), price
    warm = 4.0
    for step in range(steps):
        heat = warm * (1.0 - step / steps) + 0.01
        place = below(random, size)
        member = below(random, len(points))
        old = current[place]
        if member == old:
            continue
        current[place] = member
        new = _price(
            points,
            affine,
            prices,
            current,
            wanted,
            wanted_affine,
            weights,
            limits,
            excess,
            rows,
            row_affine,
            row_members,
        )
        if new >= 0 and (new <= price or unit(random) < np.exp((price - new) / heat)):
            price = new
            if new < best_price:
                best_price = new
                best[:] = current
        else:
            current[place] = old
    return best_price, best


@njit(cache=True)
def _price(
    points: Any,
    affine: Any,
    prices: Any,
    members: Any,
    wanted: Any,
    wanted_affine: Any,
    weights: Any,
    limits: Any,
    excess: int,
    rows: Any,
    row_affine: Any,
    row_members: Any,
) -> int:
    """The price of a set of members; -1 if they are dependent. The last three are room to work in."""
    total = 0
    for i in range(len(members)):
        row = points[members[i]]
        a = affine[members[i]]
        used = np.int64(1) << i
        for k in range(i):
            low = rows[k] & (~rows[k] + np.uint64(1))
            if row & low:
                row ^= rows[k]
                a ^= row_affine[k]
                used ^= row_members[k]
        if row == 0:
            return -1
        rows[i] = row
        row_affine[i] = a
        row_members[i] = used
        total += prices[members[i]]
    for t in range(len(wanted)):
        row = wanted[t]
        a = wanted_affine[t]
        used = np.int64(0)
        for k in range(len(members)):
            low = rows[k] & (~rows[k] + np.uint64(1))
            if row & low:
                row ^= rows[k]
                a ^= row_affine[k]
                used ^= row_members[k]
        terms = weights[t, a]
        while used:
            used &= used - 1
            terms += 1
        total += terms
        if terms > limits[t]:
            total += excess * (terms - limits[t])
    return total

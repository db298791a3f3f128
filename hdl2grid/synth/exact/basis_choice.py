"""Among many smallest sets of cells, the one that wires best: short sums at the sinks, light toggles."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any, NamedTuple

import numpy as np
from numba import njit

from hdl2grid.base.annealing import Linear, accepts, heat_at
from hdl2grid.base.rng import below, seeded
from hdl2grid.synth.exact.local_cells import Target
from hdl2grid.synth.exact.word_vectors import ones_in, reduced_with_tag
from hdl2grid.synth.gf2 import Basis, bits

_COOLING = Linear(hot=4.0, cold=0.01)
"""In terms of sums. Guessed."""
_FACTOR_EXCESS = 20
"""What each term costs that a toggle bears beyond three, in terms: about a stack. Guessed."""
_UNKNOWN = 1 << 20
"""Terms of an affine function that no sum of variables gives: more than any sum has."""


@njit(cache=True, inline="always")
def toggle_price(terms: int, excess: int) -> int:
    """The price of a toggle that bears a sum of `terms` signals: 1 for the toggle and 1 a term, 4 more for each term
    beyond two, and `excess` more for each beyond three, which needs a stack. The weights are guessed."""
    return 1 + terms + 4 * max(0, terms - 2) + excess * max(0, terms - 3)


@dataclass(frozen=True)
class Prices:
    """What wiring costs: a term at a sink 1, each term above a sink's limit `excess` more, as it needs a stack (20 is
    guessed)."""

    excess: int = 20

    @staticmethod
    def factor(mask: int) -> int:
        """The price of a toggle that bears the affine function `mask` (bit 0 the constant)."""
        return int(toggle_price((mask >> 1).bit_count(), _FACTOR_EXCESS))


@dataclass(frozen=True)
class Pool:
    """Candidates (vectors) of which a basis of `quotient` modulo `affine` is to be chosen, with their prices."""

    affine: Basis
    quotient: Basis
    vectors: Sequence[int]
    prices: Sequence[int]


class _Candidates(NamedTuple):
    """`rows`: coordinates in the quotient; `tags`: those in the affine space, shifted beyond a bit for each member of
    the basis; `prices` of their toggles."""

    rows: Any
    tags: Any
    prices: Any


class _Sinks(NamedTuple):
    """Wanted vectors as `_Candidates`; `weights[t, a]`: the terms of affine function a at target t; the most terms that
    each takes, and what one more costs."""

    rows: Any
    tags: Any
    weights: Any
    limits: Any
    excess: int


class _Echelon(NamedTuple):
    """Room for the rows of a basis, and what each is the sum of: bit i for member i, then an affine function."""

    rows: Any
    tags: Any


def cheapest_basis(
    pool: Pool,
    targets: Sequence[Target],
    lightest: Mapping[int, int],
    prices: Prices,
    steps: int,
    seed: int,
) -> tuple[int, list[int]] | None:
    """The price and the members (positions in the pool) of the best basis that annealing finds in `steps` steps.

    Deterministic for a seed. None if the pool does not span `quotient`. The dimensions of `affine` and `quotient` must
    add up to 64 at most.
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
    size = len(pivots)
    if len(start) < size:
        return None
    weights = np.full((len(targets), 1 << len(affine_pivots)), _UNKNOWN, dtype=np.int64)
    for vector, mask in lightest.items():
        a = coordinates(vector)[0]
        for t, target in enumerate(targets):
            weight = (mask >> 1).bit_count()
            if target.own is not None:
                weight -= mask >> (target.own + 1) & 1
            weights[t, a] = weight
    wanted = [coordinates(t.vector) for t in targets]
    price, members = _anneal(
        _Candidates(
            rows=np.array([q for _, q in points], dtype=np.uint64),
            tags=np.array([a << size for a, _ in points], dtype=np.uint64),
            prices=np.array(pool.prices, dtype=np.int64),
        ),
        _Sinks(
            rows=np.array([q for _, q in wanted], dtype=np.uint64),
            tags=np.array([a << size for a, _ in wanted], dtype=np.uint64),
            weights=weights,
            limits=np.array([t.limit for t in targets], dtype=np.int64),
            excess=prices.excess,
        ),
        np.array(start, dtype=np.int64),
        steps,
        seeded(seed, len(points)),
    )
    return int(price), sorted(int(m) for m in members)


@njit(cache=True)
def _anneal(pool: _Candidates, sinks: _Sinks, start: Any, steps: int, random: Any) -> Any:
    """The price and members of the best basis: each step tries another candidate in place of a member."""
    size = len(start)
    current = start.copy()
    room = _Echelon(np.zeros(size, dtype=np.uint64), np.zeros(size, dtype=np.uint64))
    price = _price(pool, sinks, current, room)
    best, best_price = current.copy(), price
    for step in range(steps):
        heat = heat_at(_COOLING, step, steps)
        place = below(random, size)
        member = below(random, len(pool.rows))
        old = current[place]
        if member == old:
            continue
        current[place] = member
        new = _price(pool, sinks, current, room)
        if new >= 0 and accepts(random, new - price, heat):
            price = new
            if new < best_price:
                best_price = new
                best[:] = current
        else:
            current[place] = old
    return best_price, best


@njit(cache=True)
def _price(pool: _Candidates, sinks: _Sinks, members: Any, room: _Echelon) -> int:
    """The price of a set of members; -1 if they are dependent."""
    size = len(members)
    total = 0
    for i in range(size):
        m = members[i]
        tag = pool.tags[m] | np.uint64(1) << np.uint64(i)
        row, tag = reduced_with_tag(pool.rows[m], tag, room.rows, room.tags, i)
        if row == 0:
            return -1
        room.rows[i] = row
        room.tags[i] = tag
        total += pool.prices[m]
    own = (np.uint64(1) << np.uint64(size)) - np.uint64(1)
    for t in range(len(sinks.rows)):
        _, tag = reduced_with_tag(sinks.rows[t], sinks.tags[t], room.rows, room.tags, size)
        terms = sinks.weights[t, tag >> np.uint64(size)] + ones_in(tag & own)
        total += terms + sinks.excess * max(0, terms - sinks.limits[t])
    return total

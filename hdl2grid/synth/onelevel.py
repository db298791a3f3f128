"""One-level synthesis: the fewest products whose span, with the affine functions, holds all targets.

A function on the `n <= 64` states of a block is a vector of n bits. The affine functions of the block's
variables span `A`, they and the targets `W`. With one level, a set of cells will do exactly when its vectors
and `A` span `W`, so at least `dim W - dim A` are needed. A set of just that many lies in `W` altogether; a set
of one more lies in `W + <f>` for one vector f outside `W`; and so on: the search goes over these extensions,
the candidates sorted by their residues modulo `W`. Among the smallest sets, `wiring.py` finds the one that
wires best.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import combinations

import numpy as np
import numpy.typing as npt

from hdl2grid.synth.gf2 import Basis, bits
from hdl2grid.synth.network import EXACTLY_ONE, PRODUCT
from hdl2grid.synth.wiring import Pool, Prices, cheapest_basis

Words = npt.NDArray[np.uint64]

_MOST_FLATS = 60_000
_MOST_EXTENSIONS = 12
_MOST_PAIRS = 40_000


@dataclass(frozen=True)
class LocalCell:
    """A cell over the block's variables; a factor is a mask: bit 0 the constant 1, bit i + 1 variable i."""

    kind: str
    factors: tuple[int, ...]


@dataclass(frozen=True)
class OneLevel:
    """`forms[t]` is target t as a mask: constant, variables, then the cells. `bound` is dim W - dim A;
    `minimal` tells that no smaller set of products exists with one level."""

    cells: tuple[LocalCell, ...]
    forms: tuple[int, ...]
    bound: int
    minimal: bool


@dataclass(frozen=True)
class Target:
    """A wanted vector; `own` is the variable that costs nothing at its sink, or None; `limit` the most terms
    that the sink takes."""

    vector: int
    own: int | None
    limit: int


class _Space:
    """The block's functions as vectors, with `A`, `W` and the affine functions by vector."""

    def __init__(self, num_states: int, variables: Sequence[int], targets: Sequence[Target]) -> None:
        self.ones = (1 << num_states) - 1
        self.variables = list(variables)
        self.affine = Basis([self.ones, *variables])
        self.quotient = Basis(self.affine.reduce(t.vector) for t in targets)
        masks = sorted(range(1 << (len(variables) + 1)), key=lambda m: ((m >> 1).bit_count(), m))
        self.lightest: dict[int, int] = {}
        for mask in masks:
            self.lightest.setdefault(self.vector(mask), mask)

    def vector(self, mask: int) -> int:
        total = self.ones if mask & 1 else 0
        for i in bits(mask >> 1):
            total ^= self.variables[i]
        return total

    def hyperplanes(self) -> Words:
        return np.array(sorted(v for v in self.lightest if v not in (0, self.ones)), dtype=np.uint64)


def one_level(
    num_states: int, variables: Sequence[int], targets: Sequence[Target], steps: int, seed: int
) -> OneLevel | None:
    """Solve a block; vectors have bit i for state i. None if the space of candidates is too large."""
    space = _Space(num_states, variables, targets)
    bound = len(space.quotient)
    if bound == 0:
        forms = tuple(space.lightest[t.vector] for t in targets)
        return OneLevel((), forms, 0, True)
    planes = space.hyperplanes()
    flats, complete = _flats(planes)
    if not complete and len(flats) == 0:
        return None
    solution = _smallest_pools(space, flats)
    if solution is None:
        return None
    pools, minimal = solution
    best: tuple[int, list[int], Basis] | None = None
    factors: dict[int, tuple[tuple[int, ...], int]] = {}
    for quotient, members in pools:
        vectors = [int(v) for v in members]
        for v in vectors:
            if v not in factors:
                factors[v] = _lightest_factors(space, v, planes)
        prices = [factors[v][1] for v in vectors]
        pool = Pool(space.affine, quotient, vectors, prices)
        found = cheapest_basis(pool, targets, space.lightest, Prices(), max(1, steps // len(pools)), seed)
        if found is not None and (best is None or found[0] < best[0]):
            best = (found[0], [vectors[i] for i in found[1]], quotient)
    if best is None:
        return None
    cells = tuple(LocalCell(PRODUCT, factors[v][0]) for v in best[1])
    forms = _express(space, best[1], targets)
    return OneLevel(cells, forms, bound, minimal and complete)


def _flats(planes: Words) -> tuple[Words, bool]:
    """All products of two and more affine functions, as vectors; and whether that are all."""
    seen = np.unique(planes)
    level, found = planes, np.zeros(0, dtype=np.uint64)
    while len(level):
        if len(level) * len(planes) > 6_000_000 or len(found) > _MOST_FLATS:
            return found, False
        level = np.unique((level[:, None] & planes[None, :]).ravel())
        level = np.setdiff1d(level[level != 0], seen, assume_unique=True)
        seen = np.union1d(seen, level)
        found = np.concatenate((found, level))
    return np.sort(found), True


def residues(vectors: Words, basis: Basis) -> Words:
    """`Basis.reduce` on an array of vectors of at most 64 bits."""
    out = vectors.copy()
    for pivot, row in basis.rows.items():
        hit = (out >> np.uint64(pivot) & np.uint64(1)).astype(bool)
        out[hit] ^= np.uint64(row)
    return out


def _smallest_pools(space: _Space, flats: Words) -> tuple[list[tuple[Basis, Words]], bool] | None:
    """The extensions of W of least dimension that candidates span, each with the candidates that lie in it.

    The second value tells that all smaller extensions were excluded (by exhaustion over `flats`).
    """
    nonlinear = residues(flats, space.affine)
    keep = nonlinear != 0
    flats, nonlinear = flats[keep], nonlinear[keep]
    outside = residues(nonlinear, space.quotient)
    inside = flats[outside == 0]
    need = len(space.quotient)
    core = Basis(int(v) for v in np.unique(nonlinear[outside == 0]))
    if len(core) == need:
        return [(space.quotient, inside)], True
    values, start = np.unique(outside, return_index=True)
    groups = {int(v): np.flatnonzero(outside == v) for v in values if v != 0} if len(values) <= 4096 else None
    del start
    if groups is not None:
        single = _extensions(space, core, flats, nonlinear, groups, inside)
        if single:
            return single, True
        double = _double_extensions(space, core, flats, nonlinear, groups, inside)
        if double[0]:
            return double
    greedy = _grow(space, flats, nonlinear)
    return None if greedy is None else ([greedy], False)


def _extended(space: _Space, extra: Sequence[int]) -> Basis:
    return Basis([*space.quotient.sorted_rows(), *extra])


def _extensions(
    space: _Space,
    core: Basis,
    flats: Words,
    nonlinear: Words,
    groups: dict[int, npt.NDArray[np.int64]],
    inside: Words,
) -> list[tuple[Basis, Words]]:
    missing = len(space.quotient) + 1 - len(core)
    found = []
    for value, members in sorted(groups.items(), key=lambda item: (-len(item[1]), item[0])):
        if len(members) < missing:
            break
        if _rank(core, nonlinear[members], missing) == missing:
            found.append((_extended(space, [value]), np.concatenate((inside, flats[members]))))
        if len(found) == _MOST_EXTENSIONS:
            break
    return found


def _double_extensions(
    space: _Space,
    core: Basis,
    flats: Words,
    nonlinear: Words,
    groups: dict[int, npt.NDArray[np.int64]],
    inside: Words,
) -> tuple[list[tuple[Basis, Words]], bool]:
    missing = len(space.quotient) + 2 - len(core)
    order = sorted(groups, key=lambda v: (-len(groups[v]), v))
    found: list[tuple[Basis, Words]] = []
    tried = 0
    for a, b in combinations(order, 2):
        if len(groups[a]) + 2 * len(groups[b]) < missing and len(groups[a]) < missing:
            continue
        tried += 1
        if tried > _MOST_PAIRS:
            return found, False
        members = np.concatenate([groups[v] for v in (a, b, a ^ b) if v in groups])
        if len(members) >= missing and _rank(core, nonlinear[members], missing) == missing:
            found.append((_extended(space, [a, b]), np.concatenate((inside, flats[members]))))
            if len(found) == _MOST_EXTENSIONS:
                break
    return found, True


def _rank(core: Basis, vectors: Words, enough: int) -> int:
    """By how much `vectors` widen `core`, at most `enough`."""
    grown = Basis(core.sorted_rows())
    gained = 0
    for v in vectors:
        gained += grown.add(int(v))
        if gained == enough:
            break
    return gained


def _grow(space: _Space, flats: Words, nonlinear: Words) -> tuple[Basis, Words] | None:
    """Widen W by one candidate after the other, the one that lets most others in, until candidates span it."""
    quotient = Basis(space.quotient.sorted_rows())
    while True:
        outside = residues(nonlinear, quotient)
        inside = outside == 0
        core = Basis(int(v) for v in np.unique(nonlinear[inside]))
        if len(core) == len(quotient):
            return quotient, flats[inside]
        values, counts = np.unique(outside[~inside], return_counts=True)
        if not len(values):
            return None
        best, gain = int(values[0]), -1
        for i in np.argsort(-counts, kind="stable")[:64]:
            gained = _rank(core, nonlinear[outside == values[i]], len(quotient) + 1 - len(core))
            if gained > gain:
                best, gain = int(values[i]), gained
        quotient.add(best)


def _lightest_factors(space: _Space, vector: int, planes: Words) -> tuple[tuple[int, ...], int]:
    """Affine factors whose product is `vector`, lightest first found, as masks; and their price."""
    covering = [int(p) for p in planes if int(p) & vector == vector]
    ranked = sorted(covering, key=lambda p: (Prices.factor(space.lightest[p]), space.lightest[p]))
    best: list[tuple[int, ...]] = []
    best_price = [1 << 30]
    budget = [400]

    def descend(rest: int, chosen: tuple[int, ...], price: int) -> None:
        if price >= best_price[0] or budget[0] == 0:
            return
        budget[0] -= 1
        if not rest:
            best_price[0] = price
            best[:] = [chosen]
            return
        low = rest & -rest
        for p in ranked:
            if not p & low:
                descend(rest & p, (*chosen, p), price + Prices.factor(space.lightest[p]))

    descend(space.ones & ~vector, (), 0)
    return tuple(sorted(space.lightest[p] for p in best[0])), best_price[0]


def _express(space: _Space, cells: Sequence[int], targets: Sequence[Target]) -> tuple[int, ...]:
    """Each target as an XOR of cells and the lightest affine function."""
    width = space.ones.bit_length()
    tagged = Basis(ignore=(1 << len(cells)) - 1)
    shift = len(cells)
    del width
    for i, v in enumerate(cells):
        tagged.add(space.affine.reduce(v) << shift | 1 << i)
    first = len(space.variables) + 1
    forms = []
    for target in targets:
        residue = tagged.reduce(space.affine.reduce(target.vector) << shift)
        chosen = residue & ((1 << shift) - 1)
        rest = target.vector
        for i in bits(chosen):
            rest ^= cells[i]
        forms.append(space.lightest[rest] | chosen << first)
    return tuple(forms)


__all__ = ["EXACTLY_ONE", "LocalCell", "OneLevel", "Target", "one_level", "residues"]

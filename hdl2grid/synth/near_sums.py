"""Sums over cells that are given, and few new ones: what a block of an old circuit needs for changed targets.

The given cells count as affine functions; what these cannot say takes new products, as in `one_level.py`. A sum that
differs little from an old one moves few tiles, so it is preferred to a short one.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import combinations

import numpy as np

from hdl2grid.synth.exact.extensions import smallest_extensions
from hdl2grid.synth.exact.local_cells import Target
from hdl2grid.synth.exact.one_level import OneLevel, Space, express, lightest_cell, products
from hdl2grid.synth.exact.word_vectors import flats_within
from hdl2grid.synth.gf2 import Basis, bits


@dataclass(frozen=True)
class NearBudget:
    """Limits of the search, and prices in terms. All guessed."""

    tests: int = 1 << 26
    """Vectors of W times affine functions that are compared, to find all products in W."""
    members: int = 20_000
    """Products that new cells are chosen from."""
    choices: int = 30
    """Choices of new cells that sums are made for: of the fewest, and of one that makes good an old sum."""
    flips: int = 3
    """Given cells, at the most, that a sum has more or fewer than the old one, before any sum will do."""
    solutions: int = 8
    """Solutions handed back."""
    flip: int = 3
    """The price of a given cell more or fewer in a sum, beside its term."""
    too_long: int = 6
    """That of each term above a sink's limit."""
    cell: int = 2
    """That of a new cell, beside 1 a toggle."""


BUDGET = NearBudget()


@dataclass(frozen=True)
class NearSums:
    """New cells and, for each target, its sum over constant, variables and those; and the given cells in it."""

    new: OneLevel
    given: tuple[frozenset[int], ...]


def near_sums(
    num_states: int,
    variables: Sequence[int],
    targets: Sequence[Target],
    given: Sequence[int],
    old: Sequence[frozenset[int]],
) -> tuple[NearSums, ...]:
    """Few new cells beside the given ones, and sums that differ little from the old ones: the fewest cells, or one cell
    more that makes good an old sum, which may cost less than a sum of many old ones. Several, the cheapest first."""
    space = Space(num_states, variables, [t.vector for t in targets])
    priced: dict[NearSums, int] = {}
    for made in [*_new_cells(space, targets, given), *_amending_cells(space, targets, given, old)]:
        cells = [lightest_cell(space, v, {})[0] for v in made]
        sums = [_near_sum(space, t, given, made, start) for t, start in zip(targets, old, strict=True)]
        price = sum(BUDGET.cell + len(cell.factors) for cell in cells) + sum(price for price, _, _ in sums)
        new = OneLevel(tuple(cells), tuple(mask for _, mask, _ in sums), len(cells))
        priced.setdefault(NearSums(new, tuple(kept for _, _, kept in sums)), price)
    return tuple(sorted(priced, key=lambda found: priced[found])[: BUDGET.solutions])


def _new_cells(space: Space, targets: Sequence[Target], given: Sequence[int]) -> list[list[int]]:
    """Choices of the fewest products, as vectors, that with the given cells and the affine functions span the
    targets; none where no products do."""
    wide = Basis([space.ones, *space.variables, *given])
    quotient = Basis(wide.reduce(t.vector) for t in targets)
    if not len(quotient):
        return [[]]
    rows = [*quotient.sorted_rows(), *wide.sorted_rows()]
    found = []
    if len(space.planes) << len(rows) <= BUDGET.tests:
        within, _ = flats_within(np.array(rows, dtype=np.uint64), space.planes)
        found = smallest_extensions(wide, quotient, within)
    if not found or len(found[0].quotient) > len(quotient):
        found = smallest_extensions(wide, quotient, products(space.planes))
    if not found:
        return []
    heights = {int(v): sum(int(p) & int(v) == int(v) for p in space.planes) for v in found[0].members[: BUDGET.members]}
    order = sorted(heights, key=lambda v: (heights[v], v))
    choices = []
    for first in order[: BUDGET.choices]:
        basis = Basis(wide.sorted_rows())
        chosen = [v for v in (first, *order) if basis.add(v)]
        if not any(basis.reduce(t.vector) for t in targets):
            choices.append(chosen)
    return choices


def _amending_cells(
    space: Space, targets: Sequence[Target], given: Sequence[int], old: Sequence[frozenset[int]]
) -> list[list[int]]:
    """Single products that, with the old sum of a target, or all but one given cell of it, and few variables, say what
    the target should; those with which the given cells span all targets."""
    wide = Basis([space.ones, *space.variables, *given])
    found: dict[int, tuple[int, int]] = {}
    members = products(space.planes)[: BUDGET.members].tolist()
    for target, start in zip(targets, old, strict=True):
        for kept in [start, *(start - {g} for g in sorted(start))]:
            lacks = target.vector
            for g in kept:
                lacks ^= given[g]
            if kept == start and lacks in space.lightest:
                break
            for vector in members:
                mask = space.lightest.get(lacks ^ vector)
                if mask is not None:
                    terms = (mask >> 1).bit_count() + len(kept)
                    found[vector] = min((terms, vector), found.get(vector, (terms, vector)))
    chosen = sorted(found, key=lambda v: found[v])[: BUDGET.choices]
    return [[v] for v in chosen if not any(Basis([*wide.sorted_rows(), v]).reduce(t.vector) for t in targets)]


def _near_sum(
    space: Space, target: Target, given: Sequence[int], made: Sequence[int], start: frozenset[int]
) -> tuple[int, int, frozenset[int]]:
    """A sum for the target: its price, a mask of constant, variables and made cells, and the given cells in it. A
    sum is dear that differs from `start` in many cells, or has more terms than its sink takes."""
    first = len(space.variables) + 1
    own = 0 if target.own is None else 2 << target.own
    best: tuple[int, int, frozenset[int]] | None = None
    rest = target.vector
    for g in start:
        rest ^= given[g]

    def offer(mask: int, kept: frozenset[int]) -> None:
        nonlocal best
        terms = ((mask & ~own) >> 1).bit_count() + len(kept)
        price = terms + BUDGET.flip * len(kept ^ start) + BUDGET.too_long * max(0, terms - target.limit)
        if best is None or price < best[0]:
            best = price, mask, kept

    for size in range(BUDGET.flips + 1):
        for flips in combinations(range(len(given)), size):
            flipped = rest
            for g in flips:
                flipped ^= given[g]
            for subset in range(1 << len(made)):
                vector = flipped
                for j in bits(subset):
                    vector ^= made[j]
                mask = space.lightest.get(vector)
                if mask is not None:
                    offer(mask | subset << first, start ^ frozenset(flips))
        if best is not None and best[0] <= BUDGET.flip * (size + 1):
            return best
    if best is None:
        mask = express(space, [*given, *made], [target.vector])[0]
        kept = frozenset(g for g in range(len(given)) if mask >> (first + g) & 1)
        offer(mask & (1 << first) - 1 | mask >> (first + len(given)) << first, kept)
    assert best is not None
    return best

"""One-level synthesis: the fewest products whose span, with the affine functions, holds all targets.

A function on the `n <= 64` states of a block is a vector of n bits. The affine functions of the block's
variables span `A`, they and the targets `W`. With one level, a set of cells will do exactly when its vectors
and `A` span `W`, so at least `dim W - dim A` are needed. A set of just that many lies in `W` altogether; a set
of one more lies in `W + <f>` for one vector f outside `W`; and so on: the search goes over these extensions,
the candidates sorted by their residues modulo `W`. Among the smallest sets, `basis_choice.py` finds the one that
wires best.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property, lru_cache
from itertools import combinations

import numpy as np

from hdl2grid.synth.exact.basis_choice import Pool, Prices, cheapest_basis
from hdl2grid.synth.exact.exactly_one import add_exactly_ones
from hdl2grid.synth.exact.extensions import Extension, smallest_extensions
from hdl2grid.synth.exact.extra_cells import add_extras
from hdl2grid.synth.exact.local_cells import LocalCell, Target
from hdl2grid.synth.exact.word_vectors import Words, flats_within, lightest_planes, words
from hdl2grid.synth.gf2 import Basis, Coordinates, bits
from hdl2grid.synth.network import EXACTLY_ONE, PRODUCT

_MOST_FLATS = 60_000
"""Products found from which on longer ones are not looked for. Guessed."""
_MOST_CANDIDATES = 2_000_000
"""Products times affine functions that are multiplied at once. Guessed."""
_MOST_LIGHT = 20
"""Affine functions, the lightest, of which exactly-one stacks outside W are made: 20,349 sets. Guessed."""
_MOST_TESTS = 1 << 27
"""Vectors of W times affine functions that are compared, to find all products in W. Guessed."""
_POOL = 250
"""Cells of fewest toggles that a basis is chosen from. Guessed."""
_MOST_TRIES = 150
"""Tries to find the lightest factors of a product. Guessed."""


@dataclass(frozen=True)
class OneLevel:
    """`forms[t]` is target t as a mask: constant, variables, then the cells.

    The first `size` cells span the targets; those after them only shorten sums that no sink could take.
    """

    cells: tuple[LocalCell, ...]
    forms: tuple[int, ...]
    size: int


class Space:
    """The block's functions as vectors, with `A`, `W` and the affine functions by vector; and the cells looked at so
    far, with their prices."""

    def __init__(self, num_states: int, variables: Sequence[int], targets: Sequence[int]) -> None:
        self.ones = (1 << num_states) - 1
        self.variables = list(variables)
        self.affine = Basis([self.ones, *variables])
        self.quotient = Basis(self.affine.reduce(vector) for vector in targets)
        self.lightest = lightest_masks(self.ones, variables)
        self.planes = words(v for v in self.lightest if v not in (0, self.ones))
        priced = [(int(p), Prices.factor(self.lightest[int(p)])) for p in self.planes]
        self.cells: dict[int, tuple[LocalCell, int]] = {}
        priced.sort(key=lambda item: (item[1], self.lightest[item[0]]))
        self.priced_planes = (
            np.array([p for p, _ in priced], dtype=np.uint64),
            np.array([price for _, price in priced], dtype=np.int64),
        )

    @cached_property
    def extensions(self) -> tuple[list[Extension], dict[int, tuple[int, ...]]]:
        """See `_extensions`."""
        return _extensions(self)

    def vector(self, mask: int) -> int:
        return _affine(mask, self.ones, self.variables)


def lightest_masks(ones: int, variables: Sequence[int]) -> dict[int, int]:
    """The affine functions of variables (vectors) by vector, each with a mask of the fewest variables: bit 0 is the
    constant 1 (the vector `ones`), bit i + 1 variable i."""
    found: dict[int, int] = {}
    for mask in sorted(range(2 << len(variables)), key=lambda m: ((m >> 1).bit_count(), m)):
        found.setdefault(_affine(mask, ones, variables), mask)
    return found


def _affine(mask: int, ones: int, variables: Sequence[int]) -> int:
    total = ones if mask & 1 else 0
    for i in bits(mask >> 1):
        total ^= variables[i]
    return total


@lru_cache(maxsize=256)
def _space(num_states: int, variables: tuple[int, ...], targets: tuple[int, ...]) -> Space:
    """The space of a block, which is mapped several times: within other limits, with more effort."""
    return Space(num_states, variables, targets)


def one_level(
    num_states: int,
    variables: Sequence[int],
    targets: Sequence[Target],
    most: int,
    steps: int,
    seed: int,
) -> OneLevel | None:
    """Solve a block; vectors have bit i for state i. None if it takes more than `most` cells, or was not found."""
    space = _space(num_states, tuple(variables), tuple(t.vector for t in targets))
    bound = len(space.quotient)
    if bound == 0:
        forms = tuple(space.lightest[t.vector] for t in targets)
        made, written = add_extras(len(variables), (), forms, targets, ())
        return OneLevel(made, written, 0)
    if bound > most:
        return None
    extensions, ones = space.extensions
    if not extensions or len(extensions[0].quotient) > most:
        return None
    best: tuple[int, list[int], Basis] | None = None
    cells = space.cells
    for extension in extensions:
        vectors = _handiest(space, extension, {t.vector for t in targets})
        for v in vectors:
            if v not in cells:
                cells[v] = lightest_cell(space, v, ones)
        pool = Pool(space.affine, extension.quotient, vectors, [cells[v][1] for v in vectors])
        found = cheapest_basis(pool, targets, space.lightest, Prices(), max(1, steps // len(extensions)), seed)
        if found is not None and (best is None or found[0] < best[0]):
            best = (found[0], [vectors[i] for i in found[1]], extension.quotient)
    if best is None:
        return None
    chosen = [cells[v][0] for v in best[1]]
    forms = express(space, best[1], [t.vector for t in targets])
    inside = [v for v in cells if v not in best[1] and not best[2].reduce(space.affine.reduce(v))]
    pool_cells = [cells[v][0] for v in inside]
    values = express(space, best[1], inside)
    pairs = list(zip(pool_cells, values, strict=True))
    made, written = add_extras(len(variables), chosen, forms, targets, pairs)
    return OneLevel(made, written, len(chosen))


def _extensions(space: Space) -> tuple[list[Extension], dict[int, tuple[int, ...]]]:
    """The smallest extensions of W that cells span; and the exactly-one stacks that were among the candidates."""
    planes = space.planes
    rows = [*space.quotient.sorted_rows(), *space.affine.sorted_rows()]
    if len(planes) << len(rows) <= _MOST_TESTS:
        within, _ = flats_within(np.array(rows, dtype=np.uint64), planes)
        found = smallest_extensions(space.affine, space.quotient, within)[:1]
        if found and len(found[0].quotient) == len(space.quotient):
            return found, {}
        ones = _ones_within(space, rows, within)
        if ones:
            return smallest_extensions(space.affine, space.quotient, np.union1d(within, words(ones)))[:1], ones
    candidates = products(planes)
    found = smallest_extensions(space.affine, space.quotient, candidates)
    if found and len(found[0].quotient) == len(space.quotient):
        return found, {}
    ones = _exactly_ones(space)
    wider = smallest_extensions(space.affine, space.quotient, np.union1d(candidates, words(ones)))
    if wider and (not found or len(wider[0].quotient) < len(found[0].quotient)):
        return wider, ones
    return found, ones


def _ones_within(space: Space, rows: Sequence[int], within: Words) -> dict[int, tuple[int, ...]]:
    """Exactly-one stacks that lie in W and with the products in it span it, by vector; none where they do not."""
    planes, _ = space.priced_planes
    found = add_exactly_ones(space.ones.bit_length(), planes, Basis(rows), space.affine, within)
    return {v: tuple(space.lightest[int(planes[i])] for i in chosen) for v, chosen in found.items()}


def _handiest(space: Space, extension: Extension, wanted: set[int]) -> list[int]:
    """The members of few toggles, as many as are needed to span the extension and at least `_POOL` of them; and
    those that are targets themselves, or their complements."""
    members = np.sort(extension.members)
    heights = np.zeros(len(members), dtype=np.int64)
    for plane in space.planes:
        heights += (members & plane) == members
    order = np.argsort(heights, kind="stable")
    spanned = Basis()
    chosen: list[int] = []
    for i in order:
        vector = int(members[i])
        direct = vector in wanted or space.ones ^ vector in wanted
        if direct or len(chosen) < _POOL or len(spanned) < len(extension.quotient):
            chosen.append(vector)
            spanned.add(space.affine.reduce(vector))
    return chosen


def lower_bound(num_states: int, variables: Sequence[int], targets: Sequence[Target]) -> int:
    """`dim W - dim A`: no mapping of any depth takes fewer cells."""
    affine = Basis([(1 << num_states) - 1, *variables])
    return len(Basis(affine.reduce(t.vector) for t in targets))


def products(planes: Words) -> Words:
    """Products of two and more affine functions as vectors: all of them, or the shorter ones where too many."""
    seen = np.unique(planes)
    level, found = planes, np.zeros(0, dtype=np.uint64)
    while len(level):
        if len(level) * len(planes) > _MOST_CANDIDATES or len(found) > _MOST_FLATS:
            return np.sort(found)
        level = np.unique((level[:, None] & planes[None, :]).ravel())
        level = np.setdiff1d(level[level != 0], seen, assume_unique=True)
        seen = np.union1d(seen, level)
        found = np.concatenate((found, level))
    return np.sort(found)


def _exactly_ones(space: Space) -> dict[int, tuple[int, ...]]:
    """Stacks of four and five toggles that say 'exactly one', over the lightest affine functions, by vector."""
    light = sorted((m for v, m in space.lightest.items() if v not in (0, space.ones)), key=_weight)
    light = light[:_MOST_LIGHT]
    vectors = np.array([space.vector(m) for m in light], dtype=np.uint64)
    found: dict[int, tuple[int, ...]] = {}
    for size in (4, 5):
        if len(light) < size:
            break
        picks = np.array(list(combinations(range(len(light)), size)), dtype=np.int64)
        one = np.zeros(len(picks), dtype=np.uint64)
        more = np.zeros(len(picks), dtype=np.uint64)
        for column in range(size):
            value = vectors[picks[:, column]]
            more |= one & value
            one |= value
        values, first = np.unique(one & ~more, return_index=True)
        for v, chosen in zip(values.tolist(), picks[first].tolist(), strict=True):
            found.setdefault(v, tuple([light[p] for p in chosen]))
    return found


def _weight(mask: int) -> tuple[int, int]:
    return (mask >> 1).bit_count(), mask


def lightest_cell(space: Space, vector: int, ones: dict[int, tuple[int, ...]]) -> tuple[LocalCell, int]:
    """The cell of that vector: a product if it is one, and its price."""
    factors, price = _lightest_factors(space, vector)
    if factors or vector not in ones:
        return LocalCell(PRODUCT, factors), price
    return LocalCell(EXACTLY_ONE, ones[vector]), sum(Prices.factor(m) for m in ones[vector])


def _lightest_factors(space: Space, vector: int) -> tuple[tuple[int, ...], int]:
    """Affine factors whose product is `vector`, lightest first found, as masks; and their price."""
    planes, prices = space.priced_planes
    ranked = np.flatnonzero(planes & np.uint64(vector) == np.uint64(vector))
    found, price = lightest_planes(planes[ranked], prices[ranked], np.uint64(space.ones & ~vector), _MOST_TRIES)
    return tuple(sorted(space.lightest[int(planes[ranked[i]])] for i in found)), int(price)


def express(space: Space, cells: Sequence[int], vectors: Sequence[int]) -> tuple[int, ...]:
    """Each vector as an XOR of cells and the lightest affine function."""
    made = Coordinates(map(space.affine.reduce, cells))
    first = len(space.variables) + 1
    forms = []
    for vector in vectors:
        chosen, _ = made.of(space.affine.reduce(vector))
        rest = vector
        for i in bits(chosen):
            rest ^= cells[i]
        forms.append(space.lightest[rest] | chosen << first)
    return tuple(forms)

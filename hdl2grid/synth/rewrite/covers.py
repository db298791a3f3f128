"""First covers: a function as an ESPP, before it is made small.

A function of few variables is taken apart variable by variable, each time by the best of Shannon's and the two
Davio expansions (T. Sasao, P. Besslich, "On the complexity of mod-2 sum PLA's", IEEE Trans. Computers 39, 1990:
pseudo-Kronecker expressions). One of many variables is multiplied out over the network as it is.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import numpy as np

from hdl2grid.synth.gf2 import bits
from hdl2grid.synth.network import PRODUCT, Form, Network
from hdl2grid.synth.rewrite import pseudoproducts as flats
from hdl2grid.synth.rewrite.pseudoproduct_walk import Codes, walk

Flat = tuple[int, ...]
Sum = list[Flat]

TABLE_VARIABLES = 11
"""Variables up to which a function is expanded from its table, of 2^11 bits. Guessed."""
_MOST_TERMS = 400
"""Terms of a sum that is multiplied out, at most. Guessed."""
_STEPS_A_PAIR = 1000
"""Steps of a walk for each pair of terms: fewer terms need fewer. Guessed."""
_LEAST_STALL, _STALL_SHARE = 1_000_000, 5
"""A walk ends after so many steps without gain: the first, or a fifth of all steps if that is more. Guessed."""


def cover(network: Network, form: Form, place: dict[int, int]) -> Sum | None:
    """`form` as an ESPP, up to an affine function; rows name variables by `place`. None where
    it gets too long."""
    signals = bits(network.support([form]))
    if len(signals) <= TABLE_VARIABLES:
        return _by_table(network, form, signals, place)
    return _multiplied_out(network, form, place)


def _by_table(network: Network, form: Form, signals: Sequence[int], place: dict[int, int]) -> Sum:
    size = 1 << len(signals)
    values = {s: table_variable(i, len(signals)) for i, s in enumerate(signals)}
    table = network.evaluate([form], values, (1 << size) - 1)[0]
    names = [1 << place[s] for s in signals]
    return [
        tuple(names[v] | (flats.CONSTANT if bit else 0) for v, bit in cube) for cube in _expand(table, len(signals), {})
    ]


def table_variable(i: int, count: int) -> int:
    """Variable `i` of `count` as a truth table: bit `k` is its value in assignment `k`."""
    block = ((1 << (1 << i)) - 1) << (1 << i)
    period = 2 << i
    while period < 1 << count:
        block |= block << period
        period *= 2
    return block


Cube = tuple[tuple[int, int], ...]


def _expand(table: int, count: int, known: dict[tuple[int, int], list[Cube]]) -> list[Cube]:
    """Cubes as tuples of (variable, value); at most `TABLE_VARIABLES` deep."""
    key = table, count
    if key in known:
        return known[key]
    if table == 0 or count == 0:
        known[key] = [()] if table else []
        return known[key]
    half = 1 << (count - 1)
    low, high = table & ((1 << half) - 1), table >> half
    parts = [_expand(part, count - 1, known) for part in (low, high, low ^ high)]
    worst = max(range(3), key=lambda i: (len(parts[i]), i))
    v = count - 1
    at_zero, at_one, difference = parts
    if worst == 2:
        cubes = [(*c, (v, 0)) for c in at_zero] + [(*c, (v, 1)) for c in at_one]
    elif worst == 1:
        cubes = at_zero + [(*c, (v, 1)) for c in difference]
    else:
        cubes = at_one + [(*c, (v, 0)) for c in difference]
    known[key] = cubes
    return cubes


class Terms:
    """Terms (flat, mask) in the kernel's arrays."""

    def __init__(self, room: int) -> None:
        self.rows = np.zeros((room + 8, flats.MOST_ROWS), dtype=np.uint64)
        self.sizes = np.zeros(room + 8, dtype=np.int64)
        self.masks = np.zeros(room + 8, dtype=np.uint64)
        self.count = 0

    def copy(self) -> Terms:
        other = Terms(0)
        other.rows, other.sizes, other.masks = self.rows.copy(), self.sizes.copy(), self.masks.copy()
        other.count = self.count
        return other

    def add(self, flat: Flat, mask: int) -> None:
        row: Any = np.zeros(flats.MOST_ROWS, dtype=np.uint64)
        size = 0
        for constraint in flat:
            size = flats.insert(row, size, np.uint64(constraint))
            if size < 0:
                return
        scratch: Any = np.empty((flats.SCRATCH, flats.MOST_ROWS), dtype=np.uint64)
        self.count = flats.add(self._arrays(), self.count, row, size, np.uint64(mask), scratch)

    def walk(self, steps: int, seed: int, narrow: bool, codes: Sequence[int] = (), width: int = 0) -> None:
        """At most `steps` pairs looked at, fewer where there are few; long walks end early where nothing better comes.
        `codes`: the values that variables 0 to `width - 1` take, if these are known."""
        steps = min(steps, _STEPS_A_PAIR * self.count * self.count)
        known = np.array(codes, dtype=np.uint64)
        stall = max(_LEAST_STALL, steps // _STALL_SHARE)
        self.count = walk(self._arrays(), self.count, Codes(known, width), steps, stall, seed, narrow)

    def _arrays(self) -> flats.TermRows:
        return flats.TermRows(self.rows, self.sizes, self.masks)

    def listed(self) -> list[tuple[Flat, int]]:
        """The terms in an order of their own."""
        found = []
        for i in range(self.count):
            flat = tuple(int(r) for r in self.rows[i, : self.sizes[i]])
            found.append((flat, int(self.masks[i])))
        return sorted(found, key=lambda term: (len(term[0]), term))


def _multiplied_out(network: Network, form: Form, place: dict[int, int]) -> Sum | None:
    sums: dict[int, Sum] = {0: [()]}
    for signal in bits(network.support([form])):
        sums[signal] = [(1 << place[signal] | flats.CONSTANT,)]
    for signal in network.cone([form]):
        cell = network.cells[signal]
        if cell.kind != PRODUCT and len(cell.factors) > 1:
            return None
        total: Sum = [()]
        for factor in cell.factors:
            grown = _times(total, [flat for s in bits(factor) for flat in sums[s]])
            if grown is None:
                return None
            total = grown
        sums[signal] = total
    found = [flat for s in bits(form) for flat in sums[s]]
    return found if len(found) <= _MOST_TERMS else None


def _times(left: Sum, right: Sum) -> Sum | None:
    """The product of two sums, equal flats cancelled; affine parts are kept as one flat. None where it gets too long,
    or a flat has too many rows."""
    affine = _as_affine(right)
    if affine is not None:
        right = [affine]
    if len(left) * len(right) > 8 * _MOST_TERMS:
        return None
    kept: dict[Flat, None] = {}
    for a in left:
        for b in right:
            flat = _joined(a, b)
            if flat is None:
                continue
            if len(flat) > flats.MOST_ROWS:
                return None
            if flat in kept:
                del kept[flat]
            else:
                kept[flat] = None
    return list(kept) if len(kept) <= _MOST_TERMS else None


def _as_affine(terms: Sum) -> Flat | None:
    """An ESPP of flats of at most one row as one such flat; None where there is a larger flat, or it is constant."""
    total = 0
    for flat in terms:
        if len(flat) > 1:
            return None
        total ^= flat[0] ^ flats.CONSTANT if flat else flats.CONSTANT
    return (total ^ flats.CONSTANT,) if total & ~flats.CONSTANT else None


def _joined(a: Flat, b: Flat) -> Flat | None:
    """Where both flats are; None where that is nowhere."""
    row: Any = np.zeros(len(a) + len(b), dtype=np.uint64)
    size = 0
    for constraint in (*a, *b):
        size = flats.insert(row, size, np.uint64(constraint))
        if size < 0:
            return None
    return tuple(int(r) for r in row[:size])

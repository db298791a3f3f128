"""The network that synthesis works on: products and exactly-ones of affine forms.

A *signal* is a number: 0 is the constant 1, then come the variables, then the cells. A *form* is an XOR of
signals, kept as a bit mask over signal numbers (bit 0 is the constant 1), so that forms add with `^`. A *cell*
is one stack to be: its factors are forms.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from hdl2grid.synth.gf2 import Basis, bits, light_basis

Form = int
ZERO: Form = 0
"""The sum of no signals."""
ONE: Form = 1
"""Bit 0 of a form is the constant 1."""

PRODUCT, EXACTLY_ONE, COLLECTOR = "product", "exactly one", "collector"


@dataclass(frozen=True)
class Cell:
    """A stack: the product of its factors, exactly one of them, or (one factor) the factor itself."""

    kind: str
    factors: tuple[Form, ...]


class Network:
    """Cells over `num_variables` variables (signals 1 .. num_variables); equal cells are made once."""

    def __init__(self, num_variables: int, max_toggles: int) -> None:
        self.num_variables = num_variables
        self.max_toggles = max_toggles
        self.cells: dict[int, Cell] = {}
        self._known: dict[tuple[str, tuple[Form, ...]], int] = {}

    def copy(self) -> Network:
        """A network that grows on its own; signals keep their numbers."""
        other = Network(self.num_variables, self.max_toggles)
        other.cells, other._known = dict(self.cells), dict(self._known)
        return other

    def product(self, factors: Iterable[Form]) -> Form:
        """The AND of `factors`. Their flat decides: equal flats are one cell, with few terms at its toggles."""
        space = Basis(ignore=1)
        for factor in factors:
            residue = space.reduce(factor ^ 1)
            if residue == 1:
                return ZERO
            space.add(residue)
        rows = space.sorted_rows()
        if not rows:
            return ONE
        if len(rows) == 1:
            return rows[0] ^ 1
        key = (PRODUCT, rows)
        if key in self._known:
            return 1 << self._known[key]
        light = [row ^ 1 for row in light_basis(rows)]
        while len(light) > self.max_toggles:
            width = self.max_toggles
            chunks = [light[i : i + width] for i in range(0, len(light), width)]
            light = [self.product(chunk) for chunk in chunks]
        return 1 << self._cell(Cell(PRODUCT, tuple(light)), key)

    def exactly_one(self, factors: Sequence[Form]) -> Form:
        """A stack with function 'exactly one' over `factors`, as they are."""
        cell = Cell(EXACTLY_ONE, tuple(sorted(factors)))
        return 1 << self._cell(cell, (cell.kind, cell.factors))

    def majority(self, a: Form, b: Form, c: Form) -> Form:
        """1 where two or three of the forms are: the complement of 'exactly one of a, b, c and their parity's
        complement'. One stack, and no term beside it; a product where forms cancel."""
        for x, y, z in ((a, b, c), (b, c, a), (c, a, b)):
            if x ^ y in (ZERO, ONE):
                return x if x == y else z
            if x in (ZERO, ONE):
                return self.product([y, z]) if x == ZERO else self.product([y ^ 1, z ^ 1]) ^ 1
        if a ^ b ^ c in (ZERO, ONE):
            return self.product([a ^ c, b ^ c]) ^ c
        return self.exactly_one([a, b, c, a ^ b ^ c ^ 1]) ^ 1

    def collector(self, form: Form) -> Form:
        """A stack of one toggle that bears `form` (its constant is dropped: inversion is free)."""
        cell = Cell(COLLECTOR, (form & ~1,))
        return 1 << self._cell(cell, (cell.kind, cell.factors))

    def make(self, kind: str, factors: Sequence[Form]) -> Form:
        """A cell of that kind; a collector has one factor."""
        if kind == PRODUCT:
            return self.product(factors)
        return self.exactly_one(factors) if kind == EXACTLY_ONE else self.collector(factors[0])

    def _cell(self, cell: Cell, key: tuple[str, tuple[Form, ...]]) -> int:
        signal = self._known.get(key)
        if signal is None:
            signal = 1 + self.num_variables + len(self.cells)
            self.cells[signal] = cell
            self._known[key] = signal
        return signal

    def is_cell(self, signal: int) -> bool:
        return signal > self.num_variables

    def cone(self, roots: Iterable[Form]) -> list[int]:
        """The cells that `roots` need, fan-ins first (signal numbers need not be in that order)."""
        order: list[int] = []
        state: dict[int, bool] = {}
        stack = sorted({s for form in roots for s in bits(form & ~1) if self.is_cell(s)}, reverse=True)
        while stack:
            signal = stack[-1]
            if signal in state:
                stack.pop()
                if not state[signal]:
                    state[signal] = True
                    order.append(signal)
                continue
            state[signal] = False
            for factor in self.cells[signal].factors:
                stack.extend(s for s in bits(factor & ~1) if self.is_cell(s) and s not in state)
        return order

    def support(self, roots: Iterable[Form]) -> int:
        """The variables that `roots` depend on, as a mask of signals."""
        roots = list(roots)
        mask = 0
        for form in roots:
            mask |= form
        for signal in self.cone(roots):
            for factor in self.cells[signal].factors:
                mask |= factor
        return mask & ((1 << self.num_variables + 1) - 2)

    def evaluate(self, roots: Sequence[Form], values: dict[int, int], ones: int) -> list[int]:
        """The roots' values for many assignments at once: bit `i` of every integer is assignment `i`.

        `values` maps the variables of the roots' support to their values; `ones` has a one per assignment.
        """
        table = {0: ones, **values}
        for signal in self.cone(roots):
            cell = self.cells[signal]
            inputs = [_sum(factor, table) for factor in cell.factors]
            table[signal] = _exactly_one(inputs) if cell.kind == EXACTLY_ONE else _product(inputs, ones)
        return [_sum(form, table) for form in roots]


def _sum(form: Form, table: dict[int, int]) -> int:
    total = 0
    for signal in bits(form):
        total ^= table[signal]
    return total


def _product(inputs: list[int], ones: int) -> int:
    for value in inputs:
        ones &= value
    return ones


def _exactly_one(inputs: list[int]) -> int:
    one, more = 0, 0
    for value in inputs:
        more |= one & value
        one |= value
    return one & ~more

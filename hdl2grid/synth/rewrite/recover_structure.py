"""Structure found again in flat functions: adders, comparators, counts, wide products.

A function given as a table is taken apart from its outside: a variable that is merely added, a factor, a carry
(two variables that decide where they agree, and leave the rest to another function where they differ), two variables
that matter only by their sum or their product, literals that matter only by their number. What is left of few
variables is mapped exactly. (Disjoint decomposition: R. Ashenhurst, "The decomposition of switching functions", 1957;
symmetries: C. Edwards, S. Hurst, "A digital synthesis procedure under function symmetries", IEEE Trans. Computers 27,
1978.)
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from functools import lru_cache
from itertools import combinations, product
from typing import Any

import numpy as np

from hdl2grid.synth.exact.local_cells import Target
from hdl2grid.synth.exact.one_level import OneLevel, one_level
from hdl2grid.synth.gf2 import bits
from hdl2grid.synth.lowering import conjunction
from hdl2grid.synth.network import ONE, ZERO, Form, Network
from hdl2grid.synth.rewrite.covers import table_variable
from hdl2grid.synth.rewrite.sink_groups import SinkGroup
from hdl2grid.synth.rewrite.symmetric import count_bits, one_stack
from hdl2grid.synth.rewrite.trials import Context, Trial, with_forms
from hdl2grid.synth.sinks import Problem

MOST_VARIABLES = 14
"""Variables of a table that is taken apart: 2^14 entries (guessed)."""
_MOST_STATES = 32
"""States up to which what is left is mapped exactly; twice as many by a choice between two (guessed)."""
_MOST_COUNTS = 40
"""Combinations of the classes' numbers that are mapped exactly (guessed)."""
_LEAST_CLASS = 3
"""Literals worth counting: a full adder takes three."""
_MOST_SINGLES = 16
"""Sinks with structure up to which each is tried by itself (guessed)."""
_LIMIT = 99
"""No limit on the length of sums."""
_STEPS = 4000
"""Steps of the search for the best wired of the smallest covers (guessed)."""

Table = Any
"""An array of bool with one axis of two a variable."""


class _NoStructure(Exception):
    pass


def recovered(network: Network, form: Form, loose: bool = True) -> Form | None:
    """A form that equals `form`, made of the structure found in its table; None where none was found.

    `loose`: functions that a variable chooses between may share variables.
    """
    signals = bits(network.support([form]))
    if not signals or len(signals) > MOST_VARIABLES:
        return None
    size = 1 << len(signals)
    values = {s: table_variable(i, len(signals)) for i, s in enumerate(signals)}
    value = network.evaluate([form], values, (1 << size) - 1)[0]
    packed = np.frombuffer(value.to_bytes(max(1, size // 8), "little"), dtype=np.uint8)
    flat = np.unpackbits(packed, bitorder="little")[:size].astype(bool)
    # The last variable is the slowest: axis 0.
    table = flat.reshape((2,) * len(signals))
    forms = [1 << s for s in reversed(signals)]
    try:
        return _Recovery(network, loose).of(table, forms)
    except _NoStructure:
        return None


def structured(problem: Problem, group: SinkGroup, context: Context) -> Iterator[Trial]:
    """The group's sinks with the structure found in their functions, in one or two ways; then one sink at a time."""
    ways = _ways(context, group)
    for found in ways:
        yield with_forms({i: found.get(i, context.whole.sinks[i].form) for i in group.sinks})
    for found in ways:
        for i in found if len(found) <= _MOST_SINGLES else ():
            yield with_forms({i: found[i]})


def _ways(context: Context, group: SinkGroup) -> list[dict[int, Form]]:
    """Forms for the sinks of a group in whose functions structure was found: one or two ways."""
    ways: list[dict[int, Form]] = []
    for loose in (True, False) if context.structure else ():
        found: dict[int, Form] = {}
        for i in group.sinks:
            form = recovered(context.whole.network, context.whole.sinks[i].form, loose)
            if form is not None and form != context.whole.sinks[i].form:
                found[i] = form
        if found and found not in ways:
            ways.append(found)
    return ways


class _Recovery:
    def __init__(self, network: Network, loose: bool) -> None:
        self.network, self.loose = network, loose
        self.known: dict[tuple[bytes, tuple[Form, ...]], Form] = {}

    def of(self, table: Table, forms: Sequence[Form]) -> Form:
        """The function of `table` over `forms`; each step leaves fewer variables, so it is at most as deep as those."""
        table, forms = _needed(table, list(forms))
        if table.ndim == 0:
            return ONE if table else ZERO
        key = np.packbits(table).tobytes(), tuple(forms)
        if key not in self.known:
            self.known[key] = self._apart(table, forms)
        return self.known[key]

    def _apart(self, table: Table, forms: list[Form]) -> Form:
        for way in (self._added, self._factor, self._pairs, self._counted, self._chosen, self._joined, self._exact):
            found = way(table, forms)
            if found is not None:
                return found
        raise _NoStructure

    def _added(self, table: Table, forms: list[Form]) -> Form | None:
        for i in range(table.ndim):
            zero, one = table.take(0, i), table.take(1, i)
            if np.array_equal(zero, ~one):
                return forms[i] ^ self.of(zero, _without(forms, i))
        return None

    def _factor(self, table: Table, forms: list[Form]) -> Form | None:
        for i in range(table.ndim):
            for value in (0, 1):
                side = table.take(value, i)
                if side.all() or not side.any():
                    fixed = int(side.flat[0])
                    rest = self.of(table.take(1 - value, i), _without(forms, i))
                    return conjunction(self.network, forms[i] ^ value, rest ^ fixed) ^ fixed
        return None

    def _pairs(self, table: Table, forms: list[Form]) -> Form | None:
        """Two variables that matter by their sum only, or that are operands of a carry."""
        for i, j in combinations(range(table.ndim), 2):
            four = _cofactors(table, i, j)
            if np.array_equal(four[0][0], four[1][1]) and np.array_equal(four[0][1], four[1][0]):
                rest = _without(forms, j)
                rest[i] ^= forms[j]
                return self.of(table.take(0, j), rest)
        for i, j in combinations(range(table.ndim), 2):
            found = self._carry(table, forms, i, j)
            if found is not None:
                return found
        return None

    def _carry(self, table: Table, forms: list[Form], i: int, j: int) -> Form | None:
        """`majority(a, b, h)` with a and b literals of variables i and j, or its sum with some of the two."""
        four = _cofactors(table, i, j)
        rest = _without(_without(forms, j), i)
        for add_i, add_j in product((0, 1), repeat=2):
            c = [[four[x][y] ^ bool(x & add_i ^ y & add_j) for y in (0, 1)] for x in (0, 1)]
            for turn in (0, 1):
                low, high, other, same = c[0][turn], c[1][1 ^ turn], c[0][1 ^ turn], c[1][turn]
                if low.any() == low.all() and high.any() == high.all() and bool(low.flat[0]) != bool(high.flat[0]):
                    if not np.array_equal(other, same):
                        continue
                    flip = int(low.flat[0])
                    h = self.of(other, rest)
                    made = self.network.majority(forms[i] ^ flip, forms[j] ^ turn ^ flip, h)
                    return made ^ (forms[i] if add_i else ZERO) ^ (forms[j] if add_j else ZERO)
        return None

    def _chosen(self, table: Table, forms: list[Form]) -> Form | None:
        """A variable that chooses between two functions of fewer variables each."""
        best: tuple[int, int] | None = None
        for i in range(table.ndim):
            sizes = [_needed(table.take(v, i), _without(forms, i))[0].ndim for v in (0, 1)]
            apart = max(sizes) <= table.ndim - 2 if self.loose else sum(sizes) < table.ndim
            if apart and (best is None or sum(sizes) < best[0]):
                best = sum(sizes), i
        if best is None:
            return None
        rest = _without(forms, best[1])
        low, high = (self.of(table.take(v, best[1]), rest) for v in (0, 1))
        return self.network.majority(forms[best[1]] ^ low, high, low)

    def _joined(self, table: Table, forms: list[Form]) -> Form | None:
        """Two variables that matter by their product only."""
        for i, j in combinations(range(table.ndim), 2):
            four = _cofactors(table, i, j)
            for x, y in product((0, 1), repeat=2):
                others = [four[1 - x][y], four[x][1 - y], four[1 - x][1 - y]]
                if all(np.array_equal(others[0], o) for o in others[1:]):
                    made = self.network.product([forms[i] ^ 1 ^ x, forms[j] ^ 1 ^ y])
                    rest = [made, *_without(_without(forms, j), i)]
                    return self.of(np.stack([others[0], four[x][y]]), rest)
        return None

    def _counted(self, table: Table, forms: list[Form]) -> Form | None:
        """Classes of literals that matter by their number only; the rest of the function is mapped exactly."""
        classes = _classes(table)
        states = 1
        for members in classes:
            states *= len(members) + 1
        if max(map(len, classes)) < _LEAST_CLASS or states > _MOST_COUNTS:
            return None
        literals = [[forms[i] ^ flip for i, flip in members] for members in classes]
        if len(classes) == 1:
            values = [int(table[_example(classes, (k,))]) for k in range(table.ndim + 1)]
            direct = one_stack(self.network, literals[0], values)
            if direct is not None:
                return direct
        counted = [count_bits(self.network, c) for c in literals]
        numbers = list(product(*(range(len(c) + 1) for c in classes)))
        variables = [f for word in counted for f in word]
        columns = []
        for k, word in enumerate(counted):
            for b in range(len(word)):
                columns.append(sum((state[k] >> b & 1) << s for s, state in enumerate(numbers)))
        value = sum(int(table[_example(classes, state)]) << s for s, state in enumerate(numbers))
        return self._mapped(len(numbers), columns, value, variables)

    def _exact(self, table: Table, forms: list[Form]) -> Form | None:
        if 1 << table.ndim > 2 * _MOST_STATES:
            return None
        if 1 << table.ndim > _MOST_STATES:
            return self._split(table, forms)
        size = 1 << table.ndim
        flat = table.reshape(-1)
        columns = [table_variable(i, table.ndim) for i in reversed(range(table.ndim))]
        return self._mapped(size, columns, sum(int(v) << s for s, v in enumerate(flat)), forms)

    def _split(self, table: Table, forms: list[Form]) -> Form:
        """The variable that leaves least chooses between two functions."""

        def left(i: int) -> int:
            return sum(_needed(table.take(v, i), _without(forms, i))[0].ndim for v in (0, 1))

        i = min(range(table.ndim), key=left)
        low, high = (self.of(table.take(v, i), _without(forms, i)) for v in (0, 1))
        return self.network.majority(forms[i] ^ low, high, low)

    def _mapped(self, states: int, columns: list[int], value: int, variables: list[Form]) -> Form | None:
        solution = _one_level(states, tuple(columns), value)
        if solution is None:
            return None
        signals: list[Form] = [ONE, *variables]

        def translate(mask: int) -> Form:
            form = ZERO
            for i in bits(mask):
                form ^= signals[i]
            return form

        for cell in solution.cells:
            signals.append(self.network.make(cell.kind, [translate(f) for f in cell.factors]))
        return translate(solution.forms[0])


@lru_cache(maxsize=512)
def _one_level(states: int, columns: tuple[int, ...], value: int) -> OneLevel | None:
    return one_level(states, columns, (Target(value, None, _LIMIT),), _LIMIT, _STEPS, 1)


def _without(forms: Sequence[Form], i: int) -> list[Form]:
    return [*forms[:i], *forms[i + 1 :]]


def _needed(table: Table, forms: list[Form]) -> tuple[Table, list[Form]]:
    for i in reversed(range(table.ndim)):
        if np.array_equal(table.take(0, i), table.take(1, i)):
            table, forms = table.take(0, i), _without(forms, i)
    return table, forms


def _cofactors(table: Table, i: int, j: int) -> list[list[Table]]:
    """`[x][y]`: the table at variable i = x and variable j = y, i < j."""
    return [[table.take(y, j).take(x, i) for y in (0, 1)] for x in (0, 1)]


def _classes(table: Table) -> list[list[tuple[int, int]]]:
    """Variables in classes of literals (variable, inverted) that can trade places."""
    classes: list[list[tuple[int, int]]] = []
    for j in range(table.ndim):
        for members in classes:
            i, flip = members[0]
            four = _cofactors(table, i, j)
            if np.array_equal(four[0][1], four[1][0]):
                members.append((j, flip))
                break
            if np.array_equal(four[0][0], four[1][1]):
                members.append((j, 1 ^ flip))
                break
        else:
            classes.append([(j, 0)])
    return classes


def _example(classes: Sequence[Sequence[tuple[int, int]]], state: Sequence[int]) -> tuple[int, ...]:
    """An assignment in which `state[k]` literals of class k are 1."""
    place = {}
    for members, count in zip(classes, state, strict=True):
        for number, (i, flip) in enumerate(members):
            place[i] = int(number < count) ^ flip
    return tuple(place[i] for i in range(len(place)))

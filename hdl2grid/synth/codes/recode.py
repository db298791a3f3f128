"""The logic with groups of registers put into another code: same events, same outputs, other registers."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace
from itertools import combinations

import numpy as np

from hdl2grid.logic.model import InputBit, Logic, RegisterBit
from hdl2grid.logic.reachability import Group as ReachableGroup
from hdl2grid.logic.reachability import Reachable, States
from hdl2grid.logic.xag import AND, XOR, Literal, XagBuilder
from hdl2grid.synth.codes.code_basis import spread
from hdl2grid.synth.codes.code_stacks import Encoding
from hdl2grid.synth.codes.register_groups import Group, evaluate, node_supports
from hdl2grid.synth.gating import word_of
from hdl2grid.synth.gf2 import Coordinates, bits
from hdl2grid.synth.rewrite.pseudoproducts import CONSTANT, canonical

_MOST_TABLE = 256
"""Points up to which the next code is made from a table of them; above it, from the old next state. Guessed."""
_MOST_PLANES = 9
"""Variables of which all affine functions, 2^10, are looked at as factors. Guessed."""


def recode(logic: Logic, encodings: Sequence[tuple[Group, Encoding]]) -> Logic:
    """Put groups into their codes. The first state and what a reset gives stay the same states."""
    return _Recoder(logic, encodings).run()


def recode_states(logic: Logic, encodings: Sequence[tuple[Group, Encoding]], joint: States) -> Reachable:
    """What is reachable in `recode(logic, encodings)`, from all joint states of `logic`."""
    heads = {group.registers[0]: number for number, (group, _) in enumerate(encodings)}
    gone = {r for group, _ in encodings for r in group.registers}
    found = np.zeros(len(joint), dtype=np.uint64)
    place = 0
    for i in range(len(logic.registers)):
        if i in heads:
            group, encoding = encodings[heads[i]]
            old = np.zeros(len(joint), dtype=np.uint64)
            for b, r in enumerate(group.registers):
                old |= (joint >> np.uint64(r) & np.uint64(1)) << np.uint64(b)
            states = np.array(group.states, dtype=np.uint64)
            order = np.argsort(states)
            number = order[np.searchsorted(states[order], old)]
            found |= np.array(encoding.codes, dtype=np.uint64)[number] << np.uint64(place)
            place += encoding.width
        elif i not in gone:
            found |= (joint >> np.uint64(i) & np.uint64(1)) << np.uint64(place)
            place += 1
    found = np.sort(found)
    return Reachable(found, (ReachableGroup(tuple(range(place)), found),))


class _Recoder:
    def __init__(self, logic: Logic, encodings: Sequence[tuple[Group, Encoding]]) -> None:
        self.logic, self.encodings = logic, encodings
        self.supports = node_supports(logic.xag)
        self.builder = XagBuilder()
        self.new: dict[int, Literal] = {0: 0}
        self.code_bits: list[list[Literal]] = []
        self.masks: list[int] = []
        self.cuts = {node: (i, k) for i, (g, c) in enumerate(encodings) if c.flats for node, k in g.cuts}
        self.flat_forms: dict[int, tuple[list[Literal], list[Literal]]] = {}

    def run(self) -> Logic:
        names = self._variables()
        registers: list[RegisterBit] = []
        heads = {group.registers[0]: number for number, (group, _) in enumerate(self.encodings)}
        gone = {r for group, _ in self.encodings for r in group.registers}
        for i, register in enumerate(self.logic.registers):
            if i in heads:
                registers += self._group(heads[i], names[heads[i]])
            elif i not in gone:
                moved = self._moved([register.data])[0]
                registers.append(replace(register, literal=self.new[register.literal >> 1], data=moved))
        outputs = self._moved([o.literal for o in self.logic.outputs])
        return replace(
            self.logic,
            xag=self.builder.freeze(),
            inputs=tuple(replace(i, literal=self.new[i.literal >> 1]) for i in self.logic.inputs),
            registers=tuple(registers),
            outputs=tuple(replace(o, literal=x) for o, x in zip(self.logic.outputs, outputs, strict=True)),
        )

    def _variables(self) -> list[list[str]]:
        """Variables for all inputs and registers; the names of each group's new registers."""
        taken = {r.name for r in self.logic.registers} | {i.name for i in self.logic.inputs}
        gone = {r for group, _ in self.encodings for r in group.registers}
        kept: list[InputBit | RegisterBit] = [*self.logic.inputs]
        kept += [r for i, r in enumerate(self.logic.registers) if i not in gone]
        for bit in kept:
            self.new[bit.literal >> 1] = self.builder.variable(bit.name)
        names = []
        for group, encoding in self.encodings:
            word = f"{word_of(self.logic.registers[group.registers[0]].name)}.code"
            while any(word_of(name) == word for name in taken):
                word += "'"
            made = [f"{word}[{j}]" if encoding.width > 1 else word for j in range(encoding.width)]
            taken.update(made)
            names.append(made)
            self.code_bits.append([self.builder.variable(name) for name in made])
            self.masks.append(sum(1 << (self.logic.registers[r].literal >> 1) for r in group.registers))
        return names

    def _moved(self, roots: Sequence[Literal]) -> list[Literal]:
        """The roots in the new graph; what depends on one group alone is made from its table."""
        xag = self.logic.xag
        todo = [root >> 1 for root in roots]
        while todo:
            node = todo[-1]
            if node in self.new:
                todo.pop()
                continue
            support = self.supports[node]
            if node in self.cuts:
                number, wanted = self.cuts[node]
                self.new[node] = self._from_flats(number)[1][wanted]
                continue
            group = next((g for g, mask in enumerate(self.masks) if not support & ~mask), None)
            if group is not None:
                self.new[node] = self._from_table(node, group)
                continue
            a, b = xag.fanins[node]
            waiting = [c for c in (a >> 1, b >> 1) if c not in self.new]
            if waiting:
                todo.extend(waiting)
                continue
            left, right = self.new[a >> 1] ^ (a & 1), self.new[b >> 1] ^ (b & 1)
            assert xag.kinds[node] in (AND, XOR)
            self.new[node] = self.builder.and_(left, right) if xag.kinds[node] == AND else self.builder.xor(left, right)
        return [self.new[root >> 1] ^ (root & 1) for root in roots]

    def _from_table(self, node: int, number: int) -> Literal:
        group, encoding = self.encodings[number]
        columns = {
            self.logic.registers[r].literal >> 1: sum((s >> b & 1) << i for i, s in enumerate(group.states))
            for b, r in enumerate(group.registers)
        }
        ones = (1 << len(group.states)) - 1
        value = evaluate(self.logic.xag, [2 * node], columns, ones)[0]
        code = [sum((c >> j & 1) << i for i, c in enumerate(encoding.codes)) for j in range(encoding.width)]
        return from_table(self.builder, self.code_bits[number], code, value, ones)

    def _group(self, number: int, names: Sequence[str]) -> list[RegisterBit]:
        group, encoding = self.encodings[number]
        behaviour = group.behaviour
        first = self.logic.registers[group.registers[0]]
        held = self.code_bits[number]
        select = self.builder.and_all(self._moved(group.condition))
        taken = self._next(number)
        return [
            RegisterBit(
                name=names[j],
                literal=held[j],
                data=self.builder.mux(select, taken[j], held[j]),
                init=encoding.codes[behaviour.first] >> j & 1,
                domain=first.domain,
                resettable=first.resettable,
                source=first.source,
            )
            for j in range(encoding.width)
        ]

    def _next(self, number: int) -> list[Literal]:
        """The code after a tick on which the group moves."""
        group, encoding = self.encodings[number]
        behaviour = group.behaviour
        if encoding.flats:
            return self._from_flats(number)[0]
        if len(behaviour.here) > _MOST_TABLE:
            return self._next_by_states(number)
        literals = self._literals(number)
        points = range(len(behaviour.here))
        now = [sum((encoding.codes[behaviour.here[p]] >> j & 1) << p for p in points) for j in range(encoding.width)]
        then = [sum((encoding.codes[behaviour.after[p]] >> j & 1) << p for p in points) for j in range(encoding.width)]
        ones = (1 << len(points)) - 1
        return [from_table(self.builder, literals, [*now, *behaviour.context], v, ones) for v in then]

    def _literals(self, number: int) -> list[Literal]:
        """The group's code bits and its context, of which registers may have got another code themselves."""
        group = self.encodings[number][0]
        signals = [r.literal for r in self.logic.registers] + [i.literal for i in self.logic.inputs]
        return [*self.code_bits[number], *self._moved([signals[s - 1] for s in group.context])]

    def _from_flats(self, number: int) -> tuple[list[Literal], list[Literal]]:
        """The code after a tick and the wanted functions, as sums of the encoding's flats and affine functions."""
        if number not in self.flat_forms:
            group, encoding = self.encodings[number]
            behaviour = group.behaviour
            ones = (1 << len(behaviour.here)) - 1
            now = [spread(encoding.codes, j, behaviour.here) for j in range(encoding.width)]
            then = [spread(encoding.codes, j, behaviour.after) for j in range(encoding.width)]
            columns, literals = [*now, *behaviour.context], self._literals(number)
            known: dict[tuple[int, ...], int] = {(): ones, **{(i,): c for i, c in enumerate(columns)}}
            made = dict.fromkeys(known, 1) | {(i,): x for i, x in enumerate(literals)}
            met = {canonical(flat) for flat in encoding.flats}
            for k, flat in enumerate(encoding.flats):
                value, factors = ones, []
                for row in _ordered(flat, met):
                    terms: list[tuple[int, ...]] = [(i,) for i in bits(row & ~CONSTANT)]
                    terms += [] if row & CONSTANT else [()]
                    factors.append(_built(self.builder, literals, terms))
                    vector = 0
                    for term in terms:
                        vector ^= known[term]
                    value &= vector
                known[-1, k], made[-1, k] = value, self.builder.and_all(factors)
            values = _sums_of(known, [*then, *behaviour.wanted], ones)
            assert None not in values, "the encoding's flats do for it"
            built = [self.builder.xor_all([made[term] for term in terms or ()]) for terms in values]
            self.flat_forms[number] = built[: encoding.width], built[encoding.width :]
        return self.flat_forms[number]

    def _next_by_states(self, number: int) -> list[Literal]:
        """As `_next`: the old next state, and the code of that."""
        group, encoding = self.encodings[number]
        data = self._moved([self.logic.registers[r].data for r in group.registers])
        ones = (1 << len(group.states)) - 1
        old = [sum((s >> b & 1) << i for i, s in enumerate(group.states)) for b in range(len(group.registers))]
        new = [sum((c >> j & 1) << i for i, c in enumerate(encoding.codes)) for j in range(encoding.width)]
        return [from_table(self.builder, data, old, v, ones) for v in new]


def from_table(
    builder: XagBuilder, literals: Sequence[Literal], columns: Sequence[int], value: int, ones: int
) -> Literal:
    """A function with value `value` where the literals have the values `columns` (masks of points); elsewhere it is
    anything. An affine function or one product (or its complement) where it can be; else a sum of products of
    literals, of low degree."""
    affine = _sums_of(_terms(columns, 1), [value], ones)[0]
    if affine is not None:
        return _built(builder, literals, affine)
    for vector, complement in ((value, 0), (value ^ ones, 1)):
        factors = _factors(columns, vector, ones)
        if factors is None and vector.bit_count() == 1:
            factors = [((i,),) if column & vector else ((i,), ()) for i, column in enumerate(columns)]
        if factors is not None:
            return builder.and_all([_built(builder, literals, f) for f in factors]) ^ complement
    for degree in range(2, len(columns) + 1):
        terms = _sums_of(_terms(columns, degree), [value], ones)[0]
        if terms is not None:
            return _built(builder, literals, terms)
    raise AssertionError("the columns do not tell all points apart")


Terms = tuple[tuple[int, ...], ...]


def _terms(columns: Sequence[int], degree: int) -> dict[tuple[int, ...], int]:
    """Products of up to `degree` columns, the constant among them."""
    found: dict[tuple[int, ...], int] = {(): -1}
    for size in range(1, degree + 1):
        for chosen in combinations(range(len(columns)), size):
            found[chosen] = found[chosen[:-1]] & columns[chosen[-1]]
    return found


def _ordered(flat: tuple[int, ...], met: set[tuple[int, ...]]) -> tuple[int, ...]:
    """The rows in an order in which all but the last are no flat of their own: else the two would be taken for one
    product where both are added, though they are read apart elsewhere."""
    for last in range(len(flat)):
        rows = (*flat[:last], *flat[last + 1 :])
        for mixed in range(1 << len(rows)):
            changed = tuple(r ^ (flat[last] if mixed >> i & 1 else 0) for i, r in enumerate(rows))
            if canonical(changed) not in met:
                return (*changed, flat[last])
    return flat


def _sums_of(terms: Mapping[tuple[int, ...], int], values: Sequence[int], ones: int) -> list[Terms | None]:
    """For each value the terms that add up to it, those that come first preferred; None where there are none."""
    names = list(terms)
    space = Coordinates(terms[name] & ones for name in names)
    found = []
    for value in values:
        chosen, rest = space.of(value)
        found.append(None if rest else tuple(names[i] for i in bits(chosen)))
    return found


def _factors(columns: Sequence[int], value: int, ones: int) -> list[Terms] | None:
    """Affine factors, few and short, whose product is `value`."""
    if len(columns) > _MOST_PLANES or value == 0:
        return None
    rest = ones & ~value
    masks = sorted(range(1, 1 << len(columns)), key=lambda m: (m.bit_count(), m))
    planes = []
    for mask in masks:
        vector = 0
        for i in bits(mask):
            vector ^= columns[i]
        for constant in (0, ones):
            if (vector ^ constant) & value == value:
                planes.append((mask, constant, vector ^ constant))
    chosen: list[Terms] = []
    while rest:
        best = max(planes, key=lambda p: (rest & ~p[2]).bit_count() / (1 + p[0].bit_count()), default=None)
        if best is None or not rest & ~best[2]:
            return None
        rest &= best[2]
        chosen.append(tuple([(i,) for i in bits(best[0])] + ([()] if best[1] else [])))
    return chosen


def _built(builder: XagBuilder, literals: Sequence[Literal], terms: Sequence[tuple[int, ...]]) -> Literal:
    return builder.xor_all([builder.and_all([literals[i] for i in term]) for term in terms])

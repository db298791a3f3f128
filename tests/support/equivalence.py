"""Is a circuit what its logic says? Both are made one graph, compared on all states or by SAT."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from pysat.solvers import Cadical153

from hdl2grid.base.gate_clauses import GateClauses
from hdl2grid.circuit.model import Circuit
from hdl2grid.logic.model import Logic
from hdl2grid.logic.reachability import explore
from hdl2grid.logic.xag import AND, VARIABLE, Literal, Xag, XagBuilder

Functions = tuple[Xag, dict[str, Literal]]

_EXHAUSTIVE = 16
_EXHAUSTIVE_ALONE = 24
_AT_ONCE = 20


def _builder(logic: Logic) -> tuple[XagBuilder, dict[str, Literal]]:
    b = XagBuilder()
    return b, {bit.name: b.variable(bit.name) for bit in (*logic.registers, *logic.inputs)}


def source_functions(logic: Logic) -> Functions:
    """Every register's next value ("register'") and every output, over registers and inputs by name."""
    b, known = _builder(logic)
    table: dict[int, Literal] = {0: 0}
    for bit in (*logic.registers, *logic.inputs):
        table[bit.literal >> 1] = known[bit.name]
    roots = {f"{r.name}'": r.data for r in logic.registers} | {o.name: o.literal for o in logic.outputs}
    for node in logic.xag.cone(roots.values()):
        if node not in table:
            left, right = (table[x >> 1] ^ (x & 1) for x in logic.xag.fanins[node])
            table[node] = b.and_(left, right) if logic.xag.kinds[node] == AND else b.xor(left, right)
    return b.freeze(), {name: table[x >> 1] ^ (x & 1) for name, x in roots.items()}


def circuit_functions(logic: Logic, circuit: Circuit) -> Functions:
    """The same, read off a circuit whose codes were kept: what its stacks would do at a tick of their domain."""
    b, known = _builder(logic)
    odd: dict[str, Literal] = {source.name: 0 for source in circuit.sources}
    odd |= {i.name: known[i.name] ^ i.initial for i in logic.inputs}
    stacks = {stack.name: stack for stack in circuit.stacks}
    levels = {level.signal: level for level in circuit.levels}
    for register in logic.registers:
        for k, driver in enumerate(levels[register.name].drivers):
            odd[driver] = known[register.name] ^ register.init if k == 0 else 0

    def toggles(name: str) -> list[Literal]:
        return [b.xor_all([odd[d] for d in t.drivers]) ^ t.bit for t in stacks[name].toggles]

    todo = list(stacks)
    while todo:
        name = todo[-1]
        stack = stacks[name]
        missing = [d for t in stack.toggles for d in t.drivers if d not in odd]
        if name in odd or stack.strobe is not None:
            todo.pop()
        elif missing:
            todo += missing
        else:
            first = _function(b, stack.function, [t.bit for t in stack.toggles])
            odd[name] = b.xor(_function(b, stack.function, toggles(name)), first)

    def fires(name: str) -> Literal:
        stack = stacks.get(name)
        if stack is None:
            return int(name in logic.domains)
        if stack.strobe is None:  # a buffer that delays a strobe: it emits when its one driver does
            (toggle,) = stack.toggles
            return b.xor_all([fires(d) for d in toggle.drivers])
        return b.and_(toggles(name)[0], b.xor_all([fires(d) for d in stack.strobe]))

    found = {}
    for register in logic.registers:
        moves = [fires(d) for d in levels[register.name].drivers]
        found[f"{register.name}'"] = b.xor_all([known[register.name], *moves])
    for pixel in circuit.pixels:
        found[pixel.signal] = b.xor_all([odd[d] for d in pixel.drivers]) ^ int(pixel.lit)
    return b.freeze(), found


def _function(b: XagBuilder, name: str, inputs: Sequence[Literal]) -> Literal:
    if name in ("AND", "NAND"):
        value = b.and_all(inputs)
    elif name in ("OR", "NOR"):
        value = b.and_all([x ^ 1 for x in inputs]) ^ 1
    else:
        one, more = 0, 0
        for x in inputs:
            more = b.or_(more, b.and_(one, x))
            one = b.or_(one, x)
        value = b.and_(one, more ^ 1)
    return value ^ (name in ("NAND", "NOR", "XNOR"))


def same_functions(one: Functions, two: Functions, logic: Logic) -> bool:
    """True where all functions agree: in every reachable state under all inputs, or, above 16 variables, always (those
    of up to 24 variables gone through under all levels, others by SAT)."""
    if set(one[1]) != set(two[1]):
        return False
    count = len(logic.registers) + len(logic.inputs)
    used = {n for xag, roots in (one, two) for n in xag.support(roots.values())}
    if len(used) > _EXHAUSTIVE:
        small = [n for n in sorted(one[1]) if len(_variables(one, two, n)) <= _EXHAUSTIVE_ALONE]
        if not all(_same_everywhere(one, two, name) for name in small):
            return False
        return _same_by_sat(one, two, sorted(set(one[1]) - set(small)))
    states = explore(logic).states(range(len(logic.registers)), 1 << _EXHAUSTIVE)
    assert states is not None
    free = [i for i in range(len(logic.registers), count) if i + 1 in used]
    levels = np.arange(1 << len(free), dtype=np.uint64)
    rows = (states[:, None] + 0 * levels[None, :]).ravel()
    spread = sum((levels >> np.uint64(k) & np.uint64(1)) << np.uint64(i) for k, i in enumerate(free))
    rows |= (0 * states[:, None] + spread).ravel() if free else 0
    values = {1 + i: _packed(rows >> np.uint64(i) & np.uint64(1)) for i in range(count)}
    names = sorted(one[1])
    left = one[0].evaluate(values, [one[1][n] for n in names])
    right = two[0].evaluate(values, [two[1][n] for n in names])
    return all(np.array_equal(a, b) for a, b in zip(left, right, strict=True))


def _packed(column: np.ndarray) -> np.ndarray:
    bits = np.pad(column.astype(np.uint8), (0, -len(column) % 64), mode="edge")
    return np.packbits(bits, bitorder="little").view(np.uint64)


def _variables(one: Functions, two: Functions, name: str) -> list[str]:
    return sorted({xag.names[n] for xag, roots in (one, two) for n in xag.support([roots[name]])})


def _same_everywhere(one: Functions, two: Functions, name: str) -> bool:
    """Whether a function is the same under all levels of its variables."""
    used = _variables(one, two, name)
    inside, outside = used[:_AT_ONCE], used[_AT_ONCE:]
    rows = np.arange(1 << len(inside), dtype=np.uint64)
    columns = {n: _packed(rows >> np.uint64(i) & np.uint64(1)) for i, n in enumerate(inside)}
    ones = _packed(np.ones_like(rows))
    for rest in range(1 << len(outside)):
        levels = columns | {n: ones * np.uint64(rest >> i & 1) for i, n in enumerate(outside)}
        values = [
            xag.evaluate({n: levels[xag.names[n]] for n in xag.support([roots[name]])}, [roots[name]])[0] & ones
            for xag, roots in (one, two)
        ]
        if not np.array_equal(*np.broadcast_arrays(*values)):
            return False
    return True


def _same_by_sat(one: Functions, two: Functions, names: Sequence[str]) -> bool:
    with Cadical153() as solver:
        make = GateClauses(solver)
        variables: dict[str, int] = {}
        numbers: list[dict[int, int]] = []
        for xag, roots in (one, two):
            number = {0: -1}
            for node in xag.cone(roots.values()):
                if xag.kinds[node] == VARIABLE:
                    name = xag.names[node]
                    if name not in variables:
                        variables[name] = make.fresh()
                    number[node] = variables[name]
                elif node:
                    inputs = [number[x >> 1] * (-1 if x & 1 else 1) for x in xag.fanins[node]]
                    number[node] = make.all_of(inputs) if xag.kinds[node] == AND else make.parity(inputs)
            numbers.append(number)
        for name in names:
            x, y = one[1][name], two[1][name]
            a, c = (n[lit >> 1] * (-1 if lit & 1 else 1) for n, lit in zip(numbers, (x, y), strict=True))
            if solver.solve(assumptions=[a, -c]) or solver.solve(assumptions=[-a, c]):
                return False
    return True

"""Removes from a machine's logic what never changes, and what reaches no output."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace

from hdl2grid.logic.model import InputBit, Logic, RegisterBit
from hdl2grid.logic.xag import AND, FALSE, VARIABLE, XOR, Literal, Xag, XagBuilder

MAYBE = 2
"""Neither always 0 nor always 1."""


def reduce_logic(logic: Logic) -> tuple[Logic, tuple[str, ...], tuple[str, ...]]:
    """The same machine without the registers that keep their initial value for ever, and without those that
    reach no output. Returns it with the names of the first and of the second kind."""
    constant = _constant_registers(logic)
    values = {r.literal >> 1: (r.init ^ (r.literal & 1)) for r in logic.registers if r.name in constant}
    folded = _rebuild(logic, values, [r for r in logic.registers if r.name not in constant])
    alive = _alive(folded)
    kept = [r for r in folded.registers if r.literal >> 1 in alive]
    result = _rebuild(folded, {}, kept)
    names = {r.name for r in kept}
    dead = tuple(r.name for r in folded.registers if r.name not in names)
    return result, tuple(r.name for r in logic.registers if r.name in constant), dead


def _constant_registers(logic: Logic) -> set[str]:
    """Registers that stay at `init`: the largest set for which that is shown by simulation with three values,
    all inputs and all other registers unknown."""
    table = [MAYBE] * len(logic.xag)
    table[0] = 0
    for register in logic.registers:
        table[register.literal >> 1] = register.init ^ (register.literal & 1)
    suspects = list(logic.registers)
    while True:
        _simulate(logic.xag, table)
        moving = [r for r in suspects if _value(table, r.data) != r.init]
        if not moving:
            return {r.name for r in suspects}
        for register in moving:
            table[register.literal >> 1] = MAYBE
        gone = {r.name for r in moving}
        suspects = [r for r in suspects if r.name not in gone]


def _value(table: Sequence[int], literal: Literal) -> int:
    value = table[literal >> 1]
    return value if value == MAYBE else value ^ (literal & 1)


def _simulate(xag: Xag, table: list[int]) -> None:
    for node, kind in enumerate(xag.kinds):
        if kind in (AND, XOR):
            a, b = (_value(table, literal) for literal in xag.fanins[node])
            if kind == XOR:
                table[node] = MAYBE if MAYBE in (a, b) else a ^ b
            else:
                table[node] = 0 if 0 in (a, b) else max(a, b)


def _alive(logic: Logic) -> set[int]:
    """The nodes of the registers that reach an output, through other registers or not."""
    data = {r.literal >> 1: r.data for r in logic.registers}
    alive: set[int] = set()
    pending: list[Literal] = [output.literal for output in logic.outputs]
    while pending:
        found = [n for n in logic.xag.support(pending) if n in data and n not in alive]
        alive.update(found)
        pending = [data[n] for n in found]
    return alive


def _rebuild(logic: Logic, constants: Mapping[int, int], registers: Sequence[RegisterBit]) -> Logic:
    """The logic with some variables fixed, only the given registers, and no node that nothing needs."""
    g = XagBuilder()
    new: dict[int, Literal] = {0: FALSE, **constants}
    variables: list[InputBit | RegisterBit] = [*logic.inputs, *registers]
    for bit in variables:
        new[bit.literal >> 1] = g.variable(bit.name) ^ (bit.literal & 1)

    def moved(literal: Literal) -> Literal:
        return new[literal >> 1] ^ (literal & 1)

    roots = [output.literal for output in logic.outputs] + [register.data for register in registers]
    for node in logic.xag.cone(roots):
        kind = logic.xag.kinds[node]
        if kind in (AND, XOR):
            a, b = (moved(literal) for literal in logic.xag.fanins[node])
            new[node] = g.and_(a, b) if kind == AND else g.xor(a, b)
        elif kind == VARIABLE and node not in new:
            raise AssertionError(f"variable {logic.xag.names[node]} is needed, but left out")
    return replace(
        logic,
        xag=g.freeze(),
        inputs=tuple(replace(i, literal=moved(i.literal)) for i in logic.inputs),
        registers=tuple(replace(r, literal=moved(r.literal), data=moved(r.data)) for r in registers),
        outputs=tuple(replace(o, literal=moved(o.literal)) for o in logic.outputs),
    )

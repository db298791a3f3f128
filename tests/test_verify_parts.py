"""Machines of parts that know nothing of each other are proved part by part where their mixtures are too many."""

from __future__ import annotations

from dataclasses import replace
from functools import cache
from math import lcm
from pathlib import Path

import pytest
from amaranth.hdl import Module, Mux, Signal
from amaranth.lib import wiring
from amaranth.lib.wiring import In, Out

from hdl2grid import Button, Machine, Switch
from hdl2grid.base.target import load_target
from hdl2grid.circuit.model import Circuit
from hdl2grid.flow import FlowOptions, Mapped, map_machine
from hdl2grid.sim.pulse_network import network_from_circuit
from hdl2grid.verify.independent_parts import parts_of
from hdl2grid.verify.prove import prove

MODULI = (5, 7, 9)


class Wheels(wiring.Component):
    """Counters of some moduli, each with an output in its last state; with `carry` each counts when the one before it
    is there. A switch holds the first."""

    def __init__(self, carry: bool):
        self.carry = carry
        super().__init__({"hold": In(1)} | {f"last{n}": Out(1) for n in MODULI})

    def elaborate(self, platform):
        m = Module()
        step = ~self.hold
        for n in MODULI:
            count = Signal(range(n), name=f"count{n}")
            with m.If(step):
                m.d.sync += count.eq(Mux(count == n - 1, 0, count + 1))
            m.d.comb += getattr(self, f"last{n}").eq(count == n - 1)
            step = (count == n - 1) if self.carry else 1
        return m


@cache
def wheels(carry: bool) -> Mapped:
    machine = Machine(
        Wheels(carry), clocks={"sync": Button()}, reset=Button(), inputs={"hold": Switch()}, name="wheels"
    )
    return map_machine(machine, Path(__file__).parent, FlowOptions(load_target()))


def _parts(mapped: Mapped, circuit: Circuit) -> list[set[str]]:
    """The registers of each part, by the first letters of their names."""
    registers = mapped.elaboration.logic.registers
    parts = parts_of(network_from_circuit(circuit), mapped.elaboration.logic)
    return [{registers[i].name.split("[")[0] for i in part.registers} for part in parts if len(part.registers)]


def test_wheels_are_parts_and_a_chain_of_them_is_one() -> None:
    loose, chain = wheels(False), wheels(True)
    assert sorted(map(sorted, _parts(loose, loose.circuit))) == [[f"count{n}"] for n in MODULI]
    assert _parts(chain, chain.circuit) == [{f"count{n}" for n in MODULI}]


def test_parts_are_proved_where_their_mixtures_are_too_many() -> None:
    mapped = wheels(False)
    whole = prove(mapped.elaboration, mapped.circuit)
    assert whole.result == "equal" and whole.parts == 1 and whole.hdl_states >= lcm(*MODULI)
    by_parts = prove(mapped.elaboration, mapped.circuit, limit=60)
    assert by_parts.result == "equal" and by_parts.complete and by_parts.parts >= len(MODULI)
    assert by_parts.hdl_states <= 60 and "parts that know nothing of each other" in by_parts.reason


def test_a_chain_is_not_proved_by_parts() -> None:
    mapped = wheels(True)
    verdict = prove(mapped.elaboration, mapped.circuit, limit=60, walk=200)
    assert verdict.result == "undecided" and verdict.parts == 1


@pytest.mark.parametrize("number", range(6))
def test_a_wrong_stack_is_found_by_parts(number: int) -> None:
    """Toggles turned over, one after the other, as by a builder: by parts the same ones are found as on the whole."""
    mapped = wheels(False)
    stacks = list(mapped.circuit.stacks)
    plain = [i for i, stack in enumerate(stacks) if stack.strobe is None]
    at = plain[number % len(plain)]
    first = stacks[at].toggles[0]
    stacks[at] = replace(stacks[at], toggles=(replace(first, bit=1 - first.bit), *stacks[at].toggles[1:]))
    wrong = replace(mapped.circuit, stacks=tuple(stacks))
    whole = prove(mapped.elaboration, wrong)
    by_parts = prove(mapped.elaboration, wrong, limit=60, walk=1)
    assert whole.result == "different" and by_parts.result == "different"


def test_a_wire_between_parts_makes_them_one() -> None:
    """A stack of one part that reads a driver of another: no longer independent, whatever the design says."""
    mapped = wheels(False)
    stacks = list(mapped.circuit.stacks)
    names = [stack.name for stack in stacks]
    by_wheel = {n: next(i for i, name in enumerate(names) if name.startswith(f"count{n}")) for n in MODULI[:2]}
    a, b = by_wheel[MODULI[0]], by_wheel[MODULI[1]]
    toggle = stacks[a].toggles[0]
    joined = replace(toggle, drivers=(*toggle.drivers, names[b]))
    stacks[a] = replace(stacks[a], toggles=(joined, *stacks[a].toggles[1:]))
    parts = _parts(mapped, replace(mapped.circuit, stacks=tuple(stacks)))
    assert {f"count{n}" for n in MODULI[:2]} in parts

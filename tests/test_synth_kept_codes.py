"""A code that was asked for is the code of the machine: its registers are read off the circuit, state by state."""

from __future__ import annotations

import pytest
from amaranth.hdl import Module, Signal
from amaranth.lib import wiring
from amaranth.lib.wiring import In, Out
from support.lockstep import compare, sources_of, walk

from hdl2grid import Button, Machine, Switch, Ticker
from hdl2grid.circuit.model import Circuit
from hdl2grid.logic.elaborate import elaborate
from hdl2grid.parts import CODES, Counter, Divider, Lfsr, ShiftRegister
from hdl2grid.synth.synthesise import synthesise
from hdl2grid.verify.hazards import find_hazards

MODULUS = {"binary": 10, "gray": 12, "johnson": 9, "one-hot": 6, "lfsr": 15}


class Hidden(wiring.Component):
    """A part of which no output shows the registers, beside a counter whose code is free."""

    def __init__(self, part: object, read: str) -> None:
        self.part, self.read = part, read
        super().__init__({"go": In(1), "lamp": Out(1), "other": Out(1)})

    def elaborate(self, platform: object) -> Module:
        m = Module()
        m.submodules.part = part = self.part
        free = Signal(3)
        m.d.sync += free.eq(free + 1)
        with m.If(free == 5):
            m.d.sync += free.eq(0)
        m.d.comb += [part.step.eq(self.go), self.lamp.eq(getattr(part, self.read)), self.other.eq(free == 5)]  # type: ignore[attr-defined]
        if isinstance(part, ShiftRegister):
            m.d.comb += part.data.eq(free[0])
        return m


def parts() -> list[object]:
    found = [pytest.param(Counter(MODULUS[code], code), "carry", "value", id=code) for code in CODES]
    found += [pytest.param(Divider(MODULUS[code], code), "tick", "value", id=f"divider-{code}") for code in CODES]
    found.append(pytest.param(ShiftRegister(5, init=3), "stages", "stages", id="shift"))
    found.append(pytest.param(Lfsr(5), "stages", "stages", id="lfsr-5"))
    found.append(pytest.param(Lfsr(4, xnor=True), "stages", "stages", id="lfsr-xnor"))
    return found


def read_words(circuit: Circuit, word: str) -> list[str]:
    return sorted(level.signal for level in circuit.levels if level.signal.partition("[")[0].endswith(word))


@pytest.mark.parametrize(("part", "read", "word"), parts())
def test_registers_keep_the_code_that_was_asked_for(part: object, read: str, word: str) -> None:
    machine = Machine(
        Hidden(part, read), clocks={"sync": Ticker(seconds=1)}, reset=Button(), inputs={"go": Switch(on=True)}
    )
    logic = elaborate(machine).logic
    kept = sorted(r.name for r in logic.registers if r.name.partition("[")[0].endswith(word))
    assert kept and all(r.keep_code for r in logic.registers if r.name in kept)
    made = synthesise(logic, sources_of(logic))
    # Each bit has its own level in the circuit, and `compare` holds it to the HDL's register after every event.
    assert read_words(made.circuit, word) == kept
    assert all(name not in code.name for code in made.report.codes for name in (word, "part"))
    assert find_hazards(made.circuit).is_safe_by_structure
    compare(logic, made.circuit, ["sync"] * 40 + walk(logic, 300, 1))

"""Whole machines: arithmetic too deep for one level, gates, resets, several domains, names and figures."""

from __future__ import annotations

import os
import subprocess
import sys

import pytest
from amaranth.hdl import Elaboratable, Module
from amaranth.lib import wiring
from amaranth.lib.wiring import In, Out
from support.lockstep import compare, sources_of, walk
from support.small_logic import Words, clock_12h

from hdl2grid.base.errors import InputError
from hdl2grid.base.sources import Switch
from hdl2grid.design.machine import Machine
from hdl2grid.logic.elaborate import elaborate
from hdl2grid.logic.model import InputBit, Logic, OutputBit, RegisterBit
from hdl2grid.logic.xag import XagBuilder
from hdl2grid.synth.model import SynthParams
from hdl2grid.synth.synthesise import synthesise

QUICK = SynthParams(search_steps=2000)


class Arithmetic(wiring.Component):
    """Two operands on switches; `operate` gives the result."""

    def __init__(self, width_a: int, width_b: int, width_out: int, operate: object) -> None:
        self.operate = operate
        super().__init__({"a": In(width_a), "b": In(width_b), "o": Out(width_out)})

    def elaborate(self, platform: object) -> Elaboratable:
        m = Module()
        m.d.comb += self.o.eq(self.operate(self.a, self.b))
        return m


@pytest.mark.parametrize(
    ("name", "widths", "operate", "most"),
    [
        ("multiplier", (4, 4, 8), lambda a, b: a * b, 100),
        ("divider", (6, 3, 6), lambda a, b: a // b, 400),
        ("comparator", (8, 8, 1), lambda a, b: a < b, 20),
        ("adder", (8, 8, 9), lambda a, b: a + b, 30),
    ],
)
def test_deep_arithmetic(name: str, widths: tuple[int, int, int], operate: object, most: int) -> None:
    machine = Machine(Arithmetic(*widths, operate), inputs={"a": Switch(), "b": Switch()}, name=name)
    logic = elaborate(machine).logic
    made = synthesise(logic, sources_of(logic), QUICK)
    assert len(made.circuit.stacks) <= most
    compare(logic, made.circuit, walk(logic, 400, 1))


def test_the_clock_takes_its_38_stacks_and_few_more_in_its_own_codes() -> None:
    logic = clock_12h()
    report = synthesise(logic, sources_of(logic), SynthParams(keep_codes=True)).report
    # 11 registers and as many resets; 5 + 2 + 7 products at the bound of each digit; two carries.
    assert (report.registers, report.resets, report.gates) == (11, 11, 2)
    assert all(block.verdict == "proved minimal" for block in report.blocks)
    assert sum(block.stacks for block in report.blocks) == 14
    assert report.stacks <= 42


def gated_pair(has_reset: bool) -> Logic:
    """A counter of three steps that carries into a second, an enable on a switch, and an output of both."""
    w = Words()
    low, high = w.register("low", 2, 0), w.register("high", 3, 5)
    enable = w.b.variable("enable")
    wrap = w.b.and_(enable, w.equals(low, 2))
    next_low = w.mux(enable, w.mux(w.equals(low, 2), [0, 0], w.plus_one(low)), low)
    next_high = w.mux(wrap, w.mux(w.equals(high, 6), [1, 0, 0], w.plus_one(high)), high)
    data = {f"low[{i}]": x for i, x in enumerate(next_low)} | {f"high[{i}]": x for i, x in enumerate(next_high)}
    both = [w.b.and_(x, y) for x, y in zip(low, high, strict=False)]
    logic = w.logic("pair", data, {"both": both, "high": high})
    switches = (InputBit("enable", enable, 0),)
    return Logic("pair", logic.xag, ("sync",), has_reset, switches, logic.registers, logic.outputs)


@pytest.mark.parametrize("has_reset", [False, True])
def test_registers_that_move_in_different_rounds(has_reset: bool) -> None:
    logic = gated_pair(has_reset)
    for gating in (False, True):
        made = synthesise(logic, sources_of(logic), SynthParams(gating=gating, search_steps=2000))
        compare(logic, made.circuit, walk(logic, 3000, 4))
        assert gating or made.report.gates == 0


def test_machines_at_the_edges() -> None:
    empty = Logic("empty", XagBuilder().freeze(), (), False, (), (), ())
    assert synthesise(empty, ()).circuit.stacks == ()
    b = XagBuilder()
    still, flips, q = b.variable("still"), b.variable("flips"), b.variable("sync")
    bits = (
        RegisterBit("still", still, still, 1, "sync", True),
        RegisterBit("flips", flips, flips ^ 1, 0, "sync", False),
        RegisterBit("sync", q, b.and_(q, flips), 1, "sync", True),  # a register called like a source
    )
    outputs = (OutputBit("one", 1), OutputBit("still_out", still), OutputBit("both", b.and_(flips, q)))
    logic = Logic("edges", b.freeze(), ("sync",), True, (), bits, outputs)
    made = synthesise(logic, sources_of(logic))
    compare(logic, made.circuit, walk(logic, 200, 2))
    assert [s.name for s in made.circuit.stacks][:2] == ["flips", "sync.register"]


def test_an_event_without_source_is_named() -> None:
    logic = clock_12h()
    with pytest.raises(InputError, match="S001.*'reset'"):
        synthesise(logic, [s for s in sources_of(logic) if s.name != "reset"])


def test_same_circuit_under_any_hash_seed() -> None:
    program = (
        "import sys; sys.path.insert(0, 'tests')\n"
        "from support.lockstep import sources_of\n"
        "from support.small_logic import random_logic\n"
        "from hdl2grid.synth.synthesise import synthesise\n"
        "for seed in (3, 8):\n"
        "    logic = random_logic(seed)\n"
        "    print(synthesise(logic, sources_of(logic)))\n"
    )
    texts = {
        subprocess.run(
            [sys.executable, "-c", program],
            env={**os.environ, "PYTHONHASHSEED": seed},
            check=True,
            capture_output=True,
        ).stdout
        for seed in ("0", "7")
    }
    assert len(texts) == 1


def test_signals_are_not_shared_between_runs() -> None:
    logic = clock_12h()
    assert synthesise(logic, sources_of(logic)) == synthesise(logic, sources_of(logic))

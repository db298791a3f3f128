"""State codes: the known figures, bounds and proofs, what keeps a code, and lock-step through other codes."""

from __future__ import annotations

import pytest
from amaranth.hdl import Module, Signal
from amaranth.lib import wiring
from amaranth.lib.wiring import Out
from support.lockstep import compare, sources_of, walk
from support.random_machines import random_machine
from support.small_logic import Words, clock_12h

from hdl2grid import Button, Machine, Ticker, keep_code
from hdl2grid.logic.elaborate import elaborate
from hdl2grid.logic.model import Logic
from hdl2grid.parts import Counter
from hdl2grid.synth.model import SynthParams
from hdl2grid.synth.synthesise import synthesise


def test_a_12_hour_clock_takes_35_stacks_and_none_fewer() -> None:
    # 12 for the decade, 8 for the tens, 13 for the hours, 2 carries: bounds by dimension; for the hours the code
    # that 12 would need was shown not to exist by an independent enumeration.
    logic = clock_12h()
    made = synthesise(logic, sources_of(logic))
    report = made.report
    assert [(c.stacks, c.bound, c.verdict) for c in report.codes] == [
        (12, 12, "proved minimal"),
        (8, 8, "proved minimal"),
        (13, 13, "proved minimal"),
    ]
    assert report.stacks - report.collectors == 35
    assert report.stacks <= 38
    assert {level.signal for level in made.circuit.levels} == {o.name for o in logic.outputs}
    compare(logic, made.circuit, ["sync"] * 1445 + walk(logic, 500, 1))


def ring(length: int, width: int) -> Logic:
    """A counter in binary that shows one lamp a state."""
    w = Words()
    count = w.register("count", width, 1)
    data = w.mux(w.equals(count, length - 1), w.constant(0, width), w.plus_one(count))
    lamps = [w.equals(count, i) for i in range(length)]
    return w.logic("ring", {f"count[{i}]": x for i, x in enumerate(data)}, {"lamp": lamps})


@pytest.mark.parametrize(("length", "width"), [(3, 2), (5, 3), (7, 3), (12, 4), (16, 4), (20, 5)])
def test_rings_of_lamps(length: int, width: int) -> None:
    # S is everything: r + n - 1 stacks whatever the code, beside those that shorten sums.
    logic = ring(length, width)
    made = synthesise(logic, sources_of(logic))
    registers = made.report.registers + made.report.resets
    assert registers + sum(block.stacks for block in made.report.blocks) == width + length - 1
    compare(logic, made.circuit, ["sync"] * (2 * length) + walk(logic, 200, 2))


class Counters(wiring.Component):
    """One counter whose code somebody chose, one that an output shows, one that is free."""

    def __init__(self, code: str | None, marked: bool) -> None:
        self.code, self.marked = code, marked
        super().__init__({"wrap": Out(2), "value": Out(3)})

    def elaborate(self, platform: object) -> Module:
        m = Module()
        m.submodules.chosen = chosen = Counter(10, self.code)
        free = Signal(4)
        if self.marked:
            keep_code(free)
        m.d.sync += [free.eq(free + 1), self.value.eq(self.value + 1)]
        with m.If(free == 12):
            m.d.sync += free.eq(0)
        m.d.comb += [chosen.step.eq(1), self.wrap[0].eq(chosen.carry), self.wrap[1].eq(free == 12)]
        return m


@pytest.mark.parametrize("code", ["gray", "binary", None])
@pytest.mark.parametrize("marked", [False, True])
def test_what_keeps_its_code(code: str | None, marked: bool) -> None:
    machine = Machine(Counters(code, marked), clocks={"sync": Ticker(seconds=1)}, reset=Button(), name="counters")
    logic = elaborate(machine).logic
    kept = {r.name.partition("[")[0] for r in logic.registers if r.keep_code}
    assert kept == {*(["chosen.value"] if code else []), *(["free"] if marked else [])}
    for keep in (False, True):
        made = synthesise(logic, sources_of(logic), SynthParams(keep_codes=keep, search_steps=2000))
        read = {level.signal.partition("[")[0] for level in made.circuit.levels}
        recoded = {c.name for c in made.report.codes}
        assert recoded.isdisjoint(read) and kept | {"value"} <= read
        assert not (keep and recoded)
        compare(logic, made.circuit, ["sync"] * 140 + walk(logic, 200, 3))


def test_a_dial_of_two_hands_with_shared_lamps() -> None:
    # 8 registers and resets, a carry, 12 shared lamps, 12 decoded positions; the hour moves a round later.
    w = Words()
    minute, hour = w.register("minute", 4, 0), w.register("hour", 4, 0)
    wrap = w.equals(minute, 11)
    after = w.mux(wrap, w.constant(0, 4), w.plus_one(minute))
    moved = w.mux(w.equals(hour, 11), w.constant(0, 4), w.plus_one(hour))
    data = {f"minute[{i}]": x for i, x in enumerate(after)}
    data |= {f"hour[{i}]": x for i, x in enumerate(w.mux(wrap, moved, hour))}
    outer = [w.equals(minute, i) for i in range(12)]
    inner = [w.b.or_(x, w.equals(hour, i)) for i, x in enumerate(outer)]
    logic = w.logic("dial", data, {"inner": inner, "outer": outer})
    made = synthesise(logic, sources_of(logic))
    assert made.report.stacks <= 46
    compare(logic, made.circuit, ["sync"] * 300 + walk(logic, 300, 1))


def test_a_group_may_look_at_registers_that_get_another_code_themselves() -> None:
    logic = elaborate(random_machine(3)).logic
    made = synthesise(logic, sources_of(logic))
    assert len(made.report.codes) >= 2
    compare(logic, made.circuit, walk(logic, 500, 1))


def test_a_wide_code_of_few_states_is_not_looked_at_as_one_space() -> None:
    # 24 registers of which one is 1: all 2^25 affine functions of them would take minutes.
    w = Words()
    count = w.register("count", 24, 1)
    lamps = [
        w.b.xor_all([w.b.and_(count[i], count[j] ^ 1) for i, j in pairs]) for pairs in (((0, 5), (3, 9)), ((7, 2),))
    ]
    data = {f"count[{i}]": count[i - 1] for i in range(24)}
    logic = w.logic("ring", data, {"lamp": lamps})
    made = synthesise(logic, sources_of(logic))
    assert made.report.registers == 5
    compare(logic, made.circuit, ["sync"] * 50 + walk(logic, 100, 1))

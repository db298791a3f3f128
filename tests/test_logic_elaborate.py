"""Elaboration of whole designs: names, domains, resets, memories, mistakes and warnings."""

from __future__ import annotations

import random
import warnings
from pathlib import Path

import pytest
from amaranth.hdl import Assert as HdlAssert
from amaranth.hdl import (
    Cat,
    ClockDomain,
    ClockSignal,
    Const,
    DomainRenamer,
    Instance,
    Module,
    Mux,
    Print,
    ResetInserter,
    ResetSignal,
    Signal,
    signed,
    unsigned,
)
from amaranth.lib import data, memory, wiring
from amaranth.lib.wiring import In, Out
from support.expressions import Expressions, first_difference, num_ands
from support.filled_design import TICK, Design, machine_of
from support.random_machines import random_events, random_machine

from hdl2grid import Button, Machine, Switch, Ticker
from hdl2grid.base.errors import InputError
from hdl2grid.logic.deep import run_deep
from hdl2grid.logic.elaborate import elaborate


def elaborated(ports, fill, **more):
    return elaborate(machine_of(ports, fill, **more))


def source_text(source):
    return Path(source.path).read_text().splitlines()[source.line - 1]


def names(elaboration):
    return [register.name for register in elaboration.logic.registers]


def failure(ports, fill, **more):
    with pytest.raises(InputError) as caught:
        elaborated(ports, fill, **more)
    return caught.value


def assert_in_step(elaboration, seed=1, count=300):
    assert first_difference(elaboration, random_events(seed, elaboration.machine, count)) is None


# -- names -----------------------------------------------------------------------------------------------------


def test_registers_are_named_by_port_path_and_bit():
    def counting(self, m):
        carry = Signal()
        m.d.sync += [self.ones.eq(self.ones + 1), carry.eq(self.ones == 6)]
        with m.If(carry):
            m.d.sync += self.ones.eq(2)

    def fill(self, m):
        m.submodules.minutes = minutes = Design({"ones": Out(3)}, counting)
        plain = Signal()
        m.d.sync += [plain.eq(~plain), self.seg[0].eq(self.seg[0] + 1), self.one.eq(plain)]
        m.d.comb += [self.seg[1].eq(minutes.ones), self.bus.data.eq(Cat(plain, self.seg[0]))]

    bus = wiring.Signature({"data": Out(3)})
    ports = {"seg": Out(3).array(2), "one": Out(1), "bus": Out(bus)}
    e = elaborated(ports, fill)
    assert sorted(names(e)) == [
        "minutes.carry", "minutes.ones[0]", "minutes.ones[1]", "minutes.ones[2]", "one", "plain",
        "seg__0[0]", "seg__0[1]", "seg__0[2]",
    ]  # fmt: skip
    assert [bit.name for bit in e.logic.outputs][-4:] == ["one", "bus__data[0]", "bus__data[1]", "bus__data[2]"]
    carry = next(r for r in e.logic.registers if r.name == "minutes.carry")
    assert carry.source.path == __file__ and "carry = Signal" in source_text(carry.source)
    assert_in_step(e)


def test_names_are_unique():
    def fill(self, m):
        twins = [Signal(name="twin") for _ in range(3)]
        nameless = Signal(name="")
        m.d.sync += [twin.eq(Cat(*twins).xor() ^ i) for i, twin in enumerate(twins)]
        m.d.sync += nameless.eq(~nameless)
        m.d.comb += self.y.eq(Cat(*twins, nameless))

    e = elaborated({"y": Out(4)}, fill)
    assert len(set(names(e))) == len(names(e)) == 4
    assert names(e) == names(elaborated({"y": Out(4)}, fill))


def test_structs_and_inputs_of_several_bits():
    layout = data.StructLayout({"a": 1, "b": signed(2)})

    def fill(self, m):
        with m.If(self.key.any()):
            m.d.sync += self.pair.eq(Cat(self.key, self.pair.as_value()[0]))

    e = elaborated({"key": In(2), "pair": Out(layout)}, fill)
    assert [bit.name for bit in e.logic.inputs] == ["key[0]", "key[1]"]
    assert names(e) == ["pair[0]", "pair[1]", "pair[2]"]
    assert_in_step(e)


def test_inputs_start_as_their_switches_do():
    def fill(self, m):
        m.d.comb += self.y.eq(self.word)

    component = Design({"word": In(4), "y": Out(4)}, fill)
    e = elaborate(Machine(component, inputs={"word": Switch(on=0b1010)}, name="word"))
    assert [bit.initial for bit in e.logic.inputs] == [0, 1, 0, 1]
    assert first_difference(e, ["word[0]", "word[3]"]) is None


def test_constant_outputs_and_ports_of_no_bits():
    class Fixed(wiring.Component):
        def __init__(self):
            super().__init__({"five": Out(3), "none": Out(0), "y": Out(1)})
            self.five = Const(5, 3)

        def elaborate(self, platform):
            m = Module()
            m.d.sync += self.y.eq(~self.y)
            return m

    e = elaborate(Machine(Fixed(), clocks=TICK, name="fixed"))
    assert [(bit.name, bit.literal) for bit in e.logic.outputs[:3]] == [("five[0]", 1), ("five[1]", 0), ("five[2]", 1)]
    assert_in_step(e)


# -- domains and resets ------------------------------------------------------------------------------------------


def test_domains_of_the_design_and_made_for_it():
    def fill(self, m):
        m.domains.slow = ClockDomain()
        m.d.slow += self.a.eq(self.a + 1)
        m.d.fast += self.b.eq(self.b + self.a)

    clocks = {"fast": Ticker(seconds=1), "slow": Button()}
    e = elaborated({"a": Out(2), "b": Out(2)}, fill, clocks=clocks)
    assert e.logic.domains == ("fast", "slow")
    assert {r.name: (r.domain, r.resettable) for r in e.logic.registers} == {
        "a[0]": ("slow", True), "a[1]": ("slow", True), "b[0]": ("fast", True), "b[1]": ("fast", True)
    }  # fmt: skip
    assert_in_step(e)


def test_reset_leaves_reset_less_registers_domains_and_memories_alone():
    def fill(self, m):
        m.domains.free = ClockDomain(reset_less=True)
        kept = Signal(2, reset_less=True)
        m.submodules.store = store = memory.Memory(shape=1, depth=2, init=[0, 1])
        write, read = store.write_port(), store.read_port(domain="comb")
        m.d.sync += [kept.eq(kept + 1), self.count.eq(self.count + 3)]
        m.d.free += self.loose.eq(self.loose + 1)
        m.d.comb += [self.kept.eq(kept), write.addr.eq(kept[0]), write.data.eq(kept[1]), write.en.eq(1)]
        m.d.comb += [read.addr.eq(self.count[0]), self.row.eq(read.data)]

    ports = {"count": Out(unsigned(2)), "kept": Out(2), "loose": Out(2), "row": Out(1)}
    e = elaborated(ports, fill, clocks={"sync": Button(), "free": Button()})
    resettable = [r.name for r in e.logic.registers if r.resettable]
    assert resettable == ["count[0]", "count[1]"]
    assert {"store[0]", "store[1]"} <= set(names(e))
    assert_in_step(e)


def test_reset_reaches_domains_whose_own_reset_is_synchronous_or_driven_by_logic():
    def fill(self, m):
        m.domains.sync = ClockDomain()
        m.d.comb += ResetSignal().eq(self.clear | self.count.all())
        m.d.sync += self.count.eq(self.count + 1)

    e = elaborated({"clear": In(1), "count": Out(3, init=2)}, fill)
    assert all(r.resettable for r in e.logic.registers)
    assert_in_step(e)


def test_one_domains_reset_may_follow_anothers():
    def fill(self, m):
        m.domains.slow = ClockDomain(async_reset=True)
        m.d.comb += ResetSignal("slow").eq(ResetSignal("sync"))
        m.d.slow += self.y.eq(self.y + 1)
        m.d.sync += self.z.eq(ResetSignal("sync") | ~self.z)

    e = elaborated({"y": Out(2), "z": Out(1)}, fill, clocks={"sync": Button(), "slow": Button()})
    assert_in_step(e)


def test_local_and_renamed_domains():
    def fill(self, m):
        inner = Module()
        inner.d.sync += self.a.eq(self.a + 1)
        m.submodules.inner = DomainRenamer("slow")(inner)
        local = Module()
        local.domains += ClockDomain("own", local=True)
        local.d.own += self.b.eq(~self.b)
        m.submodules.local = local

    e = elaborated({"a": Out(2), "b": Out(1)}, fill, clocks={"slow": Button(), "own": Button()})
    assert_in_step(e)


# -- memories ----------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("domain", ["comb", "sync"])
def test_a_table_is_logic(domain):
    def fill(self, m):
        m.submodules.table = table = memory.Memory(shape=5, depth=6, init=[3, 9, 27, 16, 17, 30])
        port = table.read_port(domain=domain)
        m.d.sync += self.count.eq(self.count + 1)
        m.d.comb += [port.addr.eq(self.count), self.y.eq(port.data)]

    e = elaborated({"count": Out(3), "y": Out(5)}, fill)
    assert len(e.logic.registers) == (3 if domain == "comb" else 8)
    assert_in_step(e)


@pytest.mark.parametrize("transparent", [False, True])
@pytest.mark.parametrize("granularity", [None, 1])
def test_a_written_memory_is_registers(transparent, granularity):
    def fill(self, m):
        m.submodules.store = store = memory.Memory(shape=signed(2), depth=3, init=[-1, 0, 1])
        one, two = (store.write_port(granularity=granularity if granularity else None) for _ in "ab")
        read = store.read_port(transparent_for=(one,) if transparent else ())
        now = store.read_port(domain="comb")
        count = Signal(6)
        m.d.sync += count.eq(count * 5 + 7)
        for port, bit in ((one, 0), (two, 1)):
            m.d.comb += [port.addr.eq(count[bit:]), port.data.eq(count[2:].as_signed()), port.en.eq(count[3 - bit :])]
        m.d.comb += [read.addr.eq(count[1:]), now.addr.eq(count), read.en.eq(self.go)]
        m.d.comb += [self.now.eq(now.data), self.later.eq(read.data)]

    ports = {"go": In(1), "now": Out(2), "later": Out(2)}
    if granularity:
        with pytest.raises(InputError, match="L010"):  # a signed row has no parts, says Amaranth
            elaborated(ports, fill)
        return
    e = elaborated(ports, fill)
    assert {f"store[{row}][{bit}]" for row in range(3) for bit in range(2)} <= set(names(e))
    assert_in_step(e)


def test_rows_written_in_parts():
    def fill(self, m):
        m.submodules.store = store = memory.Memory(shape=unsigned(4), depth=2, init=[9, 4])
        write, read = store.write_port(granularity=2), store.read_port(domain="comb")
        count = Signal(5)
        m.d.sync += count.eq(count + 11)
        m.d.comb += [write.addr.eq(count[4]), write.data.eq(count), write.en.eq(count[3:]), read.addr.eq(count[0])]
        m.d.comb += self.y.eq(read.data)

    assert_in_step(elaborated({"y": Out(4)}, fill))


def test_a_read_ports_register_obeys_a_synchronous_reset():
    def fill(self, m):
        m.domains.sync = ClockDomain()
        m.d.comb += ResetSignal().eq(self.clear)
        m.submodules.table = table = memory.Memory(shape=2, depth=4, init=[1, 2, 3, 1])
        port = table.read_port()
        count = Signal(2)
        m.d.sync += count.eq(count + 1)
        m.d.comb += [port.addr.eq(count), port.en.eq(self.go), self.y.eq(port.data)]

    assert_in_step(elaborated({"clear": In(1), "go": In(1), "y": Out(2)}, fill))


@pytest.mark.parametrize("written", [False, True])
def test_memories_too_large_are_refused(written):
    """Random contents, of which no table is cheap."""
    contents = [random.Random(row).randrange(1 << 9) for row in range(2048)]

    def fill(self, m):
        m.submodules.big = big = memory.Memory(shape=9, depth=2048, init=contents)
        port = big.read_port(domain="comb")
        count = Signal(11)
        m.d.sync += count.eq(count + 1)
        m.d.comb += [port.addr.eq(count), self.y.eq(port.data.xor())]
        if written:
            m.d.comb += big.write_port().en.eq(1)

    error = failure({"y": Out(1)}, fill)
    assert error.code == "L002" and "'big'" in error.what and "2048 rows of 9 bits" in error.what
    assert __file__ in error.where


def test_a_large_table_with_a_simple_content_is_fine():
    def fill(self, m):
        m.submodules.gray = gray = memory.Memory(shape=10, depth=1024, init=[row ^ row >> 1 for row in range(1024)])
        port = gray.read_port(domain="comb")
        count = Signal(10)
        m.d.sync += count.eq(count + 1)
        m.d.comb += [port.addr.eq(count), self.y.eq(port.data)]

    e = elaborated({"y": Out(10)}, fill)
    assert num_ands(e) == 8  # the counter's; Gray code is XOR alone
    assert_in_step(e, count=50)


# -- what never changes or reaches no output ---------------------------------------------------------------------


def test_constant_and_unused_registers_are_left_out_and_said():
    def fill(self, m):
        still = Signal(init=1)
        follows = Signal(init=1)
        spare = Signal(4)
        m.d.sync += [still.eq(still | self.y), follows.eq(still), spare.eq(spare + 1), self.y.eq(~self.y & follows)]

    e = elaborated({"y": Out(1)}, fill)
    assert names(e) == ["y"]
    assert e.constant == ("still", "follows")
    assert e.unused == tuple(f"spare[{i}]" for i in range(4))
    assert any("spare[0]" in warning for warning in e.warnings)
    assert_in_step(e)


def test_unused_sources_are_said():
    def fill(self, m):
        m.domains.other = ClockDomain()
        m.d.sync += self.y.eq(~self.y)

    e = elaborated({"hold": In(1), "y": Out(1)}, fill,
                   clocks={"sync": Button(), "other": Button()})  # fmt: skip
    assert [w for w in e.warnings if "used by nothing" in w] == [
        "source 'other' is used by nothing", "source 'hold' is used by nothing"
    ]  # fmt: skip
    assert e.logic.domains == ("sync", "other")
    assert_in_step(e)


def test_statements_for_simulation_are_left_out_and_said(capsys):
    def fill(self, m):
        m.d.sync += [self.y.eq(~self.y), Print("tick"), HdlAssert(self.y == 5)]
        m.d.check += Print("a domain of its own")

    e = elaborated({"y": Out(1)}, fill)
    assert sum("left out" in warning for warning in e.warnings) == 3
    assert_in_step(e)
    assert capsys.readouterr().out == ""


def test_undriven_signals_and_outputs_are_said():
    def fill(self, m):
        forgotten = Signal(2)
        meant = Signal(2, init=2)
        m.d.comb += self.y.eq(forgotten ^ meant)

    e = elaborated({"y": Out(2), "z": Out(1, init=1)}, fill, clocks={}, reset=False)
    assert [w.split(" (")[0] for w in e.warnings] == [
        "output 'z' is driven by nothing; it stays at its initial value",
        "signal 'forgotten' is used, but driven by nothing; it stays 0",
    ]
    assert [bit.literal for bit in e.logic.outputs] == [0, 1, 1]


# -- mistakes ----------------------------------------------------------------------------------------------------


def toggling(domain="sync"):
    def fill(self, m):
        m.d[domain] += self.y.eq(~self.y)

    return fill


def test_domain_without_source_and_source_without_domain():
    error = failure({"y": Out(1)}, toggling("minute"), clocks={"minutes": Button()})
    assert error.code == "L008" and "'minute'" in error.what and "'minutes'" in error.hint
    error = failure({"y": Out(1)}, toggling(), clocks={"sync": Button(), "snyc": Button()})
    assert error.code == "L012" and "'snyc'" in error.what and "'sync'" in error.hint
    assert machine_of.__code__.co_filename in error.where, "where the machine is made"
    error = failure({"y": Out(1)}, lambda self, m: None)
    assert error.code == "L012" and "leave clocks= out" in error.hint


def test_falling_edges_are_refused():
    def fill(self, m):
        m.domains.sync = ClockDomain(clk_edge="neg")
        m.d.sync += self.y.eq(~self.y)

    error = failure({"y": Out(1)}, fill)
    assert error.code == "L004" and "'sync'" in error.what and __file__ in error.where


def test_clocks_driven_by_logic_are_refused():
    def gated(self, m):
        m.domains.slow = ClockDomain()
        half = Signal()
        m.d.sync += half.eq(~half)
        m.d.comb += ClockSignal("slow").eq(half)
        m.d.slow += self.y.eq(~self.y)

    error = failure({"y": Out(1)}, gated)
    assert error.code == "L003" and "'slow'" in error.what and __file__ in error.where

    def alias(self, m):
        m.domains.slow = ClockDomain()
        m.d.comb += ClockSignal("slow").eq(ClockSignal("sync"))
        m.d.slow += self.y.eq(~self.y)
        m.d.sync += self.z.eq(~self.z)

    assert failure({"y": Out(1), "z": Out(1)}, alias).code == "L003"


def test_clocks_as_data_are_refused():
    def fill(self, m):
        m.d.sync += self.y.eq(~self.y)
        m.d.comb += self.z.eq(ClockSignal() & self.y)

    error = failure({"y": Out(1), "z": Out(1)}, fill)
    assert error.code == "L007" and "'sync'" in error.what


def test_asynchronous_resets_driven_by_logic_are_refused():
    def fill(self, m):
        m.domains.sync = ClockDomain(async_reset=True)
        m.d.comb += ResetSignal().eq(self.clear)
        m.d.sync += self.y.eq(~self.y)

    error = failure({"clear": In(1), "y": Out(1)}, fill)
    assert error.code == "L005" and "'sync'" in error.what and __file__ in error.where


def test_two_domains_of_one_name_are_refused():
    def fill(self, m):
        for port in (self.y, self.z):
            part = Module()
            part.domains += ClockDomain("own", local=True)
            part.d.own += port.eq(~port)
            m.submodules += part

    assert failure({"y": Out(1), "z": Out(1)}, fill, clocks={"own": Button()}).code == "L006"


def test_combinational_loops_name_their_signals_and_lines():
    def fill(self, m):
        left = Signal()
        right = Signal()
        m.d.comb += [left.eq(~right), right.eq(left), self.y.eq(left)]

    error = failure({"y": Out(1)}, fill, clocks={}, reset=False)
    assert error.code == "L001" and "'left'" in error.what and "'right'" in error.what
    assert __file__ in error.where and __file__ in error.hint


def test_a_word_may_depend_on_its_own_lower_bits():
    def fill(self, m):
        for i in range(4):
            m.d.comb += self.y[i].eq(self.y[i - 1] ^ self.a[i] if i else self.a[0])

    component = Design({"a": In(4), "y": Out(4)}, fill)
    e = elaborate(Machine(component, inputs={"a": Switch()}, name="prefix"))
    assert_in_step(e)


def test_black_boxes_are_refused():
    def fill(self, m):
        m.submodules.pll = Instance("PLL", o_out=self.y)

    error = failure({"y": Out(1)}, fill, clocks={}, reset=False)
    assert error.code == "L009" and "'PLL'" in error.what and __file__ in error.where


def test_two_drivers_are_refused():
    def fill(self, m):
        m.d.comb += self.y.eq(self.a)
        inner = Module()
        inner.d.comb += self.y.eq(1)
        m.submodules.inner = inner

    error = failure({"a": In(1), "y": Out(1)}, fill, clocks={}, reset=False)
    assert error.code == "L011" and "y" in error.what and __file__ in error.what

    def driven_input(self, m):
        m.d.comb += self.a.eq(1)

    error = failure({"a": In(1), "y": Out(1)}, driven_input, clocks={}, reset=False)
    assert error.code == "L011" and "(sig a)" in error.what


def test_a_fault_in_the_design_shows_its_own_line():
    def fill(self, m):
        m.d.comb += self.y.eq(self.nowhere)

    error = failure({"y": Out(1)}, fill, clocks={}, reset=False)
    lines = Path(__file__).read_text().splitlines()
    line = next(i for i, text in enumerate(lines, 1) if "self.nowhere" in text)
    assert error.code == "L010" and error.where == f"{__file__}:{line}"


def test_an_empty_machine():
    error = failure({}, lambda self, m: None, clocks={}, reset=False)
    assert error.code == "L014"


# -- size --------------------------------------------------------------------------------------------------------


def test_deep_expressions():
    def deep(a, b):
        for i in range(5000):
            a = a ^ b if i % 3 else ~(a & b)
        return a

    component = run_deep(lambda: Expressions({"a": unsigned(2), "b": unsigned(2)}, {"deep": deep}))
    e = elaborate(component.machine())
    assert first_difference(e, ["a[0]", "b[1]", "b[0]", "a[1]"]) is None


def test_expressions_that_the_simulator_cannot_compile_give_one_message():
    def deep(a, b):
        for _ in range(200):
            a = Mux(b, a, b)
        return a

    component = run_deep(lambda: Expressions({"a": unsigned(1), "b": unsigned(1)}, {"deep": deep}))
    e = elaborate(component.machine())
    with pytest.raises(InputError, match="L011.*simulator"):
        first_difference(e, ["a"])


@pytest.mark.parametrize("seed", range(60))
def test_random_designs(seed):
    machine = random_machine(seed)
    assert_in_step(elaborate(machine), seed, 150)


def test_random_designs_do_not_depend_on_earlier_elaborations():
    first, second = (elaborate(random_machine(7)).logic for _ in range(2))
    assert first == second


def test_reset_inserter_spares_reset_less_registers():
    def fill(self, m):
        inner = Module()
        kept = Signal(2, reset_less=True)
        inner.d.sync += [kept.eq(kept + 1), self.y.eq(self.y + 1)]
        m.submodules.inner = ResetInserter(self.clear)(inner)
        m.d.comb += self.z.eq(kept)

    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        assert_in_step(elaborated({"clear": In(1), "y": Out(2), "z": Out(2)}, fill))

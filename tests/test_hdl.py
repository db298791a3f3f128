"""The referee: events in Amaranth's simulator, snapshots, and how fast they are."""

from __future__ import annotations

import time

import pytest
from amaranth.hdl import Assert, ClockDomain, Module, Print, Signal, signed
from amaranth.lib import memory
from amaranth.lib.wiring import In, Out
from support.expressions import first_difference
from support.filled_design import machine_of
from support.logic_session import LogicSession
from support.random_machines import random_events, random_machine

from hdl2grid import Button, Ticker
from hdl2grid.base.errors import DesignFailed
from hdl2grid.design.load import load_machine
from hdl2grid.logic.elaborate import elaborate
from hdl2grid.verify.design_checks import run_checks
from hdl2grid.verify.hdl import run_hdl


def counting(self, m: Module) -> None:
    m.domains.white = ClockDomain(async_reset=True)
    m.submodules.store = store = memory.Memory(shape=signed(2), depth=2, init=[1, -2])
    write, read = store.write_port(domain="white"), store.read_port(domain="comb")
    mixed = Signal(signed(3), init=-3)
    with m.If(~self.hold):
        m.d.sync += self.y.eq(self.y + 1)
    m.d.white += mixed[1:].eq(mixed[1:] + 1)
    m.d.comb += [mixed[0].eq(self.y[0]), self.z.eq(mixed), self.row.eq(read.data), read.addr.eq(self.y[0])]
    m.d.comb += [write.addr.eq(self.y[1]), write.data.eq(mixed[1:]), write.en.eq(1)]


PORTS = {"hold": In(1), "y": Out(2), "z": Out(signed(3)), "row": Out(2)}


@pytest.fixture
def counter():
    return elaborate(machine_of(PORTS, counting, clocks={"sync": Ticker(seconds=1), "white": Button()}))


def word(elaboration, session, port):
    named = zip(elaboration.logic.outputs, session.outputs(), strict=True)
    return sum(level << i for i, level in enumerate(level for bit, level in named if bit.name.split("[")[0] == port))


def test_each_event_does_its_own(counter):
    def body(session):
        seen = []
        for event in ["sync", "sync", "hold", "sync", "white", "hold", "sync", "reset"]:
            session.apply(event)
            seen.append((word(counter, session, "y"), word(counter, session, "z")))
        return seen

    # z starts as -3, so its two register bits as 10; its lowest bit follows y.
    assert run_hdl(counter, body) == [(1, 5), (2, 4), (2, 4), (2, 4), (2, 6), (2, 6), (3, 7), (0, 4)]


def test_unknown_events_are_refused(counter):
    with pytest.raises(KeyError, match="nothing"):
        run_hdl(counter, lambda session: session.apply("nothing"))


def test_a_reset_that_the_machine_has_not_is_refused():
    def fill(self, m):
        m.d.sync += self.y.eq(~self.y)

    elaboration = elaborate(machine_of({"y": Out(1)}, fill, reset=False))
    with pytest.raises(KeyError, match="reset"):
        run_hdl(elaboration, lambda session: session.apply("reset"))


def test_a_press_of_reset_is_no_tick(counter):
    """Neither what is written nor what is reset_less moves, which Amaranth's own asynchronous reset would clock."""

    def body(session):
        session.apply("sync")
        rows = [name for name in counter.hookup.registers if name.startswith("store")]
        before = session.registers()
        session.apply("reset")
        named = zip(counter.logic.registers, before, session.registers(), strict=True)
        return rows and [r.name for r, old, new in named if old != new]

    assert run_hdl(counter, body) == ["y[0]"]


@pytest.mark.parametrize("seed", [3, 14, 25])
def test_a_restored_state_goes_on_as_it_did(seed):
    machine = random_machine(seed)
    elaboration = elaborate(machine)
    events = random_events(seed, machine, 60)

    def body(session):
        for event in events[:20]:
            session.apply(event)
        snapshot, shown = session.state(), (session.outputs(), session.registers())
        first = play(session, events[20:])
        session.restore(snapshot)
        assert (session.outputs(), session.registers()) == shown and session.state() == snapshot
        return first == play(session, events[20:])

    def play(session, events):
        seen = []
        for event in events:
            session.apply(event)
            seen.append((session.outputs(), session.registers()))
        return seen

    assert run_hdl(elaboration, body)


def test_snapshots_serve_other_sessions(counter):
    def first(session):
        for event in ["sync", "white", "sync", "hold", "white"]:
            session.apply(event)
        return session.state(), session.outputs()

    snapshot, outputs = run_hdl(counter, first)

    def second(session):
        session.restore(snapshot)
        return session.outputs()

    assert run_hdl(counter, second) == outputs


def test_what_the_body_raises_comes_out(counter):
    def body(session):
        raise ZeroDivisionError("mine")

    with pytest.raises(ZeroDivisionError, match="mine"):
        run_hdl(counter, body)


def test_logic_sessions_restore_too(counter):
    session = LogicSession(counter.logic)
    for event in ["sync", "white"]:
        session.apply(event)
    snapshot, outputs = session.state(), session.outputs()
    session.apply("reset")
    session.restore(snapshot)
    assert session.outputs() == outputs
    with pytest.raises(KeyError):
        session.apply("nothing")


SHIPPED = ["clock_12h", "clock_24h", "dial_12h", "dice", "stopwatch", "traffic_light"]


@pytest.mark.parametrize("name", SHIPPED)
def test_shipped_designs_are_in_step(name):
    machine = load_machine(name)
    elaboration = elaborate(machine)
    events = random_events(1, machine, 1000)
    assert first_difference(elaboration, events) is None
    assert elaboration.warnings == () and elaboration.unused == ()


def test_events_are_quick():
    elaboration = elaborate(load_machine("clock_24h"))

    def body(session):
        best = float("inf")
        for _ in range(5):
            start = time.perf_counter()
            for _ in range(200):
                session.apply("sync")
                session.outputs(), session.registers()
            best = min(best, (time.perf_counter() - start) / 200)
        return best

    # About 25 us on the machine of the first measurement; ten times that is a fault, not noise.
    assert run_hdl(elaboration, body) < 300e-6


def test_a_designs_own_assertions_hold_in_its_checks_alone(capsys):
    def fill(self, m):
        count = Signal(2)
        m.d.sync += [count.eq(count + 1), Assert(count != 2, "two many"), Print("not seen")]
        m.d.comb += self.y.eq(count)

    async def one(ctx):
        await ctx.tick().repeat(2)

    async def three(ctx):
        await ctx.tick().repeat(4)

    def machine(check):
        return machine_of({"y": Out(2)}, fill, check=check)

    assert len(run_checks(machine(one)).results) == 1
    with pytest.raises(DesignFailed, match="'three': AssertionError: Assertion violated: two many") as caught:
        run_checks(machine(three))
    assert caught.value.where.startswith(__file__)
    assert first_difference(elaborate(machine(one)), ["sync"] * 6) is None
    assert capsys.readouterr().out == ""

"""The designs behind the plans of plans.py, in Amaranth."""

from functools import cache

from amaranth.hdl import Module, Signal
from amaranth.lib import wiring
from amaranth.lib.wiring import In, Out

from hdl2grid.base.sources import Button, Switch, Ticker
from hdl2grid.design.machine import Machine
from hdl2grid.logic.elaborate import Elaboration, elaborate
from hdl2grid.panel import Panel


class Divider(wiring.Component):
    """The lamp changes at ticks 1, 3, 5 .. like the high bit of a counter that starts at 1."""

    lamp: Out(1)

    def elaborate(self, platform):
        m = Module()
        count = Signal(2, init=1)
        m.d.sync += count.eq(count + 1)
        m.d.comb += self.lamp.eq(count[1])
        return m


class Counter(wiring.Component):
    q: Out(2)
    both: Out(1)

    def elaborate(self, platform):
        m = Module()
        count = Signal(2)
        m.d.sync += count.eq(count + 1)
        m.d.comb += [self.q.eq(count), self.both.eq(count == 3)]
        return m


class Blinker(wiring.Component):
    go: In(1)
    q: Out(1, init=1)

    def elaborate(self, platform):
        m = Module()
        with m.If(self.go):
            m.d.sync += self.q.eq(~self.q)
        return m


class Wide(wiring.Component):
    """Twenty bits that count, of which one is seen, and thirty more that nobody sees."""

    top: Out(1)

    def elaborate(self, platform):
        m = Module()
        count, unseen = Signal(20), Signal(30)
        m.d.sync += [count.eq(count + 1), unseen.eq(unseen + 3)]
        m.d.comb += self.top.eq(count[0])
        return m


@cache
def elaboration(name: str) -> Elaboration:
    machines = {
        "divider": lambda: Machine(Divider(), clocks={"sync": Ticker(seconds=1)}, name="divider"),
        "counter": lambda: Machine(Counter(), clocks={"sync": Ticker(seconds=1)}, name="counter"),
        "blinker": lambda: Machine(
            Blinker(),
            clocks={"sync": Ticker(seconds=0.5)},
            reset=Button(),
            inputs={"go": Switch()},
            name="blinker",
        ),
        "shown": lambda: Machine(
            Counter(),
            clocks={"sync": Ticker(seconds=1)},
            panel=Panel.from_art("1\n.\n0\n.\n.\nb", legend={"1": "q[1]", "0": "q[0]", "b": "both"}),
            name="counter",
        ),
        "wide": lambda: Machine(Wide(), clocks={"sync": Ticker(seconds=1)}, name="wide"),
    }
    return elaborate(machines[name]())

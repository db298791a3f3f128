"""A design of any ports and statements: a component that a function fills, and its machine."""

from __future__ import annotations

from amaranth.hdl import Module
from amaranth.lib import wiring
from amaranth.lib.wiring import In

from hdl2grid import Button, Machine, Switch, Ticker


class Design(wiring.Component):
    """A component with ports and a function that fills its module."""

    def __init__(self, ports, fill):
        self.fill = fill
        super().__init__(ports)

    def elaborate(self, platform):
        m = Module()
        self.fill(self, m)
        return m


TICK = {"sync": Ticker(seconds=1)}


def machine_of(ports, fill, *, clocks=TICK, reset=True, **more):
    inputs = {name: Switch() for name, member in ports.items() if member.flow == In}
    component = Design(ports, fill)
    return Machine(component, clocks=clocks, reset=Button() if reset else None, inputs=inputs, name="test", **more)

"""A machine as the parts of a circuit drawing: sources, flip-flops, gates and lamps, with inputs that name their
drivers.

A strobed stack is a flip-flop. Where its own output is among the drivers of its toggle, the toggle bears D xor Q: the
flip-flop is of type D, and the other drivers are its data. Else it is of type T. Several drivers of one input are
added modulo 2. An input is negated where its toggle does not start at the level of its drivers. Drivers that reach the
very same things, such as a flip-flop and its reset, are added once, in a part of their own.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

from hdl2grid.sim.pulse_network import Network
from hdl2grid.sim.waves import gate_output


@dataclass(frozen=True)
class Input:
    """One input: the names of its drivers, whose levels are added modulo 2, and whether the sum is negated."""

    drivers: tuple[str, ...]
    negated: bool = False


@dataclass(frozen=True)
class Part:
    """One part. `kind`: source, flipflop, sum, gate or lamp. `symbol`: a gate's function, a flip-flop's type (D or
    T), a source's kind. `clock`: the drivers of a flip-flop's strobe, any of which samples it. `level`: of its output
    before any event."""

    kind: str
    name: str
    symbol: str
    inputs: tuple[Input, ...] = ()
    clock: tuple[str, ...] = ()
    level: int = 0


def circuit_parts(network: Network) -> tuple[Part, ...]:
    """All parts: sources, flip-flops, sums, gates, and a lamp for each signal and way of driving it, in the
    network's order."""
    reader = _Reader(network)
    sources = [Part("source", s.name, s.kind, level=reader.levels[i]) for i, s in enumerate(network.sources)]
    stacks = [reader.stack(i) for i in range(len(network.stacks))]
    lamps = dict.fromkeys(reader.lamp(i) for i in range(len(network.pixels)))
    flipflops = [part for part in stacks if part.kind == "flipflop"]
    gates = [part for part in stacks if part.kind == "gate"]
    groups = _groups(network)
    level = {part.name: part.level for part in stacks}
    sums = [
        Part("sum", name, "sum", tuple(Input((d,)) for d in drivers), level=sum(level[d] for d in drivers) % 2)
        for drivers, name in groups.items()
    ]
    parts = [_with_sums(part, groups) for part in (*flipflops, *gates, *lamps)]
    return (*sources, *parts[: len(flipflops)], *sums, *parts[len(flipflops) :])


def _groups(network: Network) -> dict[tuple[str, ...], str]:
    """Stacks that hit the very same elements, several each, with a name for their sum."""
    alike: dict[tuple[int, ...], list[str]] = {}
    for i, stack in enumerate(network.stacks):
        hits = network.hits[len(network.sources) + i]
        if len(hits) > 1:
            alike.setdefault(hits, []).append(stack.name)
    groups = {}
    for names in alike.values():
        if len(names) > 1:
            names.sort(key=lambda name: (len(name), name))
            short = [name.removeprefix(names[0]) or name for name in names[1:]]
            groups[tuple(names)] = " + ".join([names[0], *short])
    return groups


def _with_sums(part: Part, groups: dict[tuple[str, ...], str]) -> Part:
    """The part with each whole group among the drivers of an input replaced by its sum."""
    inputs = []
    for one in part.inputs:
        drivers = one.drivers
        for names, total in groups.items():
            if set(names) <= set(drivers):
                drivers = (*(d for d in drivers if d not in names), total)
        inputs.append(Input(drivers, one.negated))
    return replace(part, inputs=tuple(inputs))


class _Reader:
    """Turns the network's table of hits round: which drivers hit an element."""

    def __init__(self, network: Network) -> None:
        self.network = network
        self.names = [s.name for s in network.sources] + [s.name for s in network.stacks]
        self.names += [f"delay {i + 1}" for i in range(len(network.delays))]
        self.hitting: dict[int, list[int]] = {}
        for driver, elements in enumerate(network.hits):
            for element in elements:
                self.hitting.setdefault(element, []).append(driver)
        self.levels = self._levels()

    def _levels(self) -> list[int]:
        """The level of each driver before any event. A flip-flop's is a matter of choice: taken so that signals
        read right where they can be."""
        network = self.network
        levels = [int(bool(source.on)) for source in network.sources]
        levels += [0 if s.strobed else gate_output(s.function, sum(s.bits), len(s.bits)) for s in network.stacks]
        levels += [0] * len(network.delays)
        is_free = [False] * len(network.sources) + [s.strobed for s in network.stacks] + [False] * len(network.delays)
        for i, probe in enumerate(network.probes):
            drivers = self.hitting.get(network.first_probe + i, [])
            free = [driver for driver in drivers if is_free[driver]]
            if free and sum(levels[driver] for driver in drivers) % 2 != probe.initial:
                levels[free[0]] ^= 1
            for driver in free:
                is_free[driver] = False
        return levels

    def _input(self, element: int, bit: int, leaving_out: int | None = None) -> Input:
        drivers = self.hitting.get(element, [])
        level = sum(self.levels[driver] for driver in drivers) % 2
        if leaving_out is not None and leaving_out in drivers:
            drivers = [driver for driver in drivers if driver != leaving_out]
        return Input(tuple(self.names[driver] for driver in drivers), negated=bit != level)

    def stack(self, index: int) -> Part:
        network = self.network
        stack = network.stacks[index]
        own = len(network.sources) + index
        first = network.first_toggle[index]
        if not stack.strobed:
            inputs = tuple(self._input(first + i, bit) for i, bit in enumerate(stack.bits))
            return Part("gate", stack.name, stack.function, inputs, level=self.levels[own])
        has_own = any(own in self.hitting.get(first + i, []) for i in range(len(stack.bits)))
        inputs = tuple(self._input(first + i, bit, own) for i, bit in enumerate(stack.bits))
        clock = tuple(self.names[driver] for driver in self.hitting.get(network.first_strobe + index, []))
        return Part("flipflop", stack.name, "D" if has_own else "T", inputs, clock, self.levels[own])

    def lamp(self, index: int) -> Part:
        pixel = self.network.pixels[index]
        shown = self._input(self.network.first_pixel + index, pixel.initial)
        return Part("lamp", pixel.signal, "lamp", (shown,), level=pixel.initial)

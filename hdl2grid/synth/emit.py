"""The circuit: names, functions and initial bits for the timed network."""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass

import networkx as nx

from hdl2grid.base.errors import SourceLine
from hdl2grid.circuit.match import renamed_nets
from hdl2grid.circuit.model import Circuit, Level, Origin, Pixel, Source, Stack, Toggle
from hdl2grid.logic.model import Logic
from hdl2grid.nets.partition import Drivers, Partition, share_nets
from hdl2grid.synth.gating import word_of
from hdl2grid.synth.gf2 import bits
from hdl2grid.synth.network import COLLECTOR, EXACTLY_ONE, PRODUCT, Form
from hdl2grid.synth.sinks import GATE, OUTPUT, REGISTER, Problem, Sink
from hdl2grid.synth.timing.timed_network import Timed

_SHORT = {PRODUCT: "and", EXACTLY_ONE: "one", COLLECTOR: "sum"}


@dataclass(frozen=True)
class TimedMachine:
    """A logic, its problem and network with rounds, the sources of its events, and its registers (numbers) that never
    change."""

    logic: Logic
    problem: Problem
    timed: Timed
    sources: Sequence[Source]
    constant: frozenset[int]


def emit(machine: TimedMachine) -> Circuit:
    """The circuit of a machine. Every plain stack says 0 in the first state."""
    return _Emitter(machine).circuit()


def crowded_forms(
    machine: TimedMachine, pixel_nets: int, near: Circuit | None, near_nets: Sequence[Drivers], quick: bool
) -> tuple[set[Form], Partition]:
    """The partition of drivers into nets that was found, and the forms of the sinks and toggles that have more nets in
    it than colours allow. With an earlier circuit drivers are joined on its nets only."""
    emitter = _Emitter(machine)
    circuit = emitter.circuit()
    kept = () if near is None else renamed_nets(near_nets, circuit, near)
    shared = share_nets(circuit, pixel_nets, kept, near is not None, quick)
    crowded = set(shared.crowded)
    problem, timed = machine.problem, machine.timed
    places = [(s.form, signals) for s, signals in zip(problem.sinks, timed.sinks, strict=True)]
    for cell in timed.cells:
        places += zip(problem.network.cells[cell].factors, timed.toggles[cell], strict=True)
    return {form for form, signals in places if emitter.names_of(signals) in crowded}, shared


class _Emitter:
    """Names are given first, to everything; then the stacks are made in the order registers and gates, cells,
    buffers, reset buffers."""

    def __init__(self, machine: TimedMachine) -> None:
        self.logic, self.problem, self.timed = machine.logic, machine.problem, machine.timed
        self.sources, self.constant = tuple(machine.sources), machine.constant
        self.network = self.problem.network
        self.stacks: list[Stack] = []
        self.origin: list[Origin] = []
        self.initial = self._initial_values()
        self.owner = self._owners()
        self.taken = {source.name for source in self.sources}
        self.drivers: dict[int, tuple[str, ...]] = {}
        self.gate_names: list[str] = []
        self.reset_names: list[str] = ["reset"]
        self.strobe_names: dict[tuple[str, int | None], list[str]] = {}
        self._name_everything()

    def circuit(self) -> Circuit:
        for number, (sink, signals) in enumerate(zip(self.problem.sinks, self.timed.sinks, strict=True)):
            delay = self.timed.strobe_delay.get(number, 0)
            if sink.kind == REGISTER:
                self._add_register(sink, signals, delay)
            elif sink.kind == GATE:
                name = self.gate_names[self._gate_number(sink)]
                self._add_strobed(name, sink, signals, delay)
        for cell in self.timed.cells:
            self._add_cell(cell)
        for signal, buffer in self.timed.buffers.items():
            owner = self.owner.get(signal)
            stack = Stack(self.drivers[signal][0], "AND", (Toggle(0, self.names_of(buffer.inputs)),))
            self._add(stack, owner)
        for names, event in [(self.reset_names, "reset"), *((n, d) for (d, _), n in self.strobe_names.items())]:
            for before, name in zip(names, names[1:], strict=False):
                self.stacks.append(Stack(name, "AND", (Toggle(0, (before,)),)))
                self.origin.append(Origin(event, event))
        return Circuit(
            name=self.logic.name,
            sources=self.sources,
            stacks=tuple(self.stacks),
            pixels=self._pixels(),
            origin=tuple(self.origin),
            levels=self._levels(),
        )

    # ---- values and owners

    def _initial_values(self) -> dict[int, int]:
        first = [r.init for r in self.logic.registers] + [i.initial for i in self.logic.inputs]
        values = {0: 1} | {1 + i: bit for i, bit in enumerate(first)}
        for cell in self.timed.cells:
            values[cell] = self.network.evaluate([1 << cell], values, 1)[0]
        return values

    def _value(self, form: Form) -> int:
        return sum(self.initial[s] for s in bits(form)) & 1

    def _owners(self) -> dict[int, Sink]:
        """The first sink that needs a cell or buffer: it gives the name and the source line."""
        owner: dict[int, Sink] = {}
        for sink, signals in zip(self.problem.sinks, self.timed.sinks, strict=True):
            todo = list(signals)
            while todo:
                signal = todo.pop()
                if signal in owner or not self.network.is_cell(signal):
                    continue
                owner[signal] = sink
                if signal in self.timed.buffers:
                    todo.extend(self.timed.buffers[signal].inputs)
                else:
                    todo.extend(s for toggle in self.timed.toggles[signal] for s in toggle)
        return owner

    # ---- names

    def _unique(self, name: str) -> str:
        chosen, number = name, 1
        while chosen in self.taken:
            number += 1
            chosen = f"{name}.{number}"
        self.taken.add(chosen)
        return chosen

    def _name_everything(self) -> None:
        registers = [s for s in self.problem.sinks if s.kind == REGISTER]
        for sink in registers:
            name = self._unique(sink.name if sink.name not in self.taken else f"{sink.name}.register")
            self.drivers[sink.own.bit_length() - 1] = (name,)
        for register in self.timed.reset_delay:
            name = self.drivers[1 + register][0]
            self.drivers[1 + register] = tuple(sorted((name, self._unique(f"{name}.reset"))))
        for i, bit in enumerate(self.logic.inputs):
            self.drivers[1 + len(self.logic.registers) + i] = (bit.name,)
        self.gate_names = [self._unique(gate.name) for gate in self.problem.gates]
        counts: Counter[str] = Counter()
        for cell in self.timed.cells:
            prefix = f"{_block(self.owner.get(cell))}.{_SHORT[self.network.cells[cell].kind]}"
            counts[prefix] += 1
            self.drivers[cell] = (self._unique(f"{prefix}{counts[prefix]}"),)
        for signal, buffer in self.timed.buffers.items():
            terms = bits(buffer.terms)
            prefix = f"{self.drivers[terms[0]][0]}.buf" if len(terms) == 1 else f"{_block(self.owner.get(signal))}.sum"
            counts[prefix] += 1
            self.drivers[signal] = (self._unique(f"{prefix}{counts[prefix]}"),)
        for k in range(max(self.timed.reset_delay.values(), default=0)):
            self.reset_names.append(self._unique(f"reset.buf{k + 1}"))
        for (domain, gate), length in self.timed.strobe_chains.items():
            first = domain if gate is None else self.gate_names[gate]
            later = [self._unique(f"{first}.buf{k + 1}") for k in range(length)]
            self.strobe_names[domain, gate] = [first, *later]

    def names_of(self, signals: Sequence[int]) -> tuple[str, ...]:
        return tuple(sorted(name for s in signals for name in self.drivers[s]))

    def _gate_number(self, sink: Sink) -> int:
        return next(i for i, g in enumerate(self.problem.gates) if (g.name, g.domain) == (sink.name, sink.domain))

    # ---- stacks

    def _add(self, stack: Stack, owner: Sink | None) -> None:
        self.stacks.append(stack)
        source: SourceLine | None = owner.source if owner else None
        self.origin.append(Origin(_block(owner), owner.name if owner else "", source))

    def _add_strobed(self, name: str, sink: Sink, signals: Sequence[int], delay: int) -> None:
        strobe = sink.domain if sink.gate is None else self.gate_names[sink.gate]
        if delay:
            strobe = self.strobe_names[sink.domain, sink.gate][delay]
        toggle = Toggle(self._value(sink.form), self.names_of(signals))
        self._add(Stack(name, "AND", (toggle,), (strobe,)), sink)

    def _add_register(self, sink: Sink, signals: Sequence[int], delay: int) -> None:
        signal = sink.own.bit_length() - 1
        drivers = self.drivers[signal]
        name = min(drivers, key=len)
        self._add_strobed(name, sink, signals, delay)
        if len(drivers) == 2:
            reset = max(drivers, key=len)
            strobe = self.reset_names[self.timed.reset_delay[signal - 1]]
            self._add(Stack(reset, "AND", (Toggle(0, drivers),), (strobe,)), sink)

    def _add_cell(self, cell: int) -> None:
        kind, factors = self.network.cells[cell].kind, self.network.cells[cell].factors
        toggles = tuple(
            Toggle(self._value(factor), self.names_of(signals))
            for factor, signals in zip(factors, self.timed.toggles[cell], strict=True)
        )
        function = ("XOR", "XNOR") if kind == EXACTLY_ONE else ("AND", "NAND")
        stack = Stack(self.drivers[cell][0], function[self.initial[cell]], toggles)
        self._add(stack, self.owner.get(cell))

    # ---- what can be read off

    def _pixels(self) -> tuple[Pixel, ...]:
        return tuple(
            Pixel(sink.name, bool(self._value(sink.form)), self.names_of(signals))
            for sink, signals in zip(self.problem.sinks, self.timed.sinks, strict=True)
            if sink.kind == OUTPUT
        )

    def _levels(self) -> tuple[Level, ...]:
        levels = []
        for i, register in enumerate(self.logic.registers):
            drivers = () if i in self.constant else self.drivers[1 + i]
            levels.append(Level(register.name, drivers, register.init))
        known = {level.signal for level in levels}
        pixels = [p for p in self._pixels() if p.signal not in known]
        return (*levels, *(Level(p.signal, p.drivers, int(p.lit)) for p in pixels))


def _block(owner: Sink | None) -> str:
    return word_of(owner.name).removesuffix(".gate") if owner else "logic"


def longest_wave(circuit: Circuit) -> int:
    """The last round in which a gate can emit, in any wave."""
    graph: nx.DiGraph = nx.DiGraph()
    graph.add_nodes_from(source.name for source in circuit.sources)
    for stack in circuit.stacks:
        feeds = stack.strobe if stack.strobe is not None else [d for t in stack.toggles for d in t.drivers]
        graph.add_node(stack.name)
        graph.add_edges_from((driver, stack.name) for driver in feeds)
    return int(nx.dag_longest_path_length(graph)) if len(graph) else 0

"""Rounds: every plain stack is fed in one single round of any wave, by buffers where its inputs would not be.

Registers and plain stacks that read one another form a *component*. In one component every signal has a level,
such that in each event it moves, if at all, in the round `level + offset of the event`: then a stack whose
toggles are all fed at one level cannot be asked to emit twice. A register's level is the round in which it
moves at a tick, less the component's earliest for that domain (gated registers move later). In a reset the
registers of a component must keep these distances, so the later ones get their reset through buffers.

A switch moves alone. Balanced for ticks and resets, most networks need little more for its sake (`switch_flips.py`);
only a switch whose flip would still reach some stack in two rounds is given a level too (each component may see
it at the level that suits it), and is balanced like a register.

A toggle under a strobe may be fed in any round after the strobe's (hold); data of the same tick that would
come earlier is delayed likewise.

A register may also sample later than its tick, by a strobe that comes through buffers: a carry chain whose bits
sample one after the other needs no other buffer. Which registers do, and at which levels the stacks stand, is
chosen for the fewest buffers (`levels.py`).
"""

from __future__ import annotations

from collections.abc import Callable, Sequence

import networkx as nx

from hdl2grid.logic.model import Logic
from hdl2grid.synth.gf2 import bits
from hdl2grid.synth.network import Form
from hdl2grid.synth.sinks import REGISTER, Problem, Sink
from hdl2grid.synth.timing.levels import LevelProgram
from hdl2grid.synth.timing.reset_once import dependent_components, twice_in_reset
from hdl2grid.synth.timing.switch_flips import settle_switches
from hdl2grid.synth.timing.timed_network import Buffer, Timed, merge_alike


def strobe_round(problem: Problem, gate: int | None) -> int:
    """The round of a tick in which a strobe is hit that `gate` (None: the source itself) drives."""
    return 0 if gate is None else problem.gates[gate].depth + 1


def moving_round(problem: Problem, sink: Sink) -> int:
    """The round of a tick in which a register moves its readers."""
    return strobe_round(problem, sink.gate) + 1


def time(logic: Logic, problem: Problem) -> Timed:
    """Balance the network, with as few buffers as can be found."""
    early = _time(logic, problem, False)
    if len(early.buffers) + early.event_delays < 2:
        return early
    late = _time(logic, problem, True)
    return min((early, late), key=lambda t: len(t.buffers) + t.event_delays)


def _time(logic: Logic, problem: Problem, late: bool) -> Timed:
    first = 1 + len(logic.registers)
    switches = range(first, first + len(logic.inputs))
    levelled: frozenset[int] = frozenset()
    staggered: frozenset[int] = frozenset()
    while True:
        balancer = _Balancer(logic, problem, levelled, late, staggered)
        timed = balancer.run()
        twice = twice_in_reset(logic, problem.network, timed)
        if twice:
            spoilt = dependent_components(balancer.component, timed, twice)
            assert not spoilt <= staggered, "staggered resets are even by construction"
            staggered |= spoilt
            continue
        merge_alike(timed, problem.network)
        uneven = settle_switches(timed, switches, balancer.free, balancer.next_signal)
        if not uneven:
            return timed
        assert not uneven <= levelled, "a levelled switch is even by construction"
        levelled |= uneven


class _Balancer:
    """Signals in `free` move only at flips of switches that have no level: they are fed as they come.

    `late` lets registers sample later than their ticks where that saves buffers.
    """

    def __init__(
        self, logic: Logic, problem: Problem, levelled: frozenset[int], late: bool, staggered: frozenset[int]
    ) -> None:
        self.logic, self.problem, self.network = logic, problem, problem.network
        self.cells = self.network.cone([s.form for s in problem.sinks])
        self.num_registers = len(logic.registers)
        self.staggered = staggered
        self.free = self._free_signals(levelled)
        self.timed = Timed(list(self.cells))
        self.next_signal = 1 + self.network.num_variables + len(self.network.cells)
        self.component = self._components()
        self.base, self.levels = self._register_levels()
        self.input_levels: dict[tuple[int, int], int] = {}
        self.known: dict[tuple[int, Form, int], int] = {}
        self.domains = self._domains()
        if late:
            self._late_levels()
        else:
            self._cell_levels()

    def run(self) -> Timed:
        demands = []
        for cell in self.cells:
            for place, factor in enumerate(self.network.cells[cell].factors):
                demands.append((self._low_terms(cell, factor), self.levels.get(cell, 0), cell, place))
        fed = {}
        for _, _, cell, place in sorted(demands):
            factor = self.network.cells[cell].factors[place]
            if cell in self.free:
                fed[cell, place] = tuple(bits(factor & ~1))
            else:
                fed[cell, place] = self._deliver(self.component[cell], factor, self.levels[cell] - 1)
        for cell in self.cells:
            count = len(self.network.cells[cell].factors)
            self.timed.toggles[cell] = [fed[cell, place] for place in range(count)]
        self._strobe_delays()
        for number, sink in enumerate(self.problem.sinks):
            self.timed.sinks.append(self._deliver_to_strobe(sink, self.timed.strobe_delay.get(number, 0)))
        self._reset_delays()
        return self.timed

    def _is_input(self, signal: int) -> bool:
        return self.num_registers < signal <= self.network.num_variables

    def _free_signals(self, levelled: frozenset[int]) -> set[int]:
        free = {s for s in range(1, self.network.num_variables + 1) if self._is_input(s)} - levelled
        for cell in self.cells:
            if all(s in free for s in self._terms(cell)):
                free.add(cell)
        return free

    def _terms(self, cell: int) -> list[int]:
        return [s for f in self.network.cells[cell].factors for s in bits(f & ~1)]

    def _components(self) -> dict[int, int]:
        graph: nx.Graph = nx.Graph()
        graph.add_nodes_from(range(1, self.num_registers + 1))
        for cell in self.cells:
            graph.add_node(cell)
            fixed = [s for s in self._terms(cell) if not self._is_input(s) and s not in self.free]
            graph.add_edges_from((cell, s) for s in fixed)
        return {s: min(part) for part in nx.connected_components(graph) for s in part}

    def _register_levels(self) -> tuple[dict[tuple[int, str], int], dict[int, int]]:
        base: dict[tuple[int, str], int] = {}
        moves = {
            s.own.bit_length() - 1: (moving_round(self.problem, s), s.domain)
            for s in self.problem.sinks
            if s.kind == REGISTER
        }
        for signal, (round_, domain) in moves.items():
            key = self.component[signal], domain
            base[key] = min(base.get(key, round_), round_)
        return base, {s: round_ - base[self.component[s], domain] for s, (round_, domain) in moves.items()}

    def _domains(self) -> dict[int, frozenset[str]]:
        """The domains whose ticks can move a signal."""
        moved = {s: frozenset([self.logic.registers[s - 1].domain]) for s in self.levels}
        for cell in self.cells:
            moved[cell] = frozenset().union(*(moved.get(s, frozenset()) for s in self._terms(cell)))
        return moved

    def _level(self, component: int, signal: int) -> int:
        if self._is_input(signal):
            return self.input_levels.get((component, signal), 0)
        return self.levels[signal]

    def _cell_levels(self) -> None:
        latest: dict[tuple[int, int], int] = {}
        for cell in self.cells:
            if cell in self.free:
                continue
            component = self.component[cell]
            signals = [s for s in self._terms(cell) if s not in self.free]
            self.levels[cell] = 1 + max(self._level(component, s) for s in signals)
            for s in signals:
                if self._is_input(s):
                    before = latest.get((component, s), self.levels[cell] - 1)
                    latest[component, s] = min(before, self.levels[cell] - 1)
        self.input_levels = latest

    def _late_levels(self) -> None:
        """Levels for fewest buffers (see `levels.py`); registers may sample late."""
        program = LevelProgram()
        node = {s: program.variable(level) for s, level in self.levels.items()}
        latest: dict[int | tuple[int, int], int] = {}
        for cell in self.cells:
            if cell not in self.free:
                node[cell] = program.variable()
        inputs: dict[tuple[int, int], int] = {}

        def wait(key: int | tuple[int, int], at: int) -> int:
            """The latest level at which a signal is wanted; each level above its own costs a buffer."""
            if key not in latest:
                latest[key] = program.variable(cost=1)
                program.cost[at] -= 1
                program.bound(latest[key], at, 0)
            return latest[key]

        for cell in self.cells:
            if cell in self.free:
                continue
            for s in sorted({s for s in self._terms(cell) if s not in self.free}):
                key = (self.component[cell], s) if self._is_input(s) else s
                if isinstance(key, tuple) and key not in inputs:
                    inputs[key] = program.variable()
                at = inputs[key] if isinstance(key, tuple) else node[s]
                program.bound(node[cell], at, 1)
                program.bound(wait(key, at), node[cell], -1)
        chains: dict[tuple[str, int | None], int] = {}
        reset = program.variable(cost=1)
        for sink in self.problem.sinks:
            own = sink.own.bit_length() - 1
            if sink.kind == REGISTER:
                chain = sink.domain, sink.gate
                if chain not in chains:
                    chains[chain] = program.variable(cost=1)
                base = self.base[self.component[own], sink.domain]
                program.bound(chains[chain], node[own], base - moving_round(self.problem, sink))
                if self.logic.registers[own - 1].resettable and self.component[own] in self.staggered:
                    program.bound(reset, node[own], 0)
            self._hold(program, sink, node, wait)
        values = program.solve()
        self.levels = {s: values[n] for s, n in node.items()}
        self.input_levels = {key: values[n] for key, n in inputs.items()}

    def _hold(
        self,
        program: LevelProgram,
        sink: Sink,
        node: dict[int, int],
        wait: Callable[[int, int], int],
    ) -> None:
        """What a sink's own tick moves must reach it after its strobe."""
        if not sink.domain:
            return
        for s in bits(sink.form & ~sink.own & ~1):
            if sink.domain not in self.domains.get(s, frozenset()):
                continue
            base = self.base[self.component[s], sink.domain]
            if sink.kind == REGISTER:
                own = sink.own.bit_length() - 1
                program.bound(wait(s, node[s]), node[own], self.base[self.component[own], sink.domain] - base)
            else:
                at = wait(s, node[s])
                program.least[at] = max(program.least[at], strobe_round(self.problem, sink.gate) + 1 - base)

    def _strobe_delays(self) -> None:
        for number, sink in enumerate(self.problem.sinks):
            if sink.kind != REGISTER:
                continue
            own = sink.own.bit_length() - 1
            moves = self.levels[own] + self.base[self.component[own], sink.domain]
            delay = moves - moving_round(self.problem, sink)
            if delay:
                self.timed.strobe_delay[number] = delay
                chain = sink.domain, sink.gate
                self.timed.strobe_chains[chain] = max(delay, self.timed.strobe_chains.get(chain, 0))

    def _low_terms(self, cell: int, factor: Form) -> int:
        if cell in self.free:
            return 0
        component, level = self.component[cell], self.levels[cell] - 1
        return sum(s not in self.free and self._level(component, s) < level for s in bits(factor & ~1))

    def _deliver(self, component: int, form: Form, level: int) -> tuple[int, ...]:
        """Signals that move at `level` and whose sum is `form`; none of its terms moves later."""
        signals = bits(form & ~1)
        ready = [s for s in signals if s in self.free or self._level(component, s) == level]
        early = [s for s in signals if s not in self.free and self._level(component, s) < level]
        if not early:
            return tuple(ready)
        together = self._chain(component, _sum(early), level, False)[1]
        apart = sum(self._chain(component, 1 << s, level, False)[1] for s in early)
        if apart <= together:
            ready += [self._chain(component, 1 << s, level, True)[0] for s in early]
        else:
            ready.append(self._chain(component, _sum(early), level, True)[0])
        return tuple(sorted(ready))

    def _chain(self, component: int, form: Form, level: int, build: bool) -> tuple[int, int]:
        """The signal that carries `form` at `level`, and how many buffers it needs that are not
        there yet; they are made if `build`. Terms join the chain at their own levels."""
        signals = sorted(bits(form), key=lambda s: (self._level(component, s), s))
        carried, done = 0, 0
        missing = 0
        at = self._level(component, signals[0])
        while at < level:
            joining = [s for s in signals if self._level(component, s) == at]
            for s in joining:
                done |= 1 << s
            at += 1
            key = component, done, at
            if key in self.known:
                carried = self.known[key]
                continue
            missing += 1
            inputs = tuple(sorted(joining + ([carried] if carried else [])))
            carried = self._buffer(key, inputs) if build else -1
        return carried, missing

    def _buffer(self, key: tuple[int, Form, int], inputs: tuple[int, ...]) -> int:
        signal = self.next_signal
        self.next_signal += 1
        self.known[key] = signal
        self.timed.buffers[signal] = Buffer(inputs, key[1], key[2])
        return signal

    def _deliver_to_strobe(self, sink: Sink, delay: int) -> tuple[int, ...]:
        """A sink's signals, those of the same tick delayed that would come before or with the strobe."""
        hit = strobe_round(self.problem, sink.gate) + delay
        foreign = bits(sink.form & ~sink.own & ~1)
        own = bits(sink.own & sink.form)
        if hit == 0 or not sink.domain:
            return tuple(sorted(foreign + own))
        fed: list[int] = list(own)
        early: dict[int, list[int]] = {}
        for signal in foreign:
            if sink.domain not in self.domains.get(signal, frozenset()):
                fed.append(signal)
                continue
            component = self.component[signal]
            base = self.base[component, sink.domain]
            if self.levels[signal] + base > hit:
                fed.append(signal)
            else:
                early.setdefault(component, []).append(signal)
        for component, signals in sorted(early.items()):
            level = hit + 1 - self.base[component, sink.domain]
            fed.extend(self._deliver(component, _sum(signals), level))
        return tuple(sorted(fed))

    def _reset_delays(self) -> None:
        if not self.logic.has_reset:
            return
        earliest: dict[int, int] = {}
        signals = [1 + i for i, r in enumerate(self.logic.registers) if r.resettable and 1 + i in self.levels]
        for s in signals:
            component = self.component[s]
            earliest[component] = min(earliest.get(component, self.levels[s]), self.levels[s])
        self.timed.reset_delay = dict.fromkeys((s - 1 for s in signals), 0)
        for s in signals:
            if self.component[s] in self.staggered:
                self.timed.reset_delay[s - 1] = self.levels[s] - earliest[self.component[s]]


def _sum(signals: Sequence[int]) -> Form:
    """The sum of `signals` as a form."""
    mask = 0
    for s in signals:
        mask |= 1 << s
    return mask

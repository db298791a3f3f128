"""Logic to circuit: the one door to synthesis."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from hdl2grid.circuit.model import Circuit, Source
from hdl2grid.logic.explore import Reachable, States, explore
from hdl2grid.logic.model import Logic
from hdl2grid.synth.blocks import Solved, map_blocks
from hdl2grid.synth.emit import emit, longest_wave
from hdl2grid.synth.model import BlockReport, Synthesis, SynthParams, SynthReport
from hdl2grid.synth.network import COLLECTOR, EXACTLY_ONE, PRODUCT
from hdl2grid.synth.rounds import Timed, moving_round, time
from hdl2grid.synth.sinks import GATE, REGISTER, Condition, Problem, build, conditions
from hdl2grid.synth.terms import shorten

_MOST_GATE_TRIALS = 40
_LARGE_NETWORK = 4000


@dataclass(frozen=True)
class _Mapped:
    problem: Problem
    timed: Timed
    blocks: tuple[BlockReport, ...]

    @property
    def stacks(self) -> int:
        """Stacks that depend on the mapping: everything but registers and resets."""
        delays = max(self.timed.reset_delay.values(), default=0)
        return len(self.problem.gates) + len(self.timed.cells) + len(self.timed.buffers) + delays


def synthesise(logic: Logic, sources: Sequence[Source], params: SynthParams | None = None) -> Synthesis:
    """Map `logic` onto stacks.

    `sources` are the machine's tickers, buttons and switches; they are named after the logic's events (domains,
    "reset", inputs). The circuit keeps time with the logic in every reachable state and loses no pulse: every
    plain stack is fed in one round of any wave. The same arguments give the same circuit.
    """
    params = params or SynthParams()
    reachable = explore(logic, params.joint_states, params.group_states)
    constant = _constant_registers(logic, reachable)
    mapper = _Mapper(logic, reachable, constant, params)
    best = mapper.best()
    circuit = emit(logic, best.problem, best.timed, sources, constant)
    return Synthesis(circuit, _report(logic, reachable, best, circuit))


def _constant_registers(logic: Logic, reachable: Reachable) -> frozenset[int]:
    """Registers that have their initial value in every reachable state."""
    found = set()
    for i, register in enumerate(logic.registers):
        states = reachable.states([i], 2)
        same = states is not None and bool(np.all(states == np.uint64(register.init)))
        if same or register.data in (register.literal, register.init):
            found.add(i)
    return frozenset(found)


class _Mapper:
    """Maps the machine under several choices of gates and keeps the cheapest."""

    def __init__(self, logic: Logic, reachable: Reachable, constant: frozenset[int], params: SynthParams) -> None:
        self.logic, self.reachable, self.constant, self.params = logic, reachable, constant, params
        self.solved: Solved = {}
        self.states: dict[tuple[tuple[int, ...], int], States | None] = {}

    def best(self) -> _Mapped:
        """All gates, then without one after the other while that saves stacks; and none at all."""
        best = self.map(())
        if not self.params.gating:
            return best
        gated = conditions(self.logic, self.constant, self.params.max_toggles)
        if not gated:
            return best
        best = min(best, self.map(gated), key=lambda m: m.stacks)
        trials = 0
        current = list(gated)
        price = self.map(gated).stacks
        improved = len(best.problem.network.cells) <= _LARGE_NETWORK
        while improved and trials < _MOST_GATE_TRIALS:
            improved = False
            for condition in list(current):
                rest = [c for c in current if c is not condition]
                mapped = self.map(rest)
                trials += 1
                if mapped.stacks < price:
                    current, price, improved = rest, mapped.stacks, True
                    best = min(best, mapped, key=lambda m: m.stacks)
        return best

    def map(self, gated: Sequence[Condition]) -> _Mapped:
        problem = build(self.logic, self.constant, gated, self.params.max_toggles)
        problem, blocks = map_blocks(problem, self.states_of, self.params, self.solved)
        rounds = {s.own.bit_length() - 1: moving_round(problem, s) for s in problem.sinks if s.kind == REGISTER}
        problem = shorten(problem, lambda signal: rounds.get(signal, 0), self.params)
        return _Mapped(problem, time(self.logic, problem), blocks)

    def states_of(self, signals: tuple[int, ...], limit: int) -> States | None:
        """The states of variables (ascending signals); switches take every level."""
        key = signals, limit
        if key not in self.states:
            registers = [s - 1 for s in signals if s <= len(self.logic.registers)]
            inputs = len(signals) - len(registers)
            self.states[key] = None
            if 1 << inputs <= limit:
                own = self.reachable.states(registers, limit >> inputs)
                if own is not None:
                    free = np.arange(1 << inputs, dtype=np.uint64) << np.uint64(len(registers))
                    self.states[key] = np.sort((free[:, None] | own[None, :]).ravel())
        return self.states[key]


def _report(logic: Logic, reachable: Reachable, mapped: _Mapped, circuit: Circuit) -> SynthReport:
    kinds = [mapped.problem.network.cells[c].kind for c in mapped.timed.cells]
    single = sum((b.terms & (b.terms - 1)) == 0 for b in mapped.timed.buffers.values())
    return SynthReport(
        blocks=mapped.blocks,
        reachable_states=None if reachable.joint is None else len(reachable.joint),
        registers=sum(s.kind == REGISTER for s in mapped.problem.sinks),
        resets=len(mapped.timed.reset_delay),
        gates=sum(s.kind == GATE for s in mapped.problem.sinks),
        products=kinds.count(PRODUCT),
        exactly_ones=kinds.count(EXACTLY_ONE),
        collectors=kinds.count(COLLECTOR) + len(mapped.timed.buffers) - single,
        buffers=single + max(mapped.timed.reset_delay.values(), default=0),
        longest_wave_rounds=longest_wave(circuit),
    )

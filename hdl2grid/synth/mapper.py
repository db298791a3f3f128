"""A machine mapped under several choices of gates, and the cheapest kept."""

from __future__ import annotations

from collections import Counter
from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass, replace
from functools import cache
from time import process_time

import numpy as np

from hdl2grid.circuit.match import plain_name
from hdl2grid.circuit.model import Circuit
from hdl2grid.logic.model import Logic
from hdl2grid.logic.reachability import Reachable, States
from hdl2grid.synth.collectors import shorten
from hdl2grid.synth.exact.blocks import MappedBlock, Solved, Truths, map_blocks
from hdl2grid.synth.exact.wide_sinks import has_wide
from hdl2grid.synth.gating import Condition, conditions, gate_tree, variables_of
from hdl2grid.synth.model import SynthParams
from hdl2grid.synth.near_circuit import stay_near, strobes_of
from hdl2grid.synth.network import Form, Network
from hdl2grid.synth.rewrite.driver import WIDE_SINKS, rewritten, tell
from hdl2grid.synth.rewrite.trials import Context, Known, cheapest
from hdl2grid.synth.sinks import OUTPUT, REGISTER, Problem, behaviour_of, build, with_majorities
from hdl2grid.synth.timing.rounds import moving_round, time
from hdl2grid.synth.timing.timed_network import Timed

_MOST_GATE_TRIALS = 40
"""Mappings tried with a word under another condition (guessed)."""
_MOST_MOVES = 4
"""Conditions tried for a word, its own among them (guessed)."""
_MOST_FAILURES = 2
"""A move that saved nothing for so many words is not tried for others that behave alike (guessed)."""
_LARGE_NETWORK = 4000
"""Cells above which conditions are not tried: a mapping takes long (guessed)."""
_QUICK_STEPS = 8000
"""`search_steps` at most while conditions are compared (guessed)."""
_QUICK_FLATS = 30_000
"""`espp_steps` at most while conditions are compared (guessed)."""


@dataclass(frozen=True)
class Mapped:
    problem: Problem
    timed: Timed
    blocks: tuple[MappedBlock, ...]
    solved: Problem
    plain: Problem

    @property
    def stacks(self) -> int:
        """Stacks that depend on the mapping: everything but registers and resets."""
        plain = len(self.timed.cells) + len(self.timed.buffers) + self.timed.event_delays
        return len(self.problem.gates) + plain

    @property
    def all_stacks(self) -> int:
        registers = sum(s.kind == REGISTER for s in self.problem.sinks)
        return self.stacks + registers + len(self.timed.reset_delay)


class Mapper:
    """Maps the machine under several choices of gates and keeps the cheapest."""

    def __init__(self, logic: Logic, reachable: Reachable, constant: frozenset[int], params: SynthParams) -> None:
        self.logic, self.reachable, self.constant, self.params = logic, reachable, constant, params
        self.gated: list[Condition | None] | None = None
        self.solved: Solved = {}
        self.truths: Truths = {}
        self.flats: Known = {}
        self.states: dict[tuple[tuple[int, ...], int], States | None] = {}

    def within(self, params: SynthParams) -> Mapper:
        """A mapper of the same machine under the gates that were found best, but within other limits; it need not find
        again what was found."""
        other = Mapper(self.logic, self.reachable, self.constant, params)
        other.solved, other.truths, other.flats, other.states = self.solved, self.truths, self.flats, self.states
        other.gated = self.gated
        return other

    def first(self) -> Mapped:
        """The machine with every word under its own condition."""
        mapped = self.map(list(self._conditions()), quick=True)
        assert mapped is not None
        return mapped

    def _conditions(self) -> tuple[Condition, ...]:
        return conditions(self.logic, self.constant, self.params.max_toggles) if self.params.gating else ()

    def best(self) -> Mapped:
        """The cheapest choice of gates found: every word starts under its own condition, then words are moved to
        a wider one (or none) one by one while that saves stacks. A move that saved nothing for two words is not
        tried for others that behave alike."""
        if self.gated is None:
            self.gated = self._gated()
        final = self.map(self.gated)
        assert final is not None
        return final

    def _gated(self) -> list[Condition | None]:
        choices = self._conditions()
        current: list[Condition | None] = list(choices)
        if not choices:
            return current
        best = self.map(current, quick=True)
        assert best is not None
        moves, alike = self._moves(choices)
        failures: Counter[tuple[object, int]] = Counter()
        trials, improved = 0, len(best.problem.network.cells) <= _LARGE_NETWORK
        while improved and trials < _MOST_GATE_TRIALS:
            improved = False
            for i in range(len(current)):
                for move, choice in enumerate(moves[i]):
                    if choice == current[i] or failures[alike[i], move] >= _MOST_FAILURES:
                        continue
                    trial = [*current[:i], choice, *current[i + 1 :]]
                    trials += 1
                    mapped = self.map(trial, best.stacks, quick=True)
                    if mapped is not None and mapped.stacks < best.stacks:
                        best, current, improved = mapped, trial, True
                    else:
                        failures[alike[i], move] += 1
        return current

    def near(self, old: Circuit) -> list[Mapped]:
        """The machine under the gates that an old circuit has for words of the same names, on its stacks, in several
        ways."""
        choices = self._conditions()
        moves, _ = self._moves(choices)
        strobes = strobes_of(old)
        current: list[Condition | None] = list(choices)
        for i in range(len(choices)):
            trials = [[*current[:i], choice, *current[i + 1 :]] for choice in moves[i]]
            current = max(trials, key=lambda trial: self._alike(trial, strobes))
        problem = build(self.logic, self.constant, [c for c in current if c is not None], self.params.max_toggles)
        found = stay_near(problem, self.logic, old, self.states_of, self.params)
        return [timed_mapping(self.logic, problem, self.params, blocks, problem) for problem, blocks in found]

    def _alike(self, gated: Sequence[Condition | None], strobes: Mapping[str, str]) -> int:
        """How many registers and gates are strobed by what strobes those of their names."""
        chosen = [c for c in gated if c is not None]
        problem = build(self.logic, self.constant, chosen, self.params.max_toggles)
        strobed = [s for s in problem.sinks if s.kind != OUTPUT]
        by = [s.domain if s.gate is None else problem.gates[s.gate].name for s in strobed]
        return sum(strobes.get(plain_name(s.name)) == plain_name(name) for s, name in zip(strobed, by, strict=True))

    def _moves(self, choices: Sequence[Condition]) -> tuple[list[list[Condition | None]], list[object]]:
        """For each condition what its word may be put under: its own condition, those of other words that its own
        implies (narrowest first), none; and what tells words that behave alike."""
        network = Network(len(self.logic.registers) + len(self.logic.inputs), self.params.max_toggles)
        variables = variables_of(self.logic, self.constant)
        gates, gate_of = gate_tree(network, self.logic, variables, choices)
        moves: list[list[Condition | None]] = []
        for condition in choices:
            gate = gate_of.get((condition.word, condition.domain))
            found: list[Condition | None] = [condition]
            while gate is not None and len(found) < _MOST_MOVES and (gate := gates[gate].parent) is not None:
                found.append(Condition(condition.word, condition.domain, gates[gate].literals))
            moves.append([*found, None])
        problem = build(self.logic, self.constant, choices, self.params.max_toggles)
        return moves, [behaviour_of(problem, condition.word, condition.domain) for condition in choices]

    def map(self, gated: Sequence[Condition | None], budget: int | None = None, quick: bool = False) -> Mapped | None:
        """The machine mapped under the given gates; None when it is likely to take `budget` stacks or more.

        `quick` spends little on the choice among smallest sets of cells.
        """
        limits = self.params
        if quick:
            steps, espp_steps = min(_QUICK_STEPS, limits.search_steps), min(_QUICK_FLATS, limits.espp_steps)
            limits = replace(limits, search_steps=steps, espp_steps=espp_steps)
        chosen = [c for c in gated if c is not None]
        polish = not quick or budget is None
        best = None
        problem = build(self.logic, self.constant, chosen, limits.max_toggles)
        start = process_time()
        is_wide = WIDE_SINKS not in limits.without and has_wide(problem)
        if is_wide:
            best = self._finished(problem, chosen, limits, budget, True, polish, not quick)
            budget = budget if best is None else best.stacks
            problem = build(self.logic, self.constant, chosen, limits.max_toggles)
        seconds = process_time() - start
        other = self._finished(problem, chosen, limits, budget, False, polish, not quick)
        found = other if best is None or other is not None and other.stacks < best.stacks else best
        if is_wide:
            tell(WIDE_SINKS, found is not other, seconds)
        return found

    def _finished(
        self,
        problem: Problem,
        chosen: Sequence[Condition],
        limits: SynthParams,
        budget: int | None,
        cut_wide: bool,
        polish: bool,
        structure: bool,
    ) -> Mapped | None:
        left = None if budget is None else budget - len(problem.gates)
        mapped = map_blocks(problem, self.states_of, limits, self.solved, self.truths, left, cut_wide)
        if mapped is None:
            return None
        whole, (problem, blocks) = problem, mapped
        solved = problem

        @cache
        def cost(trial: Problem) -> int:
            return timed_mapping(self.logic, trial, limits, blocks, solved).stacks

        if _num_cells(whole) < _num_cells(problem):
            # Blocks that are each the least may have cells that differ only where no state is.
            problem = cheapest(problem, [lambda _: whole], cost)
        if polish and not all(block.is_least for block in blocks):
            carries = with_majorities(whole, self.logic, self.constant, chosen)
            context = Context(
                whole=whole,
                others=(carries,) if carries else (),
                params=limits,
                known=self.flats,
                states_of=self.states_of,
                structure=structure,
            )
            problem = rewritten(problem, context, cost)
        return timed_mapping(self.logic, problem, limits, blocks, solved)

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


def _num_cells(problem: Problem) -> int:
    return len(problem.network.cone([sink.form for sink in problem.sinks]))


def timed_mapping(
    logic: Logic,
    problem: Problem,
    limits: SynthParams,
    blocks: tuple[MappedBlock, ...],
    solved: Problem,
    only: Collection[Form] | None = None,
) -> Mapped:
    """`problem` with its sums within the limits (only those that equal one of the forms `only`, if given), in time."""
    plain = problem
    problem = replace(problem, network=problem.network.copy())
    registers = [s for s in problem.sinks if s.kind == REGISTER]
    rounds = {s.own.bit_length() - 1: moving_round(problem, s) for s in registers}
    problem = shorten(problem, lambda signal: rounds.get(signal, 0), limits, only)
    return Mapped(problem, time(logic, problem), blocks, solved, plain)

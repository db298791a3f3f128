"""Logic to circuit: the one door to synthesis."""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Collection, Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np

from hdl2grid.circuit.match import plain_name
from hdl2grid.circuit.model import Circuit, Source
from hdl2grid.errors import InputError, nearest
from hdl2grid.logic.explore import Reachable, States, explore
from hdl2grid.logic.model import Logic
from hdl2grid.partition import MAX_NETS, Drivers
from hdl2grid.synth.blockreports import OPEN, block_reports
from hdl2grid.synth.blocks import MappedBlock, Solved, map_blocks
from hdl2grid.synth.bundles import bundle
from hdl2grid.synth.codes import Coding, find_codes, own_stacks
from hdl2grid.synth.dependent import drop_dependent
from hdl2grid.synth.emit import crowded_forms, emit, longest_wave
from hdl2grid.synth.exclusive import Known, share_flats
from hdl2grid.synth.gating import Condition, conditions, gate_tree, variables_of
from hdl2grid.synth.groups import Behaviour, Group, find_groups
from hdl2grid.synth.hubs import has_hubs
from hdl2grid.synth.model import CodeReport, Synthesis, SynthParams, SynthReport
from hdl2grid.synth.near import stay_near, strobes_of
from hdl2grid.synth.network import COLLECTOR, EXACTLY_ONE, PRODUCT, Form, Network
from hdl2grid.synth.old_codes import old_coding
from hdl2grid.synth.recode import recode, recode_states
from hdl2grid.synth.rounds import moving_round, time
from hdl2grid.synth.sinks import GATE, OUTPUT, REGISTER, Problem, behaviour_of, build, with_majorities
from hdl2grid.synth.terms import forms_of, shorten
from hdl2grid.synth.timed import Timed
from hdl2grid.synth.wide import has_wide

_MOST_GATE_TRIALS = 40
_MOST_MOVES = 4
_MOST_FAILURES = 2
_LARGE_NETWORK = 4000
_QUICK_STEPS = 8000
_QUICK_FLATS = 30_000
_ANY = 1 << 20
_SHARE = 8


@dataclass(frozen=True)
class _Mapped:
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


def synthesise(
    logic: Logic,
    sources: Sequence[Source],
    params: SynthParams | None = None,
    near: Circuit | None = None,
    near_nets: Sequence[Drivers] = (),
) -> Synthesis:
    """Map `logic` onto stacks.

    `sources` are the machine's tickers, buttons and switches; they are named after the logic's events (domains,
    "reset", inputs). The circuit keeps time with the logic in every reachable state and loses no pulse: every
    plain stack is fed in one round of any wave. The same arguments give the same circuit. `near` is the circuit of an
    earlier version of the logic: its codes and stacks are kept as far as they still do; and its nets, if any are given
    (see `hdl2grid.partition`).

    Raises InputError S001 where an event of the logic has no source.
    """
    params = params or SynthParams()
    _check_sources(logic, sources)
    start = _start(logic, params, near is not None)
    loose = replace(params, toggle_terms=_ANY, register_terms=_ANY, pixel_terms=_ANY)

    def joined(choice: _Choice, fewer_than: int = _ANY) -> _Mapped | None:
        return _joined(choice, params, sources, near, near_nets, fewer_than)

    if near_nets:
        made = _synthesised(start, loose, sources, near, joined)
        if made is not None:
            return made
    made = _synthesised(start, params, sources, near, lambda choice: choice.mapped)
    assert made is not None
    if near is None and params.join and params.pixel_terms <= MAX_NETS and _may_take_fewer(made.report):
        least = made.report.stacks
        other = _synthesised(start, loose, sources, near, lambda choice: joined(choice, least))
        if other is not None and other.report.stacks < least:
            return other
    return made


def _synthesised(
    start: _Start,
    params: SynthParams,
    sources: Sequence[Source],
    near: Circuit | None,
    finish: Callable[[_Choice], _Mapped | None],
) -> Synthesis | None:
    """The machine mapped within the limits of `params`; `finish` has the last word on the mapping."""
    logic = start.logic
    choice, codes = _choose(start, params) if near is None else _choose_near(start, params, near)
    mapped = finish(choice)
    if mapped is None:
        return None
    choice = replace(choice, mapped=mapped)
    circuit = emit(choice.logic, mapped.problem, mapped.timed, sources, choice.constant)
    known = {r.name for r in logic.registers} | {o.name for o in logic.outputs}
    circuit = replace(circuit, levels=tuple(level for level in circuit.levels if level.signal in known))
    return Synthesis(circuit, _report(choice, codes, circuit))


def _may_take_fewer(report: SynthReport) -> bool:
    """Whether there are stacks that only shorten sums, or a block that is not proved minimal."""
    cells = report.products + report.exactly_ones
    if report.collectors or any(block.verdict == OPEN for block in report.blocks):
        return True
    return cells > sum(block.stacks for block in report.blocks)


def _joined(
    choice: _Choice,
    params: SynthParams,
    sources: Sequence[Source],
    near: Circuit | None,
    near_nets: Sequence[Drivers],
    fewer_than: int,
) -> _Mapped | None:
    """The choice, mapped with no regard to the length of sums, with the fewest collectors that were found to do once
    drivers are joined on nets; None where none do, or not with fewer stacks than `fewer_than`."""
    logic, mapped, first = choice.logic, choice.mapped, choice.mapped
    forms = forms_of(mapped.plain)
    most = (
        params.pixel_nets if near is None else params.pixel_terms
    )  # a fourth net would have to be led to an old place
    short: set[Form] = set()
    while mapped.all_stacks < fewer_than:
        parts = logic, mapped.problem, mapped.timed, sources, choice.constant
        crowded = crowded_forms(*parts, most, near, near_nets, bool(short))
        if not crowded:
            return mapped
        fresh = sorted((f for f in crowded if f in forms and f not in short), key=lambda f: (-f.bit_count(), f))
        if not fresh:
            return None
        short.update(fresh[: 1 + len(fresh) // _SHARE])
        mapped = _timed(logic, first.plain, params, first.blocks, first.solved, short)
    return None


@dataclass(frozen=True)
class _Choice:
    """A logic, with the codes of the design or with others, and the best mapping of it."""

    logic: Logic
    reachable: Reachable
    constant: frozenset[int]
    mapped: _Mapped


Codings = dict[Behaviour, tuple[Coding, ...]]


@dataclass(frozen=True)
class _Start:
    """A logic, what is reachable, and its groups of free code with the codes found for them."""

    logic: Logic
    reachable: Reachable
    constant: frozenset[int]
    groups: tuple[Group, ...]
    known: Codings


def _start(logic: Logic, params: SynthParams, near: bool) -> _Start:
    """Codes are searched for unless there is a circuit to stay near to."""
    reachable = explore(logic, params.joint_states, params.group_states)
    constant = _constant_registers(logic, reachable)
    states_of = _Mapper(logic, reachable, constant, params).states_of
    groups = () if params.keep_codes else find_groups(logic, constant, states_of, params.max_toggles)
    return _Start(logic, reachable, constant, groups, {} if near else _codes(groups, params.seed))


def _choose(start: _Start, params: SynthParams) -> tuple[_Choice, tuple[CodeReport, ...]]:
    """The cheaper of the logic in its own codes and in free ones; and what is known of the free ones."""
    logic, reachable, constant = start.logic, start.reachable, start.constant
    groups, known = start.groups, start.known
    own = _Mapper(logic, reachable, constant, params)
    if not any(not coding.own for found in known.values() for coding in found):
        found = tuple(_code_report(g, known[g.behaviour][0]) for g in groups if g.behaviour in known)
        return _Choice(logic, reachable, constant, own.best()), found
    choice, best, chosen = _recoded(logic, reachable, groups, known, params)
    found = tuple(_code_report(g, chosen[g.behaviour]) for g in groups if g.behaviour in chosen)
    if all(block.size is not None or block.is_least for block in best.blocks):
        return choice, found
    rival = own.first()
    if rival.all_stacks <= best.all_stacks:
        rival = own.best()
        if rival.all_stacks <= best.all_stacks:
            return _Choice(logic, reachable, constant, rival), tuple(_kept_report(g, known) for g in groups)
    return choice, found


def _choose_near(start: _Start, params: SynthParams, near: Circuit) -> tuple[_Choice, tuple[CodeReport, ...]]:
    """The logic in the codes and gates of an earlier circuit, mapped onto its stacks as far as they still do."""
    logic, reachable, constant, groups = start.logic, start.reachable, start.constant, start.groups
    own = _Mapper(logic, reachable, constant, params)
    codings = []
    for group in groups:
        coding = old_coding(group, logic, near) or next(iter(find_codes(group.behaviour, params.seed)), None)
        if coding is not None:
            codings.append((group, coding))
    found = tuple(_code_report(g, c) for g, c in codings)
    codings = [(group, coding) for group, coding in codings if not coding.own]
    if not codings:
        return _Choice(logic, reachable, constant, own.near(near)), found
    free = recode(logic, codings)
    reachable = explore(free, params.joint_states, params.group_states)
    constant = _constant_registers(free, reachable)
    return _Choice(free, reachable, constant, _Mapper(free, reachable, constant, params).near(near)), found


def _codes(groups: Sequence[Group], seed: int) -> Codings:
    """Codes for the groups, by behaviour; groups that behave alike get the same."""
    known: Codings = {}
    for group in groups:
        if group.behaviour not in known:
            known[group.behaviour] = find_codes(group.behaviour, seed)
    return {behaviour: found for behaviour, found in known.items() if found}


def _recoded(
    logic: Logic, reachable: Reachable, groups: Sequence[Group], known: Codings, params: SynthParams
) -> tuple[_Choice, _Mapped, dict[Behaviour, Coding]]:
    """The machine in its best codes. Where a group has several that look alike, each is mapped."""

    def mapper(chosen: dict[Behaviour, Coding]) -> _Mapper:
        codings = [(g, chosen[g.behaviour]) for g in groups if g.behaviour in chosen]
        codings = [(group, coding) for group, coding in codings if not coding.own]
        free = recode(logic, codings) if codings else logic
        if reachable.joint is None:
            inside = explore(free, params.joint_states, params.group_states)
        else:
            inside = recode_states(logic, codings, reachable.joint)
        return _Mapper(free, inside, _constant_registers(free, inside), params)

    chosen = {behaviour: found[0] for behaviour, found in known.items()}
    current = mapper(chosen)
    least = None
    for behaviour, found in known.items():
        for coding in found[1:]:
            least = current.first().all_stacks if least is None else least
            trial = {**chosen, behaviour: coding}
            other = mapper(trial)
            stacks = other.first().all_stacks
            if stacks < least:
                current, chosen, least = other, trial, stacks
    best = current.best()
    return _Choice(current.logic, current.reachable, current.constant, best), best, chosen


def _code_report(group: Group, coding: Coding) -> CodeReport:
    return CodeReport(
        group.name,
        len(group.registers),
        coding.width,
        group.behaviour.num_states,
        coding.codes,
        coding.own,
        coding.stacks,
        coding.bound,
        coding.verdict,
        coding.proof,
    )


def _kept_report(group: Group, known: Codings) -> CodeReport:
    """Of a group that keeps the HDL's code because the whole machine is cheaper so: nothing is proved of it."""
    behaviour, found = group.behaviour, known.get(group.behaviour)
    width, count = len(group.registers), behaviour.num_states
    stacks, bound = own_stacks(behaviour)
    if found:
        bound = max(bound, found[0].bound)
    return CodeReport(group.name, width, width, count, behaviour.code, True, stacks, bound, OPEN, "")


def _check_sources(logic: Logic, sources: Sequence[Source]) -> None:
    names = [source.name for source in sources]
    wanted = [*logic.domains, *(["reset"] if logic.has_reset else []), *(i.name for i in logic.inputs)]
    for event in wanted:
        if event not in names:
            raise InputError("S001", f"no source is called '{event}'", where=logic.name, hint=nearest(event, names))


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
        self.flats: Known = {}
        self.states: dict[tuple[tuple[int, ...], int], States | None] = {}

    def first(self) -> _Mapped:
        """The machine with every word under its own condition."""
        mapped = self.map(list(self._conditions()), quick=True)
        assert mapped is not None
        return mapped

    def _conditions(self) -> tuple[Condition, ...]:
        return conditions(self.logic, self.constant, self.params.max_toggles) if self.params.gating else ()

    def best(self) -> _Mapped:
        """The cheapest choice of gates found: every word starts under its own condition, then words are moved to
        a wider one (or none) one by one while that saves stacks. A move that saved nothing for two words is not
        tried for others that behave alike."""
        choices = self._conditions()
        current: list[Condition | None] = list(choices)
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
        final = self.map(current)
        assert final is not None
        return final

    def near(self, old: Circuit) -> _Mapped:
        """The machine under the gates that an old circuit has for words of the same names, on its stacks."""
        choices = self._conditions()
        moves, _ = self._moves(choices)
        strobes = strobes_of(old)
        current: list[Condition | None] = list(choices)
        for i in range(len(choices)):
            trials = [[*current[:i], choice, *current[i + 1 :]] for choice in moves[i]]
            current = max(trials, key=lambda trial: self._alike(trial, strobes))
        problem = build(self.logic, self.constant, [c for c in current if c is not None], self.params.max_toggles)
        problem, blocks = stay_near(problem, self.logic, old, self.states_of, self.params)
        return _timed(self.logic, problem, self.params, blocks, problem)

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

    def map(self, gated: Sequence[Condition | None], budget: int | None = None, quick: bool = False) -> _Mapped | None:
        """The machine mapped under the given gates; None when it is likely to take `budget` stacks or more.

        `quick` spends little on the choice among smallest sets of cells.
        """
        limits = self.params
        if quick:
            steps, flat_steps = min(_QUICK_STEPS, limits.search_steps), min(_QUICK_FLATS, limits.flat_steps)
            limits = replace(limits, search_steps=steps, flat_steps=flat_steps)
        chosen = [c for c in gated if c is not None]
        polish = not quick or budget is None
        best = None
        problem = build(self.logic, self.constant, chosen, limits.max_toggles)
        if has_wide(problem):
            best = self._finished(problem, chosen, limits, budget, True, polish)
            budget = budget if best is None else best.stacks
            problem = build(self.logic, self.constant, chosen, limits.max_toggles)
        other = self._finished(problem, chosen, limits, budget, False, polish)
        return other if best is None or other is not None and other.stacks < best.stacks else best

    def _finished(
        self,
        problem: Problem,
        chosen: Sequence[Condition],
        limits: SynthParams,
        budget: int | None,
        cut_wide: bool,
        polish: bool,
    ) -> _Mapped | None:
        left = None if budget is None else budget - len(problem.gates)
        mapped = map_blocks(problem, self.states_of, limits, self.solved, left, cut_wide)
        if mapped is None:
            return None
        whole, (problem, blocks) = problem, mapped
        solved = problem

        def cost(trial: Problem) -> int:
            return _timed(self.logic, trial, limits, blocks, solved).stacks

        if polish and not all(block.is_least for block in blocks):
            carries = with_majorities(whole, self.logic, self.constant, chosen)
            others = [carries] if carries else []
            trials = []
            for hubs in (False, True) if any(has_hubs(p) for p in (whole, *others)) else (False,):
                shared = share_flats(problem, whole, others, cost, limits, self.flats, hubs)
                trials.append(bundle(drop_dependent(shared, cost), cost))
            problem = min(trials, key=cost)
        return _timed(self.logic, problem, limits, blocks, solved)

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


def _timed(
    logic: Logic,
    problem: Problem,
    limits: SynthParams,
    blocks: tuple[MappedBlock, ...],
    solved: Problem,
    only: Collection[Form] | None = None,
) -> _Mapped:
    """`problem` with its sums within the limits (only those that equal one of the forms `only`, if given), in time."""
    plain = problem
    problem = replace(problem, network=problem.network.copy())
    registers = [s for s in problem.sinks if s.kind == REGISTER]
    rounds = {s.own.bit_length() - 1: moving_round(problem, s) for s in registers}
    problem = shorten(problem, lambda signal: rounds.get(signal, 0), limits, only)
    return _Mapped(problem, time(logic, problem), blocks, solved, plain)


def _report(choice: _Choice, codes: tuple[CodeReport, ...], circuit: Circuit) -> SynthReport:
    mapped, reachable = choice.mapped, choice.reachable
    kinds = [mapped.problem.network.cells[c].kind for c in mapped.timed.cells]
    single = sum((b.terms & (b.terms - 1)) == 0 for b in mapped.timed.buffers.values())
    return SynthReport(
        blocks=block_reports(mapped.blocks, mapped.solved, mapped.plain),
        codes=codes,
        reachable_states=None if reachable.joint is None else len(reachable.joint),
        registers=sum(s.kind == REGISTER for s in mapped.problem.sinks),
        resets=len(mapped.timed.reset_delay),
        gates=sum(s.kind == GATE for s in mapped.problem.sinks),
        products=kinds.count(PRODUCT),
        exactly_ones=kinds.count(EXACTLY_ONE),
        collectors=kinds.count(COLLECTOR) + len(mapped.timed.buffers) - single,
        buffers=single + mapped.timed.event_delays,
        longest_wave_rounds=longest_wave(circuit),
    )

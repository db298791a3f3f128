"""Logic to circuit: the one door to synthesis."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from itertools import zip_longest

import numpy as np

from hdl2grid.base.errors import InputError, nearest
from hdl2grid.circuit.model import Circuit, Source
from hdl2grid.logic.model import Logic
from hdl2grid.logic.reachability import Reachable, explore
from hdl2grid.nets.partition import MAX_NETS, Drivers, Partition, share_nets
from hdl2grid.synth.codes.code_stacks import Encoding, own_stacks
from hdl2grid.synth.codes.find_codes import find_codes
from hdl2grid.synth.codes.old_codes import old_encoding
from hdl2grid.synth.codes.recode import recode, recode_states
from hdl2grid.synth.codes.register_groups import Behaviour, Group, find_groups
from hdl2grid.synth.collectors import forms_of
from hdl2grid.synth.emit import TimedMachine, crowded_forms, emit, longest_wave
from hdl2grid.synth.exact.block_reports import OPEN, block_reports
from hdl2grid.synth.mapper import Mapped, Mapper, timed_mapping
from hdl2grid.synth.model import CodeReport, Synthesis, SynthParams, SynthReport
from hdl2grid.synth.network import COLLECTOR, EXACTLY_ONE, PRODUCT, Form
from hdl2grid.synth.rewrite.driver import shortened
from hdl2grid.synth.rewrite.trials import Context
from hdl2grid.synth.sinks import GATE, REGISTER, Problem

_ANY = 1 << 20
"""A limit that no sum, and no number of stacks, comes near."""
_SHARE = 8
"""One in so many of the crowded sums, the longest, is cut at a time. Guessed."""
_MOST_NEAR = 8
"""Circuits near an old one that are handed back; each is laid out. Guessed."""
_WORTH_ALL_COLOURS = 2
"""Tiles without a colour left over make layouts harder: they have to save more stacks than these."""


def prepare(logic: Logic, params: SynthParams, is_near: bool = False) -> Prepared:
    """What all mappings of a logic have in common. Encodings are searched for unless it is to be mapped near an earlier
    circuit, whose encodings are kept. Of `params` the limits of gates and rooms do not matter."""
    reachable = explore(logic, params.joint_states, params.group_states)
    constant = _constant_registers(logic, reachable)
    states_of = Mapper(logic, reachable, constant, params).states_of
    groups = () if params.keep_codes else find_groups(logic, constant, states_of, params.max_toggles)
    return Prepared(logic, reachable, constant, groups, {} if is_near else _codes(groups, params.seed))


def synthesise(
    logic: Logic, sources: Sequence[Source], params: SynthParams | None = None, prepared: Prepared | None = None
) -> Synthesis:
    """Map `logic` onto stacks.

    `sources` are the machine's tickers, buttons and switches; they are named after the logic's events (domains,
    "reset", inputs). The circuit keeps time with the logic in every reachable state and loses no pulse: every
    plain stack is fed in one round of any wave. The same arguments give the same circuit. `prepared` is what `prepare`
    says of the logic, if it is known already.

    Raises InputError S001 where an event of the logic has no source.
    """
    params = params or SynthParams()
    _check_sources(logic, sources)
    choice, codes = _choose(prepared or prepare(logic, params), params)
    made = _emitted(logic, choice, choice.mapped, codes, sources)
    if params.join and params.pixel_terms <= MAX_NETS and _may_take_fewer(made.report):
        other = _within(choice, _loose(params))
        joined = _joined(other, params, sources, None, (), made.report.stacks)
        if joined is None:
            other = _within(choice, replace(params, toggle_terms=MAX_NETS, pixel_terms=params.pixel_nets))
            joined = _uncrowded(other, params, sources, made.report.stacks - _WORTH_ALL_COLOURS)
        if joined is not None:
            mapped, shared = joined
            return _emitted(logic, other, mapped, codes, sources, shared)
    return replace(made, shared=share_nets(made.circuit, params.pixel_nets))


def _within(choice: _Choice, limits: SynthParams) -> _Choice:
    """The same logic and gates, mapped within other limits."""
    mapper = choice.mapper.within(limits)
    return _Choice(mapper, mapper.best())


def _uncrowded(
    choice: _Choice, params: SynthParams, sources: Sequence[Source], fewer_than: int
) -> tuple[Mapped, Partition] | None:
    """The choice's mapping, which leaves no colour over, and its nets; None where it has not fewer stacks than
    `fewer_than`, or too many nets for some tile after all."""
    mapped = choice.mapped
    if mapped.all_stacks >= fewer_than:
        return None
    crowded, shared = crowded_forms(choice.timed(mapped, sources), params.pixel_nets, None, (), True)
    return None if crowded else (mapped, shared)


def synthesise_near(
    logic: Logic, sources: Sequence[Source], params: SynthParams, near: Circuit, near_nets: Sequence[Drivers] = ()
) -> tuple[Synthesis, ...]:
    """As `synthesise`, near a circuit of an earlier version of the logic: its codes and stacks are kept as far as they
    still do; and its nets, if any are given (see `hdl2grid.nets.partition`). Up to _MOST_NEAR circuits, the cheapest
    first: they differ in the new stacks and in what pixels bear, and their layouts tell which is the nearest.

    Raises InputError S001 where an event of the logic has no source.
    """
    _check_sources(logic, sources)
    start = prepare(logic, params, is_near=True)
    limits = [replace(params, pixel_terms=most) for most in dict.fromkeys((params.pixel_terms, params.pixel_nets))]
    rows = [_made_near(start, limit, sources, near, near_nets) for limit in limits]
    found: list[Synthesis] = []
    for made in (made for rank in zip_longest(*rows) for made in rank if made is not None):
        if all(made.circuit != other.circuit for other in found):
            found.append(made)
    return tuple(found[:_MOST_NEAR])


def _made_near(
    start: Prepared, params: SynthParams, sources: Sequence[Source], near: Circuit, near_nets: Sequence[Drivers]
) -> list[Synthesis]:
    logic = start.logic
    if near_nets:
        choices, codes = _choose_near(start, _loose(params), near)
        joined = [(choice, _joined(choice, params, sources, near, near_nets)) for choice in choices]
        found = [
            _emitted(logic, choice, made[0], codes, sources, made[1]) for choice, made in joined if made is not None
        ]
        if found:
            return found
    choices, codes = _choose_near(start, params, near)
    return [_emitted(logic, choice, choice.mapped, codes, sources) for choice in choices]


def _loose(params: SynthParams) -> SynthParams:
    """With no regard to the length of sums."""
    return replace(params, toggle_terms=_ANY, register_terms=_ANY, pixel_terms=_ANY)


def _emitted(
    logic: Logic,
    choice: _Choice,
    mapped: Mapped,
    codes: tuple[CodeReport, ...],
    sources: Sequence[Source],
    shared: Partition | None = None,
) -> Synthesis:
    """`mapped`, which is the choice's mapping or one made of it, as a circuit with its report; `shared` are its nets,
    where they were looked for."""
    circuit = emit(choice.timed(mapped, sources))
    known = {r.name for r in logic.registers} | {o.name for o in logic.outputs}
    circuit = replace(circuit, levels=tuple(level for level in circuit.levels if level.signal in known))
    report = _report(replace(choice, mapped=mapped), codes, circuit)
    return Synthesis(circuit, report, shared)


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
    fewer_than: int = _ANY,
) -> tuple[Mapped, Partition] | None:
    """The choice, mapped with no regard to the length of sums, with the fewest collectors that were found to do once
    drivers are joined on nets; None where none do, or not with fewer stacks than `fewer_than`."""
    logic, mapped, first = choice.logic, choice.mapped, choice.mapped
    plain = first.plain
    forms = forms_of(plain)
    most = (
        params.pixel_nets if near is None else params.pixel_terms
    )  # a fourth net would have to be led to an old place

    def tried(plain: Problem, short: set[Form]) -> Mapped:
        return timed_mapping(logic, plain, params, first.blocks, first.solved, short)

    short: set[Form] = set()
    crowded: set[Form] | None = None
    shared: Partition | None = None
    is_sparse = near is not None
    while mapped.all_stacks < fewer_than:
        if crowded is None:
            crowded, shared = crowded_forms(choice.timed(mapped, sources), most, near, near_nets, bool(short))
        if shared is not None and not crowded:
            return mapped, shared
        if not is_sparse:
            plain = shortened(plain, Context(plain, (), params, {}, choice.mapper.states_of, long=crowded))
            forms = forms_of(plain)
            mapped, is_sparse, crowded = tried(plain, short), True, None
            continue
        fresh = sorted((f for f in crowded if f in forms and f not in short), key=lambda f: (-f.bit_count(), f))
        if not fresh:
            return None
        short.update(fresh[: 1 + len(fresh) // _SHARE])
        other = tried(plain, short)
        if other.timed != mapped.timed or other.problem.network.cells != mapped.problem.network.cells:
            crowded = None  # else these sums were short enough as they are
        mapped = other
    return None


@dataclass(frozen=True)
class _Choice:
    """A logic, with the codes of the design or with others, and the best mapping of it."""

    mapper: Mapper
    mapped: Mapped

    @property
    def logic(self) -> Logic:
        return self.mapper.logic

    def timed(self, mapped: Mapped, sources: Sequence[Source]) -> TimedMachine:
        """`mapped`, which is the choice's mapping or one made of it."""
        return TimedMachine(self.logic, mapped.problem, mapped.timed, sources, self.mapper.constant)


Encodings = dict[Behaviour, tuple[Encoding, ...]]


@dataclass(frozen=True)
class Prepared:
    """A logic, what is reachable, and its groups of free encoding with the encodings found for them."""

    logic: Logic
    reachable: Reachable
    constant: frozenset[int]
    groups: tuple[Group, ...]
    known: Encodings


def _choose(start: Prepared, params: SynthParams) -> tuple[_Choice, tuple[CodeReport, ...]]:
    """The cheaper of the logic in its own codes and in free ones; and what is known of the free ones."""
    logic, reachable, constant = start.logic, start.reachable, start.constant
    groups, known = start.groups, start.known
    own = Mapper(logic, reachable, constant, params)
    if not any(not encoding.own for found in known.values() for encoding in found):
        found = tuple(_code_report(g, known[g.behaviour][0]) for g in groups if g.behaviour in known)
        return _Choice(own, own.best()), found
    choice, best, chosen = _recoded(logic, reachable, groups, known, params)
    found = tuple(_code_report(g, chosen[g.behaviour]) for g in groups if g.behaviour in chosen)
    if all(block.size is not None or block.is_least for block in best.blocks):
        return choice, found
    rival = own.first()
    if rival.all_stacks <= best.all_stacks:
        rival = own.best()
        if rival.all_stacks <= best.all_stacks:
            return _Choice(own, rival), tuple(_kept_report(g, known) for g in groups)
    return choice, found


def _choose_near(start: Prepared, params: SynthParams, near: Circuit) -> tuple[list[_Choice], tuple[CodeReport, ...]]:
    """The logic in the codes and gates of an earlier circuit, mapped onto its stacks as far as they still do, in
    several ways."""
    logic, reachable, constant, groups = start.logic, start.reachable, start.constant, start.groups
    encodings = []
    for group in groups:
        encoding = old_encoding(group, logic, near) or next(iter(find_codes(group.behaviour, params.seed)), None)
        if encoding is not None:
            encodings.append((group, encoding))
    found = tuple(_code_report(g, c) for g, c in encodings)
    encodings = [(group, encoding) for group, encoding in encodings if not encoding.own]
    if encodings:
        logic = recode(logic, encodings)
        reachable = explore(logic, params.joint_states, params.group_states)
        constant = _constant_registers(logic, reachable)
    mapper = Mapper(logic, reachable, constant, params)
    return [_Choice(mapper, mapped) for mapped in mapper.near(near)], found


def _codes(groups: Sequence[Group], seed: int) -> Encodings:
    """Codes for the groups, by behaviour; groups that behave alike get the same."""
    known: Encodings = {}
    for group in groups:
        if group.behaviour not in known:
            known[group.behaviour] = find_codes(group.behaviour, seed)
    return {behaviour: found for behaviour, found in known.items() if found}


def _recoded(
    logic: Logic, reachable: Reachable, groups: Sequence[Group], known: Encodings, params: SynthParams
) -> tuple[_Choice, Mapped, dict[Behaviour, Encoding]]:
    """The machine in its best codes. Where a group has several that look alike, each is mapped."""

    def mapper(chosen: dict[Behaviour, Encoding]) -> Mapper:
        encodings = [(g, chosen[g.behaviour]) for g in groups if g.behaviour in chosen]
        encodings = [(group, encoding) for group, encoding in encodings if not encoding.own]
        free = recode(logic, encodings) if encodings else logic
        if reachable.joint is None:
            inside = explore(free, params.joint_states, params.group_states)
        else:
            inside = recode_states(logic, encodings, reachable.joint)
        return Mapper(free, inside, _constant_registers(free, inside), params)

    chosen = {behaviour: found[0] for behaviour, found in known.items()}
    current = mapper(chosen)
    least = None
    for behaviour, found in known.items():
        for encoding in found[1:]:
            least = current.first().all_stacks if least is None else least
            trial = {**chosen, behaviour: encoding}
            other = mapper(trial)
            stacks = other.first().all_stacks
            if stacks < least:
                current, chosen, least = other, trial, stacks
    best = current.best()
    return _Choice(current, best), best, chosen


def _code_report(group: Group, encoding: Encoding) -> CodeReport:
    return CodeReport(
        name=group.name,
        hdl_registers=len(group.registers),
        registers=encoding.width,
        states=group.behaviour.num_states,
        codes=encoding.codes,
        own=encoding.own,
        stacks=encoding.stacks,
        bound=encoding.bound,
        verdict=encoding.verdict,
        proof=encoding.proof,
    )


def _kept_report(group: Group, known: Encodings) -> CodeReport:
    """Of a group that keeps the HDL's code because the whole machine is cheaper so: nothing is proved of it."""
    behaviour, found = group.behaviour, known.get(group.behaviour)
    width, count = len(group.registers), behaviour.num_states
    stacks, bound = own_stacks(behaviour)
    if found:
        bound = max(bound, found[0].bound)
    return CodeReport(
        name=group.name,
        hdl_registers=width,
        registers=width,
        states=count,
        codes=behaviour.code,
        own=True,
        stacks=stacks,
        bound=bound,
        verdict=OPEN,
        proof="",
    )


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


def _report(choice: _Choice, codes: tuple[CodeReport, ...], circuit: Circuit) -> SynthReport:
    mapped, reachable = choice.mapped, choice.mapper.reachable
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

"""What a machine wants of its logic: one sink per register, gate and output bit."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from hdl2grid.base.errors import SourceLine
from hdl2grid.logic.model import Logic, RegisterBit
from hdl2grid.synth.gating import Condition, Gate, gate_tree, variables_of, word_of
from hdl2grid.synth.gf2 import Basis, bits
from hdl2grid.synth.lowering import lower
from hdl2grid.synth.network import EXACTLY_ONE, Form, Network

REGISTER, GATE, OUTPUT, PART = "register", "gate", "output", "part"


@dataclass(frozen=True)
class Sink:
    """A toggle under a strobe or a pixel, and the form that it must bear.

    PART is a function inside of others' logic, while that is mapped.
    `own` is the register's own signal (0 for other kinds). `gate` numbers the gate whose output strobes a
    register or gate, None the domain's source itself.
    """

    kind: str
    name: str
    form: Form
    own: int = 0
    domain: str = ""
    gate: int | None = None
    source: SourceLine | None = None


@dataclass(frozen=True)
class Problem:
    """The network and its sinks. Signal `1 + i` is register i, then come the inputs."""

    network: Network
    sinks: tuple[Sink, ...]
    gates: tuple[Gate, ...]


def build(logic: Logic, constant: frozenset[int], gated: Sequence[Condition], max_toggles: int) -> Problem:
    """The machine's sinks under the given gates; registers in `constant` never leave their initial value."""
    network = Network(len(logic.registers) + len(logic.inputs), max_toggles)
    gates, gate_of = gate_tree(network, logic, variables_of(logic, constant), gated)
    return Problem(network, _sinks(logic, constant, network, gates, gate_of, False), gates)


def with_majorities(
    problem: Problem, logic: Logic, constant: frozenset[int], gated: Sequence[Condition]
) -> Problem | None:
    """The same problem with the carries of full adders as stacks of their own; None where there are none."""
    network = problem.network
    before = len(network.cells)
    gates, gate_of = gate_tree(network, logic, variables_of(logic, constant), gated)
    sinks = _sinks(logic, constant, network, gates, gate_of, True)
    kinds = [network.cells[c].kind for c in network.cone([s.form for s in sinks]) if c > network.num_variables + before]
    return Problem(network, sinks, problem.gates) if EXACTLY_ONE in kinds else None


def _sinks(
    logic: Logic,
    constant: frozenset[int],
    network: Network,
    gates: Sequence[Gate],
    gate_of: Mapping[tuple[str, str], int],
    majorities: bool,
) -> tuple[Sink, ...]:
    variables = variables_of(logic, constant)
    data = _register_forms(logic, constant, network, gates, gate_of, majorities)
    sinks = [
        _register_sink(i, logic.registers[i], form, gate_of.get(_word(logic.registers[i])))
        for i, form in sorted(data.items())
    ]
    sinks += [_gate_sink(logic, network, gates, gate) for gate in gates]
    outputs = lower(network, logic.xag, variables, [o.literal for o in logic.outputs], majorities=majorities)
    for output, form in zip(logic.outputs, outputs, strict=True):
        sinks.append(Sink(OUTPUT, output.name, form, source=output.source))
    return tuple(sinks)


def _register_forms(
    logic: Logic,
    constant: frozenset[int],
    network: Network,
    gates: Sequence[Gate],
    gate_of: Mapping[tuple[str, str], int],
    majorities: bool,
) -> dict[int, Form]:
    """What each register takes, simplified by what its gate makes sure of."""
    variables = variables_of(logic, constant)
    words: dict[tuple[int | None, str], list[int]] = {}
    for i, register in enumerate(logic.registers):
        if i not in constant:
            gate = gate_of.get(_word(register))
            words.setdefault((gate, "" if gate is None else word_of(register.name)), []).append(i)
    found: dict[int, Form] = {}
    for (gate, _), members in words.items():
        roots = [logic.registers[i].data for i in members]
        if gate is None:
            forms = lower(network, logic.xag, variables, roots, majorities=majorities)
        else:
            assumed = [c ^ 1 for c in gates[gate].constraints]
            forced = {literal >> 1: 1 ^ literal & 1 for literal in gates[gate].literals}
            forms = lower(network, logic.xag, variables, roots, assumed, forced, majorities)
        found.update(zip(members, forms, strict=True))
    return found


def _word(register: RegisterBit) -> tuple[str, str]:
    return word_of(register.name), register.domain


def _register_sink(i: int, register: RegisterBit, data: Form, gate: int | None) -> Sink:
    own = 1 << (1 + i)
    return Sink(
        kind=REGISTER,
        name=register.name,
        form=data ^ own,
        own=own,
        domain=register.domain,
        gate=gate,
        source=register.source,
    )


def _gate_sink(logic: Logic, network: Network, gates: Sequence[Gate], gate: Gate) -> Sink:
    given = Basis(ignore=1)
    if gate.parent is not None:
        for constraint in gates[gate.parent].constraints:
            given.add(constraint)
    rest = [given.reduce(constraint) for constraint in gate.constraints]
    form = network.product([c ^ 1 for c in rest if c])
    return Sink(
        kind=GATE,
        name=gate.name,
        form=form,
        own=0,
        domain=gate.domain,
        gate=gate.parent,
        source=_first_source(logic, gate),
    )


def _first_source(logic: Logic, gate: Gate) -> SourceLine | None:
    return next((r.source for r in logic.registers if word_of(r.name) == gate.words[0]), None)


def behaviour_of(problem: Problem, word: str, domain: str) -> object:
    """What the registers of a word do, up to the names of everything outside the word."""
    network = problem.network
    sinks = [s for s in problem.sinks if s.kind == REGISTER and (word_of(s.name), s.domain) == (word, domain)]
    number: dict[int, int] = {0: 0}
    for sink in sinks:
        number[sink.own.bit_length() - 1] = len(number)

    def named(form: Form) -> tuple[int, ...]:
        return tuple(sorted(number.setdefault(s, len(number)) for s in bits(form)))

    cells = []
    for cell in network.cone([s.form for s in sinks]):
        cells.append((network.cells[cell].kind, tuple(sorted(map(named, network.cells[cell].factors)))))
        number[cell] = len(number)
    return tuple(cells), tuple(named(s.form) for s in sinks)

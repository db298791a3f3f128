"""What a machine wants of its logic: one sink per register, gate and output bit, and how strobes are gated.

A *word* is the registers of one HDL signal. If every register of a word moves only while some condition from
outside the word holds, one strobed stack that bears the condition can pass the tick on to all of them (clock
gating), and their own logic loses that factor. Conditions are found as common affine factors of the products in
T = D xor Q; a gate whose conditions include another's is strobed by it.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from hdl2grid.errors import SourceLine
from hdl2grid.logic.model import Logic, RegisterBit
from hdl2grid.synth.gf2 import Basis, bits, intersection
from hdl2grid.synth.lowering import lower
from hdl2grid.synth.network import PRODUCT, ZERO, Form, Network

REGISTER, GATE, OUTPUT = "register", "gate", "output"


@dataclass(frozen=True)
class Gate:
    """Passes ticks of `domain` on while all of `constraints` (forms that must be 0) hold; `parent` strobes it
    (None: the domain's source). Its strobe is hit in round `depth`."""

    name: str
    domain: str
    constraints: tuple[Form, ...]
    parent: int | None
    depth: int


@dataclass(frozen=True)
class Sink:
    """A toggle under a strobe or a pixel, and the form that it must bear.

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


def word_of(name: str) -> str:
    return name.partition("[")[0]


def variables_of(logic: Logic, constant: frozenset[int]) -> dict[int, Form]:
    """Forms by variable node: registers are signals 1, 2 .., then come the inputs; constants are constants."""
    nodes = [r.literal >> 1 for r in logic.registers] + [i.literal >> 1 for i in logic.inputs]
    forms = {node: 1 << (1 + i) for i, node in enumerate(nodes)}
    for i in constant:
        forms[nodes[i]] = logic.registers[i].init
    return forms


@dataclass(frozen=True)
class Condition:
    """What must hold (forms that must be 0, reduced) before any register of `word` moves."""

    word: str
    domain: str
    constraints: tuple[Form, ...]


def conditions(logic: Logic, constant: frozenset[int], max_toggles: int) -> tuple[Condition, ...]:
    """Every word's condition from outside; words that have none are left out."""
    network = Network(len(logic.registers) + len(logic.inputs), max_toggles)
    variables = variables_of(logic, constant)
    forms = lower(network, logic.xag, variables, [r.data for r in logic.registers])
    words: dict[tuple[str, str], list[int]] = {}
    for i, register in enumerate(logic.registers):
        if i not in constant:
            words.setdefault((word_of(register.name), register.domain), []).append(i)
    found = []
    for (word, domain), members in words.items():
        toggles = [forms[i] ^ 1 << (1 + i) for i in members]
        own = sum(1 << (1 + i) for i in members)
        common = _common_constraints(network, [t for t in toggles if t != ZERO], own)
        if common:
            found.append(Condition(word, domain, common))
    return tuple(found)


def _common_constraints(network: Network, toggles: Sequence[Form], own: int) -> tuple[Form, ...]:
    spaces = [space for form in toggles for space in _necessary(network, form)]
    if not spaces:
        return ()
    common = spaces[0]
    width = 1 + network.num_variables + len(network.cells)
    for space in spaces[1:]:
        common = intersection(common, space, width)
        if not common:
            return ()
    inside = own
    for form in common:
        for signal in bits(form & ~1):
            if network.support([1 << signal]) & own:
                inside |= 1 << signal
    # Rows that touch the word itself are eliminated by putting those signals' bits on top.
    ordered = Basis((form & inside) << width | form for form in common)
    return Basis((row for row in ordered.sorted_rows() if row >> width == 0), ignore=1).sorted_rows()


def _necessary(network: Network, form: Form) -> list[list[Form]]:
    """Spaces of forms that must be 0 where `form` is 1; one a product of its sum, [[]] if nothing is known."""
    signals = bits(form)
    if signals == [0]:
        return [[]]
    cells = [network.cells.get(s) for s in signals]
    if any(c is None or c.kind != PRODUCT for c in cells):
        return [[form ^ 1]]
    return [[f ^ 1 for f in c.factors] for c in cells if c is not None]


def build(logic: Logic, constant: frozenset[int], gated: Sequence[Condition], max_toggles: int) -> Problem:
    """The machine's sinks under the given gates; registers in `constant` never leave their initial value."""
    network = Network(len(logic.registers) + len(logic.inputs), max_toggles)
    variables = variables_of(logic, constant)
    # Conditions speak of cells: the same lowering first makes the same cells, under the same numbers.
    ungated = lower(network, logic.xag, variables, [r.data for r in logic.registers])
    gates, gate_of = _gate_tree(gated)
    sinks: list[Sink] = []
    for i, register in enumerate(logic.registers):
        if i in constant:
            continue
        gate = gate_of.get((word_of(register.name), register.domain))
        data = ungated[i]
        if gate is not None:
            assumed = [c ^ 1 for c in gates[gate].constraints]
            data = lower(network, logic.xag, variables, [register.data], assumed)[0]
        sinks.append(_register_sink(i, register, data, gate))
    sinks += [_gate_sink(logic, network, gates, gate) for gate in gates]
    outputs = lower(network, logic.xag, variables, [o.literal for o in logic.outputs])
    for output, form in zip(logic.outputs, outputs, strict=True):
        sinks.append(Sink(OUTPUT, output.name, form, source=output.source))
    return Problem(network, tuple(sinks), gates)


def _register_sink(i: int, register: RegisterBit, data: Form, gate: int | None) -> Sink:
    own = 1 << (1 + i)
    return Sink(REGISTER, register.name, data ^ own, own, register.domain, gate, register.source)


def _gate_sink(logic: Logic, network: Network, gates: Sequence[Gate], gate: Gate) -> Sink:
    given = Basis(ignore=1)
    if gate.parent is not None:
        for constraint in gates[gate.parent].constraints:
            given.add(constraint)
    rest = [given.reduce(constraint) for constraint in gate.constraints]
    form = network.product([c ^ 1 for c in rest if c])
    return Sink(GATE, gate.name, form, 0, gate.domain, gate.parent, _first_source(logic, gate))


def _first_source(logic: Logic, gate: Gate) -> SourceLine | None:
    word = gate.name.removesuffix(".gate")
    return next((r.source for r in logic.registers if word_of(r.name) == word), None)


def _gate_tree(gated: Sequence[Condition]) -> tuple[tuple[Gate, ...], dict[tuple[str, str], int]]:
    """Gates, each after the one that strobes it, and the gate of each (word, domain)."""
    distinct: dict[tuple[str, tuple[Form, ...]], list[Condition]] = {}
    for condition in gated:
        distinct.setdefault((condition.domain, condition.constraints), []).append(condition)
    order = sorted(distinct, key=lambda key: len(key[1]))
    gates: list[Gate] = []
    gate_of: dict[tuple[str, str], int] = {}
    for domain, constraints in order:
        space = Basis(constraints, ignore=1)
        parent = None
        for number, other in enumerate(gates):
            narrower = other.domain == domain and len(other.constraints) < len(constraints)
            if narrower and not any(space.reduce(c) for c in other.constraints):
                parent = number  # the last is the one with most conditions
        depth = 0 if parent is None else gates[parent].depth + 1
        for condition in distinct[domain, constraints]:
            gate_of[condition.word, condition.domain] = len(gates)
        name = distinct[domain, constraints][0].word + ".gate"
        gates.append(Gate(name, domain, constraints, parent, depth))
    return tuple(gates), gate_of

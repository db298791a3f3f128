"""Clock gating: which words move only under a condition from outside, and which gate strobes which.

A *word* is the registers of one HDL signal. If all of them stand still whenever some condition from outside the
word fails, one strobed stack that bears the condition can pass the tick on to them, and their own logic loses
that factor. Conditions are looked for among the nodes of the graph at the border of what depends on the word:
such a node, forced to one value, must make D xor Q of every register vanish. A gate whose condition includes
another's is strobed by it.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from hdl2grid.logic.model import Logic
from hdl2grid.logic.xag import AND, VARIABLE, XOR, Literal
from hdl2grid.synth.gf2 import Basis, bits
from hdl2grid.synth.lowering import lower
from hdl2grid.synth.network import ONE, PRODUCT, ZERO, Form, Network

_MOST_CANDIDATES = 64
"""Nodes of a word's border that are tried as its condition (guessed)."""


@dataclass(frozen=True)
class Condition:
    """All of `literals` must be 1 before any register of `word` moves at a tick of `domain`."""

    word: str
    domain: str
    literals: tuple[Literal, ...]


@dataclass(frozen=True)
class Gate:
    """Passes ticks of `domain` on while all of `constraints` (forms that must be 0) hold; `parent` strobes it
    (None: the domain's source). Its strobe is hit in round `depth`. `words` are what it strobes."""

    name: str
    domain: str
    literals: tuple[Literal, ...]
    constraints: tuple[Form, ...]
    parent: int | None
    depth: int
    words: tuple[str, ...]


def word_of(name: str) -> str:
    return name.partition("[")[0]


def variables_of(logic: Logic, constant: frozenset[int]) -> dict[int, Form]:
    """Forms by variable node: registers are signals 1, 2 .., then come the inputs; constants are constants."""
    nodes = [r.literal >> 1 for r in logic.registers] + [i.literal >> 1 for i in logic.inputs]
    forms = {node: 1 << (1 + i) for i, node in enumerate(nodes)}
    for i in constant:
        forms[nodes[i]] = logic.registers[i].init
    return forms


def conditions(logic: Logic, constant: frozenset[int], max_toggles: int) -> tuple[Condition, ...]:
    """Every word's condition from outside; words that have none are left out."""
    variables = variables_of(logic, constant)
    words: dict[tuple[str, str], list[int]] = {}
    for i, register in enumerate(logic.registers):
        if i not in constant:
            words.setdefault((word_of(register.name), register.domain), []).append(i)
    found = []
    for (word, domain), members in words.items():
        literals = needed(logic, variables, members, max_toggles)
        if literals:
            found.append(Condition(word, domain, literals))
    return tuple(found)


def needed(logic: Logic, variables: dict[int, Form], members: Sequence[int], max_toggles: int) -> tuple[Literal, ...]:
    """Literals at the border of the registers `members` that are 1 whenever one of them moves."""
    network = Network(len(logic.registers) + len(logic.inputs), max_toggles)
    roots = [logic.registers[i].data for i in members]
    own = [variables[logic.registers[i].literal >> 1] for i in members]
    literals = []
    border = border_of(logic, members)
    lowered = lower(network, logic.xag, variables, [2 * node for node in border])
    known = dict(zip(border, lowered, strict=True))
    for node in border[:_MOST_CANDIDATES]:
        for value in (0, 1):
            forms = lower(network, logic.xag, variables, roots, forced={node: value}, known=known)
            if forms == own:
                literals.append(2 * node | value)
    return tuple(literals)


def border_of(logic: Logic, members: Sequence[int]) -> list[int]:
    """Nodes that do not depend on the word and feed nodes that do; the latest (the most inclusive) first."""
    xag = logic.xag
    own = {logic.registers[i].literal >> 1 for i in members}
    inside: set[int] = set()
    border: set[int] = set()
    for node in xag.cone([logic.registers[i].data for i in members]):
        if xag.kinds[node] == VARIABLE:
            if node in own:
                inside.add(node)
        elif xag.kinds[node] in (AND, XOR):
            children = [literal >> 1 for literal in xag.fanins[node]]
            if any(c in inside for c in children):
                inside.add(node)
                border.update(c for c in children if c not in inside)
    return sorted(border, reverse=True)


def gate_tree(
    network: Network, logic: Logic, variables: dict[int, Form], gated: Sequence[Condition]
) -> tuple[tuple[Gate, ...], dict[tuple[str, str], int]]:
    """Gates, each after the one that strobes it, and the gate of each (word, domain). Words of equal conditions
    share a gate; conditions that turn out to hold always, or never, have none."""
    distinct: dict[tuple[str, tuple[Form, ...]], list[Condition]] = {}
    for condition in gated:
        form = network.product(lower(network, logic.xag, variables, condition.literals))
        if form not in (ZERO, ONE):
            key = condition.domain, _constraints(network, form)
            distinct.setdefault(key, []).append(condition)
    gates: list[Gate] = []
    gate_of: dict[tuple[str, str], int] = {}
    for domain, constraints in sorted(distinct, key=lambda key: (len(key[1]), key)):
        members = distinct[domain, constraints]
        parent = _parent(gates, domain, constraints)
        depth = 0 if parent is None else gates[parent].depth + 1
        for condition in members:
            gate_of[condition.word, domain] = len(gates)
        name = members[0].word + ".gate"
        words = tuple(c.word for c in members)
        gates.append(
            Gate(
                name=name,
                domain=domain,
                literals=members[0].literals,
                constraints=constraints,
                parent=parent,
                depth=depth,
                words=words,
            )
        )
    return tuple(gates), gate_of


def _constraints(network: Network, form: Form) -> tuple[Form, ...]:
    """Forms that are all 0 exactly where `form` is 1, reduced; products within products are taken apart."""
    space = Basis(ignore=1)
    todo = [form]
    while todo:
        factor = todo.pop()
        signals = bits(factor)
        cell = network.cells.get(signals[0]) if len(signals) == 1 else None
        if cell is not None and cell.kind == PRODUCT:
            todo.extend(cell.factors)
        else:
            space.add(factor ^ 1)
    return space.sorted_rows()


def _parent(gates: Sequence[Gate], domain: str, constraints: Sequence[Form]) -> int | None:
    """The gate of most conditions among those whose conditions all follow from `constraints`."""
    space = Basis(constraints, ignore=1)
    for number in reversed(range(len(gates))):
        other = gates[number]
        narrower = other.domain == domain and len(other.constraints) < len(constraints)
        if narrower and not any(space.reduce(c) for c in other.constraints):
            return number
    return None

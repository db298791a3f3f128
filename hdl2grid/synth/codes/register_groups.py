"""Groups of registers whose code is free, each as an abstract state machine.

A *group* is the registers of one word, or of several words that read one another, in one domain. Its machine is
taken under the group's own condition (see `gating.py`): a gate will hold it still elsewhere. What the rest of
the design wants to know of the group is a list of functions: the largest pieces of logic that depend on the
group and its context alone.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass

import networkx as nx

from hdl2grid.logic.model import Logic
from hdl2grid.logic.reachability import States
from hdl2grid.logic.xag import AND, VARIABLE, XOR, Literal, Xag
from hdl2grid.synth.exact.blocks import columns_of
from hdl2grid.synth.gating import border_of, needed, variables_of, word_of
from hdl2grid.synth.gf2 import bits
from hdl2grid.synth.model import SynthParams

StatesOf = Callable[[tuple[int, ...], int], States | None]

MOST_STATES = 64
"""Of a group: a function of states is one word. Rings may have more (see `jump_counters.py`)."""
_MOST_IN_RING = 1024
"""States of a ring: codes of ten bits."""
_MOST_POINTS = 1 << 16
"""States of a group and its context together. Guessed."""
_MOST_REGISTERS = 24
"""Of a group. Guessed."""
_MOST_CANDIDATES = 64
"""Signals at a group's border that are tried as conditions under which alone it moves. Guessed."""
REGISTER_TERMS, PIXEL_TERMS = SynthParams.register_terms, SynthParams.pixel_terms
"""Most terms that a register's toggle takes, and a pixel."""


@dataclass(frozen=True)
class Behaviour:
    """A group's machine. A *point* is a state with one level of the context; there are `len(here)` of them.

    `here[p]` and `after[p]` number the states before and after a tick; `context` are the levels of the signals
    that the machine reads, and `wanted` the functions that are read from it, as masks of points, each with the most
    terms that its reader takes (`limits`). `first` is the initial state; a register costs `register_cost` stacks (2
    with its reset).
    """

    num_states: int
    first: int
    here: tuple[int, ...]
    after: tuple[int, ...]
    context: tuple[int, ...]
    wanted: tuple[int, ...]
    limits: tuple[int, ...]
    register_cost: int
    code: tuple[int, ...]


@dataclass(frozen=True)
class Group:
    """Registers of `Logic` (ascending numbers), the literals of their condition, and their machine.

    `states[i]` is state i in the HDL's own code, bit b being `registers[b]`. `cuts` are the nodes that are read from
    it, each with its place in the machine's `wanted`.
    """

    name: str
    registers: tuple[int, ...]
    condition: tuple[Literal, ...]
    context: tuple[int, ...]
    states: tuple[int, ...]
    behaviour: Behaviour
    cuts: tuple[tuple[int, int], ...]


def find_groups(logic: Logic, constant: frozenset[int], states_of: StatesOf, max_toggles: int) -> tuple[Group, ...]:
    """The groups whose code is free: no output shows one of their registers, and the user has not chosen it.

    Groups with more than 64 states are left out, except for rings that read nothing, which may have 1,024; and those
    with too large a context.
    """
    supports = node_supports(logic.xag)
    found = []
    for members in _clusters(logic, constant, supports):
        group = _group(logic, constant, states_of, supports, members, max_toggles)
        if group is not None:
            found.append(group)
    return tuple(found)


def ring_of(here: Sequence[int], after: Sequence[int], num_states: int) -> list[int] | None:
    """The states in their order, from state 0 on, where a tick goes round through all of them; else None."""
    step = dict(zip(here, after, strict=True))
    if len(here) != num_states or len(step) != num_states:
        return None
    order = [0]
    while (state := step[order[-1]]) != 0:
        if len(order) == num_states:
            return None
        order.append(state)
    return order if len(order) == num_states else None


def node_supports(xag: Xag) -> list[int]:
    """For each node the variable nodes that it depends on, as a mask."""
    masks = [0] * len(xag)
    for node, kind in enumerate(xag.kinds):
        if kind == VARIABLE:
            masks[node] = 1 << node
        elif kind in (AND, XOR):
            a, b = xag.fanins[node]
            masks[node] = masks[a >> 1] | masks[b >> 1]
    return masks


def _clusters(logic: Logic, constant: frozenset[int], supports: Sequence[int]) -> list[tuple[int, ...]]:
    """Registers of words that read one another, of one domain and one kind of reset, by first register."""
    shown = {o.literal >> 1 for o in logic.outputs}
    words: dict[str, list[int]] = {}
    for i, register in enumerate(logic.registers):
        words.setdefault(word_of(register.name), []).append(i)
    free = {
        word: members
        for word, members in words.items()
        if not any(
            i in constant or logic.registers[i].keep_code or logic.registers[i].literal >> 1 in shown for i in members
        )
    }
    graph: nx.DiGraph = nx.DiGraph()
    graph.add_nodes_from(free)
    word_at = {logic.registers[i].literal >> 1: word for word, members in free.items() for i in members}
    for word, members in free.items():
        for i in members:
            read = bits(supports[logic.registers[i].data >> 1])
            graph.add_edges_from((word_at[node], word) for node in read if node in word_at)
    clusters: dict[tuple[int, str, bool], list[int]] = {}
    for number, part in enumerate(nx.strongly_connected_components(graph)):
        for word in part:
            for i in free[word]:
                register = logic.registers[i]
                clusters.setdefault((number, register.domain, register.resettable), []).append(i)
    return sorted(tuple(sorted(members)) for members in clusters.values())


def _group(
    logic: Logic,
    constant: frozenset[int],
    states_of: StatesOf,
    supports: Sequence[int],
    members: tuple[int, ...],
    max_toggles: int,
) -> Group | None:
    if len(members) > _MOST_REGISTERS:
        return None
    own_states = states_of(tuple(m + 1 for m in members), _MOST_IN_RING)
    if own_states is None or len(own_states) < 2:
        return None
    xag = logic.xag
    nodes = [r.literal >> 1 for r in logic.registers] + [i.literal >> 1 for i in logic.inputs]
    own = sum(1 << nodes[m] for m in members)
    condition = needed(logic, variables_of(logic, constant), members, max_toggles)
    condition = condition or _needed_in_states(logic, members, nodes, own, states_of)
    forced = {literal >> 1: literal & 1 ^ 1 for literal in condition}
    data = [logic.registers[m].data for m in members]
    read = _read(xag, data, forced)
    context = tuple(i + 1 for i, node in enumerate(nodes) if node in read and not own >> node & 1)
    signals = tuple(sorted((*(m + 1 for m in members), *context)))
    points = states_of(signals, _MOST_POINTS)
    if points is None:
        return None
    columns = {nodes[s - 1]: column for s, column in columns_of(signals, points).items()}
    ones = (1 << len(points)) - 1
    number = {int(state): i for i, state in enumerate(own_states)}
    here = _numbers([columns[nodes[m]] for m in members], len(points), number)
    after = _numbers(evaluate(xag, data, columns, ones, forced), len(points), number)
    if len(own_states) > MOST_STATES and (context or ring_of(here, after, len(own_states)) is None):
        return None
    kept = [p for p in range(len(points)) if after[p] >= 0]
    inside = own | sum(1 << nodes[s - 1] for s in context)
    found = _wanted(logic, supports, members, condition, own, inside, columns, ones)
    wanted: dict[int, int] = {}
    cuts = []
    for node, value, limit in found:
        picked = _picked(value, kept)
        wanted[picked] = min(limit, wanted.get(picked, limit))
        cuts.append((node, list(wanted).index(picked)))
    behaviour = Behaviour(
        num_states=len(own_states),
        first=number[sum(logic.registers[m].init << b for b, m in enumerate(members))],
        here=tuple(here[p] for p in kept),
        after=tuple(after[p] for p in kept),
        context=tuple(_picked(columns[nodes[s - 1]], kept) for s in context),
        wanted=tuple(wanted),
        limits=tuple(wanted.values()),
        register_cost=2 if logic.has_reset and logic.registers[members[0]].resettable else 1,
        code=tuple(int(s) for s in own_states),
    )
    name = "+".join(dict.fromkeys(word_of(logic.registers[m].name) for m in members))
    return Group(
        name=name,
        registers=members,
        condition=condition,
        context=context,
        states=behaviour.code,
        behaviour=behaviour,
        cuts=tuple(cuts),
    )


def _needed_in_states(
    logic: Logic, members: Sequence[int], nodes: Sequence[int], own: int, states_of: StatesOf
) -> tuple[Literal, ...]:
    """As `needed`, by looking at all reachable states, for logic that does not show it in its structure."""
    xag = logic.xag
    data = [logic.registers[m].data for m in members]
    support = set(xag.support(data))
    signals = tuple(i + 1 for i, node in enumerate(nodes) if node in support or own >> node & 1)
    points = states_of(signals, _MOST_POINTS)
    if points is None:
        return ()
    columns = {nodes[s - 1]: column for s, column in columns_of(signals, points).items()}
    ones = (1 << len(points)) - 1
    moves = 0
    for m, value in zip(members, evaluate(xag, data, columns, ones), strict=True):
        moves |= value ^ columns[nodes[m]]
    border = border_of(logic, members)[:_MOST_CANDIDATES]
    values = evaluate(xag, [2 * node for node in border], columns, ones)
    found = []
    for node, value in zip(border, values, strict=True):
        found += [2 * node | flip for flip in (0, 1) if moves and not moves & ~(value ^ (ones if flip else 0))]
    return tuple(found)


def _picked(vector: int, kept: Sequence[int]) -> int:
    return sum((vector >> p & 1) << i for i, p in enumerate(kept))


def _numbers(columns: Sequence[int], count: int, number: Mapping[int, int]) -> list[int]:
    return [number.get(sum((c >> p & 1) << b for b, c in enumerate(columns)), -1) for p in range(count)]


def _read(xag: Xag, roots: Sequence[Literal], forced: Mapping[int, int]) -> set[int]:
    """The variable nodes that the roots reach without passing a forced node."""
    seen: set[int] = set()
    todo = [root >> 1 for root in roots]
    while todo:
        node = todo.pop()
        if node not in seen and node not in forced:
            seen.add(node)
            if xag.kinds[node] in (AND, XOR):
                todo.extend(literal >> 1 for literal in xag.fanins[node])
    return {node for node in seen if xag.kinds[node] == VARIABLE}


def evaluate(
    xag: Xag, roots: Sequence[Literal], columns: Mapping[int, int], ones: int, forced: Mapping[int, int] | None = None
) -> list[int]:
    """The roots over many points at once: bit p of an integer is point p. `forced` nodes have a constant value."""
    table: dict[int, int] = {0: 0, **columns}
    for node, value in (forced or {}).items():
        table[node] = ones if value else 0
    todo = [root >> 1 for root in roots]
    while todo:
        node = todo[-1]
        if node in table:
            todo.pop()
            continue
        a, b = xag.fanins[node]
        waiting = [c for c in (a >> 1, b >> 1) if c not in table]
        if waiting:
            todo.extend(waiting)
            continue
        left = table[a >> 1] ^ (ones if a & 1 else 0)
        right = table[b >> 1] ^ (ones if b & 1 else 0)
        table[node] = left & right if xag.kinds[node] == AND else left ^ right
    return [table[root >> 1] ^ (ones if root & 1 else 0) for root in roots]


def _wanted(
    logic: Logic,
    supports: Sequence[int],
    members: Sequence[int],
    condition: Sequence[Literal],
    own: int,
    inside: int,
    columns: Mapping[int, int],
    ones: int,
) -> Iterator[tuple[int, int, int]]:
    """The functions of the group that others read, with the most terms that these take. One that is 1 in a single
    state and feeds a single AND is left out: whatever the code, it is a product that its reader takes in."""
    mine = set(members)
    roots = [o.literal for o in logic.outputs]
    roots += [r.data for i, r in enumerate(logic.registers) if i not in mine]
    cuts = list(cut_nodes(logic.xag, supports, roots, own, inside))
    readers: Counter[int] = Counter(root >> 1 for root in roots)
    readers.update(root >> 1 for root in roots)
    for node in logic.xag.cone(roots):
        step = 1 if logic.xag.kinds[node] == AND else 2
        if logic.xag.kinds[node] in (AND, XOR):
            for literal in logic.xag.fanins[node]:
                readers[literal >> 1] += step
    values = evaluate(logic.xag, [2 * node for node in cuts], columns, ones)
    alone = [{_here(columns, logic, members, value, ones)} for value in values]
    shown = Counter(o.literal >> 1 for o in logic.outputs)
    for node, value, states in zip(cuts, values, alone, strict=True):
        if readers[node] > 1 or states != {1}:
            yield node, value, PIXEL_TERMS if shown[node] else REGISTER_TERMS


def _here(columns: Mapping[int, int], logic: Logic, members: Sequence[int], value: int, ones: int) -> int:
    """In how many states of the group `value`, or its complement if that is fewer, is not 0."""
    counts = []
    for vector in (value, value ^ ones):
        codes = set()
        for p in bits(vector):
            codes.add(tuple(columns[logic.registers[m].literal >> 1] >> p & 1 for m in members))
        counts.append(len(codes))
    return min(counts)


def cut_nodes(xag: Xag, supports: Sequence[int], roots: Sequence[Literal], own: int, inside: int) -> Iterator[int]:
    """The topmost nodes below `roots` that depend on `own` variables, and on none outside `inside`."""
    seen: set[int] = set()
    todo = sorted({root >> 1 for root in roots}, reverse=True)
    while todo:
        node = todo.pop()
        if node in seen or not supports[node] & own:
            continue
        seen.add(node)
        if not supports[node] & ~inside:
            yield node
        else:
            todo.extend(sorted(literal >> 1 for literal in xag.fanins[node]))

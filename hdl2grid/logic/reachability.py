"""Which states a machine can reach: exactly where the space allows, else group by group, else all of them.

A breadth-first search finds the states, from the initial one by all events (ticks of every domain, reset) under all
levels of the switches. Where the joint space is too large, each group of registers is searched alone. A group is a
strongly connected component of the registers' dependencies, joined with its word. What it reads from outside may be
any combination of what the groups before it can reach. That can only add states, never miss one.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any, NamedTuple

import networkx as nx
import numpy as np
import numpy.typing as npt
from numba import njit

from hdl2grid.logic.model import Logic
from hdl2grid.logic.xag import AND, VARIABLE, XOR, Xag

States = npt.NDArray[np.uint64]

_JOINT_REGISTERS = 63
"""Most registers whose state is held in one word of 64 bits."""

_OUTSIDE_BITS = 12
"""Most bits from outside of a search: all their 4,096 levels are tried in each state. Guessed."""

_TABLE_BITS = 16
"""Different states of so many bits are found with a table of 64 KB, wider ones by sorting. Guessed."""

_FREE_REGISTERS = 20
"""Most registers of an unexplored group whose states are all taken for reachable: a million. Guessed."""

_Ints = npt.NDArray[np.int64]


class _Cone(NamedTuple):
    """The logic that computes the next states; the constant 0 is at place 0. A fan-in is 2 * place + complement."""

    kinds: _Ints
    left: _Ints
    right: _Ints


class _Machine(NamedTuple):
    """What a search steps: bit i of a state is register i."""

    cone: _Cone
    variables: _Ints
    """Place of each register's own node in the cone; -1: nothing reads it."""
    data: _Ints
    """Fan-in of each register's next value."""
    free: _Ints
    """Place of each bit from outside; -1: nothing reads it."""
    levels: States
    """What the bits from outside may be together."""
    clocked: States
    """For each clock domain the registers that its tick loads."""
    init: np.uint64
    reset: np.uint64
    """The registers that a reset brings back to `init`; 0: there is no reset."""


@dataclass(frozen=True)
class Group:
    """Registers explored together; bit `i` of a state is `registers[i]`. `states` is None where it was too large."""

    registers: tuple[int, ...]
    states: States | None


@dataclass(frozen=True)
class Reachable:
    """What is known of the reachable states. Registers are numbered as in `Logic.registers`.

    `joint`: all states of all registers (bit `i` is register `i`), ascending; None where there are too many.
    """

    joint: States | None
    groups: tuple[Group, ...]

    def states(self, registers: Sequence[int], limit: int) -> States | None:
        """The states of `registers` (bit `i` of a state is `registers[i]`), ascending.

        A superset of what is reachable, exact when `joint` is known; None if there are more than `limit`.
        """
        if len(registers) > _JOINT_REGISTERS:
            return None
        if self.joint is not None:
            found = _distinct(_gather(self.joint, registers), len(registers))
            return found if len(found) <= limit else None
        position = {r: i for i, r in enumerate(registers)}
        parts: list[States] = []
        size = 1
        for group in self.groups:
            inside = [r for r in group.registers if r in position]
            if not inside:
                continue
            if group.states is None:
                if len(inside) > _FREE_REGISTERS:
                    return None
                own = np.arange(1 << len(inside), dtype=np.uint64)
            else:
                own = _distinct(_gather(group.states, [group.registers.index(r) for r in inside]), len(inside))
            size *= len(own)
            if size > limit:
                return None
            parts.append(_scatter(own, [position[r] for r in inside]))
        total = np.zeros(1, dtype=np.uint64)
        for part in parts:
            total = (total[:, None] | part[None, :]).ravel()
        return np.unique(total)


def explore(logic: Logic, joint_limit: int = 1 << 17, group_limit: int = 1 << 12) -> Reachable:
    """Explore `logic`; the limits count states."""
    joint = _explore_joint(logic, joint_limit)
    if joint is not None:
        return Reachable(np.sort(joint), (Group(tuple(range(len(logic.registers))), np.sort(joint)),))
    return Reachable(None, _explore_groups(logic, group_limit))


def _gather(states: States, positions: Sequence[int]) -> States:
    out = np.zeros(len(states), dtype=np.uint64)
    for i, position in enumerate(positions):
        out |= (states >> np.uint64(position) & np.uint64(1)) << np.uint64(i)
    return out


def _distinct(states: States, width: int) -> States:
    """The different states, ascending, of `width` bits each."""
    if width > _TABLE_BITS:
        return np.unique(states)
    met = np.zeros(1 << width, dtype=np.bool_)
    met[states] = True
    return np.flatnonzero(met).astype(np.uint64)


def _scatter(states: States, positions: Sequence[int]) -> States:
    out = np.zeros(len(states), dtype=np.uint64)
    for i, position in enumerate(positions):
        out |= (states >> np.uint64(i) & np.uint64(1)) << np.uint64(position)
    return out


def _explore_joint(logic: Logic, limit: int) -> States | None:
    registers = range(len(logic.registers))
    if len(logic.registers) > _JOINT_REGISTERS:
        return None
    used = logic.xag.support([r.data for r in logic.registers])
    outside = [i.literal for i in logic.inputs if i.literal >> 1 in used]
    if len(outside) > _OUTSIDE_BITS:
        return None
    levels = np.arange(1 << len(outside), dtype=np.uint64)
    return _search(logic, list(registers), outside, levels, limit)


def _explore_groups(logic: Logic, limit: int) -> tuple[Group, ...]:
    node_register = {r.literal >> 1: i for i, r in enumerate(logic.registers)}
    supports = [logic.xag.support([r.data]) for r in logic.registers]
    graph = nx.DiGraph()
    graph.add_nodes_from(range(len(logic.registers)))
    first_of_word: dict[str, int] = {}
    for i, register in enumerate(logic.registers):
        for node in supports[i]:
            if node in node_register:
                graph.add_edge(node_register[node], i)
        first = first_of_word.setdefault(register.name.partition("[")[0], i)
        graph.add_edge(first, i)
        graph.add_edge(i, first)
    condensed = nx.condensation(graph, scc=sorted(sorted(c) for c in nx.strongly_connected_components(graph)))
    order = list(nx.lexicographical_topological_sort(condensed))
    groups: list[Group] = []
    known = Reachable(None, ())
    for component in order:
        members = sorted(condensed.nodes[component]["members"])
        nodes = sorted({n for m in members for n in supports[m]})
        own = {logic.registers[m].literal >> 1 for m in members}
        outside = [n for n in nodes if n not in own]
        groups.append(Group(tuple(members), _explore_group(logic, members, outside, node_register, known, limit)))
        known = Reachable(None, tuple(groups))
    return tuple(groups)


def _explore_group(
    logic: Logic,
    members: list[int],
    outside: list[int],
    node_register: dict[int, int],
    known: Reachable,
    limit: int,
) -> States | None:
    if len(members) > _JOINT_REGISTERS:
        return None
    registers = [n for n in outside if n in node_register]
    inputs = [n for n in outside if n not in node_register]
    if len(inputs) > _OUTSIDE_BITS:
        return None
    own = known.states([node_register[n] for n in registers], 1 << _OUTSIDE_BITS >> len(inputs))
    if own is None:
        return None
    free = np.arange(1 << len(inputs), dtype=np.uint64) << np.uint64(len(registers))
    levels = (own[:, None] | free[None, :]).ravel()
    found = _search(logic, members, [2 * n for n in registers + inputs], levels, limit)
    return None if found is None else np.sort(found)


def _search(logic: Logic, members: list[int], outside: list[int], levels: States, limit: int) -> States | None:
    """Breadth-first search over the states of `members`, 64 states a word."""
    registers = [logic.registers[m] for m in members]
    xag = logic.xag
    cone, place = _compile(xag, [r.data for r in registers])
    variables = np.array([place.get(r.literal >> 1, -1) for r in registers], dtype=np.int64)
    data = np.array([2 * place[r.data >> 1] | r.data & 1 for r in registers], dtype=np.int64)
    free = np.array([place.get(literal >> 1, -1) for literal in outside], dtype=np.int64)
    domains = sorted({r.domain for r in registers})
    clocked = np.array(
        [sum(1 << i for i, r in enumerate(registers) if r.domain == d) for d in domains], dtype=np.uint64
    )
    init = sum(r.init << i for i, r in enumerate(registers))
    reset = sum(1 << i for i, r in enumerate(registers) if r.resettable) if logic.has_reset else 0
    machine = _Machine(
        cone=cone,
        variables=variables,
        data=data,
        free=free,
        levels=levels,
        clocked=clocked,
        init=np.uint64(init),
        reset=np.uint64(reset),
    )
    found: States | None = _breadth_first(machine, limit)
    return found


def _compile(xag: Xag, roots: Sequence[int]) -> tuple[_Cone, dict[int, int]]:
    """The cone of `roots` as arrays, and the place of each of its nodes."""
    nodes = [n for n in xag.cone(roots) if n != 0]
    place = {0: 0} | {n: i + 1 for i, n in enumerate(nodes)}
    kinds = np.zeros(len(nodes) + 1, dtype=np.int64)
    left = np.zeros(len(nodes) + 1, dtype=np.int64)
    right = np.zeros(len(nodes) + 1, dtype=np.int64)
    for n in nodes:
        kinds[place[n]] = xag.kinds[n]
        if xag.kinds[n] != VARIABLE:
            a, b = xag.fanins[n]
            left[place[n]] = 2 * place[a >> 1] | a & 1
            right[place[n]] = 2 * place[b >> 1] | b & 1
    return _Cone(kinds=kinds, left=left, right=right), place


@njit(cache=True)
def _breadth_first(machine: _Machine, limit: int) -> Any:
    """The states that are reached, at most `limit`; None if there are more."""
    kinds, left, right = machine.cone
    variables, data, free, levels = machine.variables, machine.data, machine.free, machine.levels
    clocked, init, reset = machine.clocked, machine.init, machine.reset
    one = np.uint64(1)
    size = 64
    while size < 2 * limit + 2:
        size *= 2
    table = np.zeros(size, dtype=np.int64)
    found = np.zeros(limit, dtype=np.uint64)
    value = np.zeros(len(kinds), dtype=np.uint64)
    found[0] = init
    count = 1
    table[np.int64(_mix(init) & np.uint64(size - 1))] = 1
    head = 0
    while head < count:
        lanes = min(64, count - head)
        for i in range(len(variables)):
            if variables[i] >= 0:
                word = np.uint64(0)
                for lane in range(lanes):
                    word |= (found[head + lane] >> np.uint64(i) & one) << np.uint64(lane)
                value[variables[i]] = word
        for level in levels:
            for i in range(len(free)):
                if free[i] >= 0:
                    value[free[i]] = ~np.uint64(0) if level >> np.uint64(i) & one else np.uint64(0)
            for n in range(1, len(kinds)):
                if kinds[n] == AND or kinds[n] == XOR:
                    a = value[left[n] >> 1]
                    b = value[right[n] >> 1]
                    if left[n] & 1:
                        a = ~a
                    if right[n] & 1:
                        b = ~b
                    value[n] = a & b if kinds[n] == AND else a ^ b
            for lane in range(lanes):
                old = found[head + lane]
                new = np.uint64(0)
                for i in range(len(data)):
                    bit = value[data[i] >> 1] >> np.uint64(lane) & one
                    new |= (bit ^ np.uint64(data[i] & 1)) << np.uint64(i)
                for domain in range(len(clocked) + 1):
                    if domain < len(clocked):
                        state = old & ~clocked[domain] | new & clocked[domain]
                    else:
                        state = old & ~reset | init & reset
                    slot = np.int64(_mix(state) & np.uint64(size - 1))
                    while table[slot] != 0 and found[table[slot] - 1] != state:
                        slot = (slot + 1) & (size - 1)
                    if table[slot] == 0:
                        if count == limit:
                            return None
                        found[count] = state
                        count += 1
                        table[slot] = count
        head += lanes
    return found[:count]


@njit(cache=True, inline="always")
def _mix(word: Any) -> Any:
    word = (word ^ (word >> np.uint64(31))) * np.uint64(0x9E3779B97F4A7C15)
    return word ^ (word >> np.uint64(29))

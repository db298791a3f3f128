"""Levels for fewest buffers: when each register samples and each stack moves, as one integer program.

Every signal has a level; a reader needs its inputs one level below its own, and a buffer is paid for each level that
an input has to wait. A register may sample later than its tick: its strobe then hangs on a chain of buffers, which
all registers of its clock share. What is to be made small is

    sum over signals of (latest level wanted - level) + longest chain of each clock + longest chain of the reset

under constraints that each bound one variable by another from below. (Retiming with fan-out sharing: C. Leiserson,
J. Saxe, "Retiming synchronous circuitry", Algorithmica 6, 1991.) Such a function is L-natural-convex, so steepest
descent is exact: from the least feasible point, raise the set of variables that lowers the sum most, a closure
found by a minimum cut, until there is none (K. Murota, Discrete Convex Analysis, SIAM 2003).
"""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Any

import numpy as np
from numba import njit


@dataclass
class LevelProgram:
    """`cost[v]` is paid for each unit of variable v; constraints `(u, v, c)`: value u >= value v + c.

    `least` are lower bounds. Variables are numbered as they are made.
    """

    least: list[int] = field(default_factory=list)
    cost: list[int] = field(default_factory=list)
    above: list[tuple[int, int, int]] = field(default_factory=list)

    def variable(self, least: int = 0, cost: int = 0) -> int:
        self.least.append(least)
        self.cost.append(cost)
        return len(self.least) - 1

    def bound(self, u: int, v: int, c: int) -> None:
        """Value u is at least value v + c."""
        self.above.append((u, v, c))

    def solve(self) -> list[int]:
        """The values of least total cost. The cost must be bounded below; constraints must have no positive cycle."""
        upper = np.array([u for u, _, _ in self.above], dtype=np.int64)
        lower = np.array([v for _, v, _ in self.above], dtype=np.int64)
        gaps = np.array([c for _, _, c in self.above], dtype=np.int64)
        values = np.array(self.least, dtype=np.int64)
        _settle(values, upper, lower, gaps)
        costs = np.array(self.cost, dtype=np.int64)
        while True:
            raised = _best_closure(costs, upper, lower, values[upper] == values[lower] + gaps)
            if not raised.any():
                return [int(v) for v in values]
            values[raised] += 1


@njit(cache=True)
def _settle(values: Any, upper: Any, lower: Any, gaps: Any) -> None:
    """Raises values to the least that fulfil all constraints."""
    for _ in range(len(values) + 2):
        moved = False
        for k in range(len(upper)):
            if values[upper[k]] < values[lower[k]] + gaps[k]:
                values[upper[k]] = values[lower[k]] + gaps[k]
                moved = True
        if not moved:
            return
    raise ValueError("levels grow without end")


@njit(cache=True)
def _best_closure(costs: Any, upper: Any, lower: Any, tight: Any) -> Any:
    """The variables of least total cost that can be raised together, as few as possible; none where no set costs
    less than 0. Where a constraint is tight, raising its lower variable raises the upper one."""
    size = len(costs)
    source, sink = size, size + 1
    num = 0
    for k in range(len(upper)):
        if tight[k]:
            num += 1
    ends = np.empty(2 * (num + size), dtype=np.int64)
    room = np.empty(2 * (num + size), dtype=np.int64)
    heads = np.full(size + 2, -1, dtype=np.int64)
    after = np.empty(2 * (num + size), dtype=np.int64)
    large = 1 << 40  # no cut goes through such an arc: above any sum of costs
    count = 0
    for k in range(len(upper)):
        if tight[k]:
            count = _arc(ends, room, heads, after, count, lower[k], upper[k], large)
    for v in range(size):
        if costs[v] < 0:
            count = _arc(ends, room, heads, after, count, source, v, -costs[v])
        elif costs[v] > 0:
            count = _arc(ends, room, heads, after, count, v, sink, costs[v])
    distance = np.empty(size + 2, dtype=np.int64)
    while _search(ends, room, heads, after, distance, source, sink):
        _augment(ends, room, heads, after, distance, source, sink)
    raised = np.zeros(size, dtype=np.bool_)
    for v in range(size):
        raised[v] = distance[v] >= 0
    return raised


@njit(cache=True)
def _arc(ends: Any, room: Any, heads: Any, after: Any, count: int, a: int, b: int, capacity: int) -> int:
    ends[count], room[count], after[count] = b, capacity, heads[a]
    heads[a] = count
    ends[count + 1], room[count + 1], after[count + 1] = a, 0, heads[b]
    heads[b] = count + 1
    return count + 2


@njit(cache=True)
def _search(ends: Any, room: Any, heads: Any, after: Any, distance: Any, source: int, sink: int) -> bool:
    """Distances from the source through arcs with room, -1 where there is no way."""
    distance[:] = -1
    queue = np.empty(len(distance), dtype=np.int64)
    queue[0] = source
    distance[source] = 0
    first, last = 0, 1
    while first < last:
        v = queue[first]
        first += 1
        arc = heads[v]
        while arc >= 0:
            w = ends[arc]
            if room[arc] > 0 and distance[w] < 0:
                distance[w] = distance[v] + 1
                queue[last] = w
                last += 1
            arc = after[arc]
    return bool(distance[sink] >= 0)


@njit(cache=True)
def _augment(ends: Any, room: Any, heads: Any, after: Any, distance: Any, source: int, sink: int) -> None:
    """A blocking flow along shortest ways (E. Dinic, Soviet Math. Doklady 11, 1970)."""
    now = heads.copy()
    path = np.empty(len(distance), dtype=np.int64)
    depth = 0
    v = source
    while True:
        if v == sink:
            least = room[path[0]]
            for i in range(1, depth):
                least = min(least, room[path[i]])
            cut = 0
            for i in range(depth - 1, -1, -1):
                room[path[i]] -= least
                room[path[i] ^ 1] += least
                if room[path[i]] == 0:
                    cut = i
            v = ends[path[cut] ^ 1]
            depth = cut
            continue
        arc = now[v]
        while arc >= 0 and not (room[arc] > 0 and distance[ends[arc]] == distance[v] + 1):
            arc = after[arc]
        now[v] = arc
        if arc >= 0:
            path[depth] = arc
            depth += 1
            v = ends[arc]
        elif v == source:
            return
        else:
            distance[v] = -2
            depth -= 1
            v = ends[path[depth] ^ 1]
            now[v] = after[now[v]]

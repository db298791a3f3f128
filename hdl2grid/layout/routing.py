"""Route nets by negotiated congestion on four colour planes (L. McMurchie, C. Ebeling, PathFinder, FPGA 1995).

Directions are 0 east, 1 south, 2 west, 3 north. Two nets of one colour may share a tile only where they cross: one
straight along x, the other along y, no device there, and no other colour turning on the tile, for a crossover
straightens all of them.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
from numba import njit

from hdl2grid.layout.arrays import ALONG_X, ALONG_Y, COLOURS, OTHER, Board, Scratch, Shape
from hdl2grid.layout.rng import below

PLAIN, CROSS_X, CROSS_Y = 1, 2, 3


@dataclass(frozen=True)
class RouteParams:
    """Prices in tiles of wire. `present` is the price of a conflict, growing by `growth` a round up to `most`;
    `raise_by` is added to the history of a tile at each conflict; `rounds` and `stall` limit the rounds; searches stay
    within `slack` tiles of a net's box, unless that fails."""

    present: float = 1.0
    growth: float = 1.06
    most: float = 25.0
    raise_by: float = 0.8
    decay: float = 0.995
    bend: float = 0.25
    cross: float = 4.0
    slack: int = 6
    rounds: int = 60
    stall: int = 20


@njit(cache=True)
def push(heap_cost: Any, heap_state: Any, size: int, cost: float, state: int) -> int:
    i = size
    while i > 0:
        parent = (i - 1) >> 1
        if heap_cost[parent] <= cost:
            break
        heap_cost[i] = heap_cost[parent]
        heap_state[i] = heap_state[parent]
        i = parent
    heap_cost[i] = cost
    heap_state[i] = state
    return size + 1


@njit(cache=True)
def pop(heap_cost: Any, heap_state: Any, size: int) -> int:
    """Removes the top (read it before); returns the new size."""
    size -= 1
    cost = heap_cost[size]
    state = heap_state[size]
    i = 0
    while True:
        child = 2 * i + 1
        if child >= size:
            break
        if child + 1 < size and heap_cost[child + 1] < heap_cost[child]:
            child += 1
        if heap_cost[child] >= cost:
            break
        heap_cost[i] = heap_cost[child]
        heap_state[i] = heap_state[child]
        i = child
    heap_cost[i] = cost
    heap_state[i] = state
    return size


@njit(cache=True)
def neighbour(tile: int, d: int, width: int, height: int) -> int:
    """The next tile in direction `d`, or -1 outside the grid."""
    x = tile % width
    if d == 0:
        return tile + 1 if x + 1 < width else -1
    if d == 2:
        return tile - 1 if x > 0 else -1
    if d == 1:
        return tile + width if tile + width < width * height else -1
    return tile - width if tile >= width else -1


@njit(cache=True)
def crosses(c: int, tile: int, board: Board) -> bool:
    on = board.ways_on
    return bool(on[c, tile, 0] == 1 and on[c, tile, 1] == 1 and on[c, tile, 2] == 0)


@njit(cache=True)
def lay(net: int, board: Board, sign: int) -> None:
    """Add (`sign` 1) or remove (-1) a routed net to what lies on the tiles."""
    c = net % COLOURS
    for i in range(board.length[net]):
        tile = board.route[net, i]
        if crosses(c, tile, board):
            board.crossings[tile] -= 1
        board.ways_on[c, tile, board.ways[net, i]] += sign
        if crosses(c, tile, board):
            board.crossings[tile] += 1


@njit(cache=True)
def lay_all(board: Board) -> None:
    board.ways_on[:, :, :] = 0
    board.crossings[:] = 0
    for net in range(board.length.shape[0]):
        lay(net, board, 1)


@njit(cache=True)
def load(c: int, tile: int, board: Board) -> int:
    return int(board.ways_on[c, tile, 0] + board.ways_on[c, tile, 1] + board.ways_on[c, tile, 2])


@njit(cache=True)
def grid_tile(tile: int, shape: Shape, board: Board) -> int:
    cell = shape.cell_of[tile]
    return int((board.y[cell] + board.dy[tile]) * board.size[0] + board.x[cell] + board.dx[tile])


@njit(cache=True)
def pins_of(net: int, shape: Shape, board: Board, pins: Any) -> int:
    """Grid tiles that the net must join, drivers first; 0 if the net does not exist."""
    s, c = net // COLOURS, net % COLOURS
    if board.usage[s, c] == 0:
        return 0
    count = 0
    for k in range(shape.drive_start[s], shape.drive_start[s + 1]):
        pins[count] = grid_tile(shape.drive_tiles[k], shape, board)
        count += 1
    for j in range(shape.of_start[s], shape.of_start[s + 1]):
        v = shape.of_vars[j]
        if board.colour[v] == c:
            for k in range(shape.var_start[v], shape.var_start[v + 1]):
                pins[count] = grid_tile(shape.var_tiles[k], shape, board)
                count += 1
    return count


@njit(cache=True)
def settle(net: int, count: int, board: Board, mine: Any) -> None:
    """Work out what the net does on each of its tiles, from the tiles of its own that touch."""
    width, height = board.size[0], board.size[1]
    for i in range(count):
        tile = board.route[net, i]
        way = OTHER
        if mine[tile] == CROSS_X:
            way = ALONG_X
        elif mine[tile] == CROSS_Y:
            way = ALONG_Y
        elif board.tile_at[tile] < 0:
            mask = 0
            for d in range(4):
                near = neighbour(tile, d, width, height)
                if near >= 0 and mine[near] != 0:
                    mask |= 1 << d
            if mask == 0b0101:
                way = ALONG_X
            elif mask == 0b1010:
                way = ALONG_Y
        board.ways[net, i] = way


@njit(cache=True)
def route_net(
    net: int,
    shape: Shape,
    board: Board,
    scratch: Scratch,
    present: float,
    bend: float,
    cross: float,
    slack: int,
) -> bool:
    """Join all pins of one net by a tree grown from its first pin: each search goes on where the last one ended.

    A state is `kind * area + tile`: kind 0 is a tile of the tree, 1 + d a plain tile entered in direction d, 5 + d
    a tile that is crossed in direction d. What touches a tile is charged when the tile is left, for only then is it
    known which way goes on. Returns False, with only the pins laid, where a pin cannot be reached.
    """
    width, height = board.size[0], board.size[1]
    area = width * height
    c = net % COLOURS
    dist, prev, version, mine, target = (
        scratch.dist,
        scratch.prev,
        scratch.version,
        scratch.mine,
        scratch.target,
    )
    heap_cost, heap_state, pins = scratch.heap_cost, scratch.heap_state, scratch.pins
    n_pins = pins_of(net, shape, board, pins)
    board.length[net] = 0
    if n_pins == 0:
        return True
    scratch.stamp[0] += 1
    now = scratch.stamp[0]
    x0, y0, x1, y1 = width, height, 0, 0
    left = -1
    for k in range(n_pins):
        if target[pins[k]] == 0:
            target[pins[k]] = 1
            left += 1
        x, y = pins[k] % width, pins[k] // width
        x0, x1, y0, y1 = min(x0, x), max(x1, x), min(y0, y), max(y1, y)
    x0, y0, x1, y1 = x0 - slack, y0 - slack, x1 + slack, y1 + slack
    root = pins[0]
    target[root] = 2
    mine[root] = PLAIN
    board.route[net, 0] = root
    count = 1
    room = board.route.shape[1] - 1
    size = push(heap_cost, heap_state, 0, 0.0, root)
    dist[root] = 0.0
    prev[root] = -1
    version[root] = now
    full = heap_cost.shape[0] - 16
    while left > 0 and 0 < size < full and count < room:
        g = heap_cost[0]
        state = heap_state[0]
        size = pop(heap_cost, heap_state, size)
        if g > dist[state] + 1e-9:
            continue
        kind = state // area
        tile = state - kind * area
        if (kind >= 1) != (mine[tile] == 0):
            continue
        if kind <= 4 and target[tile] == 1:
            target[tile] = 2
            left -= 1
            back = state
            while back >= 0 and count < room:
                k = back // area
                t = back - k * area
                if mine[t] == PLAIN:
                    break
                if mine[t] == 0:
                    board.route[net, count] = t
                    count += 1
                if k >= 5:
                    mine[t] = CROSS_X if (k - 5) % 2 == 0 else CROSS_Y
                else:
                    mine[t] = PLAIN
                    dist[t] = 0.0
                    prev[t] = -1
                    version[t] = now
                    size = push(heap_cost, heap_state, size, 0.0, t)
                back = prev[back]
            continue
        came = -1
        if 1 <= kind <= 4:
            came = kind - 1
        elif kind >= 5:
            came = kind - 5
        for d in range(4):
            if kind >= 5 and d != came:
                continue
            if 1 <= kind <= 4 and d == (came + 2) % 4:
                continue
            to = neighbour(tile, d, width, height)
            if to < 0 or mine[to] != 0:
                continue
            device = board.tile_at[to] >= 0
            if device and target[to] == 0:
                continue
            x, y = to % width, to // width
            if x < x0 or x > x1 or y < y0 or y > y1:
                continue
            step = g
            if kind <= 4:
                if d != came:
                    step += bend + present * board.crossings[tile]
                if kind >= 1:
                    for e in range(4):
                        if e != d and e != (came + 2) % 4:
                            side = neighbour(tile, e, width, height)
                            if side >= 0:
                                step += present * load(c, side, board)
            on = load(c, to, board)
            cost = step + 1.0 + board.history[c, to] + 2.0 * present * on
            new = (1 + d) * area + to
            if version[new] != now or cost < dist[new] - 1e-9:
                dist[new] = cost
                prev[new] = state
                version[new] = now
                size = push(heap_cost, heap_state, size, cost, new)
            if on == 1 and not device and board.ways_on[c, to, 1 - d % 2] == 1:
                turning = 0
                for o in range(COLOURS):
                    if o != c:
                        turning += board.ways_on[o, to, 2]
                cost = (
                    step + 1.0 + (0.3 * cross if board.crossings[to] > 0 else cross) + 2.0 * present * turning
                )
                new = (5 + d) * area + to
                if version[new] != now or cost < dist[new] - 1e-9:
                    dist[new] = cost
                    prev[new] = state
                    version[new] = now
                    size = push(heap_cost, heap_state, size, cost, new)
    if left > 0:
        for i in range(count):
            mine[board.route[net, i]] = 0
        count = 0
        for k in range(n_pins):
            if mine[pins[k]] == 0:
                board.route[net, count] = pins[k]
                mine[pins[k]] = PLAIN
                count += 1
    settle(net, count, board, mine)
    board.length[net] = count
    for i in range(count):
        mine[board.route[net, i]] = 0
    for k in range(n_pins):
        target[pins[k]] = 0
    return bool(left == 0)


@njit(cache=True)
def reroute(
    net: int,
    shape: Shape,
    board: Board,
    scratch: Scratch,
    present: float,
    bend: float,
    cross: float,
    slack: int,
) -> None:
    """Rip up one net and route it anew, in the whole grid where `slack` does not suffice."""
    lay(net, board, -1)
    board.reached[net] = route_net(net, shape, board, scratch, present, bend, cross, slack)
    if not board.reached[net]:
        wide = board.size[0] + board.size[1]
        board.reached[net] = route_net(net, shape, board, scratch, present, bend, cross, wide)
    lay(net, board, 1)


@njit(cache=True)
def facing(c: int, tile: int, axis: int, scratch: Scratch) -> int:
    """The net whose wire on `tile` points along `axis`; -1 for none, -2 where it cannot be told."""
    count = scratch.number[c, tile]
    if count == 0:
        return -1
    if count == 1:
        return int(scratch.nets_on[c, tile, 0])
    if count == 2:
        for i in range(2):
            if scratch.ways_of[c, tile, i] == axis:
                return int(scratch.nets_on[c, tile, i])
    return -2


@njit(cache=True)
def blame(c: int, tile: int, board: Board, scratch: Scratch, raise_by: float) -> None:
    for i in range(min(2, scratch.number[c, tile])):
        board.bad[scratch.nets_on[c, tile, i]] = True
    board.history[c, tile] += raise_by


@njit(cache=True)
def find_conflicts(board: Board, scratch: Scratch, raise_by: float) -> int:
    """Count what is illegal; mark the nets concerned in `bad`, and raise `history` on the tiles.

    Conflicts are: a net with an unreached pin (counts 4), two nets on a tile that do not cross there, a net that turns
    on another's crossover, two nets of one colour side by side.
    """
    width, height = board.size[0], board.size[1]
    number, nets_on, ways_of = scratch.number, scratch.nets_on, scratch.ways_of
    number[:, :] = 0
    board.bad[:] = False
    conflicts = 0
    for n in range(board.length.shape[0]):
        if board.length[n] == 0:
            continue
        if not board.reached[n]:
            conflicts += 4
            board.bad[n] = True
        c = n % COLOURS
        for i in range(board.length[n]):
            tile = board.route[n, i]
            if number[c, tile] < 2:
                nets_on[c, tile, number[c, tile]] = n
                ways_of[c, tile, number[c, tile]] = board.ways[n, i]
            else:
                conflicts += 1
                board.bad[n] = True
                board.history[c, tile] += raise_by
            number[c, tile] += 1
    for tile in range(width * height):
        crossed = False
        for c in range(COLOURS):
            if number[c, tile] >= 2:
                if (
                    number[c, tile] == 2
                    and board.tile_at[tile] < 0
                    and ways_of[c, tile, 0] + ways_of[c, tile, 1] == ALONG_X + ALONG_Y
                    and ways_of[c, tile, 0] != ways_of[c, tile, 1]
                ):
                    crossed = True
                else:
                    conflicts += 1
                    blame(c, tile, board, scratch, raise_by)
        if crossed:
            for c in range(COLOURS):
                if number[c, tile] == 1 and ways_of[c, tile, 0] == OTHER:
                    conflicts += 1
                    for o in range(COLOURS):
                        if o == c or number[o, tile] == 2:
                            blame(o, tile, board, scratch, raise_by if o == c else 0.0)
        for c in range(COLOURS):
            if number[c, tile] == 0:
                continue
            for d in range(2):
                to = neighbour(tile, d, width, height)
                if to < 0 or number[c, to] == 0:
                    continue
                a = facing(c, tile, d, scratch)
                b = facing(c, to, d, scratch)
                if a >= 0 and b >= 0 and a != b:
                    conflicts += 1
                    board.bad[a] = True
                    board.bad[b] = True
                    board.history[c, tile] += raise_by
                    board.history[c, to] += raise_by
    return conflicts


@njit(cache=True)
def negotiate(
    rng: Any, shape: Shape, board: Board, scratch: Scratch, rounds: int, stall: int, present: float, growth: float,
    most: float, raise_by: float, decay: float, bend: float, cross: float, slack: int,
) -> Any:  # fmt: skip
    """Rip up and reroute the nets marked in `bad`, round by round, until nothing is illegal.

    `lay_all` must have been called. Ends after `rounds` rounds, or when `stall` rounds have not bettered the least count
    of conflicts. The least illegal routes met stay on the board; returns (conflicts, rounds used).
    """
    n_nets = board.length.shape[0]
    best = 1 << 30
    best_route, best_ways = board.route.copy(), board.ways.copy()
    best_length, best_reached = board.length.copy(), board.reached.copy()
    since = 0
    order = np.zeros(n_nets, np.int64)
    count = 0
    for n in range(n_nets):
        if board.usage[n // COLOURS, n % COLOURS] > 0 or board.length[n] > 0:
            order[count] = n
            count += 1
    used = 0
    conflicts = 0
    for turn in range(rounds):
        used = turn + 1
        for i in range(count - 1, 0, -1):
            j = below(rng, i + 1)
            order[i], order[j] = order[j], order[i]
        innocents = 2 if turn > 0 else 0
        for i in range(count):
            n = order[i]
            if not board.bad[n]:
                if innocents == 0:
                    continue
                innocents -= 1
            reroute(n, shape, board, scratch, present, bend, cross, slack)
        for c in range(COLOURS):
            for t in range(board.history.shape[1]):
                board.history[c, t] *= decay
        conflicts = find_conflicts(board, scratch, raise_by)
        if conflicts < best:
            best = conflicts
            for k in range(count):
                n = order[k]
                size = board.length[n]
                best_route[n, :size], best_ways[n, :size] = board.route[n, :size], board.ways[n, :size]
                best_length[n], best_reached[n] = size, board.reached[n]
            since = 0
        else:
            since += 1
        if conflicts == 0 or since >= stall:
            break
        present = min(most, present * growth)
    if conflicts > best:
        for k in range(count):
            n = order[k]
            size = best_length[n]
            board.route[n, :size], board.ways[n, :size] = best_route[n, :size], best_ways[n, :size]
            board.length[n], board.reached[n] = size, best_reached[n]
        lay_all(board)
        find_conflicts(board, scratch, 0.0)
    return best, used


def route(
    shape: Shape, board: Board, scratch: Scratch, params: RouteParams, seed_state: Any
) -> tuple[int, int]:
    """Route all nets marked bad on a laid board; returns (conflicts left, rounds used)."""
    conflicts, used = negotiate(
        seed_state, shape, board, scratch, params.rounds, params.stall, params.present, params.growth, params.most,
        params.raise_by, params.decay, params.bend, params.cross, params.slack,
    )  # fmt: skip
    return int(conflicts), int(used)


def rip_all(board: Board) -> None:
    """Take every wire off the board and mark every net to be routed."""
    board.length[:] = 0
    board.reached[:] = False
    board.bad[:] = True
    board.ways_on[:] = 0
    board.crossings[:] = 0

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
WORST = 10.0
"""History of a tile never gets dearer than this, or searches would wander over the whole grid."""


@dataclass(frozen=True)
class RouteParams:
    """Prices in tiles of wire. `present` is the price of a conflict, growing by `growth` a round up to `most`;
    `raise_by` is added to the history of a tile at each conflict; `rounds` and `stall` limit the rounds; searches stay
    within `slack` tiles of a net's box, unless that fails."""

    present: float = 1.0
    growth: float = 1.06
    most: float = 12.0
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
def joined(tile: int, d: int, board: Board, mine: Any) -> int:
    """The tile next to `tile` in direction `d` that the net's own wire joins it to, or -1."""
    if mine[tile] != PLAIN and (mine[tile] == CROSS_X) != (d % 2 == 0):
        return -1
    to = neighbour(tile, d, board.size[0], board.size[1])
    if to < 0 or mine[to] == 0 or (mine[to] != PLAIN and (mine[to] == CROSS_X) != (d % 2 == 0)):
        return -1
    return to


@njit(cache=True)
def prune(net: int, board: Board, scratch: Scratch, n_pins: int) -> int:
    """Keep what is sound of a net that has just been taken up; returns the tiles left, which stand in `mine`.

    Tiles that clash or lie under a strange device go, then all loose ends, then every part but the one with most pins.
    `target` is 1 on the net's pins.
    """
    mine, target, queue, part = scratch.mine, scratch.target, scratch.queue, scratch.part
    c = net % COLOURS
    size = board.length[net]
    for i in range(size):
        tile = board.route[net, i]
        pin = target[tile] == 1
        if pin or (not board.clash[c, tile] and board.tile_at[tile] < 0):
            way = board.ways[net, i]
            if pin or load(c, tile, board) == 0:
                mine[tile] = PLAIN
            elif way != OTHER:
                mine[tile] = CROSS_X if way == ALONG_X else CROSS_Y
    for i in range(size):
        tile = board.route[net, i]
        while mine[tile] != 0 and target[tile] == 0:
            ends = 0
            following = -1
            for d in range(4):
                to = joined(tile, d, board, mine)
                if to >= 0:
                    ends += 1
                    following = to
            if ends >= 2:
                break
            mine[tile] = 0
            if following < 0:
                break
            tile = following
    best, best_pins, parts = 0, 0, 0
    for i in range(size):
        part[board.route[net, i]] = 0
    for i in range(size):
        tile = board.route[net, i]
        if mine[tile] == 0 or part[tile] != 0 or target[tile] == 0:
            continue
        parts += 1
        part[tile] = parts
        queue[0] = tile
        head, tail, pins = 0, 1, 0
        while head < tail:
            at = queue[head]
            head += 1
            pins += target[at]
            for d in range(4):
                to = joined(at, d, board, mine)
                if to >= 0 and part[to] == 0:
                    part[to] = parts
                    queue[tail] = to
                    tail += 1
        if pins > best_pins:
            best, best_pins = parts, pins
    count = 0
    for i in range(size):
        tile = board.route[net, i]
        if mine[tile] != 0 and part[tile] == best and best > 0:
            board.route[net, count] = tile
            count += 1
        else:
            mine[tile] = 0
    return count


@njit(cache=True)
def next_target(net: int, count: int, n_pins: int, board: Board, scratch: Scratch) -> int:
    """The pin not yet joined that is nearest to the tree."""
    width = board.size[0]
    best, best_distance = -1, 1 << 30
    for k in range(n_pins):
        pin = scratch.pins[k]
        if scratch.target[pin] != 1:
            continue
        x, y = pin % width, pin // width
        for i in range(count):
            tile = board.route[net, i]
            d = abs(tile % width - x) + abs(tile // width - y)
            if d < best_distance:
                best, best_distance = pin, d
    return best


@njit(cache=True)
def search(
    net: int, goal: int, count: int, board: Board, scratch: Scratch, present: float, bend: float, cross: float, box: Any
) -> int:  # fmt: skip
    """A cheapest way from the net's tree to `goal` (A*: P. E. Hart, N. J. Nilsson, B. Raphael, 1968).

    A state is `kind * area + tile`: kind 0 is a tile of the tree, 1 + d a plain tile entered in direction d, 5 + d
    a tile that is crossed in direction d. What touches a tile is charged when the tile is left, for only then is it
    known which way goes on. Returns the last state, or -1.
    """
    width, height = board.size[0], board.size[1]
    area = width * height
    c = net % COLOURS
    dist, prev, version, mine = scratch.dist, scratch.prev, scratch.version, scratch.mine
    heap_cost, heap_state = scratch.heap_cost, scratch.heap_state
    scratch.stamp[0] += 1
    now = scratch.stamp[0]
    gx, gy = goal % width, goal // width
    size = 0
    for i in range(count):
        tile = board.route[net, i]
        if mine[tile] == PLAIN:
            dist[tile] = 0.0
            prev[tile] = -1
            version[tile] = now
            ahead = abs(tile % width - gx) + abs(tile // width - gy)
            size = push(heap_cost, heap_state, size, float(ahead), tile)
    full = heap_cost.shape[0] - 16
    while 0 < size < full:
        f = heap_cost[0]
        state = heap_state[0]
        size = pop(heap_cost, heap_state, size)
        kind = state // area
        tile = state - kind * area
        g = dist[state]
        if f > g + abs(tile % width - gx) + abs(tile // width - gy) + 1e-9:
            continue
        if tile == goal and kind <= 4:
            return int(state)
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
            if device and scratch.target[to] == 0:
                continue
            x, y = to % width, to // width
            if x < box[0] or x > box[2] or y < box[1] or y > box[3]:
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
            ahead = abs(x - gx) + abs(y - gy)
            on = load(c, to, board)
            cost = step + 1.0 + board.history[c, to] + 2.0 * present * on
            new = (1 + d) * area + to
            if version[new] != now or cost < dist[new] - 1e-9:
                dist[new] = cost
                prev[new] = state
                version[new] = now
                size = push(heap_cost, heap_state, size, cost + ahead, new)
            if on == 1 and not device and board.ways_on[c, to, 1 - d % 2] == 1:
                turning = 0
                for o in range(COLOURS):
                    if o != c:
                        turning += board.ways_on[o, to, 2]
                cost = step + 1.0 + (0.3 * cross if board.crossings[to] > 0 else cross) + 2.0 * present * turning
                new = (5 + d) * area + to
                if version[new] != now or cost < dist[new] - 1e-9:
                    dist[new] = cost
                    prev[new] = state
                    version[new] = now
                    size = push(heap_cost, heap_state, size, cost + ahead, new)
    return -1


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
    keep: bool,
) -> bool:
    """Join all pins of a net that has been taken up by a tree, pin by pin, nearest first.

    With `keep` the sound part of the old tree stays. Returns False, with only the pins laid, where a pin cannot be
    reached within `slack` tiles around the pins' box.
    """
    width, height = board.size[0], board.size[1]
    area = width * height
    mine, target, pins = scratch.mine, scratch.target, scratch.pins
    n_pins = pins_of(net, shape, board, pins)
    if n_pins == 0:
        board.length[net] = 0
        return True
    box = scratch.box
    box[0], box[1], box[2], box[3] = width, height, 0, 0
    left = 0
    for k in range(n_pins):
        if target[pins[k]] == 0:
            target[pins[k]] = 1
            left += 1
        x, y = pins[k] % width, pins[k] // width
        box[0], box[1], box[2], box[3] = min(box[0], x), min(box[1], y), max(box[2], x), max(box[3], y)
    box[0], box[1], box[2], box[3] = box[0] - slack, box[1] - slack, box[2] + slack, box[3] + slack
    count = 0
    if keep:
        count = prune(net, board, scratch, n_pins)
    if count == 0:
        mine[pins[0]] = PLAIN
        board.route[net, 0] = pins[0]
        count = 1
    for i in range(count):
        if target[board.route[net, i]] == 1:
            target[board.route[net, i]] = 2
            left -= 1
    room = board.route.shape[1] - 1
    while left > 0:
        goal = next_target(net, count, n_pins, board, scratch)
        back = search(net, goal, count, board, scratch, present, bend, cross, box)
        if back < 0:
            break
        while back >= 0 and count < room:
            k = back // area
            t = back - k * area
            if mine[t] != 0:
                break
            board.route[net, count] = t
            count += 1
            if target[t] == 1:
                target[t] = 2
                left -= 1
            mine[t] = PLAIN if k < 5 else (CROSS_X if (k - 5) % 2 == 0 else CROSS_Y)
            back = scratch.prev[back]
        if count >= room:
            break
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
    net: int, shape: Shape, board: Board, scratch: Scratch, present: float, bend: float, cross: float, slack: int,
    keep: bool,
) -> None:  # fmt: skip
    """Rip up one net, or with `keep` what is wrong of it, and route it anew; in the whole grid if need be."""
    lay(net, board, -1)
    board.reached[net] = route_net(net, shape, board, scratch, present, bend, cross, slack, keep)
    if not board.reached[net]:
        wide = board.size[0] + board.size[1]
        board.reached[net] = route_net(net, shape, board, scratch, present, bend, cross, wide, False)
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
    board.clash[c, tile] = True
    board.history[c, tile] = min(WORST, board.history[c, tile] + raise_by)


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
    board.clash[:, :] = False
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
                board.clash[c, tile] = True
                board.history[c, tile] = min(WORST, board.history[c, tile] + raise_by)
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
                    for t in (tile, to):
                        board.clash[c, t] = True
                        board.history[c, t] = min(WORST, board.history[c, t] + raise_by)
    return conflicts


@njit(cache=True)
def negotiate(
    rng: Any, shape: Shape, board: Board, scratch: Scratch, rounds: int, stall: int, present: float, growth: float,
    most: float, raise_by: float, decay: float, bend: float, cross: float, slack: int,
) -> Any:  # fmt: skip
    """Rip up and reroute the nets marked in `bad`, round by round, until nothing is illegal.

    `lay_all` must have been called. Ends after `rounds` rounds, or when `stall` rounds have not bettered the least
    count of conflicts. The least illegal routes met stay on the board; returns (conflicts, rounds used).
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
            many = shape.sig_start[n // COLOURS + 1] - shape.sig_start[n // COLOURS]
            keep = turn == 0 or below(rng, 8) < (3 if many < 8 else 6)
            reroute(n, shape, board, scratch, present, bend, cross, slack, keep)
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


def route(shape: Shape, board: Board, scratch: Scratch, params: RouteParams, seed_state: Any) -> tuple[int, int]:
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

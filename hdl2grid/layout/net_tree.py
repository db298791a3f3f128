"""Grow the tree of one net: what is sound of the old one is kept, then pin by pin by A*."""

from __future__ import annotations

from typing import Any, NamedTuple

import numpy as np
from numba import njit

from hdl2grid.layout.arrays import ALONG_X, ALONG_Y, COLOURS, OTHER, Board, Scratch, Shape
from hdl2grid.layout.occupancy import load, neighbour, pins_of

PLAIN, CROSS_X, CROSS_Y = 1, 2, 3
"""In `Scratch.mine`: a tile of the net's own tree where it may branch, or one that it crosses along x, along y."""
ALONE: Any = np.int64(1)
"""One copy: with its type, for numba compiles a kernel once more for a bare 1."""
ANEW: Any = np.bool_(False)
"""Nothing kept: with its type, as above."""


class Prices(NamedTuple):
    """Of a way, in tiles of wire: `present` of what is in conflict now, `bend` of a turn, `cross` of a crossover."""

    present: float
    bend: float
    cross: float


@njit(cache=True)
def push(heap_cost: Any, heap_state: Any, size: int, cost: float, state: int) -> int:
    """Put a state on the heap; returns the new size."""
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
def joined(tile: int, d: int, board: Board, mine: Any) -> int:
    """The tile next to `tile` in direction `d` that the net's own wire joins it to, or -1."""
    if mine[tile] != PLAIN and (mine[tile] == CROSS_X) != (d % 2 == 0):
        return -1
    to = neighbour(tile, d, board.size[0], board.size[1])
    if to < 0 or mine[to] == 0 or (mine[to] != PLAIN and (mine[to] == CROSS_X) != (d % 2 == 0)):
        return -1
    return to


@njit(cache=True)
def settle(net: int, count: int, board: Board, mine: Any) -> None:
    """Work out what the net does on each of its tiles, from the tiles of its own that touch; count its straight runs
    and the tiles where it turns."""
    strokes = bends = 0
    for i in range(count):
        tile = board.route[net, i]
        mask = 0
        for d in range(4):
            if joined(tile, d, board, mine) >= 0:
                mask |= 1 << d
        way = OTHER
        if mine[tile] == CROSS_X:
            way = ALONG_X
        elif mine[tile] == CROSS_Y:
            way = ALONG_Y
        elif board.tile_at[tile] < 0:
            if mask == 0b0101:
                way = ALONG_X
            elif mask == 0b1010:
                way = ALONG_Y
        board.ways[net, i] = way
        strokes += (mask & 0b0101 == 0b0001) + (mask & 0b1010 == 0b0010) + (mask == 0)
        bends += mask == 0b0011 or mask == 0b0110 or mask == 0b1100 or mask == 0b1001
    board.strokes[net], board.bends[net] = strokes, bends


@njit(cache=True)
def prune(net: int, board: Board, scratch: Scratch, size: int, copies: int) -> int:
    """Keep what is sound of a net that has just been taken up; returns the tiles left, which stand in `mine`.

    Of its first `size` tiles those that clash in one of the copies or lie under a strange device go, then all loose
    ends, then every part but the one with most pins. `target` is 1 on the net's pins.
    """
    mine, target, queue, part = scratch.mine, scratch.target, scratch.queue, scratch.part
    c = net % COLOURS
    for i in range(size):
        tile = board.route[net, i]
        pin = target[tile] == 1
        sound = True
        others = 0
        for k in range(copies):
            at = tile + scratch.offs[k, 0]
            sound = sound and not board.clash[c, at] and board.tile_at[at] < 0
            others += load(c, at, board)
        if pin or sound:
            way = board.ways[net, i]
            if pin or others == 0:
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
def own_copies(tile: int, copies: int, area: int, scratch: Scratch) -> int:
    """Tiles of the net's tree, as laid in the copies, that come to lie on `tile` as laid in another copy."""
    count = 0
    for k in range(copies):
        for j in range(copies):
            if j != k:
                at = tile + scratch.offs[k, 0] - scratch.offs[j, 0]
                count += 0 <= at < area and scratch.mine[at] != 0
    return count


@njit(cache=True)
def search(net: int, goal: int, count: int, board: Board, scratch: Scratch, prices: Prices, copies: int) -> int:
    """A cheapest way from the net's tree to `goal` (A*: P. E. Hart, N. J. Nilsson, B. Raphael, 1968).

    A state is `kind * area + tile`: kind 0 is a tile of the tree, 1 + d a plain tile entered in direction d, 5 + d
    a tile that is crossed in direction d. What touches a tile is charged when the tile is left, for only then is it
    known which way goes on. Of a net in `copies` copies the way is searched once, at the price of all of them: they
    lie `scratch.offs` further, and `scratch.box` is such that none leaves the grid. Returns the last state, or -1.
    """
    width, height = board.size[0], board.size[1]
    area = width * height
    c = net % COLOURS
    dist, prev, version, mine, offs = scratch.dist, scratch.prev, scratch.version, scratch.mine, scratch.offs
    heap_cost, heap_state, box = scratch.heap_cost, scratch.heap_state, scratch.box
    present, bend, cross = prices.present, prices.bend, prices.cross
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
            ahead = copies * (abs(tile % width - gx) + abs(tile // width - gy))
            size = push(heap_cost, heap_state, size, float(ahead), tile)
    full = heap_cost.shape[0] - 16
    while 0 < size < full:
        f = heap_cost[0]
        state = heap_state[0]
        size = pop(heap_cost, heap_state, size)
        kind = state // area
        tile = state - kind * area
        g = dist[state]
        if f > g + copies * (abs(tile % width - gx) + abs(tile // width - gy)) + 1e-9:
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
            x, y = to % width, to // width
            if x < box[0] or x > box[2] or y < box[1] or y > box[3]:
                continue
            pin = scratch.target[to] != 0
            device = False
            on = crossed = 0
            past = 0.0
            straight = True
            for k in range(copies):
                at = to + offs[k, 0]
                device = device or board.tile_at[at] >= 0
                lies = load(c, at, board)
                on += lies
                past += board.history[c, at]
                if lies > 0:
                    crossed += 1
                    straight = straight and lies == 1 and board.ways_on[c, at, 1 - d % 2] == 1
            if device and not pin:
                continue
            if copies > 1:
                twice = own_copies(to, copies, area, scratch)
                on += twice
                straight = straight and twice == 0
            step = g
            if kind <= 4:
                if d != came:
                    step += bend * copies
                    for k in range(copies):
                        step += present * board.crossings[tile + offs[k, 0]]
                if kind >= 1:
                    for e in range(4):
                        if e != d and e != (came + 2) % 4:
                            for k in range(copies):
                                side = neighbour(tile + offs[k, 0], e, width, height)
                                if side >= 0:
                                    step += present * load(c, side, board)
            ahead = copies * (abs(x - gx) + abs(y - gy))
            cost = step + copies + past + 2.0 * present * on
            new = (1 + d) * area + to
            if version[new] != now or cost < dist[new] - 1e-9:
                dist[new] = cost
                prev[new] = state
                version[new] = now
                size = push(heap_cost, heap_state, size, cost + ahead, new)
            if crossed > 0 and straight and not device:
                cost = step + copies
                for k in range(copies):
                    at = to + offs[k, 0]
                    if load(c, at, board) == 0:
                        for e in ((d + 1) % 4, (d + 3) % 4):
                            side = neighbour(at, e, width, height)
                            if side >= 0:
                                cost += present * load(c, side, board)
                        continue
                    cost += 0.3 * cross if board.crossings[at] > 0 else cross
                    for o in range(COLOURS):
                        if o != c:
                            cost += 2.0 * present * board.ways_on[o, at, 2]
                new = (5 + d) * area + to
                if version[new] != now or cost < dist[new] - 1e-9:
                    dist[new] = cost
                    prev[new] = state
                    version[new] = now
                    size = push(heap_cost, heap_state, size, cost + ahead, new)
    return -1


@njit(cache=True)
def mark_pins(n_pins: int, scratch: Scratch, width: int) -> int:
    """Mark the pins as wanted, and set the box around them; returns their number, each tile counted once."""
    target, pins, box = scratch.target, scratch.pins, scratch.box
    box[0], box[1], box[2], box[3] = 1 << 30, 1 << 30, 0, 0
    left = 0
    for k in range(n_pins):
        if target[pins[k]] == 0:
            target[pins[k]] = 1
            left += 1
        x, y = pins[k] % width, pins[k] // width
        box[0], box[1], box[2], box[3] = min(box[0], x), min(box[1], y), max(box[2], x), max(box[3], y)
    return left


@njit(cache=True)
def grow(
    net: int, count: int, n_pins: int, left: int, board: Board, scratch: Scratch, prices: Prices, copies: int
) -> Any:
    """Join the wanted pins to the net's tree of `count` tiles, or, if it has none, to the first pin, nearest first;
    returns (tiles, pins that were not reached). Where a way crosses itself, its loop is left out; one that there is no
    room for is not a way."""
    mine, target = scratch.mine, scratch.target
    area = board.size[0] * board.size[1]
    if count == 0:
        mine[scratch.pins[0]] = PLAIN
        board.route[net, 0] = scratch.pins[0]
        count = 1
    for i in range(count):
        if target[board.route[net, i]] == 1:
            target[board.route[net, i]] = 2
            left -= 1
    room = board.route.shape[1] - 1
    while left > 0 and count < room:
        goal = next_target(net, count, n_pins, board, scratch)
        back = search(net, goal, count, board, scratch, prices, copies)
        if back < 0:
            break
        scratch.paid[0] += scratch.dist[back]
        first = count
        while back >= 0 and count < room:
            k = back // area
            t = back - k * area
            if mine[t] != 0:
                met = count - 1
                while met >= first and board.route[net, met] != t:
                    met -= 1
                if met < first:
                    break
                for i in range(met + 1, count):
                    tile = board.route[net, i]
                    mine[tile] = 0
                    if target[tile] == 2:
                        target[tile] = 1
                        left += 1
                count = met + 1
                mine[t] = PLAIN
                back = scratch.prev[back]
                continue
            board.route[net, count] = t
            count += 1
            if target[t] == 1:
                target[t] = 2
                left -= 1
            mine[t] = PLAIN if k < 5 else (CROSS_X if (k - 5) % 2 == 0 else CROSS_Y)
            back = scratch.prev[back]
        if count >= room:
            return count, max(1, left)
    return count, left


@njit(cache=True)
def wipe(net: int, count: int, n_pins: int, board: Board, scratch: Scratch) -> None:
    """Leave nothing of a net in the scratch room."""
    for i in range(count):
        scratch.mine[board.route[net, i]] = 0
    for k in range(n_pins):
        scratch.target[scratch.pins[k]] = 0


@njit(cache=True)
def only_pins(net: int, count: int, n_pins: int, board: Board, scratch: Scratch) -> int:
    """Leave of a net that cannot be joined nothing but its pins; returns their number."""
    mine, pins = scratch.mine, scratch.pins
    for i in range(count):
        mine[board.route[net, i]] = 0
    count = 0
    for k in range(n_pins):
        if mine[pins[k]] == 0:
            board.route[net, count] = pins[k]
            mine[pins[k]] = PLAIN
            count += 1
    return count


@njit(cache=True)
def finish(net: int, count: int, n_pins: int, left: int, board: Board, scratch: Scratch) -> bool:
    """End the route of a net: only with its pins, and False, where some of them are `left`."""
    if left > 0:
        count = only_pins(net, count, n_pins, board, scratch)
    settle(net, count, board, scratch.mine)
    board.length[net] = count
    wipe(net, count, n_pins, board, scratch)
    return bool(left == 0)


@njit(cache=True)
def route_net(net: int, shape: Shape, board: Board, scratch: Scratch, prices: Prices, slack: int, keep: bool) -> bool:
    """Join all pins of a net that has been taken up by a tree, pin by pin, nearest first.

    With `keep` the sound part of the old tree stays. Returns False, with only the pins laid, where a pin cannot be
    reached within `slack` tiles around the pins' box. What the ways cost is left in `scratch.paid`.
    """
    board.joint[net] = 0
    scratch.paid[0] = 0.0
    n_pins = pins_of(net, shape, board, scratch.pins, False)
    if n_pins == 0:
        board.length[net] = board.strokes[net] = board.bends[net] = 0
        return True
    left = mark_pins(n_pins, scratch, board.size[0])
    box = scratch.box
    box[0], box[1], box[2], box[3] = box[0] - slack, box[1] - slack, box[2] + slack, box[3] + slack
    scratch.offs[0, 0] = 0
    count = 0
    if keep:
        count = prune(net, board, scratch, board.length[net], ALONE)
    count, left = grow(net, count, n_pins, left, board, scratch, prices, ALONE)
    return finish(net, count, n_pins, left, board, scratch)

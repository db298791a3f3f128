"""Route nets by negotiated congestion on four colour planes (L. McMurchie, C. Ebeling, PathFinder, FPGA 1995).

Two nets of one colour may share a tile only where they cross: one
straight along x, the other along y, no device there, and no other colour turning on the tile, for a crossover
straightens all of them.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
from numba import njit

from hdl2grid.base.rng import below
from hdl2grid.layout.arrays import (
    ALONG_X,
    ALONG_Y,
    COLOURS,
    OTHER,
    WATCH_CONFLICTS,
    WATCH_STOP,
    WATCH_TRIES,
    Board,
    Bools,
    Scratch,
    Shape,
)
from hdl2grid.layout.colouring import clashes_in, count_usage, set_colour
from hdl2grid.layout.matched_routing import route_bundle
from hdl2grid.layout.net_tree import ANEW, Prices, route_net
from hdl2grid.layout.occupancy import (
    blame_first,
    bring_back,
    copies_of,
    grid_tile,
    lay,
    lay_all,
    neighbour,
    put_aside,
)
from hdl2grid.layout.records import Record

SPLIT = 4.0
"""Price of a net, in tiles, where the router changes colours. Guessed."""
BEYOND = 1e9
"""Price of a net that cannot be joined: more than any wire costs."""
WHOLE = 12
"""Nets of so many variables and more are never recoloured as a whole. Guessed."""
ALL: Bools = np.zeros(0, np.bool_)
"""Among all nets."""


@dataclass(frozen=True)
class RouteParams(Record):
    """Prices in tiles of wire, all guessed. `present` is that of a conflict, growing by `growth` a round up to `most`;
    `raise_by` is added to the history of a tile at each conflict; `rounds` and `stall` limit the rounds; searches stay
    within `slack` tiles of a net's box, unless that fails. From round `recolour` on, if it is not 0, nets in
    conflict may change colour. A part `decay` of all history stays after each round."""

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
    recolour: int = 0


@njit(cache=True)
def fade(decay: float, board: Board) -> None:
    """Let only so much of all tiles' history stay."""
    for c in range(COLOURS):
        for tile in range(board.history.shape[1]):
            board.history[c, tile] *= decay


@njit(cache=True)
def leader(net: int, shape: Shape, board: Board, scratch: Scratch) -> int:
    """The net that `net` is laid like, itself if it is laid by itself; `scratch.copies` and `offs` are set for it."""
    lead = COLOURS * shape.lead_sig[net // COLOURS] + net % COLOURS
    if lead != net and copies_of(lead, shape, board, scratch.copies, scratch.offs) > 1:
        return int(lead)
    return net


@njit(cache=True)
def reroute(net: int, shape: Shape, board: Board, scratch: Scratch, prices: Prices, slack: int, keep: bool) -> None:
    """Rip up one net, or with `keep` what is wrong of it, and route it anew; in the whole grid if need be. Nets that
    are laid alike are rerouted together."""
    net = leader(net, shape, board, scratch)
    nets = scratch.copies
    copies = copies_of(net, shape, board, nets, scratch.offs)
    wide = board.size[0] + board.size[1]
    for k in range(copies):
        lay(nets[k], board, -1)
    done = copies > 1 and (
        route_bundle(copies, shape, board, scratch, prices, slack, keep)
        or route_bundle(copies, shape, board, scratch, prices, wide, ANEW)
    )
    if not done:
        for k in range(copies):
            one = nets[k]
            board.reached[one] = route_net(one, shape, board, scratch, prices, slack, keep) or route_net(
                one, shape, board, scratch, prices, wide, ANEW
            )
    for k in range(copies):
        lay(nets[k], board, 1)


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
def make_dearer(c: int, tile: int, board: Board, scratch: Scratch, raise_by: float) -> None:
    """Mark a tile as one that clashes, and raise its history."""
    board.clash[c, tile] = True
    board.history[c, tile] = min(scratch.worst[0], board.history[c, tile] + raise_by)


@njit(cache=True)
def blame(c: int, tile: int, board: Board, scratch: Scratch, raise_by: float) -> None:
    """Mark the nets on a tile as bad, and make the tile dearer."""
    for i in range(min(2, scratch.number[c, tile])):
        board.bad[scratch.nets_on[c, tile, i]] = True
    make_dearer(c, tile, board, scratch, raise_by)


@njit(cache=True)
def is_joined(net: int, board: Board, scratch: Scratch) -> bool:
    """Whether a net's own wire joins all its tiles, crossovers (two nets on a tile, see `number`) being passed
    straight."""
    c, size = net % COLOURS, board.length[net]
    width, height = board.size[0], board.size[1]
    number, mine, queue = scratch.number, scratch.mine, scratch.queue
    for i in range(size):
        mine[board.route[net, i]] = 1 + board.ways[net, i]
    queue[0] = board.route[net, 0]
    mine[queue[0]] *= -1
    head, tail = 0, 1
    while head < tail:
        tile = queue[head]
        head += 1
        for d in range(4):
            if number[c, tile] > 1 and -1 - mine[tile] != d % 2:
                continue
            to = neighbour(tile, d, width, height)
            if to >= 0 and mine[to] > 0 and (number[c, to] < 2 or mine[to] - 1 == d % 2):
                mine[to] *= -1
                queue[tail] = to
                tail += 1
    joined = True
    for i in range(size):
        joined = joined and mine[board.route[net, i]] <= 0
    for i in range(size):
        mine[board.route[net, i]] = 0
    return joined


@njit(cache=True)
def find_conflicts(board: Board, scratch: Scratch, raise_by: float) -> int:
    """Count what is illegal; mark the nets concerned in `bad`, and raise `history` on the tiles.

    Conflicts are: a net with an unreached pin or a part of its own (counts 4), two nets on a tile that do not cross
    there, a net that turns on another's crossover, two nets of one colour side by side.
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
                make_dearer(c, tile, board, scratch, raise_by)
            number[c, tile] += 1
    for n in range(board.length.shape[0]):
        if board.length[n] > 0 and board.reached[n] and not is_joined(n, board, scratch):
            board.reached[n] = False
            board.bad[n] = True
            conflicts += 4
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
                    make_dearer(c, tile, board, scratch, raise_by)
                    make_dearer(c, to, board, scratch, raise_by)
    return conflicts


@njit(cache=True)
def price(net: int, shape: Shape, board: Board, scratch: Scratch, prices: Prices, slack: int) -> float:
    """Route a net that has been taken up; what its wire costs as prices are now."""
    if board.usage[net // COLOURS, net % COLOURS] == 0:
        board.length[net] = board.strokes[net] = board.bends[net] = 0
        board.reached[net] = True
        return 0.0
    board.reached[net] = route_net(net, shape, board, scratch, prices, slack, ANEW)
    return float(scratch.paid[0] + SPLIT) if board.reached[net] else BEYOND


@njit(cache=True)
def pick_movers(rng: Any, net: int, shape: Shape, board: Board, movers: Any) -> int:
    """Variables of a net that are to change colour together, to `movers`: all of a small net, else one near a tile
    that clashes; returns how many."""
    s, a = net // COLOURS, net % COLOURS
    whole = board.usage[s, a] <= below(rng, WHOLE) + 1
    count = 0
    for j in range(shape.of_start[s], shape.of_start[s + 1]):
        if board.colour[shape.of_vars[j]] == a:
            movers[count] = shape.of_vars[j]
            count += 1
    if whole or count < 2:
        return count
    width = board.size[0]
    at = -1
    skip = below(rng, board.length[net])
    for i in range(board.length[net]):
        tile = board.route[net, (i + skip) % board.length[net]]
        if board.clash[a, tile]:
            at = tile
            break
    if at < 0:
        at = board.route[net, skip]
    best, nearest = 0, 1 << 30
    for i in range(count):
        tile = grid_tile(shape.var_tiles[shape.var_start[movers[i]]], shape, board)
        d = abs(tile % width - at % width) + abs(tile // width - at // width)
        if d < nearest:
            best, nearest = i, d
    movers[0] = movers[best]
    return 1


@njit(cache=True)
def recolour_movers(movers: Any, count: int, c: int, shape: Shape, board: Board, seen: Any) -> int:
    """Give variables of one signal and colour another colour; returns by how much clashes on device tiles grow."""
    a = board.colour[movers[0]]
    before = clashes_in(movers[:count], a, c, shape, board, seen)
    for i in range(count):
        set_colour(movers[i], c, shape, board)
    return clashes_in(movers[:count], a, c, shape, board, seen) - before


@njit(cache=True)
def change_colour(
    rng: Any, net: int, shape: Shape, board: Board, scratch: Scratch, prices: Prices, slack: int, movers: Any
) -> None:
    """Reroute a net that is laid by itself, in that colour, of all that its pins allow, which is cheapest now."""
    s, a = net // COLOURS, net % COLOURS
    count = pick_movers(rng, net, shape, board, movers)
    lay(net, board, -1)
    best, best_gain = a, 0.0
    own = price(net, shape, board, scratch, prices, slack)
    for b in range(COLOURS):
        other = COLOURS * s + b
        if b == a:
            continue
        if recolour_movers(movers, count, b, shape, board, scratch.seen) <= 0:
            put_aside(other, board, scratch.aside)
            lay(other, board, -1)
            with_movers = price(other, shape, board, scratch, prices, slack)
            with_movers += price(net, shape, board, scratch, prices, slack)
            recolour_movers(movers, count, a, shape, board, scratch.seen)
            before = own + price(other, shape, board, scratch, prices, slack)
            bring_back(other, board, scratch.aside)
            lay(other, board, 1)
            if before - with_movers > best_gain:
                best, best_gain = b, before - with_movers
        else:
            recolour_movers(movers, count, a, shape, board, scratch.seen)
    wide = board.size[0] + board.size[1]
    if best != a:
        other = COLOURS * s + best
        recolour_movers(movers, count, best, shape, board, scratch.seen)
        lay(other, board, -1)
        if price(other, shape, board, scratch, prices, slack) == BEYOND:
            price(other, shape, board, scratch, prices, wide)
        lay(other, board, 1)
    if price(net, shape, board, scratch, prices, slack) == BEYOND:
        price(net, shape, board, scratch, prices, wide)
    lay(net, board, 1)


@njit(cache=True, nogil=True)
def negotiate(rng: Any, shape: Shape, board: Board, scratch: Scratch, params: RouteParams, among: Any) -> Any:
    """Rip up and reroute the nets marked in `bad`, round by round, until nothing is illegal; of all nets, or of those
    that `among` has True for.

    `lay_all` must have been called. Ends after `params.rounds`, or when `params.stall` rounds have not bettered the
    least count of conflicts. The least illegal routes met stay on the board; returns (conflicts, rounds used).
    """
    n_nets = board.length.shape[0]
    best = 1 << 30
    kept = scratch.kept
    since = 0
    order = np.zeros(n_nets, np.int64)
    count = 0
    movers = np.zeros(board.colour.shape[0], np.int64)
    colours = board.colour.copy()
    present, recolour, slack = params.present, params.recolour, params.slack
    for n in range(n_nets):
        if recolour > 0 or board.usage[n // COLOURS, n % COLOURS] > 0 or board.length[n] > 0:
            order[count] = n
            count += 1
    used = 0
    conflicts = 0
    for turn in range(params.rounds):
        if turn > 0 and shape.watch[WATCH_STOP] != 0:
            break
        used = turn + 1
        prices = Prices(present, params.bend, params.cross)
        for i in range(count - 1, 0, -1):
            j = below(rng, i + 1)
            order[i], order[j] = order[j], order[i]
        innocents = 2 if turn > 0 and among.shape[0] == 0 else 0
        blame_first(shape, board, scratch.copies, scratch.offs)
        for i in range(count):
            n = order[i]
            if among.shape[0] > 0 and not among[n]:
                continue
            if not board.bad[n]:
                if innocents == 0:
                    continue
                innocents -= 1
            if recolour > 0 and turn >= recolour and board.bad[n] and below(rng, 2) == 0:
                alone = leader(n, shape, board, scratch) == n
                if alone and copies_of(n, shape, board, scratch.copies, scratch.offs) == 1:
                    change_colour(rng, n, shape, board, scratch, prices, slack, movers)
                    continue
            many = shape.sig_start[n // COLOURS + 1] - shape.sig_start[n // COLOURS]
            keep = turn == 0 or below(rng, 8) < (3 if many < 8 else 6)
            reroute(n, shape, board, scratch, prices, slack, keep)
        fade(params.decay, board)
        conflicts = find_conflicts(board, scratch, params.raise_by)
        shape.watch[WATCH_CONFLICTS] = conflicts
        shape.watch[WATCH_TRIES] += 1
        if conflicts < best:
            best = conflicts
            for k in range(count):
                put_aside(order[k], board, kept)
            colours[:] = board.colour
            since = 0
        else:
            since += 1
        if conflicts == 0 or since >= params.stall:
            break
        present = min(params.most, present * params.growth)
    if conflicts > best:
        for k in range(count):
            bring_back(order[k], board, kept)
        board.colour[:] = colours
        count_usage(shape, board)
        lay_all(board)
        find_conflicts(board, scratch, 0.0)
    return best, used


def route(
    shape: Shape, board: Board, scratch: Scratch, params: RouteParams, seed_state: Any, among: Bools = ALL
) -> tuple[int, int]:
    """Route all nets marked bad on a laid board, or those `among` them; returns (conflicts left, rounds used)."""
    conflicts, used = negotiate(seed_state, shape, board, scratch, params, among)
    return int(conflicts), int(used)


def rip_all(board: Board) -> None:
    """Take every wire off the board and mark every net to be routed."""
    board.length[:] = 0
    board.reached[:] = False
    board.bad[:] = True
    board.ways_on[:] = 0
    board.crossings[:] = 0

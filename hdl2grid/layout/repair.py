"""Better a routed board by small joint moves of placement, colours and routes.

A try shifts, swaps or mirrors a cell, exchanges two toggles or changes a colour, reroutes the nets concerned for a few
rounds, and is kept or taken back by the rule of N. Metropolis et al. (J. Chem. Phys. 21, 1953). The same engine repairs
(few conflicts are all that counts) and polishes (no conflicts allowed; wire, crossovers and turns count).
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
from numba import njit

from hdl2grid.layout.arrays import COLOURS, OTHER, WATCH_CONFLICTS, WATCH_STOP, WATCH_TRIES, Board, Scratch, Shape
from hdl2grid.layout.colouring import cell_clashes, count_usage, set_colour, variable_clashes
from hdl2grid.layout.placement import (
    PlaceParams,
    fits,
    index_tiles,
    mirror,
    move_to,
    stamp_all,
    swap_cells,
    swap_fits,
)
from hdl2grid.layout.routing import RouteParams, find_conflicts, reroute
from hdl2grid.layout.wires import bring_back, grid_tile, lay, lay_all, neighbour, put_aside, room_for_routes
from hdl2grid.rng import below, unit

SHIFT, SWAP, MIRROR, EXCHANGE, COLOUR = range(5)
NOWHERE = np.zeros(0, np.int64)


@dataclass(frozen=True)
class RepairParams:
    """`tries` and `stall` limit the search; `rounds` of rerouting follow each try. The energy is the sum of the counts
    times their weights; `hot` and `cold` are its temperatures."""

    tries: int = 4000
    stall: int = 1500
    rounds: int = 3
    reach: int = 3
    conflict: float = 1.0
    wire: float = 0.004
    crossover: float = 0.02
    turn: float = 0.002
    hot: float = 0.7
    cold: float = 0.25


@njit(cache=True)
def energy(board: Board, conflicts: int, conflict: float, wire: float, crossover: float, turn: float) -> float:
    tiles = 0
    turns = 0
    for n in range(board.length.shape[0]):
        tiles += board.length[n]
        for i in range(board.length[n]):
            if board.ways[n, i] == OTHER and board.tile_at[board.route[n, i]] < 0:
                turns += 1
    over = 0
    for t in range(board.crossings.shape[0]):
        if board.crossings[t] > 0:
            over += 1
    return conflict * conflicts + wire * tiles + crossover * over + turn * turns


@njit(cache=True)
def pick_cell(rng: Any, shape: Shape, board: Board, net: int) -> int:
    """A movable cell of the net, or one close to a random tile of its route."""
    if below(rng, 2) == 0 or shape.movable.shape[0] == 0:
        s = net // COLOURS
        first = shape.sig_start[s]
        count = shape.sig_start[s + 1] - first
        return int(shape.cell_of[shape.sig_tiles[first + below(rng, count)]])
    width = board.size[0]
    tile = board.route[net, below(rng, board.length[net])]
    x, y = tile % width, tile // width
    best = 0
    best_distance = 1 << 30
    for _ in range(10):
        c = shape.movable[below(rng, shape.movable.shape[0])]
        d = abs(board.x[c] - x) + abs(board.y[c] + shape.h[c] // 2 - y)
        if d < best_distance:
            best_distance = d
            best = c
    return best


@njit(cache=True)
def mark_cell(cell: int, shape: Shape, board: Board) -> None:
    """Mark as bad every net that has a pin on the cell."""
    for k in range(shape.of_cell_start[cell], shape.of_cell_start[cell + 1]):
        for c in range(COLOURS):
            n = COLOURS * shape.of_cell[k] + c
            if board.usage[shape.of_cell[k], c] > 0 or board.length[n] > 0:
                board.bad[n] = True


@njit(cache=True)
def mark_covered(cells: Any, count: int, shape: Shape, board: Board, scratch: Scratch) -> None:
    """Mark as bad every net whose wire lies under a tile of the cells, which have just come there."""
    target = scratch.target
    for i in range(count):
        for k in range(shape.cell_start[cells[i]], shape.cell_start[cells[i] + 1]):
            target[grid_tile(shape.cell_tiles[k], shape, board)] = 1
    for n in range(board.length.shape[0]):
        if not board.bad[n]:
            for i in range(board.length[n]):
                if target[board.route[n, i]] == 1:
                    board.bad[n] = True
                    break
    for i in range(count):
        for k in range(shape.cell_start[cells[i]], shape.cell_start[cells[i] + 1]):
            target[grid_tile(shape.cell_tiles[k], shape, board)] = 0


@njit(cache=True)
def rival(rng: Any, v: int, shape: Shape, board: Board) -> int:
    """A variable of another signal and colour on a tile of variable `v` or on a device tile next to it, or -1."""
    first = shape.var_start[v]
    at = grid_tile(shape.var_tiles[first + below(rng, shape.var_start[v + 1] - first)], shape, board)
    side = below(rng, 8)
    if side < 4:
        at = neighbour(at, side, board.size[0], board.size[1])
    tile = board.tile_at[at] if at >= 0 else -1
    if tile < 0:
        return -1
    first = shape.on_start[tile]
    count = shape.on_start[tile + 1] - first
    if count == 0:
        return -1
    other = shape.on_var[first + below(rng, count)]
    if other < 0 or shape.signal_of[other] == shape.signal_of[v] or board.colour[other] == board.colour[v]:
        return -1
    return int(other)


@njit(cache=True)
def change_colours(rng: Any, net: int, shape: Shape, board: Board, scratch: Scratch, kept: Any, kept_from: Any) -> int:
    """Give one variable of the net, or all, another colour, or trade colours with a rival; mark the nets concerned.

    The variables changed and their old colours go to `kept` and `kept_from`; returns their number, 0 if nothing was
    changed since more tiles would clash.
    """
    s, a = net // COLOURS, net % COLOURS
    if board.usage[s, a] == 0:
        return 0
    b = below(rng, COLOURS)
    dice = below(rng, 3)
    lone = below(rng, board.usage[s, a])
    count = 0
    for j in range(shape.of_start[s], shape.of_start[s + 1]):
        v = shape.of_vars[j]
        if board.colour[v] == a:
            if dice == 0 or lone == 0:
                kept[count] = v
                kept_from[count] = a
                count += 1
            lone -= 1
    if dice == 2:
        other = rival(rng, kept[0], shape, board)
        if other < 0:
            return 0
        b = board.colour[other]
        kept[1] = other
        kept_from[1] = b
        count = 2
    if a == b:
        return 0
    before = 0
    after = 0
    for i in range(count):
        for c in (a, b):
            before += variable_clashes(kept[i], c, shape, board, scratch.seen)
    for i in range(count):
        set_colour(kept[i], a if kept_from[i] == b else b, shape, board)
    for i in range(count):
        for c in (a, b):
            after += variable_clashes(kept[i], c, shape, board, scratch.seen)
    if after > before:
        for i in range(count):
            set_colour(kept[i], kept_from[i], shape, board)
        return 0
    for i in range(count):
        board.bad[COLOURS * shape.signal_of[kept[i]] + a] = True
        board.bad[COLOURS * shape.signal_of[kept[i]] + b] = True
    return count


@njit(cache=True, nogil=True)
def repair(
    rng: Any, shape: Shape, board: Board, scratch: Scratch, tries: int, stall: int, rounds: int, reach: int,
    w_conflict: float, w_wire: float, w_crossover: float, w_turn: float, hot: float, cold: float,
    gx: int, gy: int, margin: int, present: float, growth: float, raise_by: float, decay: float, bend: float,
    cross: float, slack: int, stop: bool, focus: Any,
) -> Any:  # fmt: skip
    """Try moves; the board ends in the best state met. Returns (conflicts, energy, tries used).

    With `stop` it ends as soon as nothing is illegal. Where `focus` names cells, moves are mostly theirs, and the last
    state is kept rather than the best.
    """
    n_nets = board.length.shape[0]
    lay_all(board)
    conflicts = find_conflicts(board, scratch, 0.0)
    now = energy(board, conflicts, w_conflict, w_wire, w_crossover, w_turn)
    best, best_conflicts = now, conflicts
    k_x, k_y, k_dx, k_dy = board.x.copy(), board.y.copy(), board.dx.copy(), board.dy.copy()
    k_colour = board.colour.copy()
    k_routes = room_for_routes(board)
    for n in range(n_nets):
        put_aside(n, board, k_routes)
    k_stale = np.zeros(n_nets, np.bool_)
    o_routes = room_for_routes(board)
    touched = np.zeros(n_nets, np.bool_)
    o_bad = board.bad.copy()
    old = np.zeros(4, np.int64)
    corners = np.zeros(4, np.int64)
    cells = np.zeros(2, np.int64)
    listed = np.zeros(n_nets, np.int64)
    kept = np.zeros(board.colour.shape[0] + 2, np.int64)
    kept_from = np.zeros(board.colour.shape[0] + 2, np.int64)
    since = 0
    used = 0
    ratio = (cold / hot) ** (1.0 / max(1, tries))
    heat = hot
    for turn in range(tries):
        if (stop and conflicts == 0) or since >= stall or shape.watch[WATCH_STOP] != 0:
            break
        shape.watch[WATCH_TRIES] += 1
        shape.watch[WATCH_CONFLICTS] = best_conflicts
        used = turn + 1
        since += 1
        heat *= ratio
        count = 0
        for n in range(n_nets):
            if board.length[n] > 0 and (conflicts == 0 or board.bad[n]):
                listed[count] = n
                count += 1
        if count == 0:
            break
        net = listed[below(rng, count)]
        a = pick_cell(rng, shape, board, net)
        if focus.shape[0] > 0 and below(rng, 4) > 0:
            a = focus[below(rng, focus.shape[0])]
        b = -1
        t1 = t2 = -1
        n_cells = 0
        n_kept = 0
        dice = below(rng, 100)
        o_bad[:] = board.bad
        kind = SHIFT
        legal = False
        if dice < 40:
            px = board.x[a] + below(rng, 2 * reach + 1) - reach
            py = board.y[a] + below(rng, 2 * reach + 1) - reach
            still = px == board.x[a] and py == board.y[a]
            if (
                not still
                and not shape.still[a]
                and fits(board.grid, px, py, shape.w[a], shape.h[a], gx, gy, margin, a, -1)
            ):
                old[0], old[1] = board.x[a], board.y[a]
                move_to(shape, board, a, px, py)
                cells[0] = a
                n_cells = 1
                legal = True
        elif dice < 55:
            kind = SWAP
            b = shape.movable[below(rng, shape.movable.shape[0])] if shape.movable.shape[0] > 0 else a
            far = abs(board.x[a] - board.x[b]) + abs(board.y[a] - board.y[b]) > 14
            if (
                a != b
                and not far
                and not shape.still[a]
                and swap_fits(shape, board, a, b, dice < 50, gx, gy, margin, corners)
            ):
                old[0], old[1], old[2], old[3] = board.x[a], board.y[a], board.x[b], board.y[b]
                swap_cells(shape, board, a, b, corners)
                cells[0], cells[1] = a, b
                n_cells = 2
                legal = True
        elif dice < 62:
            kind = MIRROR
            if shape.mirrorable[a]:
                mirror(a, shape, board)
                cells[0] = a
                n_cells = 1
                legal = True
        elif dice < 74:
            kind = EXCHANGE
            many = shape.swap_start[a + 1] - shape.swap_start[a]
            if many >= 2:
                t1 = shape.swap_tiles[shape.swap_start[a] + below(rng, many)]
                t2 = shape.swap_tiles[shape.swap_start[a] + below(rng, many)]
                if t1 != t2:
                    before = cell_clashes(a, shape, board, scratch.seen)
                    board.dy[t1], board.dy[t2] = board.dy[t2], board.dy[t1]
                    index_tiles(shape, board)
                    legal = cell_clashes(a, shape, board, scratch.seen) <= before
                    cells[0] = a
                    n_cells = 1
                    if not legal:
                        board.dy[t1], board.dy[t2] = board.dy[t2], board.dy[t1]
                        index_tiles(shape, board)
        else:
            kind = COLOUR
            n_kept = change_colours(rng, net, shape, board, scratch, kept, kept_from)
            legal = n_kept > 0
        if not legal:
            continue
        if kind != COLOUR:
            if kind != EXCHANGE:
                index_tiles(shape, board)
            for i in range(n_cells):
                mark_cell(cells[i], shape, board)
            mark_covered(cells, n_cells, shape, board, scratch)
        touched[:] = False
        press = present
        fresh = 1 << 30
        for _ in range(rounds):
            for i in range(n_nets):
                listed[i] = i
            for i in range(n_nets - 1, 0, -1):
                j = below(rng, i + 1)
                listed[i], listed[j] = listed[j], listed[i]
            for i in range(n_nets):
                n = listed[i]
                if not board.bad[n]:
                    continue
                if not touched[n]:
                    touched[n] = True
                    put_aside(n, board, o_routes)
                reroute(n, shape, board, scratch, press, bend, cross, slack, below(rng, 4) > 0)
            fresh = find_conflicts(board, scratch, raise_by)
            if fresh == 0:
                break
            press *= growth
        value = energy(board, fresh, w_conflict, w_wire, w_crossover, w_turn)
        if value <= now or unit(rng) < np.exp((now - value) / heat):
            now, conflicts = value, fresh
            for n in range(n_nets):
                k_stale[n] = k_stale[n] or touched[n]
            if now < best - 1e-9 or focus.shape[0] > 0:
                if fresh < best_conflicts or best_conflicts == 0:
                    since = 0
                best, best_conflicts = now, fresh
                k_x[:], k_y[:], k_dx[:], k_dy[:], k_colour[:] = (
                    board.x,
                    board.y,
                    board.dx,
                    board.dy,
                    board.colour,
                )
                for n in range(n_nets):
                    if k_stale[n]:
                        put_aside(n, board, k_routes)
                k_stale[:] = False
        else:
            if kind == SHIFT:
                move_to(shape, board, a, old[0], old[1])
            elif kind == SWAP:
                swap_cells(shape, board, a, b, old)
            elif kind == MIRROR:
                mirror(a, shape, board)
            elif kind == EXCHANGE:
                board.dy[t1], board.dy[t2] = board.dy[t2], board.dy[t1]
            else:
                for i in range(n_kept):
                    set_colour(kept[i], kept_from[i], shape, board)
            if kind != COLOUR:
                index_tiles(shape, board)
            for n in range(n_nets):
                if touched[n]:
                    lay(n, board, -1)
                    bring_back(n, board, o_routes)
                    lay(n, board, 1)
            board.bad[:] = o_bad
        if decay < 1.0 and turn % 16 == 15:
            for c in range(COLOURS):
                for t in range(board.history.shape[1]):
                    board.history[c, t] *= decay
    board.x[:], board.y[:], board.dx[:], board.dy[:] = k_x, k_y, k_dx, k_dy
    stamp_all(shape, board)
    index_tiles(shape, board)
    board.colour[:] = k_colour
    count_usage(shape, board)
    for n in range(n_nets):
        bring_back(n, board, k_routes)
    lay_all(board)
    left = find_conflicts(board, scratch, 0.0)
    return left, best, used


def better(
    shape: Shape, board: Board, scratch: Scratch, params: RepairParams, places: PlaceParams, routes: RouteParams,
    rng: Any, stop: bool, focus: Any = NOWHERE,
) -> tuple[int, float, int]:  # fmt: skip
    """Run `repair` with parameter records; returns (conflicts, energy, tries used)."""
    left, value, used = repair(
        rng, shape, board, scratch, params.tries, params.stall, params.rounds, params.reach, params.conflict,
        params.wire, params.crossover, params.turn, params.hot, params.cold,
        places.gap_x, places.gap_y, places.margin, 4.0, 1.5, routes.raise_by * 0.5, 0.9, routes.bend, routes.cross,
        routes.slack, stop, focus,
    )  # fmt: skip
    return int(left), float(value), int(used)

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

from hdl2grid.base.rng import below, unit
from hdl2grid.layout.arrays import (
    COLOURS,
    WATCH_CONFLICTS,
    WATCH_STOP,
    WATCH_TRIES,
    Board,
    Routes,
    Scratch,
    Shape,
)
from hdl2grid.layout.colouring import cell_clashes, count_usage, gather, set_colour, variable_clashes
from hdl2grid.layout.matched_blocks import MOST_COPIES
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
from hdl2grid.layout.placement import PlaceParams, index_tiles, near_row, stamp_all
from hdl2grid.layout.routing import RouteParams, find_conflicts, reroute
from hdl2grid.layout.units import exchange, in_unit, mirror, shift, shift_back, trade, trade_back, unit_size

SHIFT, SWAP, MIRROR, EXCHANGE, COLOUR = range(5)
NOWHERE = np.zeros(0, np.int64)


@dataclass(frozen=True)
class RepairParams:
    """`tries` and `stall` limit the search; `rounds` of rerouting follow each try. The energy is the sum of the counts
    times their prices; `hot` and `cold` are its temperatures."""

    tries: int = 4000
    stall: int = 1500
    rounds: int = 3
    reach: int = 3
    conflict: float = 1.0
    wire: float = 0.004
    crossover: float = 0.02
    bend: float = 0.002
    stroke: float = 0.0
    hot: float = 0.7
    cold: float = 0.25


@njit(cache=True)
def energy(board: Board, conflicts: int, prices: Any) -> float:
    """Conflicts, wire tiles, crossovers, bends and strokes at their `prices`."""
    tiles = bends = strokes = over = 0
    for n in range(board.length.shape[0]):
        tiles += board.length[n]
        bends += board.bends[n]
        strokes += board.strokes[n]
    for t in range(board.crossings.shape[0]):
        over += board.crossings[t] > 0
    value = prices[0] * conflicts + prices[1] * tiles + prices[2] * over + prices[3] * bends + prices[4] * strokes
    return float(value)


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

    What corresponds in the copies of a block changes as well. The variables changed and their old colours go to `kept`
    and `kept_from`; returns their number, 0 if nothing was changed since more tiles would clash.
    """
    s, a = net // COLOURS, net % COLOURS
    if board.usage[s, a] == 0:
        return 0
    b = below(rng, COLOURS)
    dice = below(rng, 3)
    lone = below(rng, board.usage[s, a])
    v = -1
    for j in range(shape.of_start[s], shape.of_start[s + 1]):
        if board.colour[shape.of_vars[j]] == a:
            if lone == 0:
                v = shape.of_vars[j]
            lone -= 1
    count = gather(v, dice == 0, shape, board, kept)
    if dice == 2:
        other = rival(rng, v, shape, board)
        if other < 0:
            return 0
        b = board.colour[other]
        count += gather(other, False, shape, board, kept[count:])
    if a == b:
        return 0
    before = 0
    after = 0
    for i in range(count):
        kept_from[i] = board.colour[kept[i]]
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


@njit(cache=True)
def unit_clashes(a: int, shape: Shape, board: Board, seen: Any) -> int:
    total = 0
    for k in range(unit_size(a, shape)):
        total += cell_clashes(in_unit(a, k, shape), shape, board, seen)
    return total


@njit(cache=True)
def change_places(
    rng: Any, a: int, reach: int, shape: Shape, board: Board, scratch: Scratch, gx: int, gy: int, margin: int, step: Any
) -> Any:  # fmt: skip
    """Try one move of unit `a`: a shift, a trade with another, a mirroring, an exchange of two toggles.

    Returns (kind, the other unit or toggles): kind is -1 where the move is not possible, and nothing has changed.
    """
    dice = below(rng, 74)
    if dice < 40:
        step[0] = below(rng, 2 * reach + 1) - reach
        step[1] = below(rng, 2 * reach + 1) - reach
        if dice < 10:
            near_row(rng, a, shape, board, step)
        still = step[0] == 0 and step[1] == 0
        if not still and not shape.still[a] and shift(a, step[0], step[1], shape, board, gx, gy, margin):
            return SHIFT, -1, -1
    elif dice < 55:
        b = shape.movable[below(rng, shape.movable.shape[0])] if shape.movable.shape[0] > 0 else a
        far = abs(board.x[a] - board.x[b]) + abs(board.y[a] - board.y[b]) > 14
        if a == b or far or shape.still[a] or a == shape.panel:
            return -1, -1, -1
        if trade(a, b, dice < 50, shape, board, gx, gy, margin, step):
            return SWAP, b, -1
    elif dice < 62:
        if shape.mirrorable[a]:
            mirror(a, shape, board)
            return MIRROR, -1, -1
    else:
        many = shape.swap_start[a + 1] - shape.swap_start[a]
        if many < 2:
            return -1, -1, -1
        t1 = shape.swap_tiles[shape.swap_start[a] + below(rng, many)]
        t2 = shape.swap_tiles[shape.swap_start[a] + below(rng, many)]
        if t1 != t2:
            before = unit_clashes(a, shape, board, scratch.seen)
            exchange(t1, t2, shape, board)
            index_tiles(shape, board)
            if unit_clashes(a, shape, board, scratch.seen) <= before:
                return EXCHANGE, t1, t2
            exchange(t1, t2, shape, board)
            index_tiles(shape, board)
    return -1, -1, -1


@njit(cache=True)
def take_back(kind: int, a: int, b: int, t: int, step: Any, shape: Shape, board: Board) -> None:
    """Undo what `change_places` did."""
    if kind == SHIFT:
        shift_back(a, step[0], step[1], shape, board)
    elif kind == SWAP:
        trade_back(a, b, shape, board, step)
    elif kind == MIRROR:
        mirror(a, shape, board)
    elif kind == EXCHANGE:
        exchange(b, t, shape, board)
    index_tiles(shape, board)


@njit(cache=True)
def reroute_bad(
    rng: Any, shape: Shape, board: Board, scratch: Scratch, rounds: int, present: float, growth: float,
    raise_by: float, bend: float, cross: float, slack: int, touched: Any, aside: Routes, listed: Any,
) -> int:  # fmt: skip
    """Reroute what is bad for some rounds; the routes that change are put `aside` and `touched`. Returns the
    conflicts left."""
    n_nets = board.length.shape[0]
    conflicts = 1 << 30
    for _ in range(rounds):
        blame_first(shape, board, scratch.copies, scratch.offs)
        count = 0
        for n in range(n_nets):
            if board.bad[n]:
                listed[count] = n
                count += 1
        for i in range(count - 1, 0, -1):
            j = below(rng, i + 1)
            listed[i], listed[j] = listed[j], listed[i]
        for i in range(count):
            n = listed[i]
            for k in range(copies_of(n, shape, board, scratch.copies, scratch.offs)):
                one = scratch.copies[k]
                if not touched[one]:
                    touched[one] = True
                    put_aside(one, board, aside)
            reroute(n, shape, board, scratch, present, bend, cross, slack, below(rng, 4) > 0)
        conflicts = find_conflicts(board, scratch, raise_by)
        if conflicts == 0:
            break
        present *= growth
    return conflicts


@njit(cache=True, nogil=True)
def repair(
    rng: Any, shape: Shape, board: Board, scratch: Scratch, tries: int, stall: int, rounds: int, reach: int,
    prices: Any, hot: float, cold: float,
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
    now = energy(board, conflicts, prices)
    best, best_conflicts = now, conflicts
    k_x, k_y, k_dx, k_dy = board.x.copy(), board.y.copy(), board.dx.copy(), board.dy.copy()
    k_colour = board.colour.copy()
    k_routes = scratch.kept
    for n in range(n_nets):
        put_aside(n, board, k_routes)
    k_stale = np.zeros(n_nets, np.bool_)
    o_routes = scratch.aside
    touched = np.zeros(n_nets, np.bool_)
    o_bad = board.bad.copy()
    step = np.zeros(4, np.int64)
    cells = np.zeros(2 * MOST_COPIES, np.int64)
    listed = np.zeros(n_nets, np.int64)
    kept = np.zeros(2 * board.colour.shape[0] + 2 * MOST_COPIES, np.int64)
    kept_from = np.zeros_like(kept)
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
        a = shape.lead_cell[a]
        b = t = -1
        n_kept = 0
        o_bad[:] = board.bad
        if below(rng, 100) < 74:
            kind, b, t = change_places(rng, a, reach, shape, board, scratch, gx, gy, margin, step)
            if kind < 0:
                continue
            if kind != EXCHANGE:
                index_tiles(shape, board)
            n_cells = 0
            for u in range(2 if kind == SWAP else 1):
                for k in range(unit_size(b if u == 1 else a, shape)):
                    cells[n_cells] = in_unit(b if u == 1 else a, k, shape)
                    mark_cell(cells[n_cells], shape, board)
                    n_cells += 1
            mark_covered(cells, n_cells, shape, board, scratch)
        else:
            kind = COLOUR
            n_kept = change_colours(rng, net, shape, board, scratch, kept, kept_from)
            if n_kept == 0:
                continue
        touched[:] = False
        fresh = reroute_bad(
            rng, shape, board, scratch, rounds, present, growth, raise_by, bend, cross, slack, touched, o_routes, listed
        )
        value = energy(board, fresh, prices)
        if value <= now or unit(rng) < np.exp((now - value) / heat):
            now, conflicts = value, fresh
            for n in range(n_nets):
                k_stale[n] = k_stale[n] or touched[n]
            if now < best - 1e-9 or focus.shape[0] > 0:
                if fresh < best_conflicts or best_conflicts == 0:
                    since = 0
                best, best_conflicts = now, fresh
                k_x[:], k_y[:], k_dx[:], k_dy[:], k_colour[:] = board.x, board.y, board.dx, board.dy, board.colour
                for n in range(n_nets):
                    if k_stale[n]:
                        put_aside(n, board, k_routes)
                k_stale[:] = False
        else:
            if kind == COLOUR:
                for i in range(n_kept):
                    set_colour(kept[i], kept_from[i], shape, board)
            else:
                take_back(kind, a, b, t, step, shape, board)
            for n in range(n_nets):
                if touched[n]:
                    lay(n, board, -1)
                    bring_back(n, board, o_routes)
                    lay(n, board, 1)
            board.bad[:] = o_bad
        if decay < 1.0 and turn % 16 == 15:
            for c in range(COLOURS):
                for i in range(board.history.shape[1]):
                    board.history[c, i] *= decay
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
    prices = np.array([params.conflict, params.wire, params.crossover, params.bend, params.stroke])
    left, value, used = repair(
        rng, shape, board, scratch, params.tries, params.stall, params.rounds, params.reach, prices, params.hot,
        params.cold,
        places.gap_x, places.gap_y, places.margin, 4.0, 1.5, routes.raise_by * 0.5, 0.9, routes.bend, routes.cross,
        routes.slack, stop, focus,
    )  # fmt: skip
    return int(left), float(value), int(used)

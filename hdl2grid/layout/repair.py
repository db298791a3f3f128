"""Better a routed board by small joint moves of placement, colours and routes.

A try shifts, swaps or mirrors a cell, exchanges two toggles or changes a colour, reroutes the nets concerned for a few
rounds, and is kept or taken back by the rule of N. Metropolis et al. (J. Chem. Phys. 21, 1953). The same engine repairs
(few conflicts are all that counts) and polishes (no conflicts allowed; wire, crossovers and turns count).
"""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from typing import Any

import numpy as np
from numba import njit

from hdl2grid.base.annealing import accepts, cooling
from hdl2grid.base.rng import below
from hdl2grid.layout.arrays import (
    COLOURS,
    WATCH_CONFLICTS,
    WATCH_STOP,
    WATCH_TRIES,
    Board,
    Ints,
    Placement,
    Scratch,
    Shape,
    placement_of,
)
from hdl2grid.layout.colouring import cell_clashes, clashes_in, count_usage, gather, set_colour
from hdl2grid.layout.matched_blocks import MOST_COPIES
from hdl2grid.layout.net_tree import Prices
from hdl2grid.layout.occupancy import (
    blame_first,
    bring_back,
    copies_of,
    grid_tile,
    keep_placement,
    lay,
    lay_all,
    neighbour,
    put_aside,
    put_placement,
)
from hdl2grid.layout.placement import PlaceParams, index_tiles, near_row, stamp_all
from hdl2grid.layout.records import Record
from hdl2grid.layout.routing import RouteParams, fade, find_conflicts, reroute
from hdl2grid.layout.units import (
    exchange,
    in_unit,
    mirror,
    pick_toggles,
    shift,
    shift_back,
    trade,
    trade_back,
    unit_size,
)

SHIFT, SWAP, MIRROR, EXCHANGE, COLOUR = range(5)
"""Kinds of a move."""
MOVES = 74
"""Of 100 moves so many change places, the others colours; `change_places` shares them out. Guessed."""
PRESENT, GROWTH, DECAY = 4.0, 1.5, 0.9
"""After a move the price of a conflict, in tiles, and how it grows with each round; what stays of the history of a tile
every 16 moves. Guessed."""
RAISE_SHARE = 0.5
"""How much of what the router adds to the history of a tile is added here, where few tiles clash. Guessed."""


@dataclass(frozen=True, eq=False)
class RepairParams(Record):
    """`tries` and `stall` limit the search; `rounds` of rerouting follow each try; shifts are by `reach` tiles at most.
    The energy is the sum of the counts times their prices, in conflicts; `hot` and `cold` are its temperatures. With
    `stop` it ends as soon as nothing is illegal. Where `focus` names cells, moves are mostly theirs, and the last state
    is kept rather than the best. All guessed."""

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
    stop: bool = False
    focus: Ints = field(default_factory=lambda: np.zeros(0, np.int64))


@njit(cache=True)
def energy(board: Board, conflicts: int, params: RepairParams) -> float:
    """Conflicts, wire tiles, crossovers, bends and strokes at their prices."""
    tiles = bends = strokes = over = 0
    for n in range(board.length.shape[0]):
        tiles += board.length[n]
        bends += board.bends[n]
        strokes += board.strokes[n]
    for t in range(board.crossings.shape[0]):
        over += board.crossings[t] > 0
    value = params.conflict * conflicts + params.wire * tiles + params.crossover * over
    return float(value + params.bend * bends + params.stroke * strokes)


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
def change_colours(rng: Any, net: int, shape: Shape, board: Board, scratch: Scratch, changed: Any) -> int:
    """Give one variable of the net, or all, another colour, or trade colours with a rival; mark the nets concerned.

    What corresponds in the copies of a block changes as well. The variables changed go to `changed[0]`, their old
    colours to `changed[1]`; returns their number, 0 if nothing was changed since more tiles would clash.
    """
    kept, kept_from = changed[0], changed[1]
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
    before = clashes_in(kept[:count], a, b, shape, board, scratch.seen)
    for i in range(count):
        kept_from[i] = board.colour[kept[i]]
    for i in range(count):
        set_colour(kept[i], a if kept_from[i] == b else b, shape, board)
    if clashes_in(kept[:count], a, b, shape, board, scratch.seen) > before:
        for i in range(count):
            set_colour(kept[i], kept_from[i], shape, board)
        return 0
    for i in range(count):
        board.bad[COLOURS * shape.signal_of[kept[i]] + a] = True
        board.bad[COLOURS * shape.signal_of[kept[i]] + b] = True
    return count


@njit(cache=True)
def unit_clashes(a: int, shape: Shape, board: Board, seen: Any) -> int:
    """Clashes on all cells of a unit."""
    total = 0
    for k in range(unit_size(a, shape)):
        total += cell_clashes(in_unit(a, k, shape), shape, board, seen)
    return total


@njit(cache=True)
def change_places(
    rng: Any, a: int, reach: int, shape: Shape, board: Board, scratch: Scratch, places: PlaceParams, step: Any
) -> Any:
    """Try one move of unit `a`: a shift, a trade with another, a mirroring, an exchange of two toggles.

    Returns (kind, the other unit or toggles): kind is -1 where the move is not possible, and nothing has changed.
    """
    dice = below(rng, MOVES)
    if dice < 40:
        step[0] = below(rng, 2 * reach + 1) - reach
        step[1] = below(rng, 2 * reach + 1) - reach
        if dice < 10:
            near_row(rng, a, shape, board, step)
        still = step[0] == 0 and step[1] == 0
        if not still and not shape.still[a] and shift(a, step[0], step[1], shape, board, places):
            return SHIFT, -1, -1
    elif dice < 55:
        b = shape.movable[below(rng, shape.movable.shape[0])] if shape.movable.shape[0] > 0 else a
        far = abs(board.x[a] - board.x[b]) + abs(board.y[a] - board.y[b]) > 14
        if a == b or far or shape.still[a] or a == shape.panel:
            return -1, -1, -1
        if trade(a, b, dice < 50, shape, board, places, step):
            return SWAP, b, -1
    elif dice < 62:
        if shape.mirrorable[a]:
            mirror(a, shape, board)
            return MIRROR, -1, -1
    else:
        t1, t2 = pick_toggles(rng, a, shape)
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
    rng: Any, shape: Shape, board: Board, scratch: Scratch, routes: RouteParams, touched: Any, listed: Any
) -> int:
    """Reroute what is bad for `routes.rounds`; the routes that change are put to `scratch.aside`, and `touched`.
    `listed` is room for the numbers of all nets. Returns the conflicts left."""
    n_nets = board.length.shape[0]
    conflicts = 1 << 30
    present = routes.present
    for _ in range(routes.rounds):
        prices = Prices(present, routes.bend, routes.cross)
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
                    put_aside(one, board, scratch.aside)
            reroute(n, shape, board, scratch, prices, routes.slack, below(rng, 4) > 0)
        conflicts = find_conflicts(board, scratch, routes.raise_by)
        if conflicts == 0:
            break
        present *= routes.growth
    return conflicts


@njit(cache=True)
def mark_moved(units: Any, shape: Shape, board: Board, scratch: Scratch, cells: Any) -> None:
    """Mark as bad every net with a pin on a cell of the units (-1 for none), or with wire where one has come to."""
    count = 0
    for a in units:
        for k in range(unit_size(a, shape) if a >= 0 else 0):
            cells[count] = in_unit(a, k, shape)
            mark_cell(cells[count], shape, board)
            count += 1
    mark_covered(cells, count, shape, board, scratch)


@njit(cache=True)
def bring_back_all(chosen: Any, board: Board, scratch: Scratch) -> None:
    """Lay all `chosen` nets as they were put aside."""
    for n in range(chosen.shape[0]):
        if chosen[n]:
            lay(n, board, -1)
            bring_back(n, board, scratch.aside)
            lay(n, board, 1)


@njit(cache=True)
def end_in(best: Placement, shape: Shape, board: Board, scratch: Scratch) -> int:
    """Bring the board to the best state met, with the routes in `scratch.kept`; returns the conflicts there."""
    put_placement(best, board)
    stamp_all(shape, board)
    index_tiles(shape, board)
    count_usage(shape, board)
    for n in range(board.length.shape[0]):
        bring_back(n, board, scratch.kept)
    lay_all(board)
    return int(find_conflicts(board, scratch, 0.0))


@njit(cache=True, nogil=True)
def repair(
    rng: Any, shape: Shape, board: Board, scratch: Scratch, params: RepairParams, places: PlaceParams,
    routes: RouteParams, best: Placement,
) -> Any:  # fmt: skip
    """Try moves; the board ends in the best state met. Returns (conflicts, energy, tries used). `best` is room for a
    placement, `routes` says how nets are rerouted after each move."""
    n_nets = board.length.shape[0]
    lay_all(board)
    conflicts = find_conflicts(board, scratch, 0.0)
    now = energy(board, conflicts, params)
    best_value, best_conflicts = now, conflicts
    keep_placement(board, best)
    for n in range(n_nets):
        put_aside(n, board, scratch.kept)
    stale = np.zeros(n_nets, np.bool_)
    touched = np.zeros(n_nets, np.bool_)
    was_bad = board.bad.copy()
    step, units = np.zeros(4, np.int64), np.zeros(2, np.int64)
    cells = np.zeros(2 * MOST_COPIES, np.int64)
    listed = np.zeros(n_nets, np.int64)
    changed = np.zeros((2, 2 * board.colour.shape[0] + 2 * MOST_COPIES), np.int64)
    since = used = 0
    factor = cooling(params.hot, params.cold, params.tries)
    heat = params.hot
    for turn in range(params.tries):
        if (params.stop and conflicts == 0) or since >= params.stall or shape.watch[WATCH_STOP] != 0:
            break
        shape.watch[WATCH_TRIES] += 1
        shape.watch[WATCH_CONFLICTS] = best_conflicts
        used = turn + 1
        since += 1
        heat *= factor
        count = 0
        for n in range(n_nets):
            if board.length[n] > 0 and (conflicts == 0 or board.bad[n]):
                listed[count] = n
                count += 1
        if count == 0:
            break
        net = listed[below(rng, count)]
        a = pick_cell(rng, shape, board, net)
        if params.focus.shape[0] > 0 and below(rng, 4) > 0:
            a = params.focus[below(rng, params.focus.shape[0])]
        a = shape.lead_cell[a]
        b = t = -1
        n_changed = 0
        was_bad[:] = board.bad
        if below(rng, 100) < MOVES:
            kind, b, t = change_places(rng, a, params.reach, shape, board, scratch, places, step)
            if kind < 0:
                continue
            if kind != EXCHANGE:
                index_tiles(shape, board)
            units[0], units[1] = a, b if kind == SWAP else -1
            mark_moved(units, shape, board, scratch, cells)
        else:
            kind = COLOUR
            n_changed = change_colours(rng, net, shape, board, scratch, changed)
            if n_changed == 0:
                continue
        touched[:] = False
        fresh = reroute_bad(rng, shape, board, scratch, routes, touched, listed)
        value = energy(board, fresh, params)
        if accepts(rng, value - now, heat):
            now, conflicts = value, fresh
            for n in range(n_nets):
                stale[n] = stale[n] or touched[n]
            if now < best_value - 1e-9 or params.focus.shape[0] > 0:
                if fresh < best_conflicts or best_conflicts == 0:
                    since = 0
                best_value, best_conflicts = now, fresh
                keep_placement(board, best)
                for n in range(n_nets):
                    if stale[n]:
                        put_aside(n, board, scratch.kept)
                stale[:] = False
        else:
            if kind == COLOUR:
                for i in range(n_changed):
                    set_colour(changed[0, i], changed[1, i], shape, board)
            else:
                take_back(kind, a, b, t, step, shape, board)
            bring_back_all(touched, board, scratch)
            board.bad[:] = was_bad
        if turn % 16 == 15:
            fade(routes.decay, board)
    return end_in(best, shape, board, scratch), best_value, used


def better(
    shape: Shape, board: Board, scratch: Scratch, params: RepairParams, places: PlaceParams, routes: RouteParams,
    rng: Any, stop: bool,
) -> tuple[int, float, int]:  # fmt: skip
    """Run `repair`, with `stop` until nothing is illegal; returns (conflicts, energy, tries used)."""
    mending = replace(
        routes,
        rounds=params.rounds,
        present=PRESENT,
        growth=GROWTH,
        decay=DECAY,
        raise_by=RAISE_SHARE * routes.raise_by,
    )
    params = replace(params, stop=stop)
    left, value, used = repair(rng, shape, board, scratch, params, places, mending, placement_of(board))
    return int(left), float(value), int(used)

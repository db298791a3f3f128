"""Choose a colour for every (sink, signal): that decides which nets there are.

Simulated annealing on clashes (two nets of one colour on a tile or on touching device tiles), wire, and the price of
each net, with moves of one variable and of a whole net.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
from numba import njit

from hdl2grid.base.rng import below, seeded, unit
from hdl2grid.layout.arrays import COLOURS, WATCH_STOP, Board, Scratch, Shape
from hdl2grid.layout.clash_free import ClashFree
from hdl2grid.layout.matched_blocks import MOST_COPIES
from hdl2grid.layout.occupancy import grid_tile, neighbour
from hdl2grid.layout.placement import tree_length


@dataclass(frozen=True)
class ColourParams:
    """Prices in tiles of wire: `clash` for two nets that would touch on devices, `split` for each net, `overlap` for
    each tile by which boxes of one colour overlap; `moves_per_variable` is the annealer's budget. `solve`: clashes that
    stay are solved by SAT."""

    clash: float = 60.0
    split: float = 14.0
    overlap: float = 0.35
    moves_per_variable: int = 300
    hot: float = 30.0
    cold: float = 0.4
    solve: bool = True


@njit(cache=True)
def bears(signal: int, var: int, c: int, board: Board) -> bool:
    """Whether a tile's entry (a driver where `var` < 0) lays wire of colour `c` on the tile."""
    if var >= 0:
        return bool(board.colour[var] == c)
    return bool(board.usage[signal, c] > 0)


@njit(cache=True)
def tile_clashes(tile: int, c: int, shape: Shape, board: Board, seen: Any) -> int:
    """Pairs of different signals that colour `c` would join on this tile, or between it and the tiles touching it."""
    clashes = 0
    count = 0
    for k in range(shape.on_start[tile], shape.on_start[tile + 1]):
        s = shape.on_signal[k]
        if bears(s, shape.on_var[k], c, board):
            known = False
            for i in range(count):
                known = known or seen[i] == s
            if not known:
                clashes += count
                seen[count] = s
                count += 1
    if count == 0:
        return 0
    width, height = board.size[0], board.size[1]
    at = grid_tile(tile, shape, board)
    for d in range(4):
        to = neighbour(at, d, width, height)
        other = board.tile_at[to] if to >= 0 else -1
        if other < 0:
            continue
        for k in range(shape.on_start[other], shape.on_start[other + 1]):
            if bears(shape.on_signal[k], shape.on_var[k], c, board):
                for i in range(count):
                    if seen[i] != shape.on_signal[k]:
                        clashes += 1
    return clashes


@njit(cache=True)
def variable_clashes(v: int, c: int, shape: Shape, board: Board, seen: Any) -> int:
    """Clashes in colour `c` on the tiles of variable `v` and on the drivers of its signal."""
    s = shape.signal_of[v]
    clashes = 0
    for k in range(shape.var_start[v], shape.var_start[v + 1]):
        clashes += tile_clashes(shape.var_tiles[k], c, shape, board, seen)
    for k in range(shape.drive_start[s], shape.drive_start[s + 1]):
        clashes += tile_clashes(shape.drive_tiles[k], c, shape, board, seen)
    return clashes


@njit(cache=True)
def cell_clashes(cell: int, shape: Shape, board: Board, seen: Any) -> int:
    clashes = 0
    for k in range(shape.cell_start[cell], shape.cell_start[cell + 1]):
        for c in range(COLOURS):
            clashes += tile_clashes(shape.cell_tiles[k], c, shape, board, seen)
    return clashes


@njit(cache=True)
def net_length(s: int, c: int, shape: Shape, board: Board, buf: Any, boxes: Any) -> float:
    """Spanning tree of the net of signal `s` in colour `c` (0 if there is none); sets the net's box."""
    if board.usage[s, c] == 0:
        boxes[s, c, 0] = -1
        return 0.0
    count = 0
    for k in range(shape.drive_start[s], shape.drive_start[s + 1]):
        tile = shape.drive_tiles[k]
        buf[0, count] = board.x[shape.cell_of[tile]] + board.dx[tile]
        buf[1, count] = board.y[shape.cell_of[tile]] + board.dy[tile]
        count += 1
    for j in range(shape.of_start[s], shape.of_start[s + 1]):
        v = shape.of_vars[j]
        if board.colour[v] == c:
            for k in range(shape.var_start[v], shape.var_start[v + 1]):
                tile = shape.var_tiles[k]
                buf[0, count] = board.x[shape.cell_of[tile]] + board.dx[tile]
                buf[1, count] = board.y[shape.cell_of[tile]] + board.dy[tile]
                count += 1
    x0 = x1 = buf[0, 0]
    y0 = y1 = buf[1, 0]
    for i in range(1, count):
        x0 = min(x0, buf[0, i])
        x1 = max(x1, buf[0, i])
        y0 = min(y0, buf[1, i])
        y1 = max(y1, buf[1, i])
    boxes[s, c, 0], boxes[s, c, 1], boxes[s, c, 2], boxes[s, c, 3] = x0, y0, x1, y1
    return tree_length(buf[0], buf[1], count, buf[2])


@njit(cache=True)
def overlap(s: int, c: int, boxes: Any) -> float:
    """How far the box of a net overlaps the boxes of the other nets of its colour: the shorter side of each overlap."""
    if boxes[s, c, 0] < 0:
        return 0.0
    total = 0.0
    for o in range(boxes.shape[0]):
        if o != s and boxes[o, c, 0] >= 0:
            w = min(boxes[s, c, 2], boxes[o, c, 2]) - max(boxes[s, c, 0], boxes[o, c, 0]) + 1
            h = min(boxes[s, c, 3], boxes[o, c, 3]) - max(boxes[s, c, 1], boxes[o, c, 1]) + 1
            if w > 0 and h > 0:
                total += min(w, h)
    return total


@njit(cache=True)
def count_clashes(shape: Shape, board: Board, seen: Any) -> int:
    total = 0
    for tile in range(shape.on_start.shape[0] - 1):
        for c in range(COLOURS):
            total += tile_clashes(tile, c, shape, board, seen)
    return total


@njit(cache=True)
def count_usage(shape: Shape, board: Board) -> None:
    board.usage[:, :] = 0
    for v in range(shape.signal_of.shape[0]):
        board.usage[shape.signal_of[v], board.colour[v]] += 1


@njit(cache=True)
def set_colour(v: int, c: int, shape: Shape, board: Board) -> None:
    s = shape.signal_of[v]
    board.usage[s, board.colour[v]] -= 1
    board.usage[s, c] += 1
    board.colour[v] = c


@njit(cache=True)
def gather(v: int, whole: bool, shape: Shape, board: Board, kept: Any) -> int:
    """What changes colour together with variable `v`, to `kept`; returns how many.

    That is `v` and what corresponds to it in the copies of its block; with `whole` all that is on its net, and, where
    that is laid alike in all copies, on those nets.
    """
    s, a = shape.signal_of[v], board.colour[v]
    lead = shape.lead_sig[s]
    alone = board.loose[lead]
    if not whole:
        first = shape.lead_var[v]
        if first < 0 or alone:
            kept[0] = v
            return 1
        kept[0] = first
        count = 1
        for j in range(shape.var_twin_start[first], shape.var_twin_start[first + 1]):
            kept[count] = shape.var_twins[j]
            count += 1
        return count
    common = False
    for j in range(shape.of_start[s], shape.of_start[s + 1]):
        u = shape.of_vars[j]
        common = common or (board.colour[u] == a and shape.lead_var[u] >= 0)
    if not common or alone:
        lead = s
    count = 0
    twins = shape.sig_twin_start[lead + 1] - shape.sig_twin_start[lead] if common and not alone else 0
    for k in range(1 + twins):
        one = lead if k == 0 else shape.sig_twins[shape.sig_twin_start[lead] + k - 1]
        for j in range(shape.of_start[one], shape.of_start[one + 1]):
            if board.colour[shape.of_vars[j]] == a:
                kept[count] = shape.of_vars[j]
                count += 1
    return count


@njit(cache=True)
def signals_of(kept: Any, count: int, shape: Shape, out: Any) -> int:
    """The signals of some variables, each once, to `out`; returns how many."""
    many = 0
    for i in range(count):
        s = shape.signal_of[kept[i]]
        known = False
        for k in range(many):
            known = known or out[k] == s
        if not known:
            out[many] = s
            many += 1
    return many


@njit(cache=True, nogil=True)
def recolour(
    rng: Any, shape: Shape, board: Board, scratch: Scratch, moves: int, hot: float, cold: float, w_clash: float,
    w_split: float, w_overlap: float,
) -> int:  # fmt: skip
    """Anneal the board's colours; returns the clashes left."""
    n_vars = board.colour.shape[0]
    n_signals = board.usage.shape[0]
    seen, buf = scratch.seen, scratch.buffer
    boxes = np.full((n_signals, COLOURS, 4), -1, np.int64)
    count_usage(shape, board)
    length = np.zeros((n_signals, COLOURS))
    for s in range(n_signals):
        for c in range(COLOURS):
            length[s, c] = net_length(s, c, shape, board, buf, boxes)
    best = board.colour.copy()
    now = best_cost = 0.0
    ratio = (cold / hot) ** (1.0 / max(1, moves))
    heat = hot
    old_box = np.zeros((MOST_COPIES, COLOURS, 4), np.int64)
    old_length = np.zeros((MOST_COPIES, COLOURS))
    sigs = np.zeros(MOST_COPIES, np.int64)
    kept = np.zeros(n_vars, np.int64)
    for _ in range(moves):
        if shape.watch[WATCH_STOP] != 0:
            break
        heat *= ratio
        v = below(rng, n_vars)
        a = board.colour[v]
        b = below(rng, COLOURS)
        if a == b:
            continue
        n_kept = gather(v, below(rng, 3) == 0, shape, board, kept)
        n_sigs = signals_of(kept, n_kept, shape, sigs)
        delta = 0.0
        for i in range(n_sigs):
            s = sigs[i]
            delta -= w_overlap * (overlap(s, a, boxes) + overlap(s, b, boxes)) + length[s, a] + length[s, b]
            for c in range(COLOURS):
                if board.usage[s, c] > 0:
                    delta -= w_split
        clash = 0
        for i in range(n_kept):
            for c in (a, b):
                clash -= variable_clashes(kept[i], c, shape, board, seen)
            set_colour(kept[i], b, shape, board)
            for c in (a, b):
                clash += variable_clashes(kept[i], c, shape, board, seen)
        for i in range(n_sigs):
            s = sigs[i]
            for c in (a, b):
                old_length[i, c] = length[s, c]
                old_box[i, c] = boxes[s, c]
                length[s, c] = net_length(s, c, shape, board, buf, boxes)
        for i in range(n_sigs):
            s = sigs[i]
            for c in range(COLOURS):
                if board.usage[s, c] > 0:
                    delta += w_split
            delta += w_overlap * (overlap(s, a, boxes) + overlap(s, b, boxes)) + length[s, a] + length[s, b]
        delta += w_clash * clash
        if delta <= 0.0 or unit(rng) < np.exp(-delta / heat):
            now += delta
            if now < best_cost - 1e-9:
                best_cost = now
                best[:] = board.colour
        else:
            for i in range(n_kept):
                set_colour(kept[i], a, shape, board)
            for i in range(n_sigs):
                for c in (a, b):
                    length[sigs[i], c] = old_length[i, c]
                    boxes[sigs[i], c] = old_box[i, c]
    board.colour[:] = best
    count_usage(shape, board)
    return count_clashes(shape, board, seen)


def choose_colours(shape: Shape, board: Board, scratch: Scratch, params: ColourParams, seed: int) -> int:
    """Anneal the colours of a placed board from those it has, again while tiles clash; clashes that stay are solved by
    SAT. Returns the clashes left."""
    count = len(shape.signal_of)
    if count == 0:
        return 0
    free = int(((shape.lead_var < 0) | (shape.lead_var == np.arange(count))).sum())
    clashes = 1
    for turn in range(4):
        share = 1.0 if turn == 0 else 0.5
        moves = int(params.moves_per_variable * free * share)
        hot = params.hot * share
        clashes = recolour(
            seeded(seed, 2, turn), shape, board, scratch, moves, hot, params.cold, params.clash * (1 + turn),
            params.split, params.overlap,
        )  # fmt: skip
        if clashes == 0:
            return 0
    if not params.solve:
        return int(clashes)
    with ClashFree(shape, board) as colours:
        legal = colours.nearest(board)
    if legal is not None:
        board.colour[:], clashes = legal, 0
        count_usage(shape, board)
    return int(clashes)

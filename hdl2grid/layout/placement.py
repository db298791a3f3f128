"""Place cells by simulated annealing: legal moves only, on the sum of the signals' spanning trees.

S. Kirkpatrick, C. D. Gelatt, M. P. Vecchi, Science 220, 1983; moves and range limits as usual for macro cells
(C. Sechen, A. Sangiovanni-Vincentelli, IEEE JSSC 20, 1985).
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from itertools import pairwise
from types import MappingProxyType
from typing import Any

import numpy as np
from numba import njit

from hdl2grid.base.annealing import accepts, cooling
from hdl2grid.base.rng import below, seeded
from hdl2grid.layout.arrays import CLOSED, WATCH_STOP, Board, Placement, Shape, placement_of
from hdl2grid.layout.occupancy import grid_tile, keep_placement, put_placement
from hdl2grid.layout.units import (
    Room,
    exchange,
    fits,
    in_unit,
    in_window,
    mirror,
    pick_toggles,
    shift,
    shift_back,
    stamp_cell,
    trade,
    trade_back,
    try_drop,
    unit_size,
)

FAR = 1 << 28
"""Further than any two tiles are apart."""
WIDER = 4.0
"""Price, in tiles of wire, of a column or row too many of a signal that has copies. Guessed."""
Box = tuple[int, int, int, int]
"""First column and row, width and height, in tiles."""
TREE_LIMIT = 40
"""Signals of more tiles than this are measured by their box. Guessed: trees take time with the square."""


@dataclass(frozen=True)
class PlaceParams(Room):
    """`moves_per_cell`: the annealer's budget; `hot`, `cold`: its temperatures, in tiles of wire. `is_tidy`: stacks
    stand in rows; `flow`, `together`: prices, in tiles of wire, of a row against the flow and of a tile of half the
    circumference of a block's box; `snap`: steps lead from row to row, for on a large grid chance seldom finds one.
    Budget and temperatures are guessed."""

    moves_per_cell: int = 20_000
    hot: float = 12.0
    cold: float = 0.3
    is_tidy: bool = False
    flow: float = 0.0
    together: float = 0.0
    snap: bool = False


@njit(cache=True)
def tree_length(xs: Any, ys: Any, count: int, dist: Any) -> float:
    """Length of a rectilinear minimum spanning tree (R. C. Prim, 1957), in tiles of distance.

    For many tiles an estimate: a random tree grows with sqrt(area * count) (J. Beardwood, J. H. Halton,
    J. M. Hammersley, 1959).
    """
    if count < 2:
        return 0.0
    if count > TREE_LIMIT:
        x0 = x1 = xs[0]
        y0 = y1 = ys[0]
        for i in range(1, count):
            x0 = min(x0, xs[i])
            x1 = max(x1, xs[i])
            y0 = min(y0, ys[i])
            y1 = max(y1, ys[i])
        spread = 0.7 * np.sqrt(float((x1 - x0 + 1) * (y1 - y0 + 1) * count))
        return float(max(float(x1 - x0 + y1 - y0), spread))
    for i in range(1, count):
        dist[i] = abs(xs[i] - xs[0]) + abs(ys[i] - ys[0])
    total = 0
    for _ in range(count - 1):
        best = -1
        best_distance = FAR
        for i in range(1, count):
            if 0 <= dist[i] < best_distance:
                best_distance = dist[i]
                best = i
        total += best_distance
        dist[best] = -1
        for i in range(1, count):
            if dist[i] >= 0:
                d = abs(xs[i] - xs[best]) + abs(ys[i] - ys[best])
                if d < dist[i]:
                    dist[i] = d
    return float(total)


@njit(cache=True)
def signal_length(s: int, shape: Shape, board: Board, buf: Any) -> float:
    """Length of the tree that joins all tiles of a signal; leaves their places in `buf`."""
    first = shape.sig_start[s]
    count = shape.sig_start[s + 1] - first
    for i in range(count):
        tile = shape.sig_tiles[first + i]
        cell = shape.cell_of[tile]
        buf[0, i] = board.x[cell] + board.dx[tile]
        buf[1, i] = board.y[cell] + board.dy[tile]
    return tree_length(buf[0], buf[1], count, buf[2])


@njit(cache=True)
def close_keep_outs(shape: Shape, board: Board) -> None:
    """Close the free tiles of `grid` on keep-outs, and one tile around them, for pins must be reached."""
    height, width = board.grid.shape
    for k in range(shape.keep_out.shape[0]):
        x0, y0, x1, y1 = shape.keep_out[k]
        for y in range(max(0, y0 - 1), min(height, y1 + 2)):
            for x in range(max(0, x0 - 1), min(width, x1 + 2)):
                if board.grid[y, x] == -1:
                    board.grid[y, x] = CLOSED


@njit(cache=True)
def close_tiles(shape: Shape, board: Board) -> None:
    """Close those free tiles of `grid` that the floorplan forbids to cells without a place of their own: outside of
    their zone, on keep-outs and around them."""
    height, width = board.grid.shape
    close_keep_outs(shape, board)
    if shape.panel < 0:
        return
    left, right = board.x[shape.panel] + shape.zone[0], board.x[shape.panel] + shape.zone[1]
    top, bottom = board.y[shape.panel] + shape.zone[2], board.y[shape.panel] + shape.zone[3]
    for y in range(height):
        for x in range(width):
            if (x < left or x >= right or y < top or y >= bottom) and board.grid[y, x] == -1:
                board.grid[y, x] = CLOSED


@njit(cache=True)
def stamp_all(shape: Shape, board: Board) -> None:
    """Fill `grid` from the cells' places."""
    board.grid[:, :] = -1
    for c in range(shape.w.shape[0]):
        stamp_cell(c, shape, board, c)
    close_tiles(shape, board)


@njit(cache=True)
def in_order(shape: Shape, board: Board) -> bool:
    """Whether every cell stands on the grid, on no keep-out, and in its zone; `grid` is not looked at."""
    width, height = board.size[0], board.size[1]
    for c in range(shape.w.shape[0]):
        x0, y0 = board.x[c], board.y[c]
        x1, y1 = x0 + shape.w[c] - 1, y0 + shape.h[c] - 1
        if x0 < 0 or y0 < 0 or x1 >= width or y1 >= height:
            return False
        if shape.lead_cell[c] == c and not in_window(c, x0, y0, shape, board):
            return False
        near = 0 if shape.pinned[c] else 1
        for k in range(shape.keep_out.shape[0]):
            kx0, ky0, kx1, ky1 = shape.keep_out[k]
            if x0 <= kx1 + near and x1 >= kx0 - near and y0 <= ky1 + near and y1 >= ky0 - near:
                return False
        if shape.panel >= 0 and c != shape.panel and not shape.pinned[c]:
            px, py = board.x[shape.panel], board.y[shape.panel]
            if x0 < px + shape.zone[0] or x1 >= px + shape.zone[1]:
                return False
            if y0 < py + shape.zone[2] or y1 >= py + shape.zone[3]:
                return False
    return True


@njit(cache=True)
def apart(a: Box, b: Box, gap_x: int, gap_y: int) -> bool:
    """Whether so many columns or rows are free between two boxes."""
    ax, ay, aw, ah = a
    bx, by, bw, bh = b
    return bool(ax >= bx + bw + gap_x or bx >= ax + aw + gap_x or ay >= by + bh + gap_y or by >= ay + ah + gap_y)


@njit(cache=True)
def signal_cost(s: int, shape: Shape, board: Board, buf: Any, flow: float) -> float:
    """A signal's tree, and `flow` for each row by which a sink stands above the driver: signals go downward.

    A signal that is laid alike in copies side by side (or below each other) is not to be wider (higher) than the
    copies stand apart, or its wires would lie on their own copies."""
    length = signal_length(s, shape, board, buf)
    lead = shape.lead_sig[s]
    if flow > 0.0 and shape.sig_twin_start[lead + 1] > shape.sig_twin_start[lead]:
        length += WIDER * too_wide(s, lead, shape, board, buf)
    if flow > 0.0:
        first = shape.sig_start[s]
        up = 0
        for i in range(1, shape.sig_start[s + 1] - first):
            up += max(0, buf[1, 0] - buf[1, i] - 2)
        length += flow * up
    return length


@njit(cache=True)
def too_wide(s: int, lead: int, shape: Shape, board: Board, buf: Any) -> int:
    """Columns and rows by which the pins of signal `s`, in `buf`, spread further than its copies leave room."""
    count = shape.sig_start[s + 1] - shape.sig_start[s]
    x0, x1, y0, y1 = FAR, -FAR, FAR, -FAR
    for i in range(count):
        x0, x1 = min(x0, buf[0, i]), max(x1, buf[0, i])
        y0, y1 = min(y0, buf[1, i]), max(y1, buf[1, i])
    own = shape.cell_of[shape.drive_tiles[shape.drive_start[lead]]]
    excess = 0
    for j in range(shape.sig_twin_start[lead], shape.sig_twin_start[lead + 1]):
        cell = shape.cell_of[shape.drive_tiles[shape.drive_start[shape.sig_twins[j]]]]
        dx, dy = abs(board.x[cell] - board.x[own]), abs(board.y[cell] - board.y[own])
        if dy == 0:
            excess = max(excess, x1 - x0 + 2 - dx)
        if dx == 0:
            excess = max(excess, y1 - y0 + 2 - dy)
    return excess


@njit(cache=True)
def block_cost(b: int, shape: Shape, board: Board) -> float:
    """Half the circumference of a block's box."""
    x0 = y0 = FAR
    x1 = y1 = -FAR
    for k in range(shape.block_start[b], shape.block_start[b + 1]):
        cell = shape.block_cells[k]
        x0, y0 = min(x0, board.x[cell]), min(y0, board.y[cell])
        x1, y1 = max(x1, board.x[cell] + shape.w[cell]), max(y1, board.y[cell] + shape.h[cell])
    return float(x1 - x0 + y1 - y0)


@njit(cache=True, nogil=True)
def anneal(rng: Any, shape: Shape, board: Board, params: PlaceParams, moves: int, best: Placement) -> float:
    """Move, swap and mirror units and exchange toggles, `moves` times; of 100 moves 60, 22, 8 and 10 (guessed).

    The board ends in the `best` state met, whose cost is returned: trees, `flow` (see `signal_cost`), and `together`
    times half the circumferences of the blocks. With `snap` steps end in rows of feet.
    """
    height, width = board.grid.shape
    hot, flow, together = params.hot, params.flow, params.together
    n_signals = shape.sig_start.shape[0] - 1
    n_blocks = shape.block_start.shape[0] - 1 if together > 0.0 else 0
    widest = 4
    for s in range(n_signals):
        widest = max(widest, shape.sig_start[s + 1] - shape.sig_start[s])
    buf = np.zeros((3, widest), np.int64)
    length = np.zeros(n_signals + n_blocks)
    cost = 0.0
    for s in range(n_signals):
        length[s] = signal_cost(s, shape, board, buf, flow)
        cost += length[s]
    for b in range(n_blocks):
        length[n_signals + b] = together * block_cost(b, shape, board)
        cost += length[n_signals + b]
    stamp_of = np.zeros(n_signals + n_blocks, np.int64)
    touched = np.zeros(n_signals + n_blocks, np.int64)
    fresh = np.zeros(n_signals + n_blocks)
    step = np.zeros(4, np.int64)
    best_cost = cost
    keep_placement(board, best)
    factor = cooling(hot, params.cold, moves)
    heat = hot
    span = float(max(width, height))
    for move in range(moves):
        if shape.watch[WATCH_STOP] != 0:
            break
        heat *= factor
        reach = max(2, int(span * min(1.0, 0.05 + heat / hot)))
        kind = below(rng, 100)
        a = shape.movable[below(rng, shape.movable.shape[0])]
        b = -1
        t1 = t2 = -1
        if kind < 60:
            step[0] = below(rng, 2 * reach + 1) - reach
            step[1] = below(rng, 2 * reach + 1) - reach
            if kind < 10:
                step[0] = 0
            elif kind < 20:
                step[1] = 0
            elif kind < 24:
                near_row(rng, a, shape, board, step)
            elif params.snap:
                to_row(a, shape, board, step)
            if not shift(a, step[0], step[1], shape, board, params):
                continue
        elif kind < 82:
            b = shape.movable[below(rng, shape.movable.shape[0])]
            if a == b or not trade(a, b, kind < 72, shape, board, params, step):
                continue
        elif kind < 90:
            if not shape.mirrorable[a]:
                continue
            mirror(a, shape, board)
        else:
            t1, t2 = pick_toggles(rng, a, shape)
            if t1 == t2:
                continue
            exchange(t1, t2, shape, board)
        n_touched = 0
        delta = 0.0
        for which in range(2):
            unit_cell = a if which == 0 else b
            if unit_cell < 0:
                continue
            for j in range(unit_size(unit_cell, shape)):
                cell = in_unit(unit_cell, j, shape)
                for k in range(shape.of_cell_start[cell], shape.of_cell_start[cell + 1]):
                    s = shape.of_cell[k]
                    if stamp_of[s] == move + 1:
                        continue
                    stamp_of[s] = move + 1
                    value = signal_cost(s, shape, board, buf, flow)
                    touched[n_touched] = s
                    fresh[n_touched] = value
                    n_touched += 1
                    delta += value - length[s]
                s = n_signals + shape.block_of[cell]
                if n_blocks > 0 and shape.block_of[cell] >= 0 and stamp_of[s] != move + 1:
                    stamp_of[s] = move + 1
                    value = together * block_cost(shape.block_of[cell], shape, board)
                    touched[n_touched] = s
                    fresh[n_touched] = value
                    n_touched += 1
                    delta += value - length[s]
        if accepts(rng, delta, heat):
            for k in range(n_touched):
                length[touched[k]] = fresh[k]
            cost += delta
            if cost < best_cost - 1e-9:
                best_cost = cost
                keep_placement(board, best)
        elif kind < 60:
            shift_back(a, step[0], step[1], shape, board)
        elif kind < 82:
            trade_back(a, b, shape, board, step)
        elif kind < 90:
            mirror(a, shape, board)
        else:
            exchange(t1, t2, shape, board)
    put_placement(best, board)
    stamp_all(shape, board)
    return best_cost


@njit(cache=True)
def near_row(rng: Any, a: int, shape: Shape, board: Board, step: Any) -> None:
    """Let a step lead to the next row of feet above or below."""
    foot = board.y[a] + shape.h[a] - 1
    way = 1 if below(rng, 2) == 0 else -1
    at = foot + way
    while 0 <= at < board.rows.shape[0] and not board.rows[at]:
        at += way
    step[1] = at - foot


@njit(cache=True)
def to_row(a: int, shape: Shape, board: Board, step: Any) -> None:
    """Bend a step so that it ends in the row of feet nearest to where it leads, if there is one on the grid."""
    foot = board.y[a] + shape.h[a] - 1 + step[1]
    rows = board.rows.shape[0]
    for far in range(rows):
        for at in (foot - far, foot + far):
            if 0 <= at < rows and board.rows[at]:
                step[1] += at - foot
                return


@njit(cache=True)
def first_fit(a: int, shape: Shape, board: Board, room: Room) -> bool:
    """Put a unit, which stands nowhere yet, at the first place where it fits."""
    height, width = board.grid.shape
    margin = room.margin
    for y in range(margin, height - shape.h[a] - margin + 1):
        for x in range(margin, width - shape.w[a] - margin + 1):
            if try_drop(a, x - board.x[a], y - board.y[a], shape, board, room):
                return True
    return False


@njit(cache=True)
def nearest_fit(cell: int, x: int, y: int, shape: Shape, board: Board, room: Room) -> bool:
    """Put a cell, which stands nowhere yet, at the place nearest to (x, y) where it fits; False where there is none."""
    height, width = board.grid.shape
    best = FAR
    for py in range(room.margin, height - shape.h[cell] - room.margin + 1):
        for px in range(room.margin, width - shape.w[cell] - room.margin + 1):
            d = abs(px - x) + abs(py - y)
            if d < best and fits(cell, px, py, shape, board, room):
                best = d
                board.x[cell], board.y[cell] = px, py
    if best < FAR:
        stamp_cell(cell, shape, board, cell)
    return best < FAR


def pack(
    shape: Shape,
    board: Board,
    panel_at: tuple[float, float],
    params: PlaceParams,
    offsets: Mapping[tuple[int, ...], tuple[int, int]] = MappingProxyType({}),
) -> bool:
    """A first legal placement: pinned cells where they belong, the panel at `panel_at` (fractions of the free room)
    if it is not pinned, then repeated and tall cells first, each at the first free place. `offsets` tells how far the
    cells of a copy stand from those of the first. False where not all cells fit.
    """
    width, height = (int(v) for v in board.size)
    panel, margin = shape.panel, params.margin
    for c in np.flatnonzero(shape.pinned).tolist():
        if board.x[c] + shape.w[c] > width or board.y[c] + shape.h[c] > height:
            return False
        stamp_cell(c, shape, board, c)
    if panel >= 0 and not shape.pinned[panel]:
        close_keep_outs(shape, board)
        room_x, room_y = width - int(shape.w[panel]) - 2 * margin, height - int(shape.h[panel]) - 2 * margin
        x, y = margin + round(room_x * panel_at[0]), margin + round(room_y * panel_at[1])
        if not nearest_fit(panel, x, y, shape, board, params):
            return False
    close_tiles(shape, board)
    if params.is_tidy:
        set_rows(shape, board, params)
    for copies, (dx, dy) in offsets.items():
        board.x[list(copies)], board.y[list(copies)] = dx, dy
    followers = np.diff(shape.unit_start)
    order = sorted((int(c) for c in shape.movable), key=lambda c: (-followers[c], -shape.h[c], -shape.w[c], c))
    for c in order:
        if not first_fit(c, shape, board, params):
            return False
    return bool(in_order(shape, board))


def set_rows(shape: Shape, board: Board, params: PlaceParams) -> None:
    """Choose the rows in which stacks have their feet: at a distance in which most stacks find room, counted from the
    panel up and down."""
    tall = np.sort(shape.h[shape.movable][shape.h[shape.movable] > 1])
    height = int(tall[len(tall) * 3 // 4]) if len(tall) else 1
    pitch = height + params.gap_y
    rows = len(board.rows)
    top, bottom = rows - params.margin + params.gap_y, rows
    if shape.panel >= 0:
        top, bottom = int(board.y[shape.panel]), int(board.y[shape.panel] + shape.h[shape.panel])
    board.rows[:] = False
    board.rows[np.arange(top - params.gap_y - 1, -1, -pitch)] = True
    board.rows[np.arange(bottom + pitch - 1, rows, pitch)] = True
    if shape.is_open:
        for first, last, gap in bands(shape, board, params.gap_y):
            board.rows[np.arange(first + gap + height - 1, last + 1 - gap, pitch)] = True


def bands(shape: Shape, board: Board, gap: int) -> list[tuple[int, int, int]]:
    """Rows of an open panel from one where pixels begin or end to the next: (first, last, rows to be left free at
    both ends: `gap` where no pixel stands)."""
    tiles = np.flatnonzero(shape.cell_of == shape.panel)
    top = int(board.y[shape.panel])
    lit = np.zeros(int(shape.h[shape.panel]) + 2, np.int64)
    lit[board.dy[tiles] + 1] = 1
    turns = np.flatnonzero(np.diff(lit)).tolist()
    return [(top + a, top + b - 1, 0 if k % 2 == 0 else gap) for k, (a, b) in enumerate(pairwise(turns))]


@njit(cache=True)
def index_tiles(shape: Shape, board: Board) -> None:
    """Fill `tile_at` from the cells' places; a tile of a keep-out bears a strange device, which no wire may touch."""
    board.tile_at[:] = -1
    width, height = board.size[0], board.size[1]
    for k in range(shape.keep_out.shape[0]):
        x0, y0, x1, y1 = shape.keep_out[k]
        for y in range(max(0, y0), min(height, y1 + 1)):
            for x in range(max(0, x0), min(width, x1 + 1)):
                board.tile_at[y * width + x] = shape.cell_of.shape[0]
    for t in range(shape.cell_of.shape[0]):
        board.tile_at[grid_tile(t, shape, board)] = t


def place(shape: Shape, board: Board, params: PlaceParams, seed: int) -> float:
    """Anneal a packed board; returns the sum of the signals' trees in tiles."""
    length = 0.0
    if len(shape.movable) and len(shape.drive_start) > 1:
        moves = params.moves_per_cell * len(shape.movable)
        length = anneal(seeded(seed, 1), shape, board, params, moves, placement_of(board))
    index_tiles(shape, board)
    return float(length)

"""Place cells by simulated annealing: legal moves only, on the sum of the signals' spanning trees.

S. Kirkpatrick, C. D. Gelatt, M. P. Vecchi, Science 220, 1983; moves and range limits as usual for macro cells
(C. Sechen, A. Sangiovanni-Vincentelli, IEEE JSSC 20, 1985).
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
from numba import njit

from hdl2grid.layout.arrays import CLOSED, WATCH_STOP, Board, Shape
from hdl2grid.layout.wires import grid_tile
from hdl2grid.rng import below, seeded, unit

FAR = 1 << 28
TREE_LIMIT = 40
"""Signals of more tiles than this are measured by their box."""


@dataclass(frozen=True)
class PlaceParams:
    """`gap_x`, `gap_y`: free columns and rows around every cell, corners included; `margin`: free border tiles;
    `moves_per_cell`: the annealer's budget; `hot`, `cold`: its temperatures, in tiles of wire."""

    gap_x: int = 2
    gap_y: int = 1
    margin: int = 1
    moves_per_cell: int = 20_000
    hot: float = 12.0
    cold: float = 0.3


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
    first = shape.sig_start[s]
    count = shape.sig_start[s + 1] - first
    for i in range(count):
        tile = shape.sig_tiles[first + i]
        cell = shape.cell_of[tile]
        buf[0, i] = board.x[cell] + board.dx[tile]
        buf[1, i] = board.y[cell] + board.dy[tile]
    return tree_length(buf[0], buf[1], count, buf[2])


@njit(cache=True)
def fits(grid: Any, px: int, py: int, w: int, h: int, gap_x: int, gap_y: int, margin: int, a: int, b: int) -> bool:
    """Whether a cell of size w x h may stand at (px, py): on no closed tile, in its gap no cell but `a`, `b`."""
    height, width = grid.shape
    if px < margin or py < margin or px + w > width - margin or py + h > height - margin:
        return False
    for yy in range(max(0, py - gap_y), min(height, py + h + gap_y)):
        for xx in range(max(0, px - gap_x), min(width, px + w + gap_x)):
            other = grid[yy, xx]
            if other >= 0 and other != a and other != b:
                return False
            if other == CLOSED and px <= xx < px + w and py <= yy < py + h:
                return False
    return True


@njit(cache=True)
def stamp(grid: Any, px: int, py: int, w: int, h: int, value: int) -> None:
    for yy in range(py, py + h):
        for xx in range(px, px + w):
            grid[yy, xx] = value


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
        stamp(board.grid, board.x[c], board.y[c], shape.w[c], shape.h[c], c)
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
def mirror(cell: int, shape: Shape, board: Board) -> None:
    for k in range(shape.cell_start[cell], shape.cell_start[cell + 1]):
        tile = shape.cell_tiles[k]
        board.dx[tile] = shape.w[cell] - 1 - board.dx[tile]


@njit(cache=True)
def apart(ax: int, ay: int, aw: int, ah: int, bx: int, by: int, bw: int, bh: int, gx: int, gy: int) -> bool:
    return ax >= bx + bw + gx or bx >= ax + aw + gx or ay >= by + bh + gy or by >= ay + ah + gy


@njit(cache=True)
def swap_fits(shape: Shape, board: Board, a: int, b: int, feet: bool, gx: int, gy: int, margin: int, out: Any) -> bool:
    """Whether cells `a` and `b` may trade places, heads or feet kept; the new corners go to `out`."""
    out[0], out[1], out[2], out[3] = board.x[b], board.y[b], board.x[a], board.y[a]
    if feet:
        out[1] += shape.h[b] - shape.h[a]
        out[3] += shape.h[a] - shape.h[b]
    return bool(
        fits(board.grid, out[0], out[1], shape.w[a], shape.h[a], gx, gy, margin, a, b)
        and fits(board.grid, out[2], out[3], shape.w[b], shape.h[b], gx, gy, margin, a, b)
        and apart(out[0], out[1], shape.w[a], shape.h[a], out[2], out[3], shape.w[b], shape.h[b], gx, gy)
    )


@njit(cache=True)
def move_to(shape: Shape, board: Board, a: int, px: int, py: int) -> None:
    stamp(board.grid, board.x[a], board.y[a], shape.w[a], shape.h[a], -1)
    board.x[a], board.y[a] = px, py
    stamp(board.grid, px, py, shape.w[a], shape.h[a], a)


@njit(cache=True)
def swap_cells(shape: Shape, board: Board, a: int, b: int, corners: Any) -> None:
    stamp(board.grid, board.x[a], board.y[a], shape.w[a], shape.h[a], -1)
    stamp(board.grid, board.x[b], board.y[b], shape.w[b], shape.h[b], -1)
    board.x[a], board.y[a], board.x[b], board.y[b] = corners[0], corners[1], corners[2], corners[3]
    stamp(board.grid, board.x[a], board.y[a], shape.w[a], shape.h[a], a)
    stamp(board.grid, board.x[b], board.y[b], shape.w[b], shape.h[b], b)


@njit(cache=True, nogil=True)
def anneal(
    rng: Any, shape: Shape, board: Board, gx: int, gy: int, margin: int, moves: int, hot: float, cold: float
) -> float:
    """Move, swap and mirror cells and exchange toggles, `moves` times, cooling from `hot` to `cold`.

    The board ends in the best state met, whose cost is returned.
    """
    height, width = board.grid.shape
    n_signals = shape.sig_start.shape[0] - 1
    widest = 4
    for s in range(n_signals):
        widest = max(widest, shape.sig_start[s + 1] - shape.sig_start[s])
    buf = np.zeros((3, widest), np.int64)
    length = np.zeros(n_signals)
    cost = 0.0
    for s in range(n_signals):
        length[s] = signal_length(s, shape, board, buf)
        cost += length[s]
    stamp_of = np.zeros(n_signals, np.int64)
    touched = np.zeros(n_signals, np.int64)
    fresh = np.zeros(n_signals)
    corners = np.zeros(4, np.int64)
    old = np.zeros(4, np.int64)
    best_cost = cost
    best_x, best_y, best_dx, best_dy = board.x.copy(), board.y.copy(), board.dx.copy(), board.dy.copy()
    ratio = (cold / hot) ** (1.0 / max(1, moves))
    heat = hot
    span = float(max(width, height))
    for move in range(moves):
        if shape.watch[WATCH_STOP] != 0:
            break
        heat *= ratio
        reach = max(2, int(span * min(1.0, 0.05 + heat / hot)))
        kind = below(rng, 100)
        a = shape.movable[below(rng, shape.movable.shape[0])]
        b = -1
        t1 = t2 = -1
        if kind < 60:
            px = board.x[a] + below(rng, 2 * reach + 1) - reach
            py = board.y[a] + below(rng, 2 * reach + 1) - reach
            if kind < 10:
                px = board.x[a]
            elif kind < 20:
                py = board.y[a]
            if not fits(board.grid, px, py, shape.w[a], shape.h[a], gx, gy, margin, a, -1):
                continue
            old[0], old[1] = board.x[a], board.y[a]
            move_to(shape, board, a, px, py)
        elif kind < 82:
            b = shape.movable[below(rng, shape.movable.shape[0])]
            if a == b or not swap_fits(shape, board, a, b, kind < 72, gx, gy, margin, corners):
                continue
            old[0], old[1], old[2], old[3] = board.x[a], board.y[a], board.x[b], board.y[b]
            swap_cells(shape, board, a, b, corners)
        elif kind < 90:
            if not shape.mirrorable[a]:
                continue
            mirror(a, shape, board)
        else:
            count = shape.swap_start[a + 1] - shape.swap_start[a]
            if count < 2:
                continue
            t1 = shape.swap_tiles[shape.swap_start[a] + below(rng, count)]
            t2 = shape.swap_tiles[shape.swap_start[a] + below(rng, count)]
            if t1 == t2:
                continue
            board.dy[t1], board.dy[t2] = board.dy[t2], board.dy[t1]
        n_touched = 0
        delta = 0.0
        for which in range(2):
            cell = a if which == 0 else b
            if cell < 0:
                continue
            for k in range(shape.of_cell_start[cell], shape.of_cell_start[cell + 1]):
                s = shape.of_cell[k]
                if stamp_of[s] == move + 1:
                    continue
                stamp_of[s] = move + 1
                value = signal_length(s, shape, board, buf)
                touched[n_touched] = s
                fresh[n_touched] = value
                n_touched += 1
                delta += value - length[s]
        if delta <= 0.0 or unit(rng) < np.exp(-delta / heat):
            for k in range(n_touched):
                length[touched[k]] = fresh[k]
            cost += delta
            if cost < best_cost - 1e-9:
                best_cost = cost
                best_x[:], best_y[:], best_dx[:], best_dy[:] = board.x, board.y, board.dx, board.dy
        elif kind < 60:
            move_to(shape, board, a, old[0], old[1])
        elif kind < 82:
            swap_cells(shape, board, a, b, old)
        elif kind < 90:
            mirror(a, shape, board)
        else:
            board.dy[t1], board.dy[t2] = board.dy[t2], board.dy[t1]
    board.x[:], board.y[:], board.dx[:], board.dy[:] = best_x, best_y, best_dx, best_dy
    stamp_all(shape, board)
    return best_cost


@njit(cache=True)
def first_fit(grid: Any, w: int, h: int, gap_x: int, gap_y: int, margin: int, out: Any) -> bool:
    height, width = grid.shape
    for y in range(margin, height - h - margin + 1):
        for x in range(margin, width - w - margin + 1):
            if fits(grid, x, y, w, h, gap_x, gap_y, margin, -1, -1):
                out[0], out[1] = x, y
                return True
    return False


@njit(cache=True)
def nearest_fit(grid: Any, w: int, h: int, gap_x: int, gap_y: int, margin: int, out: Any) -> bool:
    """Moves `out` to the nearest place that fits; False where there is none."""
    height, width = grid.shape
    best = FAR
    best_x = best_y = 0
    for y in range(margin, height - h - margin + 1):
        for x in range(margin, width - w - margin + 1):
            d = abs(x - out[0]) + abs(y - out[1])
            if d < best and fits(grid, x, y, w, h, gap_x, gap_y, margin, -1, -1):
                best, best_x, best_y = d, x, y
    out[0], out[1] = best_x, best_y
    return best < FAR


def pack(shape: Shape, board: Board, panel_at: tuple[float, float], params: PlaceParams) -> bool:
    """A first legal placement: pinned cells where they belong, the panel at `panel_at` (fractions of the free room)
    if it is not pinned, then tall cells first, each at the first free place. False where not all cells fit.
    """
    width, height = (int(v) for v in board.size)
    out = np.zeros(2, np.int64)
    panel, margin = shape.panel, params.margin
    for c in np.flatnonzero(shape.pinned).tolist():
        if board.x[c] + shape.w[c] > width or board.y[c] + shape.h[c] > height:
            return False
        stamp(board.grid, board.x[c], board.y[c], shape.w[c], shape.h[c], c)
    if panel >= 0 and not shape.pinned[panel]:
        close_keep_outs(shape, board)
        room_x, room_y = width - int(shape.w[panel]) - 2 * margin, height - int(shape.h[panel]) - 2 * margin
        out[0], out[1] = margin + round(room_x * panel_at[0]), margin + round(room_y * panel_at[1])
        if not nearest_fit(board.grid, shape.w[panel], shape.h[panel], params.gap_x, params.gap_y, margin, out):
            return False
        board.x[panel], board.y[panel] = out
        stamp(board.grid, out[0], out[1], shape.w[panel], shape.h[panel], panel)
    close_tiles(shape, board)
    order = sorted((int(c) for c in shape.movable), key=lambda c: (-shape.h[c], -shape.w[c], c))
    for c in order:
        w, h = int(shape.w[c]), int(shape.h[c])
        if not first_fit(board.grid, w, h, params.gap_x, params.gap_y, margin, out):
            return False
        board.x[c], board.y[c] = out
        stamp(board.grid, out[0], out[1], w, h, c)
    return bool(in_order(shape, board))


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
        length = anneal(
            seeded(seed, 1),
            shape,
            board,
            params.gap_x,
            params.gap_y,
            params.margin,
            moves,
            params.hot,
            params.cold,
        )
    index_tiles(shape, board)
    return float(length)

"""Place cells on a grid that has hardly room for them: by annealing in which they may overlap, at a price.

Where only legal moves are made, cells on a tight grid are jammed. Overlaps that cost, and that cost too much in the
end, are the older way (C. Sechen, A. Sangiovanni-Vincentelli, IEEE JSSC 20, 1985).
"""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import numpy as np
from numba import njit

from hdl2grid.base.annealing import accepts, cooling
from hdl2grid.base.rng import below, seeded
from hdl2grid.layout.arrays import WATCH_STOP, Board, Shape, fresh_board
from hdl2grid.layout.grid_lines import all_apart
from hdl2grid.layout.placement import PlaceParams, in_order, index_tiles, signal_length, stamp_all
from hdl2grid.layout.units import Room, exchange, mirror, pick_toggles

OVERLAP = 4.0
"""Price of a tile on which two cells, with the room that they need around them, overlap; in tiles of wire. Guessed."""


@njit(cache=True)
def overlap_pixels(x: int, y: int, right: int, bottom: int, shape: Shape, board: Board, room: Room) -> int:
    """Tiles that a rectangle shares with the pixels of an open panel and the free room after each."""
    panel = shape.panel
    total = 0
    for i in range(shape.cell_start[panel], shape.cell_start[panel + 1]):
        tile = shape.cell_tiles[i]
        px, py = board.x[panel] + board.dx[tile], board.y[panel] + board.dy[tile]
        wide = min(right, px + 1 + room.gap_x) - max(x, px)
        if wide > 0:
            total += wide * max(0, min(bottom, py + 1 + room.gap_y) - max(y, py))
    return total


@njit(cache=True)
def overlap(a: int, shape: Shape, board: Board, room: Room) -> int:
    """Tiles that cell `a` and the free room after it share with other cells and theirs."""
    total = 0
    x, y, gx, gy = board.x[a], board.y[a], room.gap_x, room.gap_y
    right, bottom = x + shape.w[a] + gx, y + shape.h[a] + gy
    for b in range(shape.w.shape[0]):
        if b == shape.panel and shape.is_open:
            if b != a:
                total += overlap_pixels(x, y, right, bottom, shape, board, room)
            continue
        wide = min(right, board.x[b] + shape.w[b] + gx) - max(x, board.x[b])
        if wide > 0 and b != a:
            total += wide * max(0, min(bottom, board.y[b] + shape.h[b] + gy) - max(y, board.y[b]))
    return total


@njit(cache=True)
def signals_length(a: int, b: int, shape: Shape, board: Board, buf: Any, fresh: Any, listed: Any) -> Any:
    """Lengths of the signals on the cells, each signal once, to `fresh`, their numbers to `listed`; how many."""
    count = 0
    for cell in (a, b):
        if cell < 0:
            continue
        for k in range(shape.of_cell_start[cell], shape.of_cell_start[cell + 1]):
            s = shape.of_cell[k]
            known = False
            if cell == b:
                for i in range(count):
                    known = known or listed[i] == s
            if not known:
                listed[count] = s
                fresh[count] = signal_length(s, shape, board, buf)
                count += 1
    return count


@njit(cache=True, nogil=True)
def anneal_dense(rng: Any, shape: Shape, board: Board, params: PlaceParams, moves: int) -> None:
    """Move, swap and mirror cells, the panel too, and exchange toggles, in the shares of `placement.anneal`; a tile of
    overlap costs OVERLAP, more the colder it is."""
    margin, hot = params.margin, params.hot
    width, height = board.size[0], board.size[1]
    n, n_signals = shape.w.shape[0], shape.sig_start.shape[0] - 1
    widest = 4
    for s in range(n_signals):
        widest = max(widest, shape.sig_start[s + 1] - shape.sig_start[s])
    buf = np.zeros((3, widest), np.int64)
    length = np.zeros(n_signals)
    for s in range(n_signals):
        length[s] = signal_length(s, shape, board, buf)
    fresh, listed = np.zeros(2 * n_signals), np.zeros(2 * n_signals, np.int64)
    factor = cooling(hot, params.cold, moves)
    heat = hot
    span = float(max(width, height))
    for _ in range(moves):
        if shape.watch[WATCH_STOP] != 0:
            break
        heat *= factor
        now = OVERLAP * min(4.0, (hot / heat) ** 0.5)
        reach = max(2, int(span * min(1.0, 0.05 + heat / hot)))
        kind = below(rng, 100)
        a = below(rng, n)
        b = t1 = t2 = -1
        if shape.pinned[a] or (a == shape.panel and (shape.is_open or below(rng, 4) > 0)):
            continue
        x, y = board.x[a], board.y[a]
        other_x = other_y = 0
        before = 0
        if kind < 60:
            dx = 0 if kind < 10 else below(rng, 2 * reach + 1) - reach
            dy = 0 if 10 <= kind < 20 else below(rng, 2 * reach + 1) - reach
            to_x = min(max(x + dx, margin), width - margin - shape.w[a])
            to_y = min(max(y + dy, margin), height - margin - shape.h[a])
            if to_x == x and to_y == y:
                continue
            before = overlap(a, shape, board, params)
            board.x[a], board.y[a] = to_x, to_y
        elif kind < 82:
            b = below(rng, n)
            if a == b or a == shape.panel or b == shape.panel or shape.pinned[b]:
                continue
            other_x, other_y = board.x[b], board.y[b]
            before = overlap(a, shape, board, params) + overlap(b, shape, board, params)
            board.x[a] = min(other_x, width - margin - shape.w[a])
            board.y[a] = min(other_y, height - margin - shape.h[a])
            board.x[b], board.y[b] = min(x, width - margin - shape.w[b]), min(y, height - margin - shape.h[b])
        elif kind < 90:
            if not shape.mirrorable[a]:
                continue
            mirror(a, shape, board)
        else:
            t1, t2 = pick_toggles(rng, a, shape)
            if t1 == t2:
                continue
            exchange(t1, t2, shape, board)
        delta = 0.0
        if kind < 82:
            after = overlap(a, shape, board, params) + (overlap(b, shape, board, params) if b >= 0 else 0)
            delta = now * (after - before)
        touched = signals_length(a, b, shape, board, buf, fresh, listed)
        for i in range(touched):
            delta += fresh[i] - length[listed[i]]
        if accepts(rng, delta, heat):
            for i in range(touched):
                length[listed[i]] = fresh[i]
        elif kind < 82:
            board.x[a], board.y[a] = x, y
            if b >= 0:
                board.x[b], board.y[b] = other_x, other_y
        elif kind < 90:
            mirror(a, shape, board)
        else:
            exchange(t1, t2, shape, board)


def place_densely(
    shape: Shape, board: Board, places: PlaceParams, size: tuple[int, int], hot: float, seed: int
) -> Board | None:
    """The cells of a board without blocks, annealed from where they stand onto a grid of `size`; None where they come
    too near to each other, or where the floorplan does not want them."""
    new = fresh_board(board, *size)
    margin = places.margin
    loose = ~shape.pinned
    new.x[loose] = np.clip(new.x * size[0] // board.size[0], margin, size[0] - margin - shape.w)[loose]
    new.y[loose] = np.clip(new.y * size[1] // board.size[1], margin, size[1] - margin - shape.h)[loose]
    moves = places.moves_per_cell * len(shape.movable)
    anneal_dense(seeded(seed, 5), shape, new, replace(places, hot=hot), moves)
    if not all_apart(shape, new, 1, 1) or not in_order(shape, new):
        return None
    stamp_all(shape, new)
    index_tiles(shape, new)
    return new
